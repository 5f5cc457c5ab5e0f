"""Results that came before a dose was mixed in: which they are, which of them still count, and when one would have to test instead.

A pump's outlet and a probe stand in one tank: for some minutes after a dose the water at the probe is not that of the tank (common practice).
Times in minutes from any one moment, values in one unit."""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import median

from servicedesk.core.chemistry.side_effects import CARBON_PER_EQUIVALENT

ALKALINE = frozenset({"alkalinity", "carbonate_hardness", "ph"})
HARD = frozenset({"calcium", "magnesium", "general_hardness"})
MOVED: dict[str, frozenset[str]] = {
    "alkalinity": ALKALINE,
    "carbonate_hardness": ALKALINE,
    "ph": ALKALINE,
    "carbon_dioxide": frozenset({"carbon_dioxide", "ph"}),
    "calcium": frozenset({"calcium", "general_hardness"}),
    "magnesium": frozenset({"magnesium", "general_hardness"}),
    "general_hardness": HARD,
    "chlorine_total": frozenset({"chlorine_total", "redox"}),
}
"""What a solution for a parameter moves where it goes in. Alkalinity and pH by the carbonate system (core.chemistry.side_effects); general hardness is
that of calcium and magnesium (Standard Methods 2340 B, hardness by calculation, from memory); an oxidiser moves redox (common practice)."""
LIME = "Ca(OH)2"


@lru_cache(maxsize=512)
def moved_by(parameter: str, composition: str = "") -> frozenset[str]:
    """The parameters that a solution moves which is for one and holds what stands in its composition."""
    found = MOVED.get(parameter, frozenset({parameter}))
    if any(salt in composition for salt in CARBON_PER_EQUIVALENT):
        found |= ALKALINE
    return found | MOVED["calcium"] if LIME in composition else found


def since_dose(at: float, doses: Sequence[float], within: float) -> float | None:
    """Minutes since the last of the `doses` (in order) where that was less than `within` before; None where it was not."""
    place = bisect_right(doses, at)
    if not place:
        return None
    minutes = at - doses[place - 1]
    return minutes if minutes < within else None


ENOUGH_ALONE = 3
"""So many results in a row of water that was never mixed are better than none (common practice)."""


def counting(values: Sequence[float], marked: Sequence[bool], same: float) -> list[bool]:
    """Which of an instrument's results count, in order: those of mixed water, and those that the following one confirms by differing by no more than
    `same`. Raises ValueError where the two are not of one length, or `same` is under nought."""
    if len(values) != len(marked) or not same >= 0:
        raise ValueError("Each value has its mark, and what is the same is nought or more.")
    following = [*values[1:], math.inf][: len(values)]
    return [not mark or abs(after - value) <= same for value, after, mark in zip(values, following, marked, strict=True)]  # fmt: skip


FEWEST, MOSTLY, FREE = 8, 0.9, 0.1
"""Tests and doses collide where nine of ten tests do, of eight or more; a time is free where at most one of ten would (common practice)."""
MOST_TRIED, MOST_TESTS, A_DAY, AN_HOUR = 60, 24, 1440, 60
NEAR = 2.0


@dataclass(frozen=True)
class Clash:
    """Tests that came before a dose was mixed in: how many of how many, and how many minutes later none would, None where no time is free. `hourly`: they
    come at one minute of the hour, within two."""

    marked: int
    tests: int
    later: int | None
    hourly: bool


def clash(*, tests: Sequence[float], doses: Sequence[float], within: float) -> Clash | None:
    """Whether the last tests (in order) nearly all come within so many minutes of a dose. The time proposed is sooner than the next test would be, and lies in the
    middle of the longest stretch that is free."""
    last = list(tests[-MOST_TESTS:])
    marked = sum(since_dose(at, doses, within) is not None for at in last)
    if len(last) < FEWEST or marked < MOSTLY * len(last):
        return None
    gaps = [b - a for a, b in zip(last, last[1:], strict=False)]
    period = int(min(A_DAY, max(2.0, median(gaps))))
    step = max(1, period // MOST_TRIED)
    free = [_is_free(last, doses, within, later) for later in range(0, period, step)]
    place = _middle_of_longest(free)
    minutes = [at % AN_HOUR for at in last]
    apart = [min(abs(m - minutes[0]), AN_HOUR - abs(m - minutes[0])) for m in minutes]
    return Clash(marked, len(last), None if place is None else place * step, max(apart) <= NEAR)


def _is_free(tests: Sequence[float], doses: Sequence[float], within: float, later: float) -> bool:
    """Whether so many minutes later few of the tests would come before a dose is mixed in."""
    marked = sum(since_dose(at + later, doses, within) is not None for at in tests)
    return marked <= FREE * len(tests)


def _middle_of_longest(free: Sequence[bool]) -> int | None:
    """The middle place of the longest run that is free."""
    best, length, begun = None, 0, 0
    for place, one in enumerate([*free, False]):
        if one:
            continue
        if place - begun > length:
            best, length = begun + (place - begun - 1) // 2, place - begun
        begun = place + 1
    return best
