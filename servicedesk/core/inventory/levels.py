"""How much to keep and when to order: known results of stock keeping, in units of one's own choosing.

Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed. (3.2, 4.3, 5.3); Croston 1972, Oper. Res. Q. 23, 289; Syntetos &
Boylan 2005, Int. J. Forecasting 21, 303. Times in the unit of the demand."""

import math
from collections.abc import Sequence
from statistics import NormalDist

from servicedesk.core.inventory.reorder import NotCounted

NORMAL = NormalDist()
MOST_MEAN = 700.0
"""Beyond this exp(-mean) is lost in a float."""


def _above(**amounts: float) -> None:
    for name, amount in amounts.items():
        if not 0 < amount < math.inf:
            raise NotCounted(f"The {name} lies above nought.")


def _service(share: float) -> float:
    if not 0 < share < 1:
        raise NotCounted("A service level lies between 0 and 1.")
    return share


def order_quantity(*, order_cost: float, holding_cost: float, demand: float) -> float:
    """The order that costs the least where demand is steady: sqrt(2 K D / h)."""
    _above(order_cost=order_cost, holding_cost=holding_cost, demand=demand)
    return math.sqrt(2 * order_cost * demand / holding_cost)


def order_and_holding_cost(*, order_cost: float, holding_cost: float, demand: float) -> float:
    """What ordering and holding cost together at that order."""
    return holding_cost * order_quantity(order_cost=order_cost, holding_cost=holding_cost, demand=demand)


def safety_stock(
    *, demand: float, demand_sd: float, lead_time: float, lead_time_sd: float, service: float
) -> float:
    """Stock against the chance of running out before an order comes: z sqrt(L s_d^2 + d^2 s_L^2)."""
    if min(demand, demand_sd, lead_time, lead_time_sd) < 0:
        raise NotCounted("Demand, lead time and their scatter are nought or more.")
    spread = math.sqrt(lead_time * demand_sd**2 + demand**2 * lead_time_sd**2)
    return NORMAL.inv_cdf(_service(service)) * spread


def reorder_point(
    *, demand: float, demand_sd: float, lead_time: float, lead_time_sd: float, service: float
) -> float:
    """The stock at which to order: what is used until it comes, and the safety stock."""
    safe = safety_stock(
        demand=demand, demand_sd=demand_sd, lead_time=lead_time, lead_time_sd=lead_time_sd, service=service
    )
    return demand * lead_time + safe


def critical_share(*, over_cost: float, under_cost: float) -> float:
    """The service level that balances a unit too many against one too few: p / (p + h)."""
    _above(over_cost=over_cost, under_cost=under_cost)
    return under_cost / (under_cost + over_cost)


def normal_stock(*, mean: float, sd: float, service: float) -> float:
    """The stock that a normal demand does not exceed with that chance."""
    if sd < 0:
        raise NotCounted("Scatter is nought or more.")
    return mean + NORMAL.inv_cdf(_service(service)) * sd


def poisson_stock(*, mean: float, service: float) -> int:
    """The fewest whole units that a Poisson demand does not exceed with at least that chance."""
    if not 0 <= mean <= MOST_MEAN:
        raise NotCounted(f"The mean lies between 0 and {MOST_MEAN:g}.")
    chance = reached = math.exp(-mean)
    stock = 0
    while reached < _service(service):
        stock += 1
        chance *= mean / stock
        if stock > mean and reached + chance == reached:  # a float holds no more of it
            break
        reached += chance
    return stock


def expected_short(*, z: float) -> float:
    """Units short on average, in standard deviations, where stock lies z of them above the mean: phi(z) - z (1 - Phi(z))."""
    return NORMAL.pdf(z) - z * (1 - NORMAL.cdf(z))


def forecast_of_rare(*, series: Sequence[float], smoothing: float, corrected: bool = False) -> float:
    """Demand a period for something that is wanted now and then: Croston's mean size over mean interval, begun with the
    first demand and the first interval; `corrected` takes off its bias (Syntetos and Boylan). Raises NotCounted for a
    smoothing outside (0, 1] or a series without demand."""
    if not 0 < smoothing <= 1 or any(not 0 <= wanted < math.inf for wanted in series):
        raise NotCounted("Smoothing lies above 0 and up to 1, and no demand is below nought.")
    size = interval = 0.0
    since = 0
    for wanted in series:
        since += 1
        if wanted == 0:
            continue
        if size == 0:
            size, interval = wanted, float(since)
        else:
            size += smoothing * (wanted - size)
            interval += smoothing * (since - interval)
        since = 0
    if size == 0:
        raise NotCounted("Nothing was wanted in all that time.")
    return size / interval * ((1 - smoothing / 2) if corrected else 1.0)
