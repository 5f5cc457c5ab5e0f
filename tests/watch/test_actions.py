from datetime import timedelta

import pytest
from django.utils import timezone

from servicedesk.instruments.models import Instrument
from servicedesk.watch import actions
from servicedesk.watch.models import Attention
from servicedesk.water import actions as water
from servicedesk.water.models import Touched
from tests.factories.tanks import (
    make_band,
    make_instrument,
    make_measure,
    make_method,
    make_reading,
    make_tank,
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

    assert any("is 1.30 under the last test by hand of alkalinity" in s for s in open_sentences())
