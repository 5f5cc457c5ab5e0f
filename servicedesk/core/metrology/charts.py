"""Control charts: when a series of checks says that something changed.

EWMA (Roberts 1959), CUSUM (Page 1954) and individuals with moving ranges, as in the NIST/SEMATECH e-Handbook of Statistical
Methods, 6.3.2; the multirule of Westgard, Barry, Hunt & Groth 1981, Clinical Chemistry 27, 493. Values in one unit; z in
standard deviations from the target. Places are counted from 0."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

RANGE_TO_SIGMA = 1.128
"""Mean moving range of two over the standard deviation (the handbook's d2)."""


class NoChart(ValueError):
    """It cannot be charted; the sentence says why."""


def _finite(values: Sequence[float], fewest: int = 1) -> None:
    if len(values) < fewest or not all(map(math.isfinite, values)):
        raise NoChart(f"A chart takes {fewest} values or more, all of them numbers.")


def _from_nought(**sizes: float) -> None:
    for name, size in sizes.items():
        if not 0 <= size < math.inf:
            raise NoChart(f"The {name} lies at nought or above.")


def ewma(*, values: Sequence[float], target: float, smoothing: float) -> list[float]:
    """The smoothed values, begun at the target. Raises NoChart."""
    _finite(values)
    if not 0 < smoothing <= 1:
        raise NoChart("Smoothing lies above 0 and up to 1.")
    smoothed, last = [], target
    for value in values:
        last = smoothing * value + (1 - smoothing) * last
        smoothed.append(last)
    return smoothed


def ewma_reach(*, sigma: float, smoothing: float, width: float = 3.0, place: int | None = None) -> float:
    """How far from the target a smoothed value may lie: at a place (from 0), or in the long run."""
    _from_nought(sigma=sigma, width=width)
    settled = smoothing / (2 - smoothing)
    begun = 1.0 if place is None else 1 - (1 - smoothing) ** (2 * (place + 1))
    return width * sigma * math.sqrt(settled * begun)


@dataclass(frozen=True)
class Sums:
    """The sums above and below at each place, the plain sum of all differences from the target, and the first place at
    which one of the sums passes the limit."""

    high: tuple[float, ...]
    low: tuple[float, ...]
    total: float
    first: int | None


def cusum(*, values: Sequence[float], target: float, slack: float, limit: float) -> Sums:
    """One-sided sums of what exceeds the slack (both in the values' unit). Raises NoChart."""
    _finite(values)
    _from_nought(slack=slack, limit=limit)
    high, low, first = [0.0], [0.0], None
    for place, value in enumerate(values):
        high.append(max(0.0, high[-1] + value - target - slack))
        low.append(max(0.0, low[-1] + target - value - slack))
        if first is None and max(high[-1], low[-1]) > limit:
            first = place
    return Sums(tuple(high[1:]), tuple(low[1:]), math.fsum(v - target for v in values), first)


@dataclass(frozen=True)
class Individuals:
    """Mean, mean moving range, and the limits three standard deviations away."""

    mean: float
    moving_range: float
    low: float
    high: float


def individuals(*, values: Sequence[float]) -> Individuals:
    """Limits from single values and their moving ranges. Raises NoChart."""
    _finite(values, 2)
    mean = fmean(values)
    moving = fmean(abs(b - a) for a, b in zip(values, values[1:], strict=False))
    reach = 3 * moving / RANGE_TO_SIGMA
    return Individuals(mean, moving, mean - reach, mean + reach)


RUNS = {"2_2s": (2, 2.0), "4_1s": (4, 1.0), "10_x": (10, 0.0)}
"""How many in a row, beyond how many standard deviations, on one side."""


def multirule(*, runs: Sequence[Sequence[float]]) -> dict[str, list[int]]:
    """Which rule fires at which run (from 0). A run is the z of each level of standard measured at once; rows are counted
    across levels and runs, R_4s within a run alone: one above +2 and another below -2. Raises NoChart."""
    fires: dict[str, list[int]] = {}

    def note(rule: str, place: int) -> None:
        if place not in fires.setdefault(rule, []):
            fires[rule].append(place)

    seen: list[float] = []
    for place, levels in enumerate(runs):
        _finite(levels)
        for z in levels:
            seen.append(z)
            for rule, edge in (("1_2s", 2.0), ("1_3s", 3.0)):
                if abs(z) > edge:
                    note(rule, place)
            for rule, (many, edge) in RUNS.items():
                last = seen[-many:]
                if len(last) == many and (min(last) > edge or max(last) < -edge):
                    note(rule, place)
        if max(levels) > 2 and min(levels) < -2:
            note("R_4s", place)
    return fires
