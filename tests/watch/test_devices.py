"""Instruments by their own habit, beside the tests by hand, by what they say; values that stand alone; what runs empty."""

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from servicedesk.instruments.actions import Shown, read_display, record_calibration, record_load
from servicedesk.instruments.models import Delivery, Instrument, Sign, TrustMove
from servicedesk.instruments.queries import late_after, trust_of
from servicedesk.watch import actions
from servicedesk.watch.models import Attention
from servicedesk.water import actions as water
from servicedesk.water.actions import Incoming, take_in
from tests.factories.displays import make_display_photo, picture
from tests.factories.people import make_owner
from tests.factories.tanks import (
    make_band,
    make_channel,
    make_instrument,
    make_item,
    make_measure,
    make_method,
    make_reading,
    make_tank,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def tank():
    tank = make_tank()
    make_band(tank, max_rise_per_day=1.0, max_fall_per_day=1.0)
    return tank


@pytest.fixture
def measure(tank):
    method = make_method(kind="titrator", tolerance_rel=0, tolerance_abs=0.3, resolution=0.05)
    return make_measure(make_instrument(tank, interval_minutes=360), method=method, tests_per_day=4)


def send(measure, values, *, until, hours=6.0):
    """Results of the instrument, the last at `until`."""
    rows = [
        Incoming(
            n,
            measure.parameter,
            measure.method,
            until - timedelta(hours=hours * (len(values) - 1 - n)),
            value,
            "dKH",
        )
        for n, value in enumerate(values)
    ]
    source = water.source_of(measure.instrument.equipment)
    take_in(tank=measure.instrument.tank, source=source, rows=rows, origin=uuid.uuid4(), received_at=until)


def open_rows(**given):
    return {row.key.split(":")[0]: row for row in Attention.objects.filter(cleared_at__isnull=True, **given)}


WAVES = [8.0, 8.15, 7.9, 8.05, 8.2, 7.95, 8.1]


def test_an_instrument_that_shows_the_same_for_longer_than_ever_is_stuck_until_it_moves(tank, measure):
    now = timezone.now()
    send(measure, WAVES * 8 + [8.0] * 12, until=now - timedelta(hours=1))

    actions.judge_tank(tank=tank, at=now)
    actions.judge_tank(tank=tank, at=now)

    row = open_rows()["stuck"]
    assert "shows the same alkalinity since" in row.sentence and "12 results alike" in row.why
    assert (row.instrument, trust_of(measure)) == (measure.instrument, "to_check")
    assert Attention.objects.filter(kind="stuck").count() == 1

    send(measure, [8.4], until=now + timedelta(hours=5))
    actions.judge_tank(tank=tank, at=now + timedelta(hours=6))
    assert "stuck" not in open_rows()


def test_the_same_for_less_than_twenty_hours_is_not_stuck_and_a_signal_that_stays_never_is(tank, measure):
    now = timezone.now()
    send(measure, WAVES * 12 + [8.0] * 14, until=now, hours=1)
    actions.judge_tank(tank=tank, at=now)
    assert "stuck" not in open_rows()

    power = make_measure(
        measure.instrument, "power", unit="on/off", method=make_method("power", kind="probe", tolerance_rel=0)
    )
    rows = [Incoming(n, "power", power.method, now - timedelta(hours=n), 1.0, "on/off") for n in range(300)]
    source = water.source_of(power.instrument.equipment)
    take_in(tank=tank, source=source, rows=rows, origin=uuid.uuid4(), received_at=now)
    actions.judge_tank(tank=tank, at=now)
    assert "stuck" not in open_rows()


def test_one_that_reports_every_minute_is_looked_at_by_the_hour(tank, measure):
    Instrument.objects.update(interval_minutes=1)
    now = timezone.now().replace(minute=30)
    measure.instrument.refresh_from_db()
    begun = now.replace(minute=0) - timedelta(hours=400)
    rows = [
        Incoming(
            n,
            "alkalinity",
            measure.method,
            begun + timedelta(hours=n),
            WAVES[n % 7] if n < 360 else 8.0,
            "dKH",
        )
        for n in range(400)
    ]
    source = water.source_of(measure.instrument.equipment)
    take_in(tank=tank, source=source, rows=rows, origin=uuid.uuid4(), received_at=now)

    actions.judge_tank(tank=tank, at=now)

    assert "40 results alike" in open_rows()["stuck"].why


def by_hand(tank, value, at):
    kit = make_method("alkalinity", name=f"kit {uuid.uuid4()}"[:20], tolerance_rel=0.01)
    return make_reading(tank, str(value), method=kit, at=at)


def test_three_tests_by_hand_that_are_over_on_average_put_it_to_be_checked(tank, measure):
    """Each alone cannot tell: 0.40 over, allowed 0.3, the comparison good to 0.1."""
    now = timezone.now()
    for days in (15, 8, 1):
        at = now - timedelta(days=days)
        send(measure, [8.4, 8.4], until=at, hours=2)
        by_hand(tank, 8.0, at)
    actions.judge_tank(tank=tank, at=now - timedelta(days=15))
    assert open_rows() == {}

    actions.judge_tank(tank=tank, at=now)

    row = open_rows()["disagrees"]
    assert "on average" in row.sentence and "3 tests" in row.sentence
    assert trust_of(measure) == "to_check"
    assert TrustMove.objects.get().why == "The last tests by hand contradict it on average."


def test_a_difference_of_a_quarter_is_called_a_slip(tank, measure):
    now = timezone.now()
    send(measure, [2.9], until=now - timedelta(hours=1))
    by_hand(tank, 8.0, now - timedelta(hours=1))

    actions.judge_tank(tank=tank, at=now)

    row = open_rows()["disagrees"]
    assert row.word == "slip" and "a unit or a slip is likelier" in row.sentence


def test_what_was_before_a_calibration_tells_nothing_after_it(tank, measure):
    now = timezone.now()
    send(measure, [9.2], until=now - timedelta(hours=5))
    by_hand(tank, 8.0, now - timedelta(hours=5))
    actions.judge_tank(tank=tank, at=now - timedelta(hours=4))
    assert "disagrees" in open_rows()

    record_calibration(
        measure=measure,
        reference=8.0,
        before=9.2,
        after=8.0,
        at=now - timedelta(hours=2),
        by=None,
        origin=uuid.uuid4(),
        received_at=now,
    )
    actions.judge_tank(tank=tank, at=now)

    assert "disagrees" not in open_rows()


def test_a_drift_is_told_before_it_leaves_the_tolerance(tank, measure):
    now = timezone.now()
    for number, days in enumerate((35, 28, 21, 14, 7, 0.1)):
        at = now - timedelta(days=days)
        send(measure, [8.0 + 0.045 * number], until=at)
        by_hand(tank, 8.0, at)

    actions.judge_tank(tank=tank, at=now)

    row = open_rows()["drifts"]
    assert row.severity == 3 and "leaves its tolerance in" in row.sentence and "6 tests by hand" in row.why


def test_a_standard_that_it_misses_the_same_way_again_and_again_is_said(tank, measure):
    now = timezone.now()
    for number, before in enumerate((8.0, 8.05, 8.35, 8.36)):
        at = now - timedelta(days=40 - 10 * number)
        record_calibration(
            measure=measure,
            reference=8.0,
            before=before,
            after=8.0,
            at=at,
            by=None,
            origin=uuid.uuid4(),
            received_at=at,
        )
        actions.judge_tank(tank=tank, at=at)
        assert ("checks" in open_rows()) == (number == 3)

    assert "2_2s" in open_rows()["checks"].why
    record_calibration(
        measure=measure,
        reference=8.0,
        before=8.0,
        after=8.0,
        at=now,
        by=None,
        origin=uuid.uuid4(),
        received_at=now,
    )
    actions.judge_tank(tank=tank, at=now)
    assert "checks" not in open_rows()


def test_a_value_that_stands_alone_waits_for_the_next(tank, measure):
    now = timezone.now()
    send(measure, [*WAVES, 8.0, 7.9, 2.9], until=now - timedelta(hours=6))

    actions.judge_tank(tank=tank, at=now - timedelta(hours=5))
    rows = open_rows()
    assert set(rows) == {"jump"} and "jumped from 7.9 to 2.9 dKH" in rows["jump"].sentence

    send(measure, [2.8], until=now)
    actions.judge_tank(tank=tank, at=now)
    assert set(open_rows()) == {"band"}


def test_a_value_that_stands_alone_and_is_back_alarms_nobody(tank, measure):
    now = timezone.now()
    send(measure, [*WAVES, 8.0, 7.9, 2.9], until=now - timedelta(hours=6))
    actions.judge_tank(tank=tank, at=now - timedelta(hours=5))
    send(measure, [8.0], until=now)

    actions.judge_tank(tank=tank, at=now)

    assert open_rows() == {}
    assert set(Attention.objects.values_list("kind", flat=True)) == {"jump"}


def test_what_a_device_says_of_itself_stands_until_it_says_otherwise_or_a_week(tank, measure):
    now = timezone.now()

    def says(kind, on, at, text=""):
        Sign.objects.create(instrument=measure.instrument, kind=kind, on=on, text=text, at=at, received_at=at)
        actions.judge_tank(tank=tank, at=at)

    says("waste_full", True, now - timedelta(days=2), "full")
    says("alive", True, now - timedelta(days=2))
    (said,) = open_rows().values()
    assert said.sentence.endswith(": its waste bottle is full.")
    says("waste_full", False, now - timedelta(days=1))
    assert open_rows() == {}
    says("error", True, now, "pump")
    assert "“pump”" in open_rows()["sign"].why
    actions.judge_tank(tank=tank, at=now + timedelta(days=8))
    assert open_rows() == {}


def test_a_bottle_is_told_on_the_day_before_its_last_test(tank, measure):
    now = timezone.now()
    type(measure).objects.update(ml_per_test=5, reagent=make_item(name="titrant"))
    record_load(
        measure=measure, ml=100, at=now - timedelta(days=4.2), by=None, origin=uuid.uuid4(), received_at=now
    )

    actions.judge_tank(tank=tank, at=now - timedelta(days=1))
    assert "bottle" not in open_rows()
    actions.judge_tank(tank=tank, at=now)

    assert "has reagent for 3 more tests of alkalinity" in open_rows()["bottle"].sentence


def test_of_a_silent_instrument_whose_bottle_is_full_power_or_line_is_said(measure):
    now = timezone.now()
    type(measure).objects.update(ml_per_test=5, reagent=make_item(name="titrant"))
    record_load(
        measure=measure, ml=1000, at=now - timedelta(days=1), by=None, origin=uuid.uuid4(), received_at=now
    )
    deliver(measure.instrument, now - timedelta(hours=10))

    actions.watch_silence(at=now)

    assert "Power or line first" in open_rows()["silent"].sentence


def test_a_container_that_gives_nothing_any_more_and_is_empty_is_said(tank):
    now = timezone.now()
    channel = make_channel(tank, container_ml=1000)
    channel.refills.create(at=now - timedelta(days=2), ml_now=0, received_at=now)

    actions.judge_tank(tank=tank, at=now)

    assert "is empty" in open_rows()["container"].sentence


def deliver(instrument, at, stored=1):
    Delivery.objects.create(
        instrument=instrument,
        sha256=uuid.uuid4().hex,
        media_type="x",
        body="",
        received_at=at,
        state="taken",
        stored=stored,
        held=1 - stored,
    )
    if stored:
        Instrument.objects.filter(pk=instrument.pk).update(last_contact_at=at)


def test_silence_is_told_by_the_instruments_own_habit(measure):
    now = timezone.now()
    for number in range(60):
        deliver(measure.instrument, now - timedelta(hours=7 * number + 1))
    Instrument.objects.update(grace_minutes=60, last_contact_at=now - timedelta(hours=1))
    assert actions.learn_habits(at=now) == 1
    assert actions.learn_habits(at=now) == 0
    measure.instrument.refresh_from_db()
    assert late_after(measure.instrument) == round(1.25 * 7 * 60)

    assert actions.watch_silence(at=now + timedelta(hours=7)) == []
    assert actions.watch_silence(at=now + timedelta(hours=8)) == [measure.instrument_id]


def test_one_that_sends_only_what_cannot_be_used_is_alive_but_useless(measure):
    now = timezone.now()
    deliver(measure.instrument, now - timedelta(hours=12))
    deliver(measure.instrument, now - timedelta(hours=1), stored=0)

    assert actions.watch_silence(at=now) == []
    assert "nothing that can be used" in open_rows()["useless"].sentence

    deliver(measure.instrument, now)
    actions.watch_silence(at=now)
    assert open_rows() == {}


def test_one_that_fell_silent_with_its_bottle_used_up_is_told_so(measure):
    now = timezone.now()
    type(measure).objects.update(ml_per_test=5, reagent=make_item(name="titrant"))
    record_load(
        measure=measure, ml=100, at=now - timedelta(days=5.4), by=None, origin=uuid.uuid4(), received_at=now
    )
    deliver(measure.instrument, now - timedelta(hours=10))

    actions.watch_silence(at=now)

    row = open_rows()["silent"]
    assert row.word == "no_reagent" and "its titrant is used up" in row.sentence


def test_what_hangs_on_nothing_new_is_not_judged_anew_and_stands(
    tank, measure, django_assert_max_num_queries
):
    now = timezone.now()
    send(measure, [9.2], until=now - timedelta(days=6))
    by_hand(tank, 8.0, now - timedelta(days=6))
    actions.judge_tank(tank=tank, at=now - timedelta(days=5))
    assert "disagrees" in open_rows()
    with django_assert_max_num_queries(25):
        actions.judge_tank(tank=tank, at=now, since=now - timedelta(hours=1))
    assert "disagrees" in open_rows()
    actions.judge_tank(tank=tank, at=now + timedelta(days=20), since=now + timedelta(days=20))
    assert "disagrees" not in open_rows()


def test_a_value_that_hovers_on_its_mark_stays_out_until_it_is_inside_by_two_steps(tank, measure):
    """The band begins at 7.2; the display shows steps of 0.05."""
    now = timezone.now()
    for hours, value, stands in (
        (30, 7.0, True),
        (24, 7.2, True),
        (18, 7.25, True),
        (12, 7.35, False),
        (6, 7.2, False),
    ):
        at = now - timedelta(hours=hours)
        send(measure, [value], until=at)
        actions.judge_tank(tank=tank, at=at)
        assert ("band" in open_rows()) is stands, value


def test_a_test_by_hand_on_the_mark_is_in_band_at_once(tank):
    now = timezone.now()
    by_hand(tank, 7.1, now - timedelta(hours=2))
    actions.judge_tank(tank=tank, at=now - timedelta(hours=2))
    assert "band" in open_rows()
    by_hand(tank, 7.2, now)
    actions.judge_tank(tank=tank, at=now)

    assert "band" not in open_rows()


def photographed(measure, *, by, at, value=7.8):
    """Its display, photographed and read."""
    body = picture("PNG", tone=int(value * 10))
    photo = make_display_photo(measure.instrument, by=by, at=at, body=body)
    read_display(photo=photo, shown=Shown(at=at, values={measure.pk: value}), by=by, at=at)


@pytest.mark.parametrize(("how", "silent"), [("https", True), ("photo", False)])
def test_a_photo_of_its_display_ends_no_silence_of_a_line(tank, how, silent):
    """A line that is down stays down, however often somebody reads the display; one without a line was heard."""
    now = timezone.now()
    row = make_instrument(tank, reports_by=how, last_contact_at=now - timedelta(days=3))
    measure = make_measure(row)
    actions.watch_silence(at=now)
    assert "silent" in open_rows()

    photographed(measure, by=make_owner(), at=now)
    actions.watch_silence(at=now + timedelta(minutes=1))

    assert ("silent" in open_rows()) is silent
    assert "useless" not in open_rows()


def test_a_display_that_nobody_read_for_long_is_said_as_that(tank):
    now = timezone.now()
    make_instrument(tank, reports_by="photo", last_contact_at=now - timedelta(days=3))

    actions.watch_silence(at=now)

    assert "Somebody reads its display" in open_rows()["silent"].sentence


@pytest.mark.parametrize(("how", "late"), [("https", 420), ("photo", 1800)])
def test_photos_teach_nothing_of_a_lines_habit(tank, how, late):
    """Read once a day for 22 days: of an instrument without a line that is its habit, and a quarter over it is late."""
    now, owner = timezone.now(), make_owner()
    measure = make_measure(make_instrument(tank, reports_by=how, interval_minutes=360, grace_minutes=60))
    for day in range(22, 0, -1):
        photographed(measure, by=owner, at=now - timedelta(days=day), value=day)

    actions.learn_habits(at=now)

    measure.instrument.refresh_from_db()
    assert late_after(measure.instrument) == late


def test_a_silent_one_that_then_sends_what_cannot_be_used_is_useless_and_silent_no_more(measure):
    now = timezone.now()
    deliver(measure.instrument, now - timedelta(hours=12))
    assert actions.watch_silence(at=now) == [measure.instrument_id]

    deliver(measure.instrument, now + timedelta(minutes=1), stored=0)
    assert actions.watch_silence(at=now + timedelta(minutes=2)) == []
    assert set(open_rows()) == {"useless"}

    assert actions.watch_silence(at=now + timedelta(hours=12)) == [measure.instrument_id]
    assert set(open_rows()) == {"silent"}
