"""A result that came before a dose was mixed in decides nothing alone; a schedule in which that is always so is said before anything goes wrong."""

import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from servicedesk.dispatch.actions import withdraw
from servicedesk.dosing.actions import record_dose
from servicedesk.dosing.choices import DoseKind
from servicedesk.instruments.actions import move_trust
from servicedesk.instruments.models import Instrument
from servicedesk.instruments.queries import standings_of
from servicedesk.instruments.queries.mixing import minutes_since_dose
from servicedesk.instruments.queries.pairs import last_pairs
from servicedesk.watch import actions
from servicedesk.watch.models import Attention
from servicedesk.water import actions as water
from servicedesk.water.actions import Incoming, take_in
from servicedesk.water.models import Touched
from servicedesk.water.queries import latest_of_series
from tests.factories.people import make_business
from tests.factories.tanks import (
    make_band,
    make_channel,
    make_instrument,
    make_measure,
    make_method,
    make_reading,
    make_solution,
    make_tank,
    make_tank_test,
)

pytestmark = pytest.mark.django_db
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


@pytest.fixture
def now():
    make_business()
    return timezone.now().replace(minute=50, second=0, microsecond=0)


@pytest.fixture
def tank():
    tank = make_tank()
    make_band(tank, low=7, high=9, alarm_low=6, alarm_high=11, max_rise_per_day=0.5, max_fall_per_day=0.5)
    make_tank_test(tank)
    return tank


@pytest.fixture
def measure(tank):
    instrument = make_instrument(tank, after_dose_minutes=30)
    method = make_method(kind="titrator", tolerance_abs=0.1, tolerance_rel=0, resolution=0.05)
    return make_measure(instrument, method=method)


@pytest.fixture
def solution():
    return make_solution("alkalinity")


def shows(measure, *rows, parameter="alkalinity", unit="dKH"):
    """(time, value) of one instrument."""
    tank = measure.instrument.tank
    incoming = [Incoming(n, parameter, measure.method, at, value, unit) for n, (at, value) in enumerate(rows)]
    source = water.source_of(measure.instrument.equipment)
    take_in(
        tank=tank, source=source, rows=incoming, origin=uuid.uuid4(), received_at=max(at for at, _v in rows)
    )


def dosed(tank, solution, *times, kind=DoseKind.COMMANDED):
    given = {"tank": tank, "solution": solution, "ml": 5, "by": None, "kind": kind}
    return [record_dose(at=at, origin=uuid.uuid4(), received_at=at, **given) for at in times]


def opened(*kinds):
    rows = Attention.objects.filter(cleared_at__isnull=True, kind__in=kinds).order_by("key")
    return [row.sentence for row in rows]


BAND = ("out_of_band", "beyond_limit")


def test_an_alarm_waits_for_a_result_of_mixed_water(tank, measure, solution, now):
    shows(measure, (now - 2 * HOUR, 8.0))
    dosed(tank, solution, now - 32 * MINUTE)
    shows(measure, (now - 20 * MINUTE, 11.5))
    actions.judge_tank(tank=tank, at=now)
    assert opened(*BAND) == []

    shows(measure, (now + HOUR, 8.1))
    actions.judge_tank(tank=tank, at=now + HOUR)
    assert opened(*BAND, "jump") == []


def test_what_the_following_result_confirms_is_an_alarm(tank, measure, solution, now):
    shows(measure, (now - 2 * HOUR, 8.0))
    dosed(tank, solution, now - 32 * MINUTE, now - 12 * MINUTE)
    shows(measure, (now - 20 * MINUTE, 11.5), (now - 5 * MINUTE, 11.55))

    actions.judge_tank(tank=tank, at=now)

    (sentence,) = opened(*BAND)
    assert "11.50" in sentence or "11.5" in sentence


def test_a_result_that_calms_an_alarm_must_be_of_mixed_water_too(tank, measure, solution, now):
    shows(measure, (now - 2 * HOUR, 6.5))
    actions.judge_tank(tank=tank, at=now - 2 * HOUR)
    assert len(opened(*BAND)) == 1
    dosed(tank, solution, now - 25 * MINUTE)
    shows(measure, (now - 20 * MINUTE, 8.0))
    actions.judge_tank(tank=tank, at=now)

    assert len(opened(*BAND)) == 1


def test_a_test_by_hand_decides_beside_a_result_that_does_not_count(tank, measure, solution, now):
    shows(measure, (now - 3 * HOUR, 7.1))
    make_reading(tank, "6.9", at=now - HOUR)  # near enough that nobody is doubted
    dosed(tank, solution, now - 25 * MINUTE)
    shows(measure, (now - 20 * MINUTE, 7.1))
    actions.judge_tank(tank=tank, at=now)

    (sentence,) = opened(*BAND)
    assert sentence.startswith("Alkalinity 6.9 dKH, under the low mark")
    assert not measure.trust_moves.exists()


@pytest.mark.parametrize(("results", "alarms"), [(1, 0), (2, 0), (3, 1)])
def test_what_was_never_mixed_is_better_than_nothing_from_the_third_on(
    tank, measure, solution, now, results, alarms
):
    times = [now - (results - n) * HOUR for n in range(results)]
    dosed(tank, solution, *(at - 10 * MINUTE for at in times))
    shows(measure, *((at, 9.5 + n) for n, at in enumerate(times)))

    actions.judge_tank(tank=tank, at=now)

    assert len(opened(*BAND)) == alarms


def test_an_instrument_in_doubt_tells_nothing_alone_either(tank, measure, solution, now):
    measure.trust_moves.create(at=now - 9 * HOUR, trust="to_check", why="x", origin=uuid.uuid4(), received_at=now)  # fmt: skip
    shows(measure, (now - 3 * HOUR, 8.0))
    dosed(tank, solution, now - 25 * MINUTE)
    shows(measure, (now - 20 * MINUTE, 12.0))

    actions.judge_tank(tank=tank, at=now)

    assert opened(*BAND) == []


def test_what_is_not_moved_or_not_said_to_need_time_is_judged_as_ever(tank, measure, now):
    dosed(tank, make_solution("nitrate", per_ml=1), now - 25 * MINUTE)
    shows(measure, (now - 2 * HOUR, 8.0), (now - 20 * MINUTE, 11.5))
    actions.judge_tank(tank=tank, at=now)
    assert len(opened(*BAND)) == 1

    other = make_tank()
    make_band(other)
    quick = make_measure(make_instrument(other))
    dosed(other, make_solution("alkalinity"), now - 25 * MINUTE)
    shows(quick, (now - 2 * HOUR, 8.0), (now - 20 * MINUTE, 11.5))
    actions.judge_tank(tank=other, at=now)
    assert len(opened(*BAND)) == 2


def test_a_dose_that_is_told_late_or_taken_back_is_judged_anew(tank, measure, solution, now):
    shows(measure, (now - 2 * HOUR, 8.0), (now - 20 * MINUTE, 11.5))
    actions.sweep(at=now)
    assert len(opened(*BAND)) == 1

    (dose,) = dosed(tank, solution, now - 25 * MINUTE)
    assert Touched.objects.get(tank=tank).since == dose.at
    actions.sweep(at=now + MINUTE)
    assert opened(*BAND) == []

    withdraw(withdrawn=dose.origin, why="it was not", at=now, origin=uuid.uuid4(), received_at=now)
    actions.judge_tank(tank=tank, at=now + 2 * MINUTE)
    assert len(opened(*BAND)) == 1


def test_a_jump_is_not_said_of_unmixed_water_and_its_history_is_of_mixed(tank, measure, solution, now):
    times = [now - n * HOUR for n in range(12, 0, -1)]
    dosed(tank, solution, *(at - 10 * MINUTE for at in times[1::5]))
    shows(measure, *((at, 10.5 if n % 5 == 1 else 8 + n / 100) for n, at in enumerate(times)))
    actions.judge_tank(tank=tank, at=now)
    assert opened("jump", *BAND) == []

    shows(measure, (now, 9.8))  # among what is mixed a jump, among all of it no news
    actions.judge_tank(tank=tank, at=now)
    assert len(opened("jump")) == 1


def test_the_pace_is_that_of_mixed_water(tank, measure, solution, now):
    times = [now - 2 * n * HOUR for n in range(12, -1, -1)]
    dosed(tank, solution, *(at - 10 * MINUTE for at in times[-3:-1]))
    shows(measure, *((at, 8.0 if n < 10 or n == 12 else 10.4 - n / 20) for n, at in enumerate(times)))

    actions.judge_tank(tank=tank, at=now)

    assert opened("speed") == []


def test_a_test_by_hand_is_compared_with_what_counts(tank, measure, solution, now):
    shows(measure, *((now - n * HOUR, 8.0) for n in range(8, 3, -1)))
    dosed(tank, solution, now - 145 * MINUTE, now - 85 * MINUTE)
    shows(measure, (now - 2 * HOUR, 9.5), (now - HOUR, 9.9))
    make_reading(tank, "8.0", at=now - 90 * MINUTE)

    actions.judge_tank(tank=tank, at=now)

    assert opened("disagrees") == []
    (pair,) = last_pairs(measure, since=now - timedelta(days=1), until=now, most=3)
    assert (pair.shown, pair.shown_at) == (8.0, now - 4 * HOUR)
    Instrument.objects.update(after_dose_minutes=0)
    measure.instrument.refresh_from_db()
    assert last_pairs(measure, since=now - timedelta(days=1), until=now, most=3)[0].shown > 9


def test_a_pair_of_which_nothing_counts_is_none(tank, measure, solution, now):
    dosed(tank, solution, now - 95 * MINUTE)
    shows(measure, (now - 85 * MINUTE, 9.5))
    make_reading(tank, "8.0", at=now - 90 * MINUTE)

    assert last_pairs(measure, since=now - timedelta(days=1), until=now, most=3) == []
    assert last_pairs(measure, since=now - timedelta(days=9), until=now - timedelta(days=8), most=3) == []


def test_of_what_it_no_longer_is_said_to_measure_only_the_same_value_confirms(tank, measure, solution, now):
    shows(measure, (now - 2 * HOUR, 8.0))
    dosed(tank, solution, now - 40 * MINUTE)
    shows(measure, (now - 30 * MINUTE, 11.5), (now - 20 * MINUTE, 11.55))
    make_measure(measure.instrument, "ph", unit="NBS scale")
    measure.delete()

    actions.judge_tank(tank=tank, at=now)

    assert opened(*BAND) == []


def test_which_values_came_before_a_dose_was_mixed_in(tank, measure, solution, now):
    def found():
        return list(minutes_since_dose(tank, latest_of_series([tank]), standings_of([tank])).values())

    make_reading(tank, "8.0", at=now - 3 * HOUR)
    assert found() == []
    dosed(tank, solution, now - 32 * MINUTE, kind=DoseKind.BY_HAND)
    shows(measure, (now - 20 * MINUTE, 8.0))
    assert found() == [12]
    move_trust(measure=measure, trust="to_check", why="x", at=now, origin=uuid.uuid4(), received_at=now)
    assert found() == [12]
    Instrument.objects.update(after_dose_minutes=12)
    assert found() == []


def hourly(tank, measure, solution, now, *, tested, dosed_at, hours=24):
    start = now.replace(minute=0)
    dosed(tank, solution, *(start - n * HOUR + dosed_at * MINUTE for n in range(hours, 0, -1)))
    shows(measure, *((start - n * HOUR + tested * MINUTE, 8.0) for n in range(hours, 0, -1)))


def test_tests_that_always_come_before_a_dose_is_mixed_in_are_said_with_another_minute(
    tank, measure, solution, now
):
    hourly(tank, measure, solution, now, tested=10, dosed_at=0)
    actions.judge_tank(tank=tank, at=now)

    (sentence,) = opened("foreseen")
    assert "tests alkalinity before a dose is mixed in: 24 of its last 24 results." in sentence
    assert sentence.endswith("Set its tests 34 minutes later, to minute 44 of the hour.")
    assert opened(*BAND) == []

    Instrument.objects.update(after_dose_minutes=10)
    actions.judge_tank(tank=tank, at=now)
    assert opened("foreseen") == []


def test_where_no_time_is_free_or_it_doses_by_itself_something_else_is_said(tank, measure, solution, now):
    hourly(tank, measure, solution, now, tested=10, dosed_at=0)
    Instrument.objects.update(after_dose_minutes=70)
    actions.judge_tank(tank=tank, at=now)
    assert opened("foreseen")[0].endswith("No time between the doses is free: set them further apart.")

    Instrument.objects.update(own_dosing="set_points", after_dose_minutes=30)
    actions.judge_tank(tank=tank, at=now)
    assert opened("foreseen")[0].endswith("It doses by itself: let more time pass between its tests.")


def test_tests_at_no_one_minute_are_told_by_how_much_later(tank, measure, solution, now):
    start = now - 20 * HOUR
    times = [start + n * 95 * MINUTE for n in range(12)]
    dosed(tank, solution, *(at - 10 * MINUTE for at in times))
    shows(measure, *((at, 8.0) for at in times))

    actions.judge_tank(tank=tank, at=now)

    assert "minutes later." in opened("foreseen")[0]


def test_what_is_set_and_not_reported_has_no_hours_and_says_nothing(tank, measure, now):
    channel = make_channel(tank)
    channel.rates.create(at=now - timedelta(days=3), ml_per_day=1, origin=uuid.uuid4(), received_at=now)
    shows(measure, *((now - n * HOUR, 8.0) for n in range(24, 0, -1)))

    actions.judge_tank(tank=tank, at=now)

    assert opened("foreseen") == []


def test_a_look_asks_no_more_where_no_instrument_needs_time_and_a_fixed_number_where_one_does(
    tank, measure, solution, now
):
    hourly(tank, measure, solution, now, tested=10, dosed_at=0, hours=48)

    def asked(minutes):
        Instrument.objects.update(after_dose_minutes=minutes)
        actions.judge_tank(tank=tank, at=now)
        with CaptureQueriesContext(connection) as questions:
            actions.judge_tank(tank=tank, at=now)
        return [q["sql"] for q in questions]

    without, with_it = asked(0), asked(5)
    doses = [sql for sql in without if "dosing_solution" in sql and '"composition"' in sql]
    assert not doses and len(with_it) <= len(without) + 2
