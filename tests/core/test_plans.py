"""Corrections in parts on simulated tanks whose truth is known; volumes; water changes; several products at once."""

import math
import os
import random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from servicedesk.core.chemistry import plans, volumes
from servicedesk.core.chemistry.dosing import NoDose
from servicedesk.core.chemistry.several import amounts
from servicedesk.core.chemistry.water import NoChange
from servicedesk.core.metrology.agreement import NoAgreement
from servicedesk.core.metrology.propagation import Known

CASES = 10_000


def cut(drawn):
    """A normal deviate, cut at two standard deviations."""
    while abs(deviate := drawn.gauss(0, 1)) > 2:
        pass
    return deviate


def one_tank(drawn):
    """A plan made from what is believed, and what the tank then truly did: its fastest day, its end."""
    net_u, strength_u = drawn.uniform(0.01, 0.12), drawn.uniform(0.002, 0.05)
    net, per_ml = drawn.uniform(30, 3000), drawn.uniform(2, 400)
    step, value, rise = drawn.uniform(0.4, 2), drawn.uniform(4, 9), drawn.uniform(0.2, 6)
    test_u, drift_u = drawn.uniform(0.03, 0.4), drawn.uniform(0, 0.03) * step
    drift = drawn.uniform(-0.1, 0.1) * step
    made = plans.raise_in_parts(
        value=Known(value, test_u),
        goal=value + rise,
        net_l=Known(net, net * net_u),
        per_ml=Known(per_ml, per_ml * strength_u),
        max_rise_per_day=step,
        left_over_per_day=Known(drift, drift_u),
        pump_step_ml=drawn.choice((0.0, step * net / per_ml / 200)),
    )
    true_l, true_per_ml = net * (1 + net_u * cut(drawn)), per_ml * (1 + strength_u * cut(drawn))
    true_drift = drift + drift_u * cut(drawn)
    at, fastest = value + test_u * cut(drawn), 0.0
    for part in made.parts:
        before = at
        at += part.ml * true_per_ml / true_l + true_drift
        fastest = max(fastest, at - before)
    return made, step, fastest, at


def test_ten_thousand_tanks_never_rise_too_fast_and_end_where_it_was_said():
    seed = int(os.environ.get("TANKS_SEED", "20250611"))
    print(f"TANKS_SEED={seed}")
    drawn, inside = random.Random(seed), 0
    for _case in range(CASES):
        made, step, fastest, end = one_tank(drawn)
        assert fastest <= step * (1 + 1e-9)
        assert made.fastest <= step * (1 + 1e-9)
        assert all(part.ml > 0 for part in made.parts)
        inside += made.low <= end <= made.high
    assert 0.93 <= inside / CASES <= 0.98


def believed(**given):
    known = {
        "value": Known(7.0, 0.2),
        "goal": 8.0,
        "net_l": Known(400.0, 20.0),
        "per_ml": Known(20.0, 0.4),
        "max_rise_per_day": 1.0,
    }
    return plans.raise_in_parts(**(known | given))


def test_the_first_day_is_the_safe_lower_amount_and_no_day_is_more_than_the_step_allows():
    made = believed()

    assert made.days == 2
    assert made.first_ml == pytest.approx(made.ml_per_day * 0.9 / 1.04)
    assert made.ml_per_day == pytest.approx(10.0)
    assert made.end == pytest.approx(7 + made.total_ml * 20 / 400)
    assert made.test_again_day == 2


def test_one_small_step_is_one_day():
    assert believed(goal=7.2, max_rise_per_day=1).days == 1
    assert believed(goal=12.0).test_again_day == 3


def test_a_running_dose_that_gives_too_much_leaves_less_room():
    level, rising = believed(), believed(left_over_per_day=Known(0.4, 0.05))

    assert rising.ml_per_day < level.ml_per_day or rising.days >= level.days
    assert rising.fastest <= 1.0 + 1e-9


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"goal": 6.0}, "no raising"),
        ({"goal": math.nan}, "no raising"),
        ({"net_l": Known(0.0)}, "above nought"),
        ({"per_ml": Known(0.0)}, "above nought"),
        ({"net_l": Known(100, 60)}, "so uncertain"),
        ({"max_rise_per_day": 0}, "already rises"),
        ({"left_over_per_day": Known(0.9, 0.1)}, "already rises"),
        ({"left_over_per_day": Known(0.6), "goal": 7.5}, "by itself"),
        ({"pump_step_ml": 100}, "dilute"),
        ({"goal": 100.0}, "more than 60 days"),
        ({"max_rise_per_day": math.inf}, "safe daily change"),
    ],
)
def test_what_cannot_be_planned_is_said_in_words(given, words):
    with pytest.raises(NoDose, match=words):
        believed(**given)


@given(
    st.floats(0.1, 5),
    st.floats(20, 3000),
    st.floats(0.5, 500),
    st.floats(0.2, 3),
    st.floats(0, 0.2),
    st.floats(0, 0.1),
)
def test_parts_are_never_below_nought_and_add_up_by_mass(rise, net, per_ml, step, net_u, strength_u):
    assume(rise / step < 20)
    made = believed(
        goal=7 + rise,
        net_l=Known(net, net * net_u),
        per_ml=Known(per_ml, per_ml * strength_u),
        max_rise_per_day=step,
    )

    assert min(part.ml for part in made.parts) > 0
    assert made.end - 7 == pytest.approx(made.total_ml * per_ml / net)
    assert made.end <= 7 + rise + 1e-9
    assert made.low <= made.end <= made.high


@given(st.floats(0, 0.2), st.floats(0, 0.2))
def test_the_less_the_volume_is_known_the_less_is_given_at_first(one, other):
    less, more = sorted((one, other))
    known, vague = (believed(net_l=Known(400, 400 * u)).first_ml for u in (less, more))

    assert vague <= known + 1e-9


def test_a_pump_is_set_to_what_keeps_the_level_and_the_correction_at_its_own_step():
    given = {"running_ml_per_day": 20.0, "extra_ml_per_day": 7.77, "pump_step_ml": 0.5}

    assert plans.pump_setting(**given, most_ml_per_day=100) == pytest.approx(27.5)
    with pytest.raises(NoDose, match="at most 25"):
        plans.pump_setting(**given, most_ml_per_day=25)
    with pytest.raises(NoDose, match="nought or more"):
        plans.pump_setting(**(given | {"extra_ml_per_day": -1}), most_ml_per_day=100)


def test_changes_reach_the_goal_in_the_fewest_safe_steps():
    made = plans.by_changes(now=60, goal=20, fresh=5, net_l=400, max_step=None)

    assert made.times == 4
    assert made.litres / 400 <= 0.3
    value = 60.0
    for _ in range(made.times):
        value += (5 - value) * made.litres / 400
    assert value == pytest.approx(20)
    assert plans.by_changes(now=20, goal=20, fresh=5, net_l=400, max_step=1).times == 0


@given(st.floats(1, 100), st.floats(0.05, 0.95), st.floats(0, 50), st.floats(0.5, 40))
def test_no_change_moves_further_than_the_safe_step(now, share, fresh, step):
    assume(abs(now - fresh) > 0.1)
    goal = now + (fresh - now) * share
    try:
        made = plans.by_changes(now=now, goal=goal, fresh=fresh, net_l=100, max_step=step)
    except NoDose as refused:
        assert "more than" in str(refused)
        return
    assert abs(now - fresh) * made.litres / 100 <= step * (1 + 1e-6)
    assert made.end == pytest.approx(goal)
    assert plans.continuous_l(now=now, goal=goal, fresh=fresh, net_l=100) >= 100 * share * (1 - 1e-9)


@pytest.mark.parametrize(
    "given",
    [
        {"now": 60, "goal": 20, "fresh": 30},
        {"now": 60, "goal": 20, "fresh": 60},
        {"now": 60, "goal": 20, "fresh": 5, "net_l": 0},
        {"now": 60, "goal": 20, "fresh": 5, "max_step": 0},
        {"now": 60, "goal": 5.001, "fresh": 5, "max_step": 0.1},
    ],
)
def test_water_that_does_not_help_is_said_so(given):
    with pytest.raises(NoDose):
        plans.by_changes(**({"net_l": 100, "max_step": None} | given))


def test_no_exchange_brings_a_value_past_the_fresh_water():
    for known in ({"goal": 2, "fresh": 5}, {"goal": 5, "fresh": 60}, {"goal": 20, "fresh": 5, "net_l": 0}):
        with pytest.raises(NoDose):
            plans.continuous_l(**({"now": 60, "net_l": 100} | known))


def test_vessels_by_their_shape():
    box = volumes.gross_l(shape="rectangle", length_cm=100, width_cm=50, water_cm=40)
    bow = volumes.gross_l(shape="bow front", length_cm=100, width_cm=50, bow_cm=50, water_cm=40)
    assert box == 200
    assert bow == pytest.approx(200 + math.pi * 50**2 / 2 * 40 / 1000)  # half a circle before the box
    assert volumes.gross_l(shape="cylinder", length_cm=50, water_cm=40) == pytest.approx(math.pi * 25)
    assert volumes.gross_l(shape="quarter cylinder", length_cm=50, water_cm=40) == pytest.approx(math.pi * 25)
    assert volumes.gross_l(shape="hexagon", length_cm=10, water_cm=10) == pytest.approx(
        1.5 * math.sqrt(3) / 10 * 10
    )
    with pytest.raises(NoChange, match="one of these"):
        volumes.gross_l(shape="heart", length_cm=1, water_cm=1)
    with pytest.raises(NoChange, match="bow"):
        volumes.bow_front_l(length_cm=100, width_cm=50, bow_cm=51, height_cm=40)


def test_rock_and_sand_take_water_away_with_their_uncertainty():
    net = volumes.net_from_sizes(gross=Known(400, 4), rock_kg=48, sand_l=20, elsewhere=Known(80, 5))

    assert net.value == pytest.approx(400 + 80 - 30 - 12)
    assert net.u > math.hypot(4, 5)
    with pytest.raises(NoChange, match="more than the vessel"):
        volumes.net_from_sizes(gross=Known(20), rock_kg=100)
    with pytest.raises(NoChange, match="nought or more"):
        volumes.net_from_sizes(gross=Known(20), rock_kg=-1)


def test_a_rise_after_a_known_addition_tells_the_volume_with_its_uncertainty():
    added, before, after = Known(4000, 40), Known(7.0, 0.2), Known(17.0, 0.2)

    alone = volumes.net_from_rise(added=added, before=before, after=after)
    shared = volumes.net_from_rise(added=added, before=before, after=after, shared_u=0.19)

    assert alone.value == shared.value == pytest.approx(400)
    assert alone.u == pytest.approx(400 * math.hypot(0.01, math.hypot(0.2, 0.2) / 10))
    assert shared.u < alone.u
    with pytest.raises(NoChange, match="add more"):
        volumes.net_from_rise(added=added, before=before, after=Known(7.3, 0.2))
    with pytest.raises(NoChange, match="above the one before"):
        volumes.net_from_rise(added=added, before=before, after=Known(6.0, 0.2))


def test_two_ways_to_a_volume_are_brought_together_and_a_quarrel_is_said_aloud():
    fine = volumes.reconciled([Known(400, 20), Known(410, 10)])
    quarrel = volumes.reconciled([Known(400, 10), Known(500, 10)])

    assert fine.agree and fine.litres == pytest.approx(408)
    assert not quarrel.agree and quarrel.u == pytest.approx(50)
    with pytest.raises(NoAgreement):
        volumes.reconciled([Known(400, 10)])


def test_a_volume_believed_too_large_makes_every_dose_too_strong():
    assert volumes.dose_error(believed_l=500, true_l=400) == pytest.approx(0.25)
    with pytest.raises(NoChange):
        volumes.dose_error(believed_l=0, true_l=400)


def test_products_that_move_two_things_are_given_without_amounts_below_nought():
    products = {
        "one": {"calcium": 40.0, "magnesium": 5.0},
        "two": {"magnesium": 60.0},
        "three": {"alkalinity": 20.0},
    }
    fine = amounts(rises={"calcium": 20, "magnesium": 30, "alkalinity": 1}, products=products, net_l=400)
    assert fine.exact
    assert fine.ml["one"] == pytest.approx(200)
    assert fine.ml["two"] == pytest.approx((30 * 400 - 1000) / 60)

    tight = amounts(rises={"calcium": 20, "magnesium": 0, "alkalinity": 0}, products=products, net_l=400, weights={"magnesium": 50})  # fmt: skip
    assert min(tight.ml.values()) >= 0
    assert not tight.exact and tight.missed["magnesium"] > 0


@pytest.mark.parametrize(
    "given",
    [
        {"rises": {}},
        {"products": {}},
        {"net_l": 0},
        {"rises": {"calcium": math.nan}},
        {"products": {"one": {"calcium": 1, "magnesium": 1}}},
    ],
)
def test_what_cannot_be_solved_is_refused(given):
    with pytest.raises(NoDose):
        amounts(**({"rises": {"calcium": 1}, "products": {"one": {"calcium": 1}}, "net_l": 100} | given))


@given(st.lists(st.tuples(st.floats(0, 30), st.floats(0, 30)), min_size=1, max_size=3), st.integers(0, 10**6))
def test_no_amount_is_ever_below_nought(rises, seed):
    drawn = random.Random(seed)
    wanted = {f"p{n}": one for n, (one, _other) in enumerate(rises)}
    products = {f"x{n}": {p: drawn.uniform(0, 50) for p in wanted} for n in range(3)}

    assert min(amounts(rises=wanted, products=products, net_l=100).ml.values()) >= 0, seed
