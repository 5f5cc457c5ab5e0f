import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.chemistry import dosing
from servicedesk.core.chemistry.dosing import NoDose, dose_to_raise, grams_to_raise, per_ml_of, rise_of
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


@pytest.mark.parametrize("wrong", [{"net_l": 0}, {"per_ml": 0}, {"max_rise_per_day": 0}, {"to_value": 7.0}])
def test_dose_that_cannot_be_reckoned_is_refused(wrong):
    sound = {
        "parameter": "alkalinity",
        "from_value": 7.0,
        "to_value": 8.0,
        "net_l": 400,
        "per_ml": 1.06,
        "max_rise_per_day": 0.5,
    }
    with pytest.raises(NoDose):
        dose_to_raise(**{**sound, **wrong})


def test_dose_without_a_safe_step_is_one_day():
    dose = dose_to_raise(
        parameter="potassium", from_value=380, to_value=400, net_l=400, per_ml=40, max_rise_per_day=None
    )

    assert (dose.days, dose.ml_total, dose.ml_per_day, dose.ml_low, dose.u_ml) == (1, 200, 200, 200, 0)


@given(st.floats(0, 0.4), st.floats(0, 0.4), st.floats(0, 0.2))
def test_less_sure_volume_or_strength_never_gives_a_larger_safe_dose(share, more, strength):
    def dose(volume_u):
        return dose_to_raise(
            parameter="alkalinity",
            from_value=7.0,
            to_value=8.0,
            net_l=400,
            per_ml=1.06,
            max_rise_per_day=0.5,
            net_l_u=400 * volume_u,
            per_ml_u_rel=strength,
        )

    assert dose(share + more).ml_low <= dose(share).ml_low
    assert dose(share + more).u_ml >= dose(share).u_ml


def test_a_dose_by_grams_and_by_millilitres_raise_alike():
    per_ml = per_ml_of(salt="CaCl2.2H2O", grams_per_litre=140)
    dose = dose_to_raise(
        parameter="calcium", from_value=400, to_value=420, net_l=500, per_ml=per_ml, max_rise_per_day=20
    )

    assert dose.ml_total * 140 / 1000 == pytest.approx(grams_to_raise(salt="CaCl2.2H2O", rise=20, net_l=500))


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
