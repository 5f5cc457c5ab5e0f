"""Standards at their temperature, electrodes, and whether something is to be set: against published values and sums done by hand."""

import math

import pytest

from servicedesk.core.chemistry import electrode, standards
from servicedesk.core.chemistry.salinity import OutOfRange
from servicedesk.core.metrology import procedures as book
from servicedesk.core.metrology import setting as bench
from servicedesk.core.metrology.propagation import Known
from servicedesk.core.metrology.uncertainty import Deviation, agrees
from servicedesk.core.tables import read_csv, read_json
from servicedesk.core.units import PARAMETERS
from servicedesk.water.choices import MethodKind


@pytest.mark.parametrize(
    ("key", "warm", "ph"),
    [
        ("phthalate", 25, 4.005),
        ("phosphate", 25, 6.865),
        ("phosphate_3", 25, 7.413),
        ("borax", 25, 9.180),
        ("carbonate", 25, 10.012),
        ("phosphate", 20, 6.881),
        ("borax", 15, 9.276),
        ("borax", 0, 9.464),
        ("borax", 50, 9.011),
    ],
)
def test_buffers_are_worth_what_is_published(key, warm, ph):
    """IUPAC Recommendations 2002, Pure Appl. Chem. 74, 2169 (typed from memory, compared with a public table of the NBS values)."""
    assert standards.value_at(key=key, temperature_c=warm) == pytest.approx(ph, abs=1e-9)


def test_between_two_temperatures_a_straight_line_is_drawn():
    """Borax between 20 °C (9.225) and 25 °C (9.180); the NBS table gives 9.207 at 22 °C."""
    assert standards.value_at(key="borax", temperature_c=22) == pytest.approx(9.207, abs=0.001)
    assert standards.value_at(key="phosphate", temperature_c=28) == pytest.approx(6.857, abs=0.001)


def test_phthalate_follows_the_equation_of_1977_too():
    """Hetzer, Durst, Robinson & Bates 1977, J. Res. NBS 81A, 21: 2073.44/T - 13.3270 + 0.045199 T - 3.4846e-5 T², in K."""
    for warm in (15, 20, 25, 30, 35):
        t = warm + 273.15
        said = 2073.44 / t - 13.3270 + 0.045199 * t - 3.4846e-5 * t**2
        assert standards.value_at(key="phthalate", temperature_c=warm) == pytest.approx(said, abs=0.003)


@pytest.mark.parametrize(
    ("key", "warm", "ms"),
    [("kcl_001", 25, 1.40823), ("kcl_01", 25, 12.8246), ("kcl_1", 25, 108.620), ("kcl_001", 20, 1.27303), ("kcl_01", 18, 11.1406)],
)  # fmt: skip
def test_potassium_chloride_conducts_what_is_published(key, warm, ms):
    """Pratt, Koch, Wu & Berezansky 2001, Pure Appl. Chem. 73, 1783."""
    assert standards.value_at(key=key, temperature_c=warm) == pytest.approx(ms, abs=1e-9)


def test_a_line_between_temperatures_is_wrong_by_no_more_than_is_said():
    """Left out, the published value at 18 °C comes back from those at 15 and 20 within 0.1 %."""
    between = 1.14145 + (1.27303 - 1.14145) * 3 / 5
    assert between == pytest.approx(1.21993, rel=0.001)


def test_every_standard_rises_in_temperature_has_a_source_and_a_known_parameter():
    for known in standards.standards().values():
        temperatures = [pair[0] for pair in known.values]
        assert temperatures == sorted(set(temperatures)) and len(temperatures) >= 10
        assert known.source and known.parameter in PARAMETERS


@pytest.mark.parametrize("warm", [-0.1, 50.1, math.nan])
def test_outside_its_table_a_standard_is_worth_nothing(warm):
    with pytest.raises(OutOfRange, match="0 to 50"):
        standards.value_at(key="borax", temperature_c=warm)


def test_a_label_is_moved_to_the_temperature_at_hand():
    """By hand: 1413 µS/cm at 25 °C, 5 K colder at 1.91 %: 1.413 × (1 - 0.0955)."""
    assert standards.conductivity_at(value=1.413, value_c=25, temperature_c=20) == pytest.approx(1.2780585)
    back = standards.conductivity_at(value=1.2780585, value_c=20, temperature_c=25)
    assert back == pytest.approx(1.413)
    with pytest.raises(OutOfRange):
        standards.conductivity_at(value=1, value_c=25, temperature_c=60)
    with pytest.raises(OutOfRange):
        standards.conductivity_at(value=1, value_c=-40, temperature_c=20)
    with pytest.raises(OutOfRange):
        standards.conductivity_at(value=1, value_c=25, temperature_c=0, per_kelvin=0.05)


def test_the_coefficient_is_that_of_potassium_chloride():
    """From the published values at 20 and 25 °C: (12.8246 - 11.6159) / 5 / 12.8246 = 1.885 % a kelvin; 0.01 mol/kg 1.92 %."""
    weak = (1.40823 - 1.27303) / 5 / 1.40823
    strong = (12.8246 - 11.6159) / 5 / 12.8246
    assert strong < standards.PER_KELVIN < weak


def test_sea_water_of_salinity_35_is_a_standard_for_salinity():
    """PSS-78: 42.9140 mS/cm at 15 °C is salinity 35 (UNESCO 44; IPTS-68, hence the width)."""
    assert standards.salinity_of(conductivity_ms_cm=42.914, temperature_c=15) == pytest.approx(35, abs=0.01)


def test_a_cell_is_corrected_by_the_ratio_of_conductivities():
    assert standards.cell_factor(parameter="conductivity", reference=12.8, shown=12.5, temperature_c=25) == (
        pytest.approx(1.024),
        1.0,
    )
    factor, power = standards.cell_factor(parameter="salinity", reference=35, shown=33, temperature_c=25)
    assert 33 / 35 < 1 / factor < 1 and factor == pytest.approx((35 / 33) ** 0.9, abs=0.002)
    assert power == pytest.approx(0.9, abs=0.02)
    _factor, high = standards.cell_factor(parameter="salinity", reference=42, shown=42, temperature_c=25)
    assert high == pytest.approx(0.9, abs=0.03)
    with pytest.raises(OutOfRange, match="above nought"):
        standards.cell_factor(parameter="salinity", reference=35, shown=0, temperature_c=25)
    with pytest.raises(OutOfRange):
        standards.cell_factor(parameter="salinity", reference=60, shown=33, temperature_c=25)


def test_nernst_at_25_and_at_0():
    """CODATA 2018: 59.159 mV at 25 °C; 54.199 mV at 0 °C."""
    assert electrode.nernst_mv(25) == pytest.approx(59.159, abs=0.001)
    assert electrode.nernst_mv(0) == pytest.approx(54.199, abs=0.001)


def test_an_electrode_by_hand():
    """+5.0 mV in pH 6.865 and -128.0 mV in 9.180: 133.0 / 2.315 = 57.451 mV per pH, 97.11 % of 59.159; at pH 7: 5 - 57.451 × 0.135 = -2.756."""
    found = electrode.electrode(
        first_ph=6.865, first_mv=5.0, second_ph=9.180, second_mv=-128.0, temperature_c=25
    )

    assert found.slope_mv == pytest.approx(57.4514, abs=1e-4)
    assert found.percent == pytest.approx(97.113, abs=0.005)
    assert found.offset_mv == pytest.approx(-2.7559, abs=1e-4)
    assert found.word == "good"
    turned = electrode.electrode(
        first_ph=9.180, first_mv=-128.0, second_ph=6.865, second_mv=5.0, temperature_c=25
    )
    assert (turned.slope_mv, turned.offset_mv) == pytest.approx((found.slope_mv, found.offset_mv))


@pytest.mark.parametrize(
    ("percent", "offset", "word"),
    [
        (100, 0, "good"), (95, 30, "good"), (103, -30, "good"), (94.9, 0, "worn"), (103.1, 0, "worn"), (100, 30.1, "worn"),
        (88, 60, "worn"), (105, -60, "worn"), (87.9, 0, "spent"), (105.1, 0, "spent"), (100, -60.1, "spent"),
    ],
)  # fmt: skip
def test_slope_and_offset_are_judged(percent, offset, word):
    assert electrode.judged(percent=percent, offset_mv=offset) == word


def test_buffers_that_tell_no_slope_are_refused():
    with pytest.raises(electrode.NoSlope, match="lie 0.55 apart"):
        electrode.check_apart(6.865, 7.413)
    assert electrode.check_apart(7.413, 9.18) is False
    assert electrode.check_apart(9.18, 6.865) is True
    with pytest.raises(electrode.NoSlope, match="mixed up"):
        electrode.electrode(first_ph=6.865, first_mv=-128, second_ph=9.18, second_mv=5, temperature_c=25)


def test_without_a_voltage_what_is_shown_tells_how_steep_it_is():
    """By hand: (9.05 - 6.90) / (9.18 - 6.865) = 92.87 %."""
    assert electrode.shown_slope(first=(6.865, 6.90), second=(9.18, 9.05)) == pytest.approx(92.873, abs=0.001)


def test_a_factor_with_its_uncertainty_by_hand():
    """8.0 ± 0.1 (u) is true, 8.4 ± 0.05 (u) is shown: factor 0.95238; relative u = hypot(0.0125, 0.005952) = 0.013845."""
    found = bench.setting(reference=Known(8.0, 0.1), shown=Known(8.4, 0.05), by_factor=True, expected=0.1)

    assert (found.word, found.delta) == ("set", pytest.approx(0.4))
    assert found.expanded == pytest.approx(2 * math.hypot(0.1, 0.05))
    assert found.factor == pytest.approx(0.952381)
    assert found.factor_u == pytest.approx(0.952381 * 0.0138447, rel=1e-4)
    assert (found.offset, found.offset_u) == (pytest.approx(-0.4), pytest.approx(0.1118034))
    assert bench.new_setting(old=1.25, found=found, by_factor=True) == pytest.approx(1.190476)
    assert bench.new_setting(old=0.3, found=found, by_factor=False) == pytest.approx(-0.1)


@pytest.mark.parametrize(
    ("shown", "word"), [(8.02, "leave"), (7.98, "leave"), (8.5, "set"), (7.3, "set"), (9.0, "look"), (10.5, "stop"), (6.5, "stop")]
)  # fmt: skip
def test_what_is_within_the_noise_is_left_and_what_is_too_far_is_not_set(shown, word):
    found = bench.setting(reference=Known(8.0, 0.02), shown=Known(shown), by_factor=True, expected=0.1)
    assert found.word == word


@pytest.mark.parametrize(
    ("shown", "word"), [(7.03, "leave"), (7.2, "set"), (7.5, "look"), (7.8, "stop"), (0.0, "stop")]
)
def test_an_offset_is_judged_in_its_unit(shown, word):
    found = bench.setting(reference=Known(7.0, 0.02), shown=Known(shown), by_factor=False, expected=0.3)
    assert found.word == word
    assert (found.factor_u == 0) == (shown == 0)


def test_a_given_factor_and_power_stand():
    found = bench.setting(
        reference=Known(35, 0.35), shown=Known(33, 0), by_factor=True, expected=0.1, factor=1.054, power=0.9
    )
    assert found.factor == 1.054 and found.factor_u == pytest.approx(1.054 * 0.9 * 0.01)


@pytest.mark.parametrize(("true", "shown"), [(0, 1), (1, 0), (-1, 1)])
def test_a_factor_needs_values_above_nought(true, shown):
    with pytest.raises(bench.NoSetting, match="above nought"):
        bench.setting(reference=Known(true), shown=Known(shown), by_factor=True, expected=0.1)


def test_several_readings_are_one_by_what_they_scatter_or_by_their_step():
    """By hand: 8.1, 8.3, 8.2: standard deviation 0.1, over the root of 3. Step 0.1: 0.05 / root 3 = 0.02887."""
    assert bench.mean_of([8.1, 8.3, 8.2]).u == pytest.approx(0.057735, abs=1e-6)
    assert bench.mean_of([8.2], 0.1).u == pytest.approx(0.0288675, abs=1e-6)
    assert bench.mean_of([8.2, 8.2], 0.1).u == pytest.approx(0.0204124, abs=1e-6)
    with pytest.raises(bench.NoSetting):
        bench.mean_of([])
    with pytest.raises(bench.NoSetting):
        bench.mean_of([math.inf])


def test_a_standard_good_to_so_much_is_a_rectangle_and_a_reference():
    known = bench.standard_of(9.18, 0.02)
    reference = bench.taken_for_true(known)
    assert known.u == pytest.approx(0.011547, abs=1e-6)
    assert (reference.value, reference.expanded) == (9.18, pytest.approx(0.023094, abs=1e-6))


def test_a_line_through_two_points_in_whatever_order():
    """By hand: 6.86 at 4.9 V and 9.18 at 6.55 V: 2.32 / 1.65 = 1.40606 per volt."""
    line = bench.line_of((6.55, 9.18), (4.9, 6.86))
    assert (line.low_volts, line.high_value) == (4.9, 9.18)
    assert line.per_volt == pytest.approx(1.4060606)
    assert line.at(5.7) == pytest.approx(6.86 + 0.8 * 1.4060606)


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [((1, 2), (1.04, 3), "0.040 V apart"), ((1, 2), (5, 2), "one value"), ((math.nan, 2), (5, 3), "not a number")],
)  # fmt: skip
def test_points_that_tell_no_line_are_refused(first, second, words):
    with pytest.raises(bench.NoSetting, match=words):
        bench.line_of(first, second)


def test_the_word_that_asks_most_counts():
    assert bench.worst(["leave", "look", "set"]) == "look"


@pytest.mark.parametrize(
    ("parameter", "method", "analogue", "kind"),
    [
        ("ph", "probe", False, "two_buffers"), ("salinity", "probe", False, "cell"), ("conductivity", "probe", False, "cell"),
        ("alkalinity", "titrator", False, "one_point"), ("nitrate", "photometer", False, "one_point"),
        ("temperature", "probe", False, "one_point"), ("ph", "probe", True, "line"), ("alkalinity", "titrator", True, "line"),
        ("alkalinity", "kit", False, None), ("nitrate", "laboratory", False, None), ("flow", "probe", False, None),
    ],
)  # fmt: skip
def test_what_suits_follows_from_parameter_and_method(parameter, method, analogue, kind):
    found = book.procedure_for(parameter=parameter, method=method, analogue=analogue)
    assert (found.kind if found else None) == kind


def test_the_table_of_procedures_names_known_things_and_every_kind_has_its_steps():
    kinds = set()
    for row in read_csv("procedures.csv"):
        assert row["parameter"] in {"*", *PARAMETERS} and row["method"] in {"*", *MethodKind.values}
        assert row["by"] in ("factor", "offset") and float(row["expected"]) > 0 and row["source"]
        kinds.add(row["kind"])
    hazards = {row["id"] for row in read_json("hazards.json")["hazards"]}
    for kind in (*sorted(kinds), book.PUMP.kind):
        steps = book.steps_of(kind)
        assert (steps[0].key, steps[-2].key, steps[-1].key) == ("ready", "set", "retest")
        assert book.title_of(kind) and steps[0].hazards and set(steps[0].hazards) <= hazards


def test_how_much_a_settled_value_moves():
    ph = book.procedure_for(parameter="ph", method="probe")
    cell = book.procedure_for(parameter="conductivity", method="probe")
    assert ph.moves(8.2) == 0.02 and cell.moves(12.8) == pytest.approx(0.064)


@pytest.mark.parametrize(
    ("delta", "expanded", "allowed", "verdict", "good"),
    [(0.2, 0.1, 0.3, "within", True), (0.2, 0.25, 0.1, "cannot be told", True), (-0.3, 0.25, 0.1, "cannot be told", False),
     (0.4, 0.05, 0.3, "outside", False)],
)  # fmt: skip
def test_two_agree_within_what_is_uncertain_or_stated(delta, expanded, allowed, verdict, good):
    assert agrees(Deviation(delta, expanded, allowed, verdict)) is good


def test_what_was_begun_goes_by_its_kind():
    assert book.of_kind(kind="two_buffers", parameter="ph").expected == 0.5
    assert book.of_kind(kind="one_point", parameter="temperature").by_factor is False
    assert book.of_kind(kind="one_point", parameter="calcium").by_factor is True
    assert book.of_kind(kind="two_buffers", parameter="calcium") is None
