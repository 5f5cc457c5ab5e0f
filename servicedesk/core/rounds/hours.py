"""Ways by the hour: what the business's own drives say of an ordered pair in the morning, around midday, in the afternoon.

Averages in a chain, each beginning at the one before (`actuals.learned`): the pair at what was reckoned, its hours at the pair times what that time of day costs on
all ways together. Where the bands begin and the weights are common practice. The search has one time for each pair; with the hours a
round that was found is timed again (`retiming`)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from servicedesk.core.rounds.actuals import learned
from servicedesk.core.rounds.problem import NO_WAY_S

BEGINS = (0, 10 * 3600, 15 * 3600)
"""Seconds since midnight at which morning, midday and afternoon begin."""
ALWAYS = (1.0, 1.0, 1.0)
FACTOR_WEIGHT = 10.0
"""That the time of day makes no difference counts as so many drives."""
MOST_OF_LUNCH, SPARE_S = 0.75, 600
"""So much of lunch, so many seconds to spare before the next visit (common practice)."""


@dataclass(frozen=True)
class Drive:
    """A way that was driven: begun `at` seconds since midnight, `seconds` until the next visit began; `lunch` seconds of a break that may lie in it; `due` seconds
    after it was begun the next visit was planned."""

    at: int
    seconds: float
    lunch: int = 0
    due: float = 0.0


@dataclass(frozen=True)
class LearnedWay:
    """Seconds of an ordered pair, from how many drives, which of them count, and those left out with the reason: "short", "long", "lunch", "wait"."""

    value: float
    kept: tuple[Drive, ...] = ()
    left_out: tuple[tuple[Drive, str], ...] = ()

    @property
    def seen(self) -> int:
        return len(self.kept)


def band_of(at: int) -> int:
    """Number of the part of the day, 0 to 2, in which a moment lies (seconds since midnight)."""
    return sum(at >= begins for begins in BEGINS) - 1


def learned_way(reckoned: float, drives: Sequence[Drive]) -> LearnedWay:
    """What drives say of a pair for which so many seconds were reckoned. Raises ValueError where that is nought or less."""
    kept, out = list[Drive](), list[tuple[Drive, str]]()
    for drive in drives:
        why = _why_not(reckoned, drive)
        if why:
            out.append((drive, why))
        else:
            kept.append(drive)
    return LearnedWay(learned(reckoned, [drive.seconds for drive in kept]).value, tuple(kept), tuple(out))


def _why_not(reckoned: float, drive: Drive) -> str:
    """Why a drive tells nothing of its way: lunch was eaten, there was time to wait and whoever drove was not late, or it is far off."""
    if drive.lunch and drive.seconds - reckoned >= MOST_OF_LUNCH * drive.lunch:
        return "lunch"
    if drive.due - reckoned > SPARE_S and reckoned < drive.seconds <= drive.due + SPARE_S:
        return "wait"
    far = learned(reckoned, [drive.seconds]).left_out
    return far[0][1] if far else ""


def factors_of(ways: Iterable[LearnedWay]) -> tuple[float, float, float]:
    """How many times as long ways take in each part of the day as they take as a rule, over all pairs together."""
    ratios: list[list[float]] = [[], [], []]
    for way in ways:
        for drive in way.kept:
            ratios[band_of(drive.at)].append(drive.seconds / way.value)
    one, two, three = ((FACTOR_WEIGHT + sum(some)) / (FACTOR_WEIGHT + len(some)) for some in ratios)
    return one, two, three


def by_band(way: LearnedWay, factors: tuple[float, float, float]) -> tuple[float, float, float]:
    """Seconds of a pair in each part of the day."""
    one, two, three = (
        learned(way.value * factor, [d.seconds for d in way.kept if band_of(d.at) == band]).value
        for band, factor in enumerate(factors)
    )
    return one, two, three


@dataclass(frozen=True, eq=False)
class Hours:
    """Seconds of each ordered pair of places by the hour: `seconds` is the square that holds as a rule, `pairs` what single pairs take in each part of the
    day, `factors` what the part of the day does to all others."""

    seconds: Any
    factors: tuple[float, float, float] = ALWAYS
    pairs: Mapping[tuple[int, int], tuple[float, float, float]] = field(default_factory=dict)

    @property
    def known(self) -> bool:
        """Whether the hour makes any difference."""
        return bool(self.pairs) or self.factors != ALWAYS

    def leg(self, start: int, end: int, at: int) -> int:
        """Whole seconds, full minutes, of a way that is begun then. What is no leg or no way stays so."""
        as_a_rule = int(self.seconds[start][end])
        if not 0 < as_a_rule < NO_WAY_S:
            return as_a_rule
        band = band_of(at)
        own = self.pairs.get((start, end))
        value = own[band] if own is not None else as_a_rule * self.factors[band]
        return -(-round(value) // 60) * 60
