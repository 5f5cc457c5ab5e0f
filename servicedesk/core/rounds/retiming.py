"""A round that was found with one time for each way, driven again with the times of the hour: who would come later than was planned.

Nobody begins sooner than planned, since that was told to those who wait; the first way may begin sooner, as far as the shift allows. Seconds since
local midnight."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from servicedesk.core.rounds.plan import REFILL, Round
from servicedesk.core.rounds.problem import Problem, Shift

Leg = Callable[[int, int, int], int]
"""Seconds from one place to another, begun at a moment."""


@dataclass(frozen=True)
class Late:
    """A stop (`visit` empty: the way home) that would begin at `start` where it was planned for `planned`. `beyond` seconds of that lie after the last time at
    which it may: more than nought is a rule broken."""

    visit: str
    planned: int
    start: int
    beyond: int

    @property
    def late(self) -> int:
        return self.start - self.planned


def retimed(problem: Problem, shift: Shift, round_: Round, leg: Leg) -> tuple[Late, ...]:
    """Every stop of a round that would begin later than planned, in order, and the way home where it would end after the shift."""
    if not round_.stops:
        return ()
    found, now, here = [], _leaves(shift, round_, leg), shift.start
    for stop in round_.stops:
        arrive = now + leg(here, stop.place, now) + _pause(shift, stop.lunch)
        start, beyond = _begins(problem, shift, stop.visit, max(stop.start, arrive))
        if start > stop.start:
            found.append(Late(stop.visit, stop.start, start, beyond))
        now, here = start + stop.end - stop.start, stop.place
    eaten = any(stop.lunch is not None for stop in round_.stops)
    back = now + leg(here, shift.end, now) + (0 if eaten else _pause(shift, round_.lunch))
    if back > max(round_.back, shift.latest):
        found.append(Late("", round_.back, back, back - shift.latest))
    return tuple(found)


def _leaves(shift: Shift, round_: Round, leg: Leg) -> int:
    first = round_.stops[0]
    sooner = first.start - _pause(shift, first.lunch) - leg(shift.start, first.place, round_.leave)
    return min(round_.leave, max(shift.earliest, sooner))


def _pause(shift: Shift, lunch: int | None) -> int:
    return shift.lunch.seconds if lunch is not None and shift.lunch is not None else 0


def _begins(problem: Problem, shift: Shift, visit: str, arrive: int) -> tuple[int, int]:
    """When work begins for one who is there then, and how many seconds that is too late."""
    if visit == REFILL:
        return arrive, 0
    windows = [w for w in problem.visit[visit].windows if w.day == shift.day]
    open_ = [max(arrive, w.earliest) for w in windows if w.latest >= arrive]
    if open_:
        return min(open_), 0
    return arrive, arrive - max((w.latest for w in windows), default=arrive)
