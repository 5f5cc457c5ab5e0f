import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from servicedesk.dosing import actions as dosing
from servicedesk.instruments.actions.trust import move_trust
from servicedesk.instruments.models import Instrument, TrustMove
from servicedesk.instruments.queries import trust_of
from servicedesk.watch import actions
from servicedesk.watch.models import Attention
from servicedesk.watch.queries import open_for
from servicedesk.water import actions as water
from servicedesk.water.models import Touched
from tests.factories.people import make_owner, make_technician
from tests.factories.tanks import (
    make_band,
    make_channel,
    make_instrument,
    make_measure,
    make_method,
    make_reading,
    make_tank,
    make_tank_test,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def tank():
    tank = make_tank()
    make_band(tank)
    return tank


def open_sentences():
    return list(Attention.objects.filter(cleared_at__isnull=True).values_list("sentence", flat=True))


def test_a_value_below_its_band_is_raised_once_and_cleared_when_it_is_back(tank):
    now = timezone.now()
    make_reading(tank, "6.9", at=now - timedelta(hours=2))
    actions.sweep(at=now)
    actions.judge_tank(tank=tank, at=now)

    assert open_sentences() == ["Alkalinity 6.9 dKH, under the low mark of 7.2."]

    make_reading(tank, "8.0", at=now - timedelta(hours=1))
    actions.sweep(at=now)
    assert open_sentences() == []
    assert Attention.objects.count() == 1


def test_a_value_as_shown_on_the_mark_is_in_band(tank):
    make_reading(tank, "7.2", at=timezone.now() - timedelta(minutes=1))

    actions.sweep(at=timezone.now())

    assert open_sentences() == []


def test_a_value_on_the_mark_is_in_band_in_whatever_unit_the_tank_is_read():
    tank = make_tank()
    make_band(tank, unit="meq/L", low=7.0)
    make_reading(tank, "9.0", at=timezone.now() - timedelta(minutes=2))

    actions.sweep(at=timezone.now())

    assert open_sentences() == []


def test_the_sweep_claims_news_and_leaves_nothing(tank):
    make_reading(tank, "8.0", at=timezone.now() - timedelta(minutes=1))

    assert (actions.sweep(at=timezone.now()), actions.sweep(at=timezone.now())) == (1, 0)
    assert Touched.objects.count() == 0


def test_a_silent_instrument_is_raised_once_and_cleared_when_it_speaks():
    now = timezone.now()
    instrument = make_instrument(interval_minutes=60, grace_minutes=10)
    Instrument.objects.update(last_contact_at=now - timedelta(minutes=71))

    actions.watch_silence(at=now)
    actions.watch_silence(at=now + timedelta(minutes=5))
    assert Attention.objects.filter(cleared_at__isnull=True).count() == 1

    Instrument.objects.filter(pk=instrument.pk).update(last_contact_at=now)
    actions.watch_silence(at=now + timedelta(minutes=6))
    assert (Attention.objects.count(), Attention.objects.filter(cleared_at__isnull=True).count()) == (1, 0)


def test_an_instrument_within_interval_and_grace_is_not_silent():
    now = timezone.now()
    make_instrument(interval_minutes=60, grace_minutes=10)
    Instrument.objects.update(last_contact_at=now - timedelta(minutes=70))

    assert actions.watch_silence(at=now) == []


def test_an_instrument_far_from_the_test_by_hand_is_said_aloud(tank):
    now = timezone.now()
    instrument = make_instrument(tank)
    measure = make_measure(
        instrument, method=make_method(kind="titrator", tolerance_rel=0, tolerance_abs=0.2)
    )
    make_reading(tank, "8.0", at=now - timedelta(hours=3))
    make_reading(
        tank,
        "6.7",
        at=now - timedelta(hours=2),
        method=measure.method,
        source=water.source_of(instrument.equipment),
    )

    actions.sweep(at=now)

    assert any("is 1.30 dKH under the last test by hand of alkalinity" in s for s in open_sentences())


def judged(tank, *values, hours_apart=12, method=None, source=None, now=None):
    """Take values in, oldest first, the last an hour ago, and judge; the open row of the tank's alkalinity."""
    now = now or timezone.now()
    method = method or make_method(tolerance_rel=0, tolerance_abs=0.1)
    for back, value in enumerate(reversed(values)):
        given = {"source": source} if source else {}
        at = now - timedelta(hours=1 + hours_apart * back)
        make_reading(tank, value, at=at, method=method, **given)
    actions.judge_tank(tank=tank, at=now)
    return Attention.objects.filter(cleared_at__isnull=True, kind__in=["out_of_band", "beyond_limit"]).get()


def test_two_low_values_are_no_trend_and_have_no_time_of_harm(tank):
    assert judged(tank, "6.9", "6.8").harm_at is None


def test_a_fall_tells_when_its_limit_is_met(tank):
    now = timezone.now()
    row = judged(tank, "7.3", "7.2", "7.1", "7.0", "6.9", "6.8", "6.7", now=now)

    assert row.word == "below"
    assert abs(row.harm_at - (now - timedelta(hours=1) + timedelta(days=2))) < timedelta(minutes=5)


def test_a_low_value_on_its_way_back_has_no_time_of_harm(tank):
    assert judged(tank, "6.4", "6.5", "6.6", "6.7", "6.8", "6.9").harm_at is None


def test_values_of_another_method_bend_no_line(tank):
    now = timezone.now()
    for days in range(1, 5):
        make_reading(tank, str(9 - days / 4), at=now - timedelta(days=20 + days))

    assert judged(tank, "6.9", "6.9", now=now).harm_at is None


def test_beyond_the_limit_harm_began_when_it_was_measured(tank):
    now = timezone.now()

    assert judged(tank, "6.2", now=now).harm_at == now - timedelta(hours=1)


def test_a_lost_life_support_signal_kills_in_hours():
    now, tank = timezone.now(), make_tank()
    make_band(tank, "power", unit="on/off", low=1, target=1, high=None, alarm_low=1, alarm_high=None)
    make_reading(tank, "0", parameter="power", unit="on/off", at=now - timedelta(hours=1))
    actions.judge_tank(tank=tank, at=now)

    assert Attention.objects.get().harm_at == now + timedelta(hours=3)


@pytest.mark.parametrize(("parameter", "hours"), [("flow", 4), ("alkalinity", None)])
def test_silence_has_a_time_of_harm_only_where_it_hides_life_support(parameter, hours):
    now = timezone.now()
    instrument = make_instrument(interval_minutes=60, grace_minutes=10)
    make_measure(instrument, parameter, unit="L/h" if parameter == "flow" else "dKH")
    last = now - timedelta(minutes=90)
    Instrument.objects.update(last_contact_at=last)
    actions.watch_silence(at=now)

    assert Attention.objects.get().harm_at == (last + timedelta(hours=hours) if hours else None)


def test_open_rows_come_soonest_harm_first_then_by_severity_and_never_by_age(tank):
    now = timezone.now()
    for key, severity, harm, age in (
        ("a", 3, None, 9),
        ("b", 1, None, 1),
        ("c", 2, 40, 2),
        ("d", 2, 3, 1),
        ("e", 2, None, 30),
    ):
        actions.raise_attention(
            key=key,
            at=now - timedelta(days=age),
            kind="out_of_band",
            severity=severity,
            tank=tank,
            sentence=key,
            harm_at=harm and now + timedelta(hours=harm),
        )

    assert [row.key for row in open_for(make_owner())] == ["d", "c", "b", "e", "a"]
    assert open_for(make_technician()) == []


@pytest.fixture
def titrator(tank):
    return make_measure(
        make_instrument(tank), method=make_method(kind="titrator", tolerance_rel=0, tolerance_abs=0.2)
    )


def paired(tank, measure, by_hand, shown, at):
    make_reading(tank, by_hand, at=at - timedelta(hours=3))
    source = water.source_of(measure.instrument.equipment)
    make_reading(tank, shown, at=at - timedelta(hours=2), method=measure.method, source=source)
    actions.judge_tank(tank=tank, at=at)
    return trust_of(measure)


def test_an_instrument_that_a_test_by_hand_contradicts_is_to_be_checked_and_believed_again_once_one_agrees(
    tank, titrator
):
    now = timezone.now()

    assert paired(tank, titrator, "8.0", "6.7", now) == "to_check"
    actions.judge_tank(tank=tank, at=now)
    assert paired(tank, titrator, "8.0", "7.9", now + timedelta(days=1)) == "believed"
    assert list(TrustMove.objects.order_by("at").values_list("why", flat=True)) == [
        "A test by hand contradicts it.",
        "A test by hand agrees with it.",
    ]


def test_a_pair_from_before_the_doubt_does_not_lift_it(tank, titrator):
    now = timezone.now()
    move_trust(
        measure=titrator,
        trust="to_check",
        why="New reagent was loaded.",
        at=now - timedelta(hours=1),
        origin=uuid.uuid4(),
        received_at=now,
    )

    assert paired(tank, titrator, "8.0", "7.9", now) == "to_check"


def test_what_is_not_to_be_acted_on_is_never_believed_by_itself(tank, titrator):
    now = timezone.now()
    move_trust(
        measure=titrator,
        trust="not_to_act_on",
        why="Its line is air.",
        at=now - timedelta(days=2),
        origin=uuid.uuid4(),
        received_at=now,
    )

    assert paired(tank, titrator, "8.0", "7.9", now) == "not_to_act_on"


def test_a_difference_between_agreeing_and_contradicting_leaves_trust_where_it_stands(tank, titrator):
    now = timezone.now()
    assert paired(tank, titrator, "8.0", "7.4", now) == "believed"

    assert paired(tank, titrator, "8.0", "6.7", now + timedelta(days=1)) == "to_check"
    assert paired(tank, titrator, "8.0", "7.4", now + timedelta(days=2)) == "to_check"


def test_a_container_is_raised_when_it_runs_empty_and_cleared_when_it_is_filled(tank):
    make_tank_test(tank)
    now = timezone.now()
    channel = make_channel(tank, container_ml=1000)
    fact = {"by": None, "received_at": now}
    day = timedelta(days=1)
    dosing.record_refill(channel=channel, ml_now=100, at=now - 2 * day, origin=uuid.uuid4(), **fact)
    dosing.set_rate(channel=channel, ml_per_day=40, at=now - 2 * day, origin=uuid.uuid4(), **fact)
    actions.judge_tank(tank=tank, at=now)
    assert any("runs empty today" in sentence for sentence in open_sentences())

    actions.judge_tank(tank=tank, at=now + day)
    assert any("is empty" in sentence for sentence in open_sentences())

    dosing.record_refill(channel=channel, ml_now=1000, at=now + day, origin=uuid.uuid4(), **fact)
    actions.judge_tank(tank=tank, at=now + day)
    assert open_sentences() == []


def test_a_value_without_a_band_is_judged_by_nothing(tank):
    make_reading(tank, "900", parameter="calcium", unit="mg/L", at=timezone.now() - timedelta(minutes=1))

    assert actions.sweep(at=timezone.now()) == 1
    assert open_sentences() == []


def test_news_that_another_sweep_claimed_meanwhile_is_left_to_it(tank, monkeypatch):
    make_reading(tank, "6.0", at=timezone.now() - timedelta(minutes=1))
    listed = Touched.objects.order_by

    def other_first(*given):
        rows = listed(*given)
        found = list(rows.values_list("tank", "since"))
        Touched.objects.all().delete()

        class Seen:
            def values_list(self, *columns):
                return found

        return Seen()

    monkeypatch.setattr(Touched.objects, "order_by", other_first)
    assert actions.sweep(at=timezone.now()) == 0
    assert open_sentences() == []


def test_an_alarm_never_clears_by_age_alone(tank):
    now = timezone.now()
    make_reading(tank, "6.0", at=now - timedelta(days=40))
    actions.judge_tank(tank=tank, at=now)

    assert open_sentences() == ["Alkalinity 6.0 dKH, under the limit of 6.3. Not tested since."]


def test_when_the_only_value_is_withdrawn_its_alarm_goes_with_the_next_sweep(tank):
    now = timezone.now()
    row = make_reading(tank, "6.0", at=now - timedelta(hours=1))
    actions.sweep(at=now)
    before = len(open_sentences())
    water.correct_reading(
        reading=row,
        new=None,
        why="mistyped",
        by=make_technician(),
        at=now,
        origin=uuid.uuid4(),
        received_at=now,
    )
    actions.sweep(at=now)

    assert (before, open_sentences()) == (1, [])


def test_between_two_tanks_others_may_write(tank, monkeypatch):
    now, slept = timezone.now(), []
    monkeypatch.setattr("servicedesk.watch.actions.sweeping.sleep", slept.append)
    for one in (tank, make_tank()):
        make_reading(one, "8.0", at=now - timedelta(hours=1))

    actions.look(at=now, pause_s=0.25)
    assert slept == [0.25, 0.25]


def test_one_look_tells_how_many_tanks_were_judged_and_instruments_are_silent(tank):
    now = timezone.now()
    make_reading(tank, "8.0", at=now - timedelta(hours=1))
    Instrument.objects.filter(pk=make_instrument(tank).pk).update(last_contact_at=now - timedelta(days=3))

    assert actions.look(at=now) == {"judged": 1, "silent": 1}
