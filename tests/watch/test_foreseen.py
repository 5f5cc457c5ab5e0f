"""What will go wrong as it is set is said before it does, and cleared when it is set otherwise."""

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from servicedesk.instruments.models import Instrument, Measure
from servicedesk.watch import actions
from servicedesk.watch.models import Attention
from tests.factories.tanks import (
    make_band,
    make_channel,
    make_instrument,
    make_measure,
    make_method,
    make_solution,
    make_tank,
    make_tank_test,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def tank():
    tank = make_tank(net_l=200, gross_l=250)
    make_band(tank, max_rise_per_day=0.5)
    return tank


def said(tank):
    actions.judge_tank(tank=tank, at=timezone.now())
    return list(
        Attention.objects.filter(kind="foreseen", cleared_at__isnull=True)
        .order_by("key")
        .values_list("sentence", flat=True)
    )


def runs(channel, ml):
    now = timezone.now()
    channel.rates.create(at=now - timedelta(minutes=1), ml_per_day=ml, origin=uuid.uuid4(), received_at=now)


def test_what_is_dosed_and_never_tested_is_said_until_somebody_tests_it(tank):
    make_channel(tank, solution=make_solution("alkalinity", per_ml=1))
    assert said(tank) == ["Alkalinity is dosed here and nobody tests it."]

    make_tank_test(tank)
    assert said(tank) == []


def test_an_instrument_that_measures_it_counts_as_a_test(tank):
    make_channel(tank, solution=make_solution("alkalinity", per_ml=1))
    make_measure(make_instrument(tank))

    assert said(tank) == []


def test_a_channel_that_could_raise_it_far_faster_than_is_safe_is_said(tank):
    make_tank_test(tank)
    channel = make_channel(tank, solution=make_solution("alkalinity", per_ml=10))
    runs(channel, 20)
    assert said(tank) == []  # 1 dKH a day with nothing used up: a tank that uses it up needs that

    runs(channel, 40)
    (sentence,) = said(tank)
    assert "could raise alkalinity by 2.0 dKH a day; 0.5 dKH is safe" in sentence


def test_of_a_driven_channel_what_it_may_give_counts(tank):
    make_tank_test(tank)
    make_channel(tank, solution=make_solution("alkalinity", per_ml=10), driven=True, max_ml_per_day=100)

    assert len(said(tank)) == 1


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (7.5, 9.5, "doses alkalinity up to 9.5 dKH, over the band"),
        (6.5, 8.0, "lets alkalinity fall to 6.5 dKH, under the band"),
        (7.5, 8.5, ""),
        (None, None, ""),
    ],
)
def test_set_points_that_contradict_the_band_are_said(tank, low, high, words):
    make_tank_test(tank)
    channel = make_channel(tank, solution=make_solution("alkalinity", per_ml=1), driven=True)
    instrument = make_instrument(
        tank, own_dosing="set_points", dosing_channel=channel, dose_low=low, dose_high=high
    )
    make_measure(instrument)

    found = said(tank)

    assert (words in found[0]) if words else found == []
    Instrument.objects.update(own_dosing="none")
    assert said(tank) == []


def test_a_top_up_is_not_tested_and_what_has_no_band_has_no_safe_change(tank):
    make_channel(tank, solution=make_solution("level", per_ml=0.001))
    magnesium = make_channel(tank, solution=make_solution("magnesium", per_ml=1000))
    make_tank_test(tank, "magnesium")
    runs(magnesium, 500)

    assert said(tank) == []


def test_a_schedule_that_does_not_fit_the_day_is_said_until_it_does(tank):
    instrument = make_instrument(tank)
    often = make_measure(instrument, tests_per_day=48, minutes_per_test=20)
    make_measure(
        instrument, parameter="calcium", sent_name="ca", unit="mg/L", method=make_method("calcium"),
        tests_per_day=24, minutes_per_test=25,
    )  # fmt: skip
    (sentence,) = said(tank)
    assert "is set to test for 26 hours a day: some of its tests cannot be made." in sentence

    Measure.objects.filter(pk=often.pk).update(minutes_per_test=17.5)  # 14 h and 10 h: just a day
    assert said(tank) == []
