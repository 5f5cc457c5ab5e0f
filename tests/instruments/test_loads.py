"""Reagent and calibrations: once each, and after both the measure is to be checked."""

import uuid

import pytest

from servicedesk.instruments import actions
from servicedesk.instruments.actions.trust import move_trust
from servicedesk.instruments.models import Calibration, ReagentLoad, TrustMove
from servicedesk.instruments.queries import trust_of
from servicedesk.water.models import HeldReading
from tests.factories.tanks import NOON, make_instrument, make_measure

pytestmark = pytest.mark.django_db


@pytest.fixture
def measure():
    return make_measure(make_instrument())


def fact():
    return {"at": NOON, "by": None, "origin": uuid.uuid4(), "received_at": NOON}


@pytest.mark.parametrize("ml", [0, -1, 1e5, float("nan"), float("inf")])
def test_an_amount_of_reagent_that_cannot_be_is_refused(measure, ml):
    with pytest.raises(actions.NotLoaded, match="how much reagent"):
        actions.record_load(measure=measure, ml=ml, **fact())
    assert not ReagentLoad.objects.exists() and not TrustMove.objects.exists()


def test_reagent_loaded_twice_in_one_entry_is_one_load_and_one_doubt(measure):
    said = {"measure": measure, "ml": 500, **fact()}
    assert actions.record_load(**said) == actions.record_load(**said)
    assert (trust_of(measure), TrustMove.objects.count()) == ("to_check", 1)


def test_a_calibration_is_kept_once_and_leaves_the_measure_to_be_checked(measure):
    said = {"measure": measure, "reference": 2.9, "before": 2.7, "after": 2.9, **fact()}
    assert actions.record_calibration(**said) == actions.record_calibration(**said)
    assert Calibration.objects.get().before == 2.7
    assert trust_of(measure) == "to_check"


def test_the_same_move_of_trust_again_is_the_first_and_a_move_to_where_it_stands_is_none(measure):
    said = {"measure": measure, "trust": "to_check", "why": "new", "at": NOON, "received_at": NOON}
    key = uuid.uuid4()
    first = move_trust(origin=key, **said)
    assert move_trust(origin=key, **said) == first
    assert move_trust(origin=uuid.uuid4(), **said) is None


def test_what_is_not_to_be_acted_on_must_be_checked_before_it_is_believed(measure):
    rest = {"at": NOON, "received_at": NOON}
    move_trust(measure=measure, trust="not_to_act_on", why="broken", origin=uuid.uuid4(), **rest)
    with pytest.raises(actions.TrustMoveRefused, match="must be checked"):
        move_trust(measure=measure, trust="believed", why="it looks well", origin=uuid.uuid4(), **rest)
    assert trust_of(measure) == "not_to_act_on"


def test_a_measure_whose_unit_needs_more_than_it_sends_has_its_values_held_with_the_reason():
    instrument = make_instrument()
    make_measure(instrument, "salinity", unit="SG")
    delivery, new = actions.receive(
        instrument=instrument, body=b'[{"n":"salinity","v":1.025},{"n":"salinity","v":1.026}]', at=NOON
    )

    assert (new, delivery.stored, delivery.held) == (True, 0, 2)
    assert list(HeldReading.objects.values_list("parameter", flat=True)) == ["salinity"] * 2
