"""The law of propagation, and volumes by weighing. The guides' worked examples are in test_checks."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.metrology import weighing
from servicedesk.core.metrology.propagation import (
    Known,
    NotPropagated,
    arcsine_u,
    combined,
    rectangular_u,
    triangular_u,
)

PAIR = {"a": Known(10.0, 0.3), "b": Known(4.0, 0.4)}


def test_a_sum_adds_squares_and_correlation_adds_or_takes_away():
    def of(**correlations):
        return combined(lambda a, b: a + b, PAIR, correlations and {("a", "b"): correlations["r"]}).u

    assert of() == pytest.approx(0.5)
    assert of(r=1.0) == pytest.approx(0.7)
    assert of(r=-1.0) == pytest.approx(0.1)


def test_a_quotient_adds_relative_squares_and_says_what_each_input_adds():
    found = combined(lambda a, b: a / b, PAIR)

    assert found.value == 2.5
    assert found.u == pytest.approx(2.5 * math.hypot(0.03, 0.1), rel=0.02)
    assert found.parts["b"] > found.parts["a"] > 0
    assert found.freedom == math.inf


def test_few_results_leave_few_degrees_of_freedom():
    found = combined(lambda a, b: a + b, {"a": Known(1, 3, 5), "b": Known(1, 4, 10)})

    assert found.freedom == pytest.approx(5**4 / (3**4 / 5 + 4**4 / 10))


@given(scale=st.floats(-1e3, 1e3), u=st.floats(0, 10))
def test_a_straight_line_scales_the_uncertainty(scale, u):
    assert combined(lambda a: scale * a + 7, {"a": Known(2.0, u)}).u == pytest.approx(
        abs(scale) * u, rel=1e-6, abs=1e-6
    )


def test_a_wider_notion_of_the_limits_gives_a_smaller_uncertainty():
    assert triangular_u(1) < rectangular_u(1) < arcsine_u(1) < 1


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (lambda: rectangular_u(-1), "nought or more"),
        (lambda: triangular_u(math.nan), "nought or more"),
        (lambda: arcsine_u(math.inf), "nought or more"),
        (lambda: Known(math.nan), "finite"),
        (lambda: Known(1, -1), "nought or more"),
        (lambda: Known(1, 1, 0), "freedom above nought"),
        (lambda: combined(lambda a, b: a, PAIR, {("a", "c"): 0.5}), "two of the inputs"),
        (lambda: combined(lambda a, b: a, PAIR, {("c", "b"): 0.5}), "two of the inputs"),
        (lambda: combined(lambda a, b: a, PAIR, {("a", "b"): 1.5}), "between -1 and 1"),
    ],
)
def test_what_cannot_be_is_refused_in_words(ask, sentence):
    with pytest.raises(NotPropagated, match=sentence):
        ask()


HAIR_C = 1e-9


@given(celsius=st.floats(4, 40), warmer=st.floats(0.1, 10))
def test_warmer_water_is_lighter_and_a_gram_of_it_more(celsius, warmer):
    warm = min(40.0, celsius + warmer)
    if warm - celsius < HAIR_C:
        return  # nearer than a density in double precision tells apart
    assert weighing.water_density_kg_m3(temperature_c=warm) < weighing.water_density_kg_m3(
        temperature_c=celsius
    )
    assert weighing.ml_per_gram(temperature_c=warm) > weighing.ml_per_gram(temperature_c=celsius) > 1


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (lambda: weighing.water_density_kg_m3(temperature_c=41), "0 to 40 °C"),
        (lambda: weighing.diluted(strength=1, taken_ml=-1, made_up_to_ml=5), "between nothing"),
        (lambda: weighing.diluted(strength=1, taken_ml=6, made_up_to_ml=5), "between nothing"),
        (lambda: weighing.diluted(strength=1, taken_ml=0, made_up_to_ml=0), "between nothing"),
    ],
)
def test_volumes_that_cannot_be_are_refused_in_words(ask, sentence):
    with pytest.raises(weighing.NoVolume, match=sentence):
        ask()
