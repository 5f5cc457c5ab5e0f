"""Side effects, uptake, keeping level, vessels, noise, and choosing how to test."""

import math
import random
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.chemistry import side_effects
from servicedesk.core.chemistry.salinity import OutOfRange
from servicedesk.core.chemistry.side_effects import Water, after_alkalinity
from servicedesk.core.inventory import ways
from servicedesk.core.inventory.reorder import NotCounted
from servicedesk.core.metrology import noise, vessels
from servicedesk.core.metrology.lines import NoLine
from servicedesk.core.metrology.noise import NoNoise
from servicedesk.core.metrology.propagation import NotPropagated
from servicedesk.core.tracking import level
from servicedesk.core.tracking.level import NoLevel
from servicedesk.core.tracking.uptake import Changed, Dosed, Reading, uptake

SEA = Water(alkalinity_dkh=7, ph_total=8.0, salinity=35, temperature_c=25, calcium_mg_l=420)


def test_carbonate_raises_ph_bicarbonate_lowers_it_and_hydroxide_raises_it_most():
    rise = {
        salt: after_alkalinity(water=SEA, rise_dkh=1.4, salt=salt).rise
        for salt in side_effects.CARBON_PER_EQUIVALENT
    }

    assert rise["NaHCO3"] < 0 < rise["Na2CO3"] < rise["NaOH"]
    assert rise["NaOH"] == pytest.approx(rise["Ca(OH)2"])
    assert after_alkalinity(water=SEA, rise_dkh=0, salt="Na2CO3").rise == pytest.approx(0, abs=1e-6)


def test_much_hydroxide_at_once_precipitates_and_limewater_brings_its_calcium():
    much = after_alkalinity(water=SEA, rise_dkh=3, salt="NaOH")
    lime = after_alkalinity(water=SEA, rise_dkh=3, salt="Ca(OH)2")
    blind = after_alkalinity(water=replace(SEA, calcium_mg_l=None), rise_dkh=3, salt="Ca(OH)2")

    assert much.precipitates and not after_alkalinity(water=SEA, rise_dkh=0.5, salt="NaHCO3").precipitates
    assert lime.aragonite > much.aragonite
    assert blind.precipitates


@pytest.mark.parametrize(
    "given",
    [{"salt": "vinegar"}, {"rise_dkh": -1}, {"rise_dkh": math.nan}, {"water": replace(SEA, salinity=3)}],
)
def test_what_cannot_be_foreseen_is_refused(given):
    with pytest.raises(OutOfRange):
        after_alkalinity(**({"water": SEA, "rise_dkh": 1, "salt": "Na2CO3"} | given))


def test_salt_stays_behind_and_nitrate_costs_alkalinity():
    assert side_effects.salt_left_mg_l(alkalinity_dkh=2.804) == pytest.approx(58.44, rel=1e-3)
    assert side_effects.alkalinity_of_nitrate_dkh(rise_mg_l=62.004) == pytest.approx(-2.804, rel=1e-3)
    with pytest.raises(OutOfRange):
        side_effects.salt_left_mg_l(alkalinity_dkh=-1)
    with pytest.raises(OutOfRange):
        side_effects.alkalinity_of_nitrate_dkh(rise_mg_l=math.inf)


def test_carbon_dioxide_of_planted_water():
    at_seven = side_effects.carbon_dioxide_mg_l(carbonate_hardness_dkh=4, ph=7, temperature_c=25)

    # pK1 of carbonic acid is 6.35 at 25 °C (common handbooks; from memory)
    assert at_seven == pytest.approx(4 * 20 / 56.077 * 10 ** (6.35 - 7) * 44.009, rel=0.01)
    assert side_effects.carbon_dioxide_mg_l(
        carbonate_hardness_dkh=4, ph=6, temperature_c=25
    ) == pytest.approx(10 * at_seven)
    with pytest.raises(OutOfRange):
        side_effects.carbon_dioxide_mg_l(carbonate_hardness_dkh=4, ph=9, temperature_c=25)


def tank(per_day, days, doses=(), changes=(), start=8.0):
    """Values of a well-mixed tank at those days."""
    events = sorted(
        [(d.day, "dose", d) for d in doses] + [(c.day, "change", c) for c in changes], key=lambda e: e[0]
    )
    value, at, found = start, 0.0, []
    for day in days:
        while events and events[0][0] <= day:
            when, kind, what = events.pop(0)
            value -= per_day * (when - at)
            at = when
            value = value + what.rise if kind == "dose" else value + (what.fresh - value) * what.share
        value -= per_day * (day - at)
        at = day
        found.append(Reading(day, value))
    return found


def test_uptake_comes_out_of_readings_doses_and_changes_exactly_where_nothing_scatters():
    doses = [Dosed(day + 0.5, 0.35) for day in range(12)]
    changes = [Changed(4.2, 0.2, 9.0), Changed(9.1, 0.1, 9.0)]
    readings = tank(0.42, [0, 2, 4, 5, 8, 10, 12], doses, changes)

    found = uptake(readings=readings, doses=doses, changes=changes)

    assert found.per_day == pytest.approx(0.42)
    assert found.told and found.readings == 7


def test_a_pump_that_runs_all_day_counts_for_the_part_of_it_between_readings():
    steady = [Dosed(-5, 20 * 0.3, until=15)]
    readings = [Reading(day, 8 + (0.3 - 0.5) * day) for day in (0, 3, 6, 10)]

    assert uptake(readings=readings, doses=steady).per_day == pytest.approx(0.5)


def test_the_interval_holds_the_truth_nineteen_times_of_twenty():
    seed, held = 77, 0
    drawn = random.Random(seed)
    for _ in range(1500):
        per_day = drawn.uniform(0, 1)
        readings = [Reading(r.day, r.value + drawn.gauss(0, 0.2)) for r in tank(per_day, range(0, 28, 4))]
        found = uptake(readings=readings)
        held += found.low <= per_day <= found.high
    assert 0.93 <= held / 1500 <= 0.97, seed


def test_scatter_is_never_believed_smaller_than_the_method_s():
    readings = tank(0.2, [0, 1, 2, 3])

    assert uptake(readings=readings).u == pytest.approx(0, abs=1e-9)
    assert uptake(readings=readings, repeatability=0.2).u == pytest.approx(0.2 / math.sqrt(5))
    assert not uptake(readings=readings, repeatability=0.5).told


@pytest.mark.parametrize(
    "given",
    [
        {"readings": tank(0.2, [0, 1])},
        {"readings": [Reading(1, 8), Reading(1, 7), Reading(1, 7)]},
        {"readings": [Reading(0, 8), Reading(1, math.nan), Reading(2, 7)]},
        {"repeatability": -1},
        {"changes": [Changed(1, 1.2, 8)]},
        {"changes": [Changed(1, 1, 8), Changed(2, 1, 8), Changed(3, 1, 8)]},
    ],
)
def test_an_uptake_that_cannot_be_told_is_refused(given):
    if "changes" in given and given["changes"][0].share == 1:
        given = {**given, "readings": [Reading(0, 8), Reading(1, 8), Reading(2, 8), Reading(3, 8)]}
    with pytest.raises(NoLine):
        uptake(**({"readings": tank(0.2, [0, 1, 2, 3])} | given))


def test_keeping_level_setting_strength_and_faults():
    kept = {"uptake_per_day": 0.5, "net_l": 400.0, "per_ml": 20.0}

    assert level.setting_ml_per_day(**kept) == pytest.approx(10)
    assert level.setting_ml_per_day(**kept, pump_step_ml=3) == 9
    assert level.strength_to_last(uptake_per_day=0.5, net_l=400, container_ml=1000, days=36) == pytest.approx(
        8.0
    )
    found = level.faults(**kept, most_ml_per_day=1000)
    assert (found.stuck_day, found.stopped_week) == pytest.approx((49.5, 3.5))


def test_the_longest_harmless_silence_is_until_a_stop_or_an_overdose_leaves_the_limits():
    kept = level.longest_silence(value=8, low=6.5, high=11, uptake_per_day=0.3, uptake_u=0.05)
    fast = level.longest_silence(value=8, low=7.5, high=11, uptake_per_day=2)
    still = level.longest_silence(value=8, low=None, high=None, uptake_per_day=0)

    assert kept.stopped_days == pytest.approx(3.75) and kept.overdosed_days == pytest.approx(15)
    assert kept.test_every_days == 3 and not kept.seldom
    assert fast.test_every_days == 1 and fast.seldom
    assert still.test_every_days == 14 and still.stopped_days is None


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: level.setting_ml_per_day(uptake_per_day=-1, net_l=1, per_ml=1),
        lambda: level.setting_ml_per_day(uptake_per_day=1, net_l=0, per_ml=1),
        lambda: level.strength_to_last(uptake_per_day=1, net_l=1, container_ml=1, days=1, reserve=1),
        lambda: level.faults(uptake_per_day=-1, net_l=1, per_ml=1, most_ml_per_day=1),
        lambda: level.longest_silence(value=8, low=9, high=None, uptake_per_day=1),
        lambda: level.longest_silence(value=8, low=None, high=8, uptake_per_day=1),
        lambda: level.longest_silence(value=8, low=None, high=None, uptake_per_day=-1),
    ],
)
def test_a_level_that_cannot_be_kept_is_said_so(wrong):
    with pytest.raises(NoLevel):
        wrong()


@given(st.floats(0.01, 5), st.floats(0.01, 5), st.floats(0.1, 3))
def test_faster_use_never_allows_a_longer_silence(one, other, room):
    slow, fast = sorted((one, other))
    kept = [
        level.longest_silence(value=8, low=8 - room, high=8 + room, uptake_per_day=use).test_every_days
        for use in (slow, fast)
    ]
    assert kept[1] <= kept[0]


def test_one_cylinder_filled_four_times_errs_four_times_the_same_way():
    cylinder = vessels.vessel("graduated cylinder 250 mL, class B")

    once, four = (vessels.fillings_u(vessel=cylinder, total=total) for total in (250, 1000))

    assert once == pytest.approx(2 / math.sqrt(6))
    assert four == pytest.approx(4 * once)
    assert vessels.fillings_u(vessel=cylinder, total=100) == once
    assert vessels.fillings_u(vessel=cylinder, total=1000, own_each_time=1) == pytest.approx(
        math.hypot(four, 2)
    )


def test_a_flask_is_better_than_a_cylinder_and_a_scale_is_a_rectangle():
    flask = vessels.vessel("one-mark volumetric flask 1000 mL, class A")
    scale = vessels.Vessel("kitchen scale", 5000, 1, likelier_middle=False)

    assert flask.u < vessels.fillings_u(
        vessel=vessels.vessel("graduated cylinder 250 mL, class B"), total=1000
    )
    assert scale.u == pytest.approx(1 / math.sqrt(3))
    budget = [vessels.Share("powder", 0.003), vessels.Share("volume", 0.004)]
    assert vessels.strength_budget(budget) == pytest.approx(0.005)
    assert vessels.strength_budget([]) == 0


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: vessels.vessel("bucket"),
        lambda: vessels.Vessel("none", 0, 1),
        lambda: vessels.fillings_u(vessel=vessels.vessels()[0], total=0),
        lambda: vessels.strength_budget([vessels.Share("x", -1)]),
    ],
)
def test_a_vessel_that_cannot_be_is_refused(wrong):
    with pytest.raises(NotPropagated):
        wrong()


def test_a_device_six_decibel_over_its_background_is_told_and_one_and_a_half_is_not():
    """Common practice (no source): background 52 to 54, running 58 to 60; another running 54 to 55."""
    told = noise.device_alone(background_low=52, background_high=54, running_low=58, running_high=60)
    drowned = noise.device_alone(background_low=52, background_high=54, running_low=54, running_high=55)

    assert told.resolved and told.level_db == pytest.approx(57.74, abs=0.01)
    assert told.low_db < told.level_db < told.high_db < 60
    assert not drowned.resolved and drowned.level_db is None and drowned.high_db < 53


def test_a_device_quieter_than_its_background_has_an_upper_limit_only():
    found = noise.device_alone(background_low=52, background_high=54, running_low=50, running_high=51)

    assert not found.resolved and found.high_db == 51


def test_twice_as_far_is_six_decibel_less_and_two_alike_are_three_more():
    assert noise.at_distance(level_db=60, measured_m=1, listening_m=2) == pytest.approx(53.98, abs=0.01)
    assert noise.together([50, 50]) == pytest.approx(53.01, abs=0.01)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: noise.device_alone(background_low=54, background_high=52, running_low=58, running_high=60),
        lambda: noise.device_alone(
            background_low=52, background_high=54, running_low=58, running_high=math.nan
        ),
        lambda: noise.at_distance(level_db=60, measured_m=0, listening_m=1),
        lambda: noise.together([]),
    ],
)
def test_noise_that_cannot_be_is_refused(wrong):
    with pytest.raises(NoNoise):
        wrong()


KIT = ways.Way("titration kit", {"alkalinity": 0.4, "calcium": 15.0}, test_minutes=5, price=Decimal(40), test_cost=Decimal("0.5"))  # fmt: skip
DEVICE = ways.Way("titrating device", {"alkalinity": 0.3}, unattended=True, setup_minutes=90, upkeep_minutes=20, price=Decimal(600), test_cost=Decimal("0.2"), noise_db=45, needs=frozenset({"mains", "shelf"}), cannot_tell=("calcium",), fails_by=("an empty reagent",))  # fmt: skip
STRIP = ways.Way("strip", {"alkalinity": 2.0}, test_minutes=1, test_cost=Decimal("0.3"))
ROOM = ways.Place(has=frozenset({"mains", "shelf"}), quiet_db=50, visits_per_month=4, minute_cost=Decimal(1))
DAILY = ways.Need("alkalinity", per_week=7, within=0.5)
WEEKLY = ways.Need("calcium", per_week=0.9)


def test_a_way_that_does_not_suit_says_because_of_what():
    loud = ways.suit(way=DEVICE, needs=[DAILY], place=replace(ROOM, quiet_db=40, has=frozenset({"shelf"})))
    rough = ways.suit(way=STRIP, needs=[replace(DAILY, per_week=0.5)], place=ROOM)
    seldom = ways.suit(way=KIT, needs=[DAILY, WEEKLY], place=ROOM)

    assert loud.against == ("it needs mains, which is not there", "it runs at 45 dB where 40 dB is the most that is borne")  # fmt: skip
    assert not rough.suits and "wanted 0.5 or better" in rough.mind[0]
    assert seldom.suits and seldom.covers == ("calcium",) and "are possible this way" in seldom.mind[0]
    fine = ways.suit(way=DEVICE, needs=[DAILY], place=ROOM)
    assert fine.suits and fine.mind == ("it cannot tell calcium", "it fails by an empty reagent")


def test_ways_together_cover_everything_and_the_cheapest_comes_first():
    found = ways.choices(ways=[KIT, DEVICE, STRIP], needs=[DAILY, WEEKLY], place=ROOM, months=24)

    assert [way.name for way in found[0].ways] == ["titration kit", "titrating device"]
    assert len(found) == 1
    assert found[0].at_once == Decimal(40 + 690)
    weeks = Decimal("4.348125")
    assert found[0].a_month == 20 + 7 * weeks * Decimal("0.2") + Decimal("0.9") * weeks * Decimal("5.5")
    assert found[0].over_horizon == found[0].at_once + 24 * found[0].a_month


def test_what_no_way_covers_is_named_with_the_reasons():
    left = ways.uncovered(ways=[KIT, STRIP], needs=[DAILY, WEEKLY], place=ROOM)

    assert list(left) == ["alkalinity"]
    assert len(left["alkalinity"]) == 2
    assert ways.choices(ways=[KIT, STRIP], needs=[DAILY], place=ROOM, months=12) == []


def test_the_dearer_one_pays_for_itself_or_never_does():
    cheap = ways.Choice((KIT,), Decimal(40), Decimal(60), Decimal(0))
    dear = ways.Choice((DEVICE,), Decimal(640), Decimal(30), Decimal(0))

    assert ways.break_even_months(dearer_at_once=dear, dearer_a_month=cheap) == 20
    assert ways.break_even_months(dearer_at_once=cheap, dearer_a_month=dear) is None


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: ways.Need("ph", per_week=0),
        lambda: ways.Need("ph", per_week=1, within=0),
        lambda: ways.choices(ways=[KIT], needs=[], place=ROOM, months=12),
    ],
)
def test_a_choice_without_question_is_refused(wrong):
    with pytest.raises(NotCounted):
        wrong()
