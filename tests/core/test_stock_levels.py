"""Stock keeping: bounds, balances, refusals. The published values are in test_checks."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.inventory import levels
from servicedesk.core.inventory.reorder import NotCounted


@given(mean=st.floats(0, 700), service=st.floats(0.01, 0.9999))
def test_whole_units_reach_the_service_and_one_less_does_not(mean, service):
    stock = levels.poisson_stock(mean=mean, service=service)

    def reached(units):
        logs = (k * math.log(mean) - mean - math.lgamma(k + 1) for k in range(units + 1)) if mean else (0.0,)
        return math.fsum(math.exp(log) for log in logs) if units >= 0 else 0.0

    assert reached(stock) >= service - 1e-9
    assert reached(stock - 1) <= service + 1e-9


def test_a_service_too_near_to_certain_still_ends():
    for mean, most in ((3, 40), (500, 800)):
        assert mean < levels.poisson_stock(mean=mean, service=math.nextafter(1, 0)) < most


@given(
    order_cost=st.floats(0.1, 1e4),
    holding_cost=st.floats(0.01, 1e3),
    demand=st.floats(1, 1e5),
    share=st.floats(0.5, 2),
)
def test_no_other_order_costs_less(order_cost, holding_cost, demand, share):
    asked = {"order_cost": order_cost, "holding_cost": holding_cost, "demand": demand}
    best, least = levels.order_quantity(**asked), levels.order_and_holding_cost(**asked)
    other = best * share

    assert order_cost * demand / other + holding_cost * other / 2 >= least * (1 - 1e-9)


def test_steady_demand_is_forecast_as_it_is_and_the_correction_takes_some_off():
    steady = [2, 2, 2, 2]

    assert levels.forecast_of_rare(series=steady, smoothing=0.3) == 2
    assert levels.forecast_of_rare(series=steady, smoothing=0.3, corrected=True) == pytest.approx(1.7)


GOOD = {"demand": 5, "demand_sd": 2, "lead_time": 3, "lead_time_sd": 1, "service": 0.95}


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (
            lambda: levels.order_quantity(order_cost=0, holding_cost=1, demand=1),
            "order_cost lies above nought",
        ),
        (lambda: levels.order_quantity(order_cost=1, holding_cost=math.inf, demand=1), "holding_cost"),
        (lambda: levels.critical_share(over_cost=1, under_cost=math.nan), "under_cost"),
        (lambda: levels.reorder_point(**{**GOOD, "service": 1}), "between 0 and 1"),
        (lambda: levels.safety_stock(**{**GOOD, "lead_time": -1}), "nought or more"),
        (lambda: levels.normal_stock(mean=5, sd=-1, service=0.9), "Scatter"),
        (lambda: levels.poisson_stock(mean=-1, service=0.9), "between 0 and 700"),
        (lambda: levels.poisson_stock(mean=5, service=0), "between 0 and 1"),
        (lambda: levels.forecast_of_rare(series=[1], smoothing=0), "Smoothing"),
        (lambda: levels.forecast_of_rare(series=[1, -1], smoothing=0.5), "below nought"),
        (lambda: levels.forecast_of_rare(series=[0, 0], smoothing=0.5), "Nothing was wanted"),
    ],
)
def test_amounts_that_cannot_be_are_refused_in_words(ask, sentence):
    with pytest.raises(NotCounted, match=sentence):
        ask()
