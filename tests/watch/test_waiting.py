"""A band may wait before it counts what an instrument shows as beyond, and say by how much a value has to be inside to be back."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from servicedesk.core.tracking.pace import began
from servicedesk.watch import actions
from servicedesk.watch.models import Attention
from servicedesk.water import actions as water
from servicedesk.water.actions import Incoming, take_in
from servicedesk.water.models import Touched
from tests.factories.tanks import (
    make_band,
    make_instrument,
    make_measure,
    make_method,
    make_reading,
    make_tank,
)

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


def minutes(number):
    return NOON + timedelta(minutes=number)


class Bath:
    """A tank with a thermometer that may be beyond 26.5 °C, and what it showed."""

    def __init__(self, **band):
        self.tank = make_tank()
        make_band(self.tank, "temperature", unit="C", low=24, target=25, high=26.5, alarm_low=20, alarm_high=30,
                  max_rise_per_day=None, max_fall_per_day=None, **band)  # fmt: skip
        instrument = make_instrument(self.tank)
        self.method = make_method(name="Thermometer", parameter="temperature", resolution=0.1)
        make_measure(instrument, parameter="temperature", sent_name="t", unit="C", method=self.method)
        self.source = water.source_of(instrument.equipment)
        for number in range(-600, 0, 60):
            self.shows(24.1 if number % 120 else 26.4, number)  # no single value is a leap in such a bath

    def shows(self, value, number):
        row = Incoming(0, "temperature", self.method, minutes(number), value, "C")
        take_in(
            tank=self.tank, source=self.source, rows=[row], origin=uuid.uuid4(), received_at=minutes(number)
        )

    def open_at(self, number):
        actions.sweep(at=minutes(number))
        rows = Attention.objects.filter(tank=self.tank, cleared_at__isnull=True, key__startswith="band:")
        return list(rows.values_list("word", flat=True))


def test_the_run_that_is_beyond_begins_after_the_last_value_that_is_not():
    rows = [(minutes(n), v) for n, v in enumerate((5.0, 1.0, 5.0, 6.0))]

    assert began(rows, beyond=lambda v: v > 4) == minutes(2)
    assert began(rows[2:], beyond=lambda v: v > 4) == minutes(2)
    for none in (rows[:2], []):
        with pytest.raises(ValueError, match="not beyond"):
            began(none, beyond=lambda v: v > 4)


@pytest.mark.django_db
def test_what_is_beyond_for_less_than_the_band_waits_is_no_alarm_and_then_it_is_one_without_further_news():
    bath = Bath(wait_minutes=30)
    bath.shows(27.0, 0)
    bath.shows(27.1, 10)

    assert [bath.open_at(n) for n in (11, 29)] == [[], []]
    assert bath.open_at(30) == ["above"]  # nothing more was sent meanwhile
    assert bath.open_at(32) == ["above"]
    assert not Touched.objects.exists()


@pytest.mark.django_db
def test_what_came_back_meanwhile_was_never_an_alarm_and_the_next_run_waits_anew():
    bath = Bath(wait_minutes=30)
    bath.shows(27.0, 0)
    bath.shows(25.2, 20)
    assert bath.open_at(31) == []
    bath.shows(27.0, 40)

    assert [bath.open_at(n) for n in (41, 69, 70)] == [[], [], ["above"]]
    assert Attention.objects.filter(key__startswith="band:").count() == 1


@pytest.mark.django_db
def test_what_stands_already_waits_for_nothing_when_it_gets_worse():
    bath = Bath(wait_minutes=30)
    bath.shows(27.0, 0)
    assert bath.open_at(30) == ["above"]
    bath.shows(31.0, 31)
    bath.shows(31.0, 32)

    assert bath.open_at(33) == ["above_limit"]


@pytest.mark.django_db
def test_a_change_of_sides_begins_the_wait_anew():
    bath = Bath(wait_minutes=30)
    bath.shows(23.0, 0)
    bath.shows(27.0, 20)

    assert [bath.open_at(n) for n in (31, 49, 50)] == [[], [], ["above"]]


@pytest.mark.django_db
def test_a_test_by_hand_waits_for_nothing():
    bath = Bath(wait_minutes=30)
    make_reading(bath.tank, "27.0", at=minutes(0), parameter="temperature", unit="C")

    assert bath.open_at(1) == ["above"]


@pytest.mark.django_db
def test_an_instrument_is_back_only_when_inside_by_the_bands_own_deadband():
    bath = Bath(deadband=1.0)
    bath.shows(27.0, 0)
    assert bath.open_at(1) == ["above"]
    bath.shows(25.6, 10)
    assert bath.open_at(11) == ["above"]
    bath.shows(25.4, 20)

    assert bath.open_at(21) == []


@pytest.mark.django_db
def test_with_a_deadband_of_nought_it_is_back_as_soon_as_it_is_inside():
    bath = Bath(deadband=0.0)
    bath.shows(27.0, 0)
    assert bath.open_at(1) == ["above"]
    bath.shows(26.4, 10)

    assert bath.open_at(11) == []


@pytest.mark.django_db
@pytest.mark.parametrize("wrong", [{"deadband": -0.1}, {"wait_minutes": 1441}])
def test_a_deadband_under_nought_and_a_wait_of_more_than_a_day_are_refused(wrong):
    with pytest.raises(IntegrityError), transaction.atomic():
        make_band(make_tank(), **wrong)
