"""Moves made on arrays: chains and ends of rounds put where the local search found that they cost less."""

from __future__ import annotations

from typing import Any

from servicedesk.core.rounds.compiled.arrays import (
    END,
    EXCHANGE,
    LEN,
    MOVE,
    NODE,
    ONE,
    TAILS,
    TURNED,
    TWO,
    State,
)
from servicedesk.core.rounds.compiled.compiling import compiled
from servicedesk.core.rounds.compiled.rounds import changed, push_around, touch


@compiled
def fill(cells: Any, spare: Any, k: Any, n: Any, r: Any, a: Any, many: Any, turned: Any) -> Any:
    """Writes a chain into a spare column; how many are in it then."""
    for x in range(many):
        spare[n + x, k] = cells[r, a + many - 1 - x, NODE] if turned else cells[r, a + x, NODE]
    return n + many


@compiled
def written(w: State, r: Any, k: Any, n: Any) -> None:
    """Takes a spare column as the inside of a round."""
    for x in range(n):
        w.cells[r, x + 1, NODE] = w.spare[x, k]
    w.cells[r, n + 1, NODE] = w.shift[r, END]
    w.shift[r, LEN] = n
    changed(w, r)


@compiled
def do_within(w: State, r: Any, a: Any, la: Any, rev1: Any, b: Any, lb: Any, rev2: Any) -> None:
    """Exchanges two chains of one round."""
    cells, spare, n = w.cells, w.spare, w.shift[r, LEN]
    if a > b:
        a, la, rev1, b, lb, rev2 = b, lb, rev2, a, la, rev1
    k = fill(cells, spare, ONE, 0, r, 1, a - 1, 0)
    k = fill(cells, spare, ONE, k, r, b, lb, rev2)
    k = fill(cells, spare, ONE, k, r, a + la, b - a - la, 0)
    k = fill(cells, spare, ONE, k, r, a, la, rev1)
    k = fill(cells, spare, ONE, k, r, b + lb, n - b - lb + 1, 0)
    written(w, r, ONE, k)
    push_around(w, r, a - 1, a + lb)
    push_around(w, r, b + lb - la - 1, b + lb)


@compiled
def do_exchange(w: State, r1: Any, a: Any, la: Any, rev1: Any, r2: Any, b: Any, lb: Any, rev2: Any) -> None:
    cells, spare = w.cells, w.spare
    n1, n2 = w.shift[r1, LEN], w.shift[r2, LEN]
    n = fill(cells, spare, ONE, 0, r1, 1, a - 1, 0)
    n = fill(cells, spare, ONE, n, r2, b, lb, rev2)
    n = fill(cells, spare, ONE, n, r1, a + la, n1 - a - la + 1, 0)
    k = fill(cells, spare, TWO, 0, r2, 1, b - 1, 0)
    k = fill(cells, spare, TWO, k, r1, a, la, rev1)
    k = fill(cells, spare, TWO, k, r2, b + lb, n2 - b - lb + 1, 0)
    written(w, r1, ONE, n)
    written(w, r2, TWO, k)
    push_around(w, r1, a - 1, a + lb)
    push_around(w, r2, b - 1, b + la)


@compiled
def do_ends(w: State, kind: Any, r1: Any, c1: Any, r2: Any, c2: Any) -> None:
    cells, spare = w.cells, w.spare
    n1, n2 = w.shift[r1, LEN], w.shift[r2, LEN]
    n = fill(cells, spare, ONE, 0, r1, 1, c1, 0)
    if kind == TAILS:
        n = fill(cells, spare, ONE, n, r2, c2 + 1, n2 - c2, 0)
        at = fill(cells, spare, TWO, 0, r2, 1, c2, 0)
        k = fill(cells, spare, TWO, at, r1, c1 + 1, n1 - c1, 0)
    else:
        n = fill(cells, spare, ONE, n, r2, 1, c2, 1)
        at = fill(cells, spare, TWO, 0, r1, c1 + 1, n1 - c1, 1)
        k = fill(cells, spare, TWO, at, r2, c2 + 1, n2 - c2, 0)
    written(w, r1, ONE, n)
    written(w, r2, TWO, k)
    push_around(w, r1, c1, c1 + 1)
    push_around(w, r2, at, at + 1)
    push_around(w, r1, n, n)
    push_around(w, r2, k, k)
    push_around(w, r2, 1, 1)


@compiled
def do_best(w: State) -> None:
    move = w.knob
    kind, r1, a, la, rev1 = (
        int(move[MOVE + 1]),
        int(move[MOVE + 2]),
        int(move[MOVE + 3]),
        int(move[MOVE + 4]),
        int(move[MOVE + 5]),
    )
    r2, b, lb, rev2 = int(move[MOVE + 6]), int(move[MOVE + 7]), int(move[MOVE + 8]), int(move[MOVE + 9])
    touch(w, r1)
    touch(w, r2)
    if kind == EXCHANGE and r1 == r2:
        do_within(w, r1, a, la, rev1, b, lb, rev2)
    elif kind == EXCHANGE:
        do_exchange(w, r1, a, la, rev1, r2, b, lb, rev2)
    elif kind == TURNED:
        n = fill(w.cells, w.spare, ONE, 0, r1, a, la - a + 1, 1)
        for x in range(n):
            w.cells[r1, a + x, NODE] = w.spare[x, ONE]
        changed(w, r1)
        push_around(w, r1, a - 1, a)
        push_around(w, r1, la, la + 1)
    else:
        do_ends(w, kind, r1, a, r2, b)
