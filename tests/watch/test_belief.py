"""A value of an instrument in doubt may raise attention and never clears what a believed value raised."""

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from servicedesk.instruments.actions.trust import move_trust
from servicedesk.watch import actions
from servicedesk.watch.models import Attention
from servicedesk.water import actions as water
from tests.factories.tanks import (
    make_band,
    make_instrument,
    make_measure,
    make_method,
    make_reading,
    make_tank,
)

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def now():
    return timezone.now()


@pytest.fixture
def tank():
    tank = make_tank()
    make_band(tank)
    return tank


@pytest.fixture
def titrator(tank):
    method = make_method(kind="titrator", tolerance_rel=0, tolerance_abs=0.2)
    return make_measure(make_instrument(tank), method=method)


def doubt(measure, at, trust="to_check"):
    origin = uuid.uuid4()
    move_trust(measure=measure, trust=trust, why="New reagent.", at=at, origin=origin, received_at=at)


def show(measure, value, at, **given):
    source = water.source_of(measure.instrument.equipment)
    make_reading(measure.instrument.tank, value, at=at, method=measure.method, source=source, **given)


def open_sentences():
    rows = Attention.objects.filter(
        cleared_at__isnull=True, word__in=["below", "above", "below_limit", "above_limit"]
    )
    return sorted(rows.values_list("sentence", flat=True))


LOW = "Alkalinity 4.9 dKH, under the limit of 6.3."


@pytest.mark.parametrize("trust", ["to_check", "not_to_act_on"])
def test_an_instrument_in_doubt_clears_no_alarm_that_stands_on_a_test_by_hand(tank, titrator, now, trust):
    doubt(titrator, now - 9 * HOUR, trust)
    make_reading(tank, "4.9", at=now - 4 * HOUR)
    actions.judge_tank(tank=tank, at=now - 3 * HOUR)
    show(titrator, "7.9", now - HOUR)
    actions.judge_tank(tank=tank, at=now)

    assert open_sentences() == [LOW]
    assert Attention.objects.get(sentence=LOW).since == now - 4 * HOUR


def test_an_instrument_that_a_test_by_hand_contradicts_just_now_clears_no_alarm(tank, titrator, now):
    make_reading(tank, "4.9", at=now - 4 * HOUR)
    show(titrator, "7.9", now - HOUR)
    actions.judge_tank(tank=tank, at=now)

    assert open_sentences() == [LOW]


def test_an_instrument_in_doubt_does_not_clear_what_it_raised_itself(tank, titrator, now):
    doubt(titrator, now - 9 * HOUR)
    show(titrator, "5.9", now - 4 * HOUR)
    actions.judge_tank(tank=tank, at=now - 3 * HOUR)
    show(titrator, "7.9", now - HOUR)
    actions.judge_tank(tank=tank, at=now)

    assert len(open_sentences()) == 1


def test_an_instrument_that_is_doubted_since_does_not_clear_what_it_raised_while_it_was_believed(
    tank, titrator, now
):
    make_reading(tank, "8.0", at=now - 99 * HOUR)
    show(titrator, "5.9", now - 4 * HOUR)
    actions.judge_tank(tank=tank, at=now - 3 * HOUR)
    doubt(titrator, now - 2 * HOUR)
    show(titrator, "7.9", now - HOUR)
    actions.judge_tank(tank=tank, at=now)

    assert open_sentences() == ["Alkalinity 5.9 dKH, under the limit of 6.3."]


@pytest.mark.parametrize(
    ("trust", "words"), [("to_check", "to be checked"), ("not_to_act_on", "not to be acted on")]
)
def test_an_instrument_in_doubt_raises_attention_and_its_doubt_is_said(tank, titrator, now, trust, words):
    doubt(titrator, now - 9 * HOUR, trust)
    make_reading(tank, "8.0", at=now - 4 * HOUR)
    show(titrator, "5.9", now - HOUR)
    actions.judge_tank(tank=tank, at=now)

    name = titrator.instrument.equipment.name
    assert open_sentences() == [
        f"{name}, which is {words}, shows alkalinity 5.9 dKH, under the limit of 6.3."
    ]


def test_a_later_test_by_hand_clears_what_an_instrument_in_doubt_raised(tank, titrator, now):
    doubt(titrator, now - 9 * HOUR)
    show(titrator, "5.9", now - 4 * HOUR)
    actions.judge_tank(tank=tank, at=now - 3 * HOUR)
    make_reading(tank, "8.0", at=now - HOUR)
    actions.judge_tank(tank=tank, at=now)

    assert open_sentences() == []


def test_a_test_by_hand_that_arrives_late_clears_what_an_instrument_in_doubt_raised_before_it(
    tank, titrator, now
):
    doubt(titrator, now - 9 * HOUR)
    show(titrator, "5.9", now - 4 * HOUR)
    actions.judge_tank(tank=tank, at=now - 3 * HOUR)
    show(titrator, "7.0", now - HOUR)
    make_reading(tank, "8.0", at=now - 2 * HOUR)
    show(titrator, "7.3", now - HOUR / 2)
    actions.judge_tank(tank=tank, at=now)

    assert open_sentences() == []


def test_what_an_instrument_in_doubt_says_too_is_told_once(tank, titrator, now):
    doubt(titrator, now - 9 * HOUR)
    make_reading(tank, "4.9", at=now - 4 * HOUR)
    show(titrator, "5.9", now - HOUR)
    actions.judge_tank(tank=tank, at=now)

    assert open_sentences() == [LOW]


def test_an_instrument_in_doubt_that_shows_worse_than_a_test_by_hand_is_told_beside_it(tank, titrator, now):
    doubt(titrator, now - 9 * HOUR)
    make_reading(tank, "7.0", at=now - 4 * HOUR)
    show(titrator, "5.9", now - HOUR)
    actions.judge_tank(tank=tank, at=now)

    assert len(open_sentences()) == 2


def test_a_believed_instrument_clears_an_alarm_of_a_test_by_hand(tank, titrator, now):
    make_reading(tank, "4.9", at=now - 72 * HOUR)
    actions.judge_tank(tank=tank, at=now - 71 * HOUR)
    assert open_sentences() == [LOW]
    show(titrator, "7.9", now - HOUR)
    actions.judge_tank(tank=tank, at=now)

    assert open_sentences() == []


def disagreements(tank, parameter, unit, apart, now):
    method = make_method(parameter, tolerance_rel=0, tolerance_abs=0.1)
    measure = make_measure(make_instrument(tank), parameter, unit=unit, method=method)
    given = {"parameter": parameter, "unit": unit}
    make_reading(tank, "8.0", at=now - 40 * HOUR, method=method, **given)
    show(measure, "9.5", now - 40 * HOUR + apart, **given)
    actions.judge_tank(tank=tank, at=now)
    return list(Attention.objects.filter(kind="disagrees").values_list("sentence", flat=True))


SWINGS = [("ph", "NBS scale"), ("temperature", "C"), ("dissolved_oxygen", "mg/L")]


@pytest.mark.parametrize(("parameter", "unit"), SWINGS)
def test_what_swings_by_day_and_night_is_not_compared_over_more_than_an_hour(tank, now, parameter, unit):
    assert disagreements(tank, parameter, unit, timedelta(minutes=61), now) == []


@pytest.mark.parametrize(("parameter", "unit"), SWINGS)
def test_what_swings_by_day_and_night_is_compared_within_an_hour(tank, now, parameter, unit):
    assert len(disagreements(tank, parameter, unit, timedelta(minutes=60), now)) == 1


def test_what_does_not_swing_is_compared_over_two_days(tank, now):
    assert len(disagreements(tank, "alkalinity", "dKH", timedelta(hours=30), now)) == 1


@pytest.mark.parametrize(
    ("parameter", "unit", "words"),
    [("ph", "NBS scale", "of pH:"), ("dissolved_oxygen", "mg/L", "of dissolved oxygen:")],
)
def test_a_parameter_is_named_in_words(tank, now, parameter, unit, words):
    assert words in disagreements(tank, parameter, unit, HOUR, now)[0]


def test_what_an_instrument_in_doubt_raised_does_not_clear_by_age(tank, titrator, now):
    doubt(titrator, now - 9 * HOUR)
    show(titrator, "5.9", now - 4 * HOUR)
    actions.judge_tank(tank=tank, at=now)
    [before] = open_sentences()
    actions.judge_tank(tank=tank, at=now + 40 * 24 * HOUR)

    assert open_sentences() == [f"{before} Not tested since."]
