"""What people add and how they set pumps: written down once, impossible amounts refused in words."""

import uuid
from datetime import timedelta

import pytest

from servicedesk.dosing import actions
from servicedesk.dosing.models import Dose, PumpCheck, RateChange, Refill
from servicedesk.water.models import Touched
from tests.factories.tanks import NOON, make_channel, make_solution, make_tank

pytestmark = pytest.mark.django_db
IMPOSSIBLE = [-1.0, float("nan"), float("inf"), 1e308]


@pytest.fixture
def tank():
    return make_tank()


@pytest.fixture
def channel(tank):
    return make_channel(tank, container_ml=1000)


def fact(**given):
    return {"at": NOON, "by": None, "origin": uuid.uuid4(), "received_at": NOON, **given}


@pytest.mark.parametrize("ml", [0, *IMPOSSIBLE])
def test_a_dose_that_cannot_be_is_refused(tank, ml):
    with pytest.raises(actions.NotDosed, match="say how much went in"):
        actions.record_dose(tank=tank, solution=make_solution(), ml=ml, **fact())
    assert not Dose.objects.exists()


def test_the_same_dose_twice_is_one_and_touches_its_tank_once(tank):
    said = {"tank": tank, "solution": make_solution(), "ml": 12.5, **fact()}
    first = actions.record_dose(**said)
    assert Touched.objects.get().since == NOON
    Touched.objects.all().delete()

    assert actions.record_dose(**said) == first
    assert Dose.objects.get().ml == 12.5
    assert not Touched.objects.exists()


@pytest.mark.parametrize("ml", IMPOSSIBLE)
def test_a_rate_that_cannot_be_is_refused_also_without_a_limit_of_the_channels_own(channel, ml):
    with pytest.raises(actions.NotDosed, match="this channel gives 0 to 1e\\+06"):
        actions.set_rate(channel=channel, ml_per_day=ml, **fact())
    assert not RateChange.objects.exists()


@pytest.mark.parametrize(("most", "ml"), [(40, 40.1), (0, 0.1)])
def test_a_rate_above_the_channels_own_limit_is_refused(tank, most, ml):
    channel = make_channel(tank, max_ml_per_day=most)
    with pytest.raises(actions.NotDosed, match=f"0 to {most}"):
        actions.set_rate(channel=channel, ml_per_day=ml, **fact())
    assert actions.set_rate(channel=channel, ml_per_day=most, **fact()).ml_per_day == most


def test_a_rate_set_twice_in_one_entry_is_one_and_may_end(channel):
    said = {
        "channel": channel,
        "ml_per_day": 0,
        "until": NOON + timedelta(days=3),
        "why": "holiday",
        **fact(),
    }
    first = actions.set_rate(**said)
    assert actions.set_rate(**said) == first
    row = RateChange.objects.get()
    assert (row.ml_per_day, row.until, row.why) == (0, NOON + timedelta(days=3), "holiday")


@pytest.mark.parametrize("ml", [1100.1, *IMPOSSIBLE])
def test_a_refill_that_the_container_cannot_hold_is_refused(channel, ml):
    with pytest.raises(actions.NotDosed, match="the container holds 1000 mL"):
        actions.record_refill(channel=channel, ml_now=ml, **fact())
    assert not Refill.objects.exists()


def test_a_container_filled_to_the_brim_is_taken_once(channel):
    said = {"channel": channel, "ml_now": 1100, "ml_before": 80, **fact()}
    first = actions.record_refill(**said)
    assert actions.record_refill(**said) == first
    assert Refill.objects.get().ml_before == 80
    assert Touched.objects.get().tank == channel.tank


@pytest.mark.parametrize(
    "said",
    [{"asked_ml": 0, "before_ml": 1}]
    + [{"asked_ml": ml, "before_ml": 1} for ml in IMPOSSIBLE]
    + [{"asked_ml": 10, "before_ml": ml} for ml in IMPOSSIBLE]
    + [{"asked_ml": 10, "before_ml": 9, "after_ml": ml} for ml in IMPOSSIBLE],
)
def test_a_pump_check_that_cannot_be_is_refused(channel, said):
    with pytest.raises(actions.NotDosed, match="how many came"):
        actions.record_pump_check(channel=channel, **said, **fact())
    assert not PumpCheck.objects.exists()


@pytest.mark.parametrize("after", [None, 10.0])
def test_a_pump_check_is_kept_once_with_or_without_setting(channel, after):
    said = {"channel": channel, "asked_ml": 10, "before_ml": 0, "after_ml": after, **fact()}
    assert actions.record_pump_check(**said) == actions.record_pump_check(**said)
    assert PumpCheck.objects.get().after_ml == after
