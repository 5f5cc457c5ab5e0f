"""What moves faster in a day than is safe is said, scatter taken off, unless somebody did it on purpose."""

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from servicedesk.core.tracking.pace import pace
from servicedesk.dosing.models import Dose
from servicedesk.watch import actions
from servicedesk.watch.models import Attention
from servicedesk.water import actions as water
from servicedesk.water.actions import Incoming, take_in
from servicedesk.water.models import WaterChange
from tests.factories.tanks import (
    make_band,
    make_instrument,
    make_measure,
    make_method,
    make_solution,
    make_tank,
)


def test_the_pace_is_that_of_the_ends_with_scatter_taken_off():
    steady = [(float(h), 8.0 + 0.05 * (h % 2)) for h in range(0, 25, 2)]
    found = pace(steady)
    assert found is not None and found.sure_per_day == 0

    rising = pace([(float(h), 8.0 + h / 12) for h in range(0, 25, 2)])
    assert rising is not None and rising.moved == pytest.approx(20 / 12) and rising.hours == 20
    assert rising.sure_per_day == pytest.approx((20 / 12 - 3 / 6) * 24 / 20)
    falling = pace([(float(h), 8.0 - h / 12) for h in range(0, 25, 2)])
    assert falling is not None and falling.sure_per_day == pytest.approx(-rising.sure_per_day)


def test_few_values_or_a_short_time_have_no_pace_and_what_is_no_number_is_refused():
    assert pace([(float(h), 8.0) for h in range(5)]) is None
    assert pace([(h / 10, 8.0) for h in range(20)]) is None
    with pytest.raises(ValueError, match="numbers"):
        pace([(0.0, float("nan"))])


@pytest.fixture
def tank(db):
    tank = make_tank()
    make_band(tank, low=6, high=10, alarm_low=5, alarm_high=12, max_rise_per_day=0.5, max_fall_per_day=0.8)
    return tank


def send(tank, values, *, now):
    measure = make_measure(make_instrument(tank), method=make_method(kind="titrator", tolerance_abs=0.3))
    rows = [
        Incoming(
            n, "alkalinity", measure.method, now - timedelta(hours=2 * (len(values) - 1 - n)), value, "dKH"
        )
        for n, value in enumerate(values)
    ]
    source = water.source_of(measure.instrument.equipment)
    take_in(tank=tank, source=source, rows=rows, origin=uuid.uuid4(), received_at=now)
    actions.judge_tank(tank=tank, at=now)
    return list(
        Attention.objects.filter(kind="speed", cleared_at__isnull=True).values_list("sentence", flat=True)
    )


RISING = [7.0 + 0.1 * n for n in range(13)]


def test_a_rise_faster_than_is_safe_is_said_with_its_numbers(tank):
    (sentence,) = send(tank, RISING, now=timezone.now())

    assert sentence == "Alkalinity rose by 1.0 dKH in 20 hours; 0.5 dKH a day is safe."


def test_a_fall_has_its_own_measure_and_a_slow_one_is_nothing(tank):
    now = timezone.now()
    assert send(tank, [8.2 - 0.06 * n for n in range(13)], now=now) == []
    (sentence,) = send(make_other(), [8.2 - 0.12 * n for n in range(13)], now=now)
    assert sentence.startswith("Alkalinity fell by 1.2 dKH")


def make_other():
    other = make_tank()
    make_band(other, low=6, high=10, alarm_low=5, alarm_high=12, max_rise_per_day=0.5, max_fall_per_day=0.8)
    return other


def test_what_somebody_did_on_purpose_is_not_said(tank):
    now = timezone.now()
    WaterChange.objects.create(
        tank=tank, at=now - timedelta(hours=8), litres=40, origin=uuid.uuid4(), received_at=now
    )
    assert send(tank, RISING, now=now) == []

    other = make_other()
    Dose.objects.create(
        tank=other,
        solution=make_solution("alkalinity"),
        kind="by_hand",
        at=now - timedelta(hours=8),
        ml=50,
        origin=uuid.uuid4(),
        received_at=now,
    )
    assert send(other, RISING, now=now) == []


def test_without_a_safe_change_nothing_is_too_fast(tank):
    tank.bands.update(max_rise_per_day=None)
    assert send(tank, RISING, now=timezone.now()) == []
    tank.bands.update(max_fall_per_day=None)
    actions.judge_tank(tank=tank, at=timezone.now())

    assert not Attention.objects.filter(kind="speed").exists()
