"""Rounds on arrays: their sums kept with every change, what a turn changed undone, visits marked to be looked at."""

from __future__ import annotations

from typing import Any

from servicedesk.core.rounds.compiled.arrays import (
    AHEAD,
    BACK,
    BEGUN,
    BEHIND,
    CHANGES,
    DAY,
    DAY_COUNT,
    FIXED,
    KIND,
    LATENESS,
    LATER,
    LEN,
    LIMIT,
    LOAD,
    LOADS,
    NEED,
    NODE,
    OLD,
    OLD_LEN,
    OLD_VERSION,
    OLD_WORTH,
    OVER_PRICE,
    OVERLOAD,
    OVERTIME,
    PAID,
    PER_LOAD,
    PER_TIME,
    QUEUE,
    QUEUE_HEAD,
    QUEUED,
    RANDOM,
    RESETS,
    ROOM,
    SOFT,
    STAMP,
    STORE,
    STORES,
    TIMED,
    TOUCHED,
    TOUCHED_,
    TURN,
    VERSION,
    WAY,
    WINDOW,
    WORTHS,
    State,
)
from servicedesk.core.rounds.compiled.clocked import wind
from servicedesk.core.rounds.compiled.compiling import compiled, inlined
from servicedesk.core.rounds.compiled.reading import DEARER


@inlined
def draw(count: Any) -> Any:
    """A number between 0 and 1 (the minimal standard of Park & Miller 1988 with the multiplier 48271)."""
    count[RANDOM] = count[RANDOM] * 48271 % 2147483647
    return count[RANDOM] / 2147483647.0


@inlined
def soft_of(shift: Any, knob: Any, r: Any, time: Any, overload: Any) -> Any:
    """The price of overtime, and the penalties for what is too much."""
    soft = overload * knob[PER_LOAD]
    if time > shift[r, PAID]:
        soft += (min(time, shift[r, LIMIT]) - shift[r, PAID]) * shift[r, OVER_PRICE]
        if time > shift[r, LIMIT]:
            soft += (time - shift[r, LIMIT]) * knob[PER_TIME]
    return soft


@inlined
def priced(w: State, r: Any, hours: Any, over: Any) -> Any:
    """What hours (how long, how late) and overload of a round cost."""
    return soft_of(w.shift, w.knob, r, hours[0], over) + hours[1] * w.knob[PER_TIME]


@compiled
def refresh(w: State, r: Any) -> None:
    """Sums along a round, where its visits stand, what it is worth."""
    cells, shift, m, where, site, loads = w.cells, w.shift, w.m, w.where, w.site, w.count[LOADS]
    n, day, extra = shift[r, LEN], shift[r, DAY], 0.0
    before, shift[r, STORES] = cells[r, 0, NODE], 0
    for p in range(1, n + 2):
        here = cells[r, p, NODE]
        cells[r, p, AHEAD] = cells[r, p - 1, AHEAD] + m[before, here, 0]
        cells[r, p, LATER] = cells[r, p - 1, LATER] + m[before, here, 1]
        cells[r, p, BACK] = cells[r, p - 1, BACK] + m[before, here, 2]
        cells[r, p, BEHIND] = cells[r, p - 1, BEHIND] + m[before, here, 3]
        if p <= n and here == w.count[STORE]:
            shift[r, STORES] += 1
            for k in range(loads):
                cells[r, p, LOAD + k] = cells[r, p - 1, LOAD + k]
        elif p <= n:
            for k in range(loads):
                cells[r, p, LOAD + k] = cells[r, p - 1, LOAD + k] + site[here, NEED + k]
            where[here, day, 0] = r
            where[here, day, 1] = p
            extra += w.extra[here, r]
            if w.count[TIMED]:
                extra += w.hours[shift[r, KIND], here, where[here, day, WINDOW], DEARER]
        before = here
    if w.count[TIMED]:
        wind(w, r)
    value(w, r, extra)


@inlined
def seconds_of(w: State, r: Any) -> Any:
    """How long a round takes."""
    if w.count[TIMED]:
        return w.clock[r, w.shift[r, LEN] + 1, BEGUN]
    return w.cells[r, w.shift[r, LEN] + 1, LATER]


@compiled
def trips(w: State, r: Any, i: Any, at: Any) -> Any:
    """Overload of a round that is at the store on the way, with a site put in at a position (-1: as it is)."""
    shift, over = w.shift, 0
    for k in range(w.count[LOADS]):
        load = 0
        for p in range(1, shift[r, LEN] + 1):
            if i >= 0 and p == at:
                load += w.site[i, NEED + k]
            here = w.cells[r, p, NODE]
            if here != w.count[STORE]:
                load += w.site[here, NEED + k]
            elif k < w.count[RESETS]:
                over += max(0, load - shift[r, ROOM + k])
                load = 0
        if i >= 0 and at > shift[r, LEN]:
            load += w.site[i, NEED + k]
        over += max(0, load - shift[r, ROOM + k])
    return over


@inlined
def value(w: State, r: Any, extra: Any) -> None:
    """What a round is worth whose sums are known; nothing where nobody goes out."""
    cells, shift, worth, n, over = w.cells, w.shift, w.worth, w.shift[r, LEN], 0
    for k in range(WORTHS):
        worth[r, k] = 0.0
    if n == 0:
        return
    if shift[r, STORES]:
        over = trips(w, r, -1, 0)
    else:
        for k in range(w.count[LOADS]):
            over += max(0, cells[r, n, LOAD + k] - shift[r, ROOM + k])
    time = seconds_of(w, r)
    if w.count[TIMED]:
        worth[r, LATENESS] = w.clock[r, n + 1, BEGUN + 1]
    worth[r, WAY] = cells[r, n + 1, AHEAD] + extra + shift[r, FIXED]
    worth[r, SOFT] = priced(w, r, (time, worth[r, LATENESS]), over)
    worth[r, OVERLOAD] = over
    worth[r, OVERTIME] = max(0, time - shift[r, LIMIT]) + worth[r, LATENESS]


@inlined
def changed(w: State, r: Any) -> None:
    """A round that was changed: what was known of it counts no more."""
    w.count[CHANGES] += 1
    w.shift[r, VERSION] = w.count[CHANGES]
    refresh(w, r)


@inlined
def code(w: State, r: Any, p: Any) -> Any:
    """The node at a position and the window chosen for it, as one number."""
    here = w.cells[r, p, NODE]
    if here < w.where.shape[0]:
        return here + w.m.shape[0] * w.where[here, w.shift[r, DAY], WINDOW]
    return here


@inlined
def decoded(w: State, r: Any, p: Any, known: Any) -> None:
    """Puts the node of such a number at a position, its window chosen as it was."""
    here = known % w.m.shape[0]
    w.cells[r, p, NODE] = here
    if here < w.where.shape[0]:
        w.where[here, w.shift[r, DAY], WINDOW] = known // w.m.shape[0]


@compiled
def touch(w: State, r: Any) -> None:
    """Keeps a round as it was before this turn."""
    shift, count, cells = w.shift, w.count, w.cells
    if shift[r, STAMP] == count[TURN]:
        return
    shift[r, STAMP] = count[TURN]
    w.spare[count[TOUCHED], TOUCHED_] = r
    count[TOUCHED] += 1
    shift[r, OLD_LEN] = shift[r, LEN]
    shift[r, OLD_VERSION] = shift[r, VERSION]
    for p in range(shift[r, LEN] + 2):
        cells[r, p, OLD] = code(w, r, p)
    for k in range(WORTHS):
        w.worth[r, OLD_WORTH + k] = w.worth[r, k]


@compiled
def restore(w: State) -> None:
    """Undoes what this turn did to rounds."""
    count, where, shift, cells = w.count, w.where, w.shift, w.cells
    for k in range(count[TOUCHED]):
        r = w.spare[k, TOUCHED_]
        for p in range(1, shift[r, LEN] + 1):
            if cells[r, p, NODE] != count[STORE]:
                where[cells[r, p, NODE], shift[r, DAY], 0] = -1
    for k in range(count[TOUCHED]):
        r = w.spare[k, TOUCHED_]
        shift[r, LEN] = shift[r, OLD_LEN]
        shift[r, VERSION] = shift[r, OLD_VERSION]
        for p in range(shift[r, LEN] + 2):
            decoded(w, r, p, cells[r, p, OLD])
        refresh(w, r)


@compiled
def push(count: Any, where: Any, spare: Any, i: Any, day: Any) -> None:
    """Marks a visit to be looked at."""
    if where[i, day, 2]:
        return
    where[i, day, 2] = 1
    spare[(count[QUEUE_HEAD] + count[QUEUED]) % spare.shape[0], QUEUE] = i * count[DAY_COUNT] + day
    count[QUEUED] += 1


@compiled
def push_around(w: State, r: Any, a: Any, b: Any) -> None:
    """Marks the visits at positions a to b of a round."""
    for p in range(max(1, a), min(w.shift[r, LEN], b) + 1):
        if w.cells[r, p, NODE] != w.count[STORE]:
            push(w.count, w.where, w.spare, w.cells[r, p, NODE], w.shift[r, DAY])
