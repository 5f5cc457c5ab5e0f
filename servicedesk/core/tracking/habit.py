"""An instrument's own habit: how long it is usually silent, how long it usually shows the same, and when either is not usual any more.

No source: common practice, tried on a simulated fleet. Times in days, values in one unit."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

ENOUGH_GAPS, ENOUGH_VALUES = 20, 30
ROOM = 1.25
"""A gap may be a quarter longer than the longest usual one."""
USUAL_SHARE = 0.99
EXACT_ROOM, NEAR_ROOM, RUN_MORE, FEWEST_ALIKE = 1.5, 2.0, 3, 5
"""A run of the same is unusual where it is half as long again as the longest before, and three results more; one of nearly the same where it is
twice as long and three more."""
ENOUGH_DAYS, RARE = 10.0, 1e-4
"""… or where it is longer than any before and so many alike come once in ten thousand by its own habit."""
HAIR = 1e-9
JUMP_NEEDS, JUMP_TIMES = 8, 6.0


def longest_silence(*, gaps: Sequence[float], interval: float, grace: float) -> float:
    """After how long without a word an instrument is silent: its interval and grace; the interval as it keeps it, where that is known from
    20 gaps or more, and never sooner than a quarter over its longest usual gap (99 of 100). All in one unit of time."""
    if interval <= 0 or grace < 0 or any(not 0 <= gap < math.inf for gap in gaps):
        raise ValueError("An interval is above nought, gaps and grace are nought or more.")
    if len(gaps) < ENOUGH_GAPS:
        return interval + grace
    ordered = sorted(gaps)
    kept = ordered[len(ordered) // 2]
    usual = ordered[min(len(ordered) - 1, math.ceil(USUAL_SHARE * len(ordered)) - 1)]
    return max(kept + grace, ROOM * usual)


@dataclass(frozen=True)
class Stuck:
    """The last results are alike for longer than is usual: how many, since which place, how many were alike at most before."""

    alike: int
    since: int
    before: int


def _runs(values: Sequence[float], width: float) -> list[tuple[int, int]]:
    """Spans (first place, number) in which all values lie within `width` of each other, each as long as it goes, from the first on."""
    runs: list[tuple[int, int]] = []
    first, low, high = 0, math.inf, -math.inf
    for place, value in enumerate(values):
        low, high = min(low, value), max(high, value)
        if high - low > width + HAIR:
            runs.append((first, place - first))
            first, low, high = place, value, value
    runs.append((first, len(values) - first))
    return runs


def alike_at_the_end(values: Sequence[float], *, width: float) -> int:
    """How many of the last results lie within `width` of each other."""
    low, high, number = math.inf, -math.inf, 0
    for value in reversed(values):
        low, high = min(low, value), max(high, value)
        if high - low > width + HAIR:
            break
        number += 1
    return number


def stuck(
    *, values: Sequence[float], days: Sequence[float], step: float, least_days: float = 0.0
) -> Stuck | None:
    """Whether an instrument is stuck: its last results, in order, are the same, or within two steps of its display (one up, one down), for
    clearly longer than ever before, and for `least_days` at least. None where they are not, and where fewer than 30 results over 10 days before tell its habit."""
    if step < 0 or len(values) != len(days) or not all(map(math.isfinite, [*values, *days])):
        raise ValueError("A step is nought or more; values are numbers, each with its day.")
    for width, room in ((0.0, EXACT_ROOM), (2 * step, NEAR_ROOM)):
        alike = alike_at_the_end(values, width=width)
        first = len(values) - alike
        if alike < FEWEST_ALIKE or first < ENOUGH_VALUES or days[first] - days[0] < ENOUGH_DAYS:
            continue
        if days[-1] - days[first] < least_days:
            continue
        before = values[:first]
        longest = max(number for _first, number in _runs(before, width))
        rare = alike > longest + 1 and _chance(before, width, alike) < RARE
        if alike > room * longest + RUN_MORE or rare:
            return Stuck(alike, first, longest)
    return None


def _chance(values: Sequence[float], width: float, alike: int) -> float:
    """How likely so many alike are by the share of neighbours that were alike before (Laplace's rule)."""
    near = sum(abs(b - a) <= width + HAIR for a, b in zip(values, values[1:], strict=False))
    return float(((near + 1) / (len(values) + 1)) ** (alike - 1))


def jumped(*, values: Sequence[float], allowed: float) -> bool:
    """Whether the last value stands away from those before it by more than six times their usual step and by more than `allowed`: a
    result to be tested again before anyone acts. Fewer than eight before tell nothing."""
    if len(values) <= JUMP_NEEDS:
        return False
    before, last = list(values[:-1]), values[-1]
    steps = sorted(abs(b - a) for a, b in zip(before, before[1:], strict=False))
    usual = steps[len(steps) // 2]
    middle = sorted(before[-3:])[1]
    return abs(last - middle) > max(allowed, JUMP_TIMES * usual)
