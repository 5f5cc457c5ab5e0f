"""The clock on arrays, where windows bind: how long a round takes and how late it is after parts of it were exchanged, from what is known
of its beginning and its end, without driving it (segments after Vidal et al. 2013, Computers & Operations Research 40:475-489).

A part of a round is four numbers: seconds from the beginning of its first work to the beginning of its last, waiting counted; seconds
too late after windows closed; from when to when its first work may begin so that neither grows. All on the virtual clock."""

from __future__ import annotations

from typing import Any

from servicedesk.core.rounds.compiled.arrays import (
    BEGUN,
    CLOSES,
    DAY,
    END,
    KIND,
    LEN,
    NODE,
    OPENS,
    TO_GO,
    WINDOW,
    State,
)
from servicedesk.core.rounds.compiled.compiling import compiled, inlined
from servicedesk.core.rounds.compiled.reading import CLOSE, MORE, OPEN

FOREVER = 1 << 30


@inlined
def joined_on(part: Any, way: Any, later: Any) -> Any:
    """Two parts of a round as one, so many seconds from the beginning of the first's last work to the second's first."""
    gone = part[0] - part[1] + way
    wait = max(later[2] - gone - part[3], 0)
    late = max(part[2] + gone - later[3], 0)
    return (
        part[0] + later[0] + way + wait,
        part[1] + later[1] + late,
        max(later[2] - gone, part[2]) - wait,
        min(later[3] - gone, part[3]) + late,
    )


@inlined
def alone(w: State, i: Any, r: Any) -> Any:
    """A site on a round as a part of one visit; the store is always open."""
    if i >= w.where.shape[0]:
        return (0, 0, 0, FOREVER)
    row = w.hours[w.shift[r, KIND], i, w.where[i, w.shift[r, DAY], WINDOW]]
    return (row[MORE], 0, row[OPEN], row[CLOSE])


@inlined
def up_to(w: State, r: Any, p: Any) -> Any:
    """A round as far as a position."""
    c = w.clock[r, p]
    return (c[BEGUN], c[BEGUN + 1], c[BEGUN + 2], c[BEGUN + 3])


@compiled
def over(w: State, r: Any, part: Any, last: Any, x: Any, a: Any, n: Any, turned: Any) -> Any:
    """A part that ends at `last` and a chain of a round behind it, as round r would drive them."""
    for k in range(n):
        here = w.cells[x, a + n - 1 - k if turned else a + k, NODE]
        part = joined_on(part, w.m[last, here, 1], alone(w, here, r))
        last = here
    return part


@inlined
def last_of(w: State, last: Any, x: Any, a: Any, n: Any, turned: Any) -> Any:
    """The last node after a chain."""
    if n > 0:
        last = w.cells[x, a if turned else a + n - 1, NODE]
    return last


@inlined
def home(w: State, r: Any, part: Any, last: Any) -> Any:
    """How long a round takes that ends after this part, and how late it is."""
    whole = joined_on(part, w.m[last, w.shift[r, END], 1], (0, 0, 0, w.shift[r, CLOSES]))
    return (whole[0], whole[1])


@compiled
def on_to(w: State, r: Any, part: Any, last: Any, x: Any, p: Any) -> Any:
    """How long round r takes and how late it is, where round x from a position on follows this part."""
    n = w.shift[x, LEN]
    if p > n:
        return home(w, r, part, last)
    if w.shift[x, KIND] != w.shift[r, KIND]:
        part = over(w, r, part, last, x, p, n - p + 1, 0)
    else:
        c = w.clock[x, p]
        behind = (c[TO_GO], c[TO_GO + 1], c[TO_GO + 2], c[TO_GO + 3])
        part = joined_on(part, w.m[last, w.cells[x, p, NODE], 1], behind)
    return home(w, r, part, w.cells[x, n, NODE])


@compiled
def with_chain(w: State, r: Any, a: Any, la: Any, x: Any, b: Any, lb: Any, turned: Any) -> Any:
    """A round in which one of its chains stands another's; how long it takes, how late it is."""
    last = w.cells[r, a - 1, NODE]
    part = over(w, r, up_to(w, r, a - 1), last, x, b, lb, turned)
    return on_to(w, r, part, last_of(w, last, x, b, lb, turned), r, a + la)


@compiled
def within(w: State, r: Any, a: Any, la: Any, rev1: Any, b: Any, lb: Any, rev2: Any) -> Any:
    """The same where two chains of one round change places."""
    if a > b:
        a, la, rev1, b, lb, rev2 = b, lb, rev2, a, la, rev1
    last = w.cells[r, a - 1, NODE]
    part = over(w, r, up_to(w, r, a - 1), last, r, b, lb, rev2)
    last = last_of(w, last, r, b, lb, rev2)
    part = over(w, r, part, last, r, a + la, b - a - la, 0)
    last = last_of(w, last, r, a + la, b - a - la, 0)
    part = over(w, r, part, last, r, a, la, rev1)
    return on_to(w, r, part, last_of(w, last, r, a, la, rev1), r, b + lb)


@compiled
def head_and(w: State, r: Any, c: Any, x: Any, a: Any, n: Any, p: Any) -> Any:
    """The same for a round as far as c, then a chain of another turned round, then the other from p on."""
    last = w.cells[r, c, NODE]
    part = over(w, r, up_to(w, r, c), last, x, a, n, 1)
    return on_to(w, r, part, last_of(w, last, x, a, n, 1), x, p)


@compiled
def head_of(w: State, r: Any, x: Any, a: Any, n: Any, p: Any) -> Any:
    """The same for a round that begins with a chain of another turned round, and goes on from p as before."""
    last = w.cells[r, 0, NODE]
    part = over(w, r, up_to(w, r, 0), last, x, a, n, 1)
    return on_to(w, r, part, last_of(w, last, x, a, n, 1), r, p)


@compiled
def wind(w: State, r: Any) -> None:
    """What is known of a round's parts, from the beginning and to the end, and of the whole."""
    cells, clock, n = w.cells, w.clock, w.shift[r, LEN]
    last = cells[r, 0, NODE]
    part = (0, 0, w.shift[r, OPENS], FOREVER)
    for p in range(n + 1):
        if p:
            part = joined_on(part, w.m[last, cells[r, p, NODE], 1], alone(w, cells[r, p, NODE], r))
            last = cells[r, p, NODE]
        clock[r, p, BEGUN], clock[r, p, BEGUN + 1] = part[0], part[1]
        clock[r, p, BEGUN + 2], clock[r, p, BEGUN + 3] = part[2], part[3]
    whole = home(w, r, part, last)
    clock[r, n + 1, BEGUN], clock[r, n + 1, BEGUN + 1] = whole[0], whole[1]
    if n == 0:
        return
    part = alone(w, cells[r, n, NODE], r)
    for p in range(n, 0, -1):
        if p < n:
            one = alone(w, cells[r, p, NODE], r)
            part = joined_on(one, w.m[cells[r, p, NODE], cells[r, p + 1, NODE], 1], part)
        clock[r, p, TO_GO], clock[r, p, TO_GO + 1] = part[0], part[1]
        clock[r, p, TO_GO + 2], clock[r, p, TO_GO + 3] = part[2], part[3]
