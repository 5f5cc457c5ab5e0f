"""The clock of one round: when each stop begins, where lunch is eaten, when to leave so that nobody waits who need not.

Lunch may lie in any leg: it is eaten on arrival, or on the way where arrival is too late. All legs are tried, so that a round
that can be driven is never called impossible. Seconds since local midnight."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from servicedesk.core.rounds.problem import Lunch, Shift

Option = tuple[int, int, int]
"""Earliest and latest start, price."""


@dataclass(frozen=True)
class Step:
    """What is to be done at one stop: the way to it, when it may begin, how long it takes."""

    leg: int
    options: tuple[Option, ...]
    seconds: int


@dataclass(frozen=True)
class Times:
    """A round that can be driven. `gap` is the leg in which lunch lies (None: none on the way), `begin` when that leg begins."""

    leave: int
    starts: tuple[int, ...]
    slacks: tuple[int, ...]
    back: int
    away: int
    overtime: int
    price: int
    gap: int | None
    begin: int


@dataclass(frozen=True)
class Stuck:
    """Why a round cannot be driven: the first stop begun too late ("window", its number and the seconds), or the whole is too
    long ("shift", "paid"), or no lunch fits ("lunch")."""

    code: str
    stop: int
    seconds: int


def lunch_of(shift: Shift) -> Lunch | None:
    """The lunch that a shift has to find room for; None where it is over before, or begins after."""
    lunch = shift.lunch
    if lunch is None or shift.latest <= lunch.latest or shift.earliest >= lunch.earliest + lunch.seconds:
        return None
    return lunch


def _reach(options: Sequence[Option], arrive: int, cheap: bool) -> tuple[int, Option] | None:
    """When work can begin for one who arrives then: as soon as can be, or in the cheapest time still to come."""
    if len(options) == 1:
        only = options[0]
        return (max(arrive, only[0]), only) if only[1] >= arrive else None
    open_ = [option for option in options if option[1] >= arrive]
    if not open_:
        return None
    chosen = min(open_, key=lambda o: (o[2] if cheap else 0, max(arrive, o[0]), o[2]))
    return max(arrive, chosen[0]), chosen


def _price(options: Sequence[Option], start: int) -> int:
    """What beginning then costs."""
    return min(option[2] for option in options if option[0] <= start <= option[1])


def _forward(
    steps: Sequence[Step], last_leg: int, leave: int, cheap: bool
) -> tuple[list[int], list[Option], int] | int:
    """Starts, the options taken and the time of return; or the number of the step that comes too late."""
    now, starts, taken = leave, [], []
    for number, step in enumerate(steps):
        reached = _reach(step.options, now + step.leg, cheap)
        if reached is None:
            return number
        starts.append(reached[0])
        taken.append(reached[1])
        now = reached[0] + step.seconds
    return starts, taken, now + last_leg


def _latest(
    steps: Sequence[Step], last_leg: int, taken: Sequence[Option], back: int
) -> tuple[int, list[int]]:
    """The latest leave, and latest start of each step, with which one is back by then."""
    bound, latest = back - last_leg, []
    for step, option in zip(reversed(steps), reversed(taken), strict=True):
        bound = min(option[1], bound - step.seconds)
        latest.append(bound)
        bound -= step.leg
    return bound, latest[::-1]


def _with_lunch(steps: Sequence[Step], last_leg: int, lunch: Lunch, gap: int) -> tuple[list[Step], int]:
    """The steps with lunch at the beginning of one leg: the leg may begin so early that arrival is at lunch's earliest."""
    leg = steps[gap].leg if gap < len(steps) else last_leg
    eaten = Step(0, ((lunch.earliest - leg, lunch.latest, 0),), lunch.seconds)
    return [*steps[:gap], eaten, *steps[gap:]], last_leg


def _try(shift: Shift, steps: Sequence[Step], last_leg: int, gap: int | None, cheap: bool) -> Times | None:
    """The times with lunch in this leg (None: none on the way), nobody leaving earlier than need be; None where it does not go."""
    lunch = lunch_of(shift)
    chain = list(steps)
    if lunch is not None and gap is not None:
        chain, last_leg = _with_lunch(steps, last_leg, lunch, gap)
    ran = _forward(chain, last_leg, shift.earliest, cheap)
    if isinstance(ran, int) or ran[2] > shift.latest:
        return None
    _starts, taken, back = ran
    leave = max(shift.earliest, _latest(chain, last_leg, taken, back)[0])
    now, starts = leave, []
    for step, option in zip(chain, taken, strict=True):
        starts.append(max(now + step.leg, option[0]))
        now = starts[-1] + step.seconds
    eaten = lunch.seconds if lunch is not None and gap is not None else 0
    if (
        lunch is not None
        and gap is None
        and not (back <= lunch.latest or leave >= lunch.earliest + lunch.seconds)
    ):
        return None
    away = back - leave - eaten
    overtime = 0 if shift.paid is None else max(0, away - shift.paid)
    if overtime > shift.overtime:
        return None
    end = (
        shift.latest if shift.paid is None else min(shift.latest, leave + shift.paid + shift.overtime + eaten)
    )
    slacks = [
        late - start for late, start in zip(_latest(chain, last_leg, taken, end)[1], starts, strict=True)
    ]
    begin = -1
    if gap is not None and lunch is not None:
        begin = starts.pop(gap)
        slacks.pop(gap)
    price = sum(_price(step.options, start) for step, start in zip(steps, starts, strict=True))
    return Times(leave, tuple(starts), tuple(slacks), back, away, overtime, price, gap, begin)


def _gaps(shift: Shift, steps: Sequence[Step]) -> Iterator[int | None]:
    """Where lunch may lie, the likely leg first."""
    lunch = lunch_of(shift)
    yield None
    if lunch is None:
        return
    now, likely = shift.earliest, len(steps)
    for number, step in enumerate(steps):
        now = max(now + step.leg, step.options[0][0])
        if now >= lunch.earliest:
            likely = number
            break
        now += step.seconds
    yield likely
    yield from (gap for gap in range(len(steps) + 1) if gap != likely)


def time_round(shift: Shift, steps: Sequence[Step], last_leg: int) -> Times | Stuck:
    """The times of a round: the first way without overtime or price, else the cheapest of all; or why there is none."""
    if _hopeless(shift, steps, last_leg):
        return _why_stuck(shift, steps, last_leg)
    best: tuple[int, Times] | None = None
    priced = any(option[2] for step in steps for option in step.options)
    for cheap in (True, False) if priced else (False,):
        for gap in _gaps(shift, steps):
            times = _try(shift, steps, last_leg, gap, cheap)
            if times is None:
                continue
            worth = times.overtime * shift.overtime_price + times.price
            if worth == 0:
                return times
            if best is None or worth < best[0]:
                best = (worth, times)
    return best[1] if best else _why_stuck(shift, steps, last_leg)


def _hopeless(shift: Shift, steps: Sequence[Step], last_leg: int) -> bool:
    """Whether a round could not even be driven without lunch."""
    ran = _forward(steps, last_leg, shift.earliest, cheap=False)
    if isinstance(ran, int) or ran[2] > shift.latest:
        return True
    busy = last_leg + sum(step.leg + step.seconds for step in steps)
    return shift.paid is not None and busy > shift.paid + shift.overtime


def _why_stuck(shift: Shift, steps: Sequence[Step], last_leg: int) -> Stuck:
    """The rule that stops a round, tried without lunch first."""
    ran = _forward(steps, last_leg, shift.earliest, cheap=False)
    if isinstance(ran, int):
        reached = _forward(steps[:ran], 0, shift.earliest, cheap=False)
        assert not isinstance(reached, int)
        late = reached[2] + steps[ran].leg - max((option[1] for option in steps[ran].options), default=0)
        return Stuck("window", ran, late)
    if ran[2] > shift.latest:
        return Stuck("shift", len(steps), ran[2] - shift.latest)
    leave = max(shift.earliest, _latest(steps, last_leg, ran[1], ran[2])[0])
    if shift.paid is not None and ran[2] - leave > shift.paid + shift.overtime:
        return Stuck("paid", len(steps), ran[2] - leave - shift.paid - shift.overtime)
    return Stuck("lunch", len(steps), shift.lunch.seconds if shift.lunch else 0)
