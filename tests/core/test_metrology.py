import csv
import json
import math
import random
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.metrology.propagation import rectangular_u, triangular_u
from servicedesk.core.metrology.uncertainty import (
    RANGE_FACTORS,
    MethodSpec,
    NoReplicates,
    Replicate,
    deviation,
    reference_value,
    shown_range,
    standard_uncertainty,
    too_far_apart,
)

REFERENCE = Path(__file__).resolve().parents[2] / "fixtures" / "reference"

PHOTOMETER = MethodSpec(name="photometer", kind="photometer", tolerance_rel=0.05)
KIT = MethodSpec(name="kit", kind="kit", tolerance_rel=0.05)


def spec(*, name, lot=None, **stated):
    return MethodSpec(name=name, kind="kit", lot=lot, **stated)


def test_photometer_good_to_five_per_cent_in_water_of_8():
    """Common practice, no source."""
    assert shown_range(PHOTOMETER, 8.0) == pytest.approx((7.6, 8.4))


def test_reference_of_three_results_by_each_of_two_alike_methods_is_their_average():
    """Common practice, no source."""
    values = [(8.0, PHOTOMETER), (8.2, PHOTOMETER), (8.1, PHOTOMETER), (8.3, KIT), (8.3, KIT), (8.6, KIT)]

    found = reference_value([Replicate(v, m) for v, m in values])

    assert found.value == pytest.approx(sum(v for v, _m in values) / 6, rel=1e-12)
    assert (found.methods, found.replicates, found.agree) == (2, 6, True)


def test_reference_of_one_result_carries_the_tolerance_as_a_rectangle():
    """JCGM 100:2008, 4.3.7."""
    found = reference_value([Replicate(8.0, PHOTOMETER)])

    assert found.u == pytest.approx(0.4 / math.sqrt(3))
    assert found.expanded == pytest.approx(2 * found.u)


def test_reference_of_many_replicates_keeps_what_they_share():
    found = reference_value([Replicate(8.0, PHOTOMETER)] * 50)

    assert found.u == pytest.approx(0.4 / math.sqrt(3))


def test_reference_of_methods_that_disagree_is_widened_and_says_so():
    narrow = MethodSpec(name="a", kind="kit", tolerance_abs=0.05)
    other = MethodSpec(name="b", kind="photometer", tolerance_abs=0.05)

    found = reference_value([Replicate(7.0, narrow), Replicate(9.0, other)])

    assert found.agree is False
    assert found.u > 0.9


@pytest.mark.parametrize("replicates", [[], [Replicate(math.nan, PHOTOMETER)], [Replicate(math.inf, KIT)]])
def test_reference_of_nothing_or_of_what_is_no_number_is_refused(replicates):
    with pytest.raises(NoReplicates):
        reference_value(replicates)


def test_reference_counts_a_method_that_states_nothing_like_the_widest_that_does():
    silent = MethodSpec(name="s", kind="strip")
    close, wide = (MethodSpec(name=n, kind="kit", tolerance_abs=t) for n, t in (("c", 0.1), ("w", 0.4)))

    found = reference_value([Replicate(8.0, close), Replicate(8.2, wide), Replicate(8.2, silent)])

    shares = [16 / 18, 1 / 18, 1 / 18]
    assert found.value == pytest.approx(8.0 * shares[0] + 8.2 * (shares[1] + shares[2]))
    assert found.u == pytest.approx(
        math.hypot(shares[0] * 0.1, shares[1] * 0.4, shares[2] * 0.4) / math.sqrt(3)
    )


def test_scatter_of_replicates_widens_beyond_what_the_method_states():
    steady = MethodSpec(name="s", kind="kit", tolerance_abs=0.1, repeatability=0.05)

    found = reference_value([Replicate(v, steady) for v in (7.0, 8.0, 9.0)])

    assert found.value == pytest.approx(8.0)
    assert found.u == pytest.approx(math.hypot(0.1 / math.sqrt(3), 1.0 / math.sqrt(3)))


def rows(name):
    with (REFERENCE / name).open(encoding="utf-8") as lines:
        return {row["id"]: row for row in csv.DictReader(lines)}


HELD = {
    "f_type_b_rectangular": rectangular_u(1),
    "f_type_b_triangular": triangular_u(1),
    "f_drop": standard_uncertainty(MethodSpec(name="kit", kind="drops", resolution=0.5), 8.0),
}
NO_FUNCTION_YET = {
    "f_type_b_arcsine", "f_t99_16", "f_dilute",
    "f_tanaka_4", "f_tanaka_15", "f_tanaka_20", "f_tanaka_25", "f_tanaka_30", "f_Z_20", "f_Z_25",
    "f_quam_a1_c", "f_quam_a1_u", "f_quam_a1_uV", "f_quam_a2_c", "f_quam_a2_u",
    "f_gum_h1_y", "f_gum_h1_u", "f_gum_h1_nu",
}  # fmt: skip
SERIES_HELD = {"f_ccqm_k30", "f_nile"}
SERIES_WITHOUT_FUNCTION_YET = {
    "f_ewma_nist", "f_cusum_nist", "f_imr_nist", "f_montgomery", "f_gum_h3", "f_bland_altman", "f_algA",
    "f_deming_creatinine", "f_norris", "f_sirstv",
}  # fmt: skip


def test_every_row_of_metrology_and_every_series_is_held_or_named():
    series = json.loads((REFERENCE / "series.json").read_text(encoding="utf-8"))["series"]

    assert sorted([*HELD, *NO_FUNCTION_YET]) == sorted(rows("metrology.csv"))
    assert sorted(SERIES_HELD | SERIES_WITHOUT_FUNCTION_YET) == sorted(s["id"] for s in series)


@pytest.mark.parametrize("key", sorted(HELD))
def test_standard_uncertainty_agrees_with_the_published_value(key):
    row = rows("metrology.csv")[key]

    assert abs(HELD[key] - float(row["expected"])) <= float(row["tolerance"]), row["source"]


def test_weighted_mean_and_birge_ratio_agree_with_the_published_comparison():
    """CCQM-K30, lead in wine (Hearn et al. 2008): nine results with their own uncertainties, Birge ratio above 1, so
    the small uncertainty of the weighted mean is not what is reported."""
    series = json.loads((REFERENCE / "series.json").read_text(encoding="utf-8"))["series"]
    row = next(s for s in series if s["id"] == "f_ccqm_k30")
    data, wanted = row["data"], row["expected"]
    specs = [
        MethodSpec(name=str(n), kind="laboratory", tolerance_abs=math.sqrt(3) * wide / k)
        for n, (wide, k) in enumerate(zip(data["U"], data["k"], strict=True))
    ]

    found = reference_value([Replicate(v, s) for v, s in zip(data["value"], specs, strict=True)])

    for got, name in (
        (found.value, "weighted_mean"),
        (found.u / found.birge, "u_weighted"),
        (found.birge, "birge"),
        (found.u, "u_birge"),
    ):
        assert abs(got - wanted[name]["value"]) <= wanted[name]["tol"], name


def test_reference_of_methods_without_a_tolerance_counts_them_alike():
    one, two = MethodSpec(name="a", kind="kit"), MethodSpec(name="b", kind="kit")

    found = reference_value([Replicate(8.0, one), Replicate(9.0, two)])

    assert found.value == pytest.approx(8.5)
    assert found.u == pytest.approx(0.5)


def test_negative_tolerance_is_refused():
    with pytest.raises(ValueError, match="nought or more"):
        MethodSpec(name="x", kind="kit", tolerance_abs=-1)


@pytest.mark.parametrize(("shown", "verdict"), [(8.05, "within"), (9.5, "outside"), (8.3, "cannot be told")])
def test_deviation_with_guard_bands(shown, verdict):
    instrument = MethodSpec(name="t", kind="titrator", tolerance_abs=0.3)
    reference = reference_value([Replicate(8.0, MethodSpec(name="k", kind="kit", tolerance_abs=0.1))])

    assert deviation(instrument_value=shown, instrument=instrument, reference=reference).verdict == verdict


@given(st.floats(0.01, 2), st.floats(0.01, 2), st.floats(1, 500))
def test_more_tolerance_in_never_gives_less_uncertainty_out(smaller, more, value):
    a = MethodSpec(name="a", kind="kit", tolerance_abs=smaller)
    b = MethodSpec(name="a", kind="kit", tolerance_abs=smaller + more)

    assert standard_uncertainty(b, value) >= standard_uncertainty(a, value)
    assert reference_value([Replicate(value, b)]).u >= reference_value([Replicate(value, a)]).u


SPECS = st.tuples(
    st.floats(0.01, 2),
    st.floats(0, 0.5),
    st.floats(0, 0.5),
    st.lists(st.floats(1, 20), min_size=1, max_size=4),
)


@given(st.lists(SPECS, min_size=1, max_size=4), st.floats(1, 10))
def test_when_all_methods_state_more_uncertainty_the_reference_never_has_less(methods, times):
    def found(factor):
        return reference_value(
            [
                Replicate(v, MethodSpec(str(n), "kit", tolerance_abs=wide * factor, resolution=step * factor, repeatability=scatter * factor))
                for n, (wide, step, scatter, values) in enumerate(methods)
                for v in values
            ]
        )  # fmt: skip

    assert found(times).u >= found(1.0).u * (1 - 1e-9)


@pytest.mark.parametrize("number", range(2, 11))
def test_range_factors_hold_ninety_five_of_a_hundred_ranges_of_normal_results(number):
    """ISO 5725-6:1994, table 1, whose figures have one decimal: checked by simulation with a fixed seed."""
    rng = random.Random(5725)
    ranges = sorted(
        max(drawn) - min(drawn) for drawn in ([rng.gauss(0, 1) for _ in range(number)] for _ in range(20_000))
    )

    assert RANGE_FACTORS[number - 2] == pytest.approx(ranges[int(0.95 * len(ranges))], abs=0.08)


def test_results_of_one_method_that_lie_too_far_apart_do_not_agree():
    drops = MethodSpec(name="drops", kind="kit", tolerance_abs=20.0, resolution=5.0)

    found = reference_value([Replicate(300.0, drops), Replicate(418.0, drops)])

    assert found.agree is False
    assert found.birge == 0.0


def test_results_of_one_method_within_its_scatter_agree():
    drops = MethodSpec(name="drops", kind="kit", tolerance_abs=20.0, resolution=5.0)

    assert reference_value([Replicate(418.0, drops), Replicate(430.0, drops)]).agree is True


def test_results_of_a_method_that_states_nothing_are_not_judged_by_their_range():
    silent = MethodSpec(name="silent", kind="kit")

    assert too_far_apart(silent, [1.0, 9.0]) is False


def test_a_stated_repeatability_comes_before_the_tolerance():
    steady = MethodSpec(name="steady", kind="kit", tolerance_abs=20.0, repeatability=2.0)

    assert too_far_apart(steady, [400.0, 405.0]) is False
    assert too_far_apart(steady, [400.0, 406.0]) is True


def test_methods_of_one_lot_do_not_make_its_error_smaller():
    apart = [
        Replicate(8.0, spec(name="A", tolerance_rel=0.05)),
        Replicate(8.0, spec(name="B", tolerance_rel=0.05)),
    ]
    one = [replace(r, method=replace(r.method, lot="L")) for r in apart]
    alone = reference_value(apart[:1])

    assert reference_value(apart).u == pytest.approx(alone.u / math.sqrt(2))
    assert reference_value(one).u == pytest.approx(alone.u)
    assert (reference_value(apart).independent, reference_value(one).independent) == (2, 1)


@given(st.floats(min_value=0.01, max_value=0.2), st.floats(min_value=0.01, max_value=0.2))
def test_a_shared_lot_never_makes_the_reference_surer_nor_its_disagreement_less_seen(first, second):
    apart = [
        Replicate(7.5, spec(name="A", tolerance_rel=first)),
        Replicate(8.5, spec(name="B", tolerance_rel=second)),
    ]
    one = reference_value([replace(r, method=replace(r.method, lot="L")) for r in apart])
    free = reference_value(apart)

    assert one.u >= free.u * (1 - 1e-12)
    assert (one.birge, one.agree, one.value) == (free.birge, free.agree, free.value)


def test_a_shared_lot_among_three_methods_adds_as_its_share_simulated():
    """Two of three methods share a lot's error, drawn once for both."""
    rng = random.Random(31)
    methods = [
        spec(name="A", tolerance_abs=0.3, lot="L"),
        spec(name="B", tolerance_abs=0.3, lot="L"),
        spec(name="C", tolerance_abs=0.3),
    ]
    found = reference_value([Replicate(8.0, m) for m in methods])
    means = []
    for _ in range(20_000):
        lot, own = rng.uniform(-0.3, 0.3), rng.uniform(-0.3, 0.3)
        means.append((2 * lot + own) / 3)

    assert math.sqrt(sum(m * m for m in means) / len(means)) == pytest.approx(found.u, rel=0.02)


def test_a_reference_of_the_instruments_own_lot_clears_it_of_nothing():
    own = spec(name="A", tolerance_abs=0.1, lot="L")
    rests_on_it, other = (
        reference_value([Replicate(8.0, own)]),
        reference_value([Replicate(8.0, replace(own, lot="M"))]),
    )
    instrument = MethodSpec("I", "titrator", tolerance_abs=0.5, lot="L")

    assert (
        deviation(instrument_value=8.0, instrument=instrument, reference=rests_on_it).verdict
        == "cannot be told"
    )
    assert deviation(instrument_value=8.0, instrument=instrument, reference=other).verdict == "within"
    assert deviation(instrument_value=9.0, instrument=instrument, reference=rests_on_it).verdict == "outside"
