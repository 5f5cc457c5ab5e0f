"""Two methods compared over time, many results combined, and what scatter is whose.

Bland & Altman 1986, Lancet i, 307; weighted mean with Birge's ratio (Birge 1932, Physical Review 40, 207); Algorithm A of ISO
13528 (robust mean); one-way analysis of variance as in ISO 5725-2. Values in one unit."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, median, stdev

from servicedesk.core.metrology.quantiles import coverage_factor


class NoAgreement(ValueError):
    """It cannot be compared; the sentence says why."""


def _finite(values: Sequence[float], fewest: int) -> None:
    if len(values) < fewest or not all(map(math.isfinite, values)):
        raise NoAgreement(f"It takes {fewest} values or more, all of them numbers.")


@dataclass(frozen=True)
class Agreement:
    """The mean difference (first less second) with its 95 % limits, the standard deviation of the differences, and the
    limits between which 95 of 100 differences lie."""

    bias: float
    deviation: float
    bias_low: float
    bias_high: float
    low: float
    high: float
    pairs: int


def limits_of_agreement(*, first: Sequence[float], second: Sequence[float], width: float = 1.96) -> Agreement:
    """How far two methods differ on the same water: mean difference and `width` standard deviations (the paper of 1986
    takes 2). Raises NoAgreement for fewer than three pairs."""
    if len(first) != len(second):
        raise NoAgreement("Every result of the one method needs its partner of the other.")
    _finite([*first, *second], 6)
    differences = [a - b for a, b in zip(first, second, strict=True)]
    n, bias, deviation = len(differences), fmean(differences), stdev(differences)
    reach = coverage_factor(freedom=n - 1) * deviation / math.sqrt(n)
    return Agreement(
        bias, deviation, bias - reach, bias + reach, bias - width * deviation, bias + width * deviation, n
    )


@dataclass(frozen=True)
class Weighted:
    """The mean weighted by 1/u², its standard uncertainty from the stated ones, Birge's ratio, and the uncertainty
    widened by that ratio where it is above 1."""

    value: float
    u: float
    birge: float
    u_widened: float


def weighted_mean(*, values: Sequence[float], standard_uncertainties: Sequence[float]) -> Weighted:
    """Several results with their own uncertainties as one. Raises NoAgreement."""
    _finite(values, 2)
    if len(values) != len(standard_uncertainties) or not all(
        0 < u < math.inf for u in standard_uncertainties
    ):
        raise NoAgreement("Every value has a standard uncertainty above nought.")
    weights = [1 / u**2 for u in standard_uncertainties]
    total = math.fsum(weights)
    value = math.fsum(w * v for w, v in zip(weights, values, strict=True)) / total
    chi = math.fsum(w * (v - value) ** 2 for w, v in zip(weights, values, strict=True))
    birge = math.sqrt(chi / (len(values) - 1))
    u = 1 / math.sqrt(total)
    return Weighted(value, u, birge, u * max(1.0, birge))


def robust_mean(*, values: Sequence[float], steps: int = 1000) -> tuple[float, float]:
    """Mean and standard deviation that one wild result does not drag along: Algorithm A, from the median and 1.483 times
    the median deviation, until neither moves. Raises NoAgreement."""
    _finite(values, 3)
    mean = median(values)
    spread = 1.483 * median(abs(v - mean) for v in values)
    for _ in range(steps):
        reach = 1.5 * spread
        held = [min(max(v, mean - reach), mean + reach) for v in values]
        moved, wider = fmean(held), 1.134 * stdev(held)
        still = math.isclose(moved, mean, rel_tol=1e-15) and math.isclose(wider, spread, rel_tol=1e-15)
        mean, spread = moved, wider
        if still:
            break
    return mean, spread


@dataclass(frozen=True)
class Scatter:
    """Mean squares between and within groups, their ratio F, and the repeatability (standard deviation within)."""

    between: float
    within: float
    ratio: float
    repeatability: float


def scatter_of(*, groups: Sequence[Sequence[float]]) -> Scatter:
    """What differs between people or instruments, and what differs when one repeats. Raises NoAgreement."""
    if len(groups) < 2:
        raise NoAgreement("It takes two groups or more.")
    for group in groups:
        _finite(group, 2)
    every = [v for group in groups for v in group]
    mean = math.fsum(every) / len(every)
    means = [math.fsum(group) / len(group) for group in groups]
    between = math.fsum(len(g) * (m - mean) ** 2 for g, m in zip(groups, means, strict=True)) / (
        len(groups) - 1
    )
    within = math.fsum((v - m) ** 2 for g, m in zip(groups, means, strict=True) for v in g)
    within /= len(every) - len(groups)
    if within == 0:
        raise NoAgreement("No group differs within itself: there is nothing to compare with.")
    return Scatter(between, within, between / within, math.sqrt(within))
