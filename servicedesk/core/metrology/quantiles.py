"""Quantiles that turn a standard uncertainty into an expanded one."""

import math


class NoQuantile(ValueError):
    """There is no such quantile; the sentence says why."""


def coverage_factor(*, confidence: float = 0.95, freedom: float = math.inf) -> float:
    """How many standard uncertainties to either side hold that share of all cases: Student's t with the degrees of
    freedom cut to a whole number (JCGM 100:2008, G.4.1 and table G.2). Raises NoQuantile."""
    if not 0 < confidence < 1 or not freedom >= 1:
        raise NoQuantile("A confidence lies between 0 and 1, and there is at least one degree of freedom.")
    from scipy.special import ndtri, stdtrit  # noqa: PLC0415 (slow to load, seldom needed)

    upper = (1 + confidence) / 2
    if math.isinf(freedom):
        return float(ndtri(upper))
    return float(stdtrit(math.floor(freedom), upper))
