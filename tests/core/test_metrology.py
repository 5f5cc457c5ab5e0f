import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.metrology.uncertainty import (
    MethodSpec,
    NoReplicates,
    Replicate,
    deviation,
    reference_value,
    shown_range,
    standard_uncertainty,
)

PHOTOMETER = MethodSpec(name="photometer", kind="photometer", tolerance_rel=0.05)
KIT = MethodSpec(name="kit", kind="kit", tolerance_rel=0.05)


def test_photometer_good_to_five_per_cent_in_water_of_8():
    """Common practice, no source."""
    assert shown_range(PHOTOMETER, 8.0) == pytest.approx((7.6, 8.4))


def test_reference_of_three_results_by_each_of_two_alike_methods_is_their_average():
    """Common practice, no source."""
    values = [(8.0, PHOTOMETER), (8.2, PHOTOMETER), (8.1, PHOTOMETER), (8.3, KIT), (8.3, KIT), (8.6, KIT)]

    found = reference_value([Replicate(v, m) for v, m in values])

    assert found.value == pytest.approx(sum(v for v, _m in values) / 6, abs=0.02)
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


def test_reference_of_nothing_is_refused():
    with pytest.raises(NoReplicates):
        reference_value([])


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
