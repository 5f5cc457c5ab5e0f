import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.chemistry import dosing
from servicedesk.core.chemistry.dosing import NoDose, grams_to_raise, per_ml_of, rise_of
from servicedesk.core.chemistry.water import (
    NoChange,
    after_changes,
    after_continuous,
    cylinder_l,
    fraction_needed,
    litres_needed,
)


@pytest.mark.parametrize(
    ("salt", "rise", "net_l", "purity"),
    [
        ("love", 1, 100, 1),
        ("NaHCO3", 1, 100, 0),
        ("NaHCO3", 1, 100, 1.1),
        ("NaHCO3", 1, 0, 1),
        ("NaHCO3", -1, 100, 1),
    ],
)
def test_grams_that_cannot_be_reckoned_are_refused(salt, rise, net_l, purity):
    with pytest.raises(NoDose):
        grams_to_raise(salt=salt, rise=rise, net_l=net_l, purity=purity)


def test_a_dose_by_grams_and_by_millilitres_raise_alike():
    per_ml = per_ml_of(salt="CaCl2.2H2O", grams_per_litre=140)
    ml = 1000 * grams_to_raise(salt="CaCl2.2H2O", rise=20, net_l=500) / 140

    assert rise_of(ml=ml, per_ml=per_ml, net_l=500) == pytest.approx(20)


@pytest.mark.parametrize(
    "call",
    [
        lambda: after_changes(now=1, fresh=0, fraction=1.2),
        lambda: after_changes(now=1, fresh=0, fraction=0.2, times=-1),
        lambda: after_continuous(now=1, fresh=0, litres=-1, net_l=100),
        lambda: after_continuous(now=1, fresh=0, litres=1, net_l=0),
        lambda: fraction_needed(now=40, fresh=40, goal=20),
        lambda: fraction_needed(now=40, fresh=30, goal=20),
        lambda: fraction_needed(now=40, fresh=0, goal=50),
        lambda: cylinder_l(diameter_cm=0, height_cm=40),
    ],
)
def test_a_change_or_a_vessel_that_cannot_be_is_refused(call):
    with pytest.raises(NoChange):
        call()


def test_nothing_needs_changing_at_the_goal():
    assert litres_needed(now=20, fresh=0, goal=20, net_l=400) == 0.0


@given(st.floats(1, 100), st.floats(0, 0.99), st.floats(0.01, 0.99))
def test_the_litres_needed_bring_the_value_to_the_goal(now, mix, way):
    fresh = now * mix
    goal = now + (fresh - now) * way

    share = litres_needed(now=now, fresh=fresh, goal=goal, net_l=100) / 100

    assert after_changes(now=now, fresh=fresh, fraction=share) == pytest.approx(goal)


def test_what_a_dose_raises_is_its_strength_over_the_net_volume():
    """1 mL that carries 1.06 dKH litres raises 365 L by 1.06 / 365 dKH; 134 mL by about 0.39."""
    assert rise_of(ml=134, per_ml=1.06, net_l=365) == pytest.approx(134 * 1.06 / 365)
    assert rise_of(ml=134, per_ml=1.06, net_l=365) == pytest.approx(0.389, abs=0.001)


def test_limewater_is_weaker_in_warm_water_and_unknown_in_cold():
    assert dosing.limewater_g_l(temperature_c=28) < dosing.limewater_g_l(temperature_c=20)
    with pytest.raises(dosing.NoDose, match="15 to 30"):
        dosing.limewater_g_l(temperature_c=5)
