"""Filling the van again on the way, on arrays: a round that one load does not do is driven by the store where that costs least."""

from __future__ import annotations

from typing import Any

from servicedesk.core.rounds.compiled.arrays import (
    LEN,
    NODE,
    ONE,
    OVERLOAD,
    REFILLS,
    SOFT,
    STORE,
    STORES,
    TOUCHED,
    TOUCHED_,
    TWO,
    WAY,
    State,
)
from servicedesk.core.rounds.compiled.compiling import compiled
from servicedesk.core.rounds.compiled.doing import written
from servicedesk.core.rounds.compiled.rounds import touch


@compiled
def taken(w: State, r: Any, k: Any, stores: Any) -> Any:
    """Writes a round into a spare column, with or without the store; how many are in it."""
    n = 0
    for p in range(1, w.shift[r, LEN] + 1):
        if stores or w.cells[r, p, NODE] != w.count[STORE]:
            w.spare[n, k] = w.cells[r, p, NODE]
            n += 1
    return n


@compiled
def by_the_store(w: State, r: Any, n: Any, p: Any) -> Any:
    """What a round costs that is at the store before position p of the n in the first spare column (from 0)."""
    for x in range(n, p, -1):
        w.spare[x, ONE] = w.spare[x - 1, ONE]
    w.spare[p, ONE] = w.count[STORE]
    written(w, r, ONE, n + 1)
    for x in range(p, n):
        w.spare[x, ONE] = w.spare[x + 1, ONE]
    return w.worth[r, WAY] + w.worth[r, SOFT]


@compiled
def filled(w: State, r: Any) -> None:
    """Where a round is at the store, or carries too much: without it, or by way of it once or more, as costs least."""
    if w.shift[r, REFILLS] == 0 or (w.shift[r, STORES] == 0 and w.worth[r, OVERLOAD] <= 0):
        return
    touch(w, r)
    kept, many = w.worth[r, WAY] + w.worth[r, SOFT], taken(w, r, TWO, 1)
    n = taken(w, r, ONE, 0)
    written(w, r, ONE, n)
    best = w.worth[r, WAY] + w.worth[r, SOFT]
    for _time in range(w.shift[r, REFILLS]):
        if w.worth[r, OVERLOAD] <= 0:
            break
        least, at = best, -1
        for p in range(1, n):
            cost = by_the_store(w, r, n, p)
            if cost < least:
                least, at = cost, p
        if at < 0:
            break
        best = by_the_store(w, r, n, at)
        n = taken(w, r, ONE, 1)
    if best < kept:
        written(w, r, ONE, n)
    else:
        written(w, r, TWO, many)


@compiled
def filled_all(w: State, touched: Any) -> None:
    """The same for the rounds that this turn touched, or for all."""
    if w.count[STORE] < 0:
        return
    if not touched:
        for r in range(w.shift.shape[0]):
            filled(w, r)
        return
    many = w.count[TOUCHED]
    for k in range(many):
        filled(w, w.spare[k, TOUCHED_])
