"""The local search on arrays: chains of up to three visits moved or exchanged, ends of rounds exchanged or turned round, between
neighbours only, whatever is too much at a price. What a move costs comes from the sums along the rounds, without driving them
(Vidal et al. 2012, Operations Research 60:611-624); a visit is looked at when something next to it has changed."""

from __future__ import annotations

from typing import Any

from servicedesk.core.rounds.compiled.arrays import (
    AHEAD,
    BACK,
    DAY,
    DAY_COUNT,
    END,
    EQUAL,
    EXCHANGE,
    FIXED,
    HEADS,
    KIND,
    LATER,
    LEN,
    LOAD,
    LOADS,
    MOVE,
    NODE,
    OVERLOAD,
    PER_LOAD,
    QUEUE,
    QUEUE_HEAD,
    QUEUED,
    ROOM,
    SOFT,
    STORES,
    TAILS,
    TIMED,
    TURNED,
    WINDOW,
    State,
)
from servicedesk.core.rounds.compiled.clocked import (
    head_and,
    head_of,
    on_to,
    up_to,
    with_chain,
    within,
)
from servicedesk.core.rounds.compiled.compiling import compiled, inlined
from servicedesk.core.rounds.compiled.doing import do_best
from servicedesk.core.rounds.compiled.reading import DEARER
from servicedesk.core.rounds.compiled.rounds import priced, push, soft_of

EPS = 0.01


@inlined
def joined(m: Any, cells: Any, x: Any, before: Any, after: Any, r: Any, a: Any, n: Any, turned: Any) -> Any:
    """Way (x=0) or time (x=1) from one place over a chain of a round to another place."""
    if n == 0:
        return 0 + m[before, after, x]
    z = a + n - 1
    if turned:
        return (
            m[before, cells[r, z, NODE], x]
            + cells[r, z, BACK + x]
            - cells[r, a, BACK + x]
            + m[cells[r, a, NODE], after, x]
        )
    return (
        m[before, cells[r, a, NODE], x]
        + cells[r, z, AHEAD + x]
        - cells[r, a, AHEAD + x]
        + m[cells[r, z, NODE], after, x]
    )


@inlined
def overload_with(
    cells: Any, shift: Any, loads: Any, r: Any, a: Any, la: Any, y: Any, b: Any, lb: Any
) -> Any:
    """Overload of a round without its chain and with the other's."""
    over, n = 0, shift[r, LEN]
    for k in range(loads):
        load = cells[r, n, LOAD + k] - cells[r, a + la - 1, LOAD + k] + cells[r, a - 1, LOAD + k]
        load += cells[y, b + lb - 1, LOAD + k] - cells[y, b - 1, LOAD + k]
        over += max(0, load - shift[r, ROOM + k])
    return over


@compiled
def extra_of(w: State, r: Any, x: Any, a: Any, n: Any) -> Any:
    """What a chain costs more on another round."""
    total, extra, kind, other = 0.0, w.extra, w.shift[r, KIND], w.shift[x, KIND]
    for p in range(a, a + n):
        i = w.cells[x, p, NODE]
        total += extra[i, r] - extra[i, x]
        if w.count[TIMED] and kind != other:
            k = w.where[i, w.shift[x, DAY], WINDOW]
            total += w.hours[kind, i, k, DEARER] - w.hours[other, i, k, DEARER]
    return total


@compiled
def emptied(m: Any, cells: Any, shift: Any, r: Any) -> Any:
    """What a round that nobody drives costs less than its way back and forth."""
    return shift[r, FIXED] + m[cells[r, 0, NODE], shift[r, END], 0]


@inlined
def before_clock(w: State, d: Any, r1: Any, a: Any, la: Any, r2: Any, b: Any, lb: Any) -> Any:
    """What a move of two rounds costs without their new hours, and their overloads."""
    m, cells, shift, loads = w.m, w.cells, w.shift, w.count[LOADS]
    d -= w.worth[r1, SOFT] + w.worth[r2, SOFT]
    if shift[r1, LEN] - la + lb == 0:
        d -= emptied(m, cells, shift, r1)
    if shift[r2, LEN] - lb + la == 0:
        d -= emptied(m, cells, shift, r2)
    if not w.count[EQUAL]:
        d += extra_of(w, r2, r1, a, la) + extra_of(w, r1, r2, b, lb)
    over1 = overload_with(cells, shift, loads, r1, a, la, r2, b, lb)
    return d, over1, overload_with(cells, shift, loads, r2, b, lb, r1, a, la)


@inlined
def after(w: State, d: Any, r1: Any, a: Any, la: Any, t1: Any, r2: Any, b: Any, lb: Any, t2: Any) -> Any:
    """Second stage for two rounds whose chains are exchanged: hours, loads, fixed price, who."""
    d, over1, over2 = before_clock(w, d, r1, a, la, r2, b, lb)
    return d + soft_of(w.shift, w.knob, r1, t1, over1) + soft_of(w.shift, w.knob, r2, t2, over2)


@compiled
def exchange_on(
    w: State, d: Any, r1: Any, a: Any, la: Any, rev1: Any, r2: Any, b: Any, lb: Any, rev2: Any
) -> Any:
    """Second stage for two chains on the clock."""
    knob = w.knob
    if r1 == r2:
        hours = within(w, r1, a, la, rev1, b, lb, rev2)
        return d + priced(w, r1, hours, w.worth[r1, OVERLOAD]) - w.worth[r1, SOFT]
    d, over1, over2 = before_clock(w, d, r1, a, la, r2, b, lb)
    if d + (over1 + over2) * knob[PER_LOAD] >= knob[MOVE]:
        return 1.0
    d += priced(w, r1, with_chain(w, r1, a, la, r2, b, lb, rev2), over1)
    if d + over2 * knob[PER_LOAD] >= knob[MOVE]:
        return 1.0
    return d + priced(w, r2, with_chain(w, r2, b, lb, r1, a, la, rev1), over2)


@inlined
def exchange(w: State, r1: Any, a: Any, la: Any, rev1: Any, r2: Any, b: Any, lb: Any, rev2: Any) -> Any:
    """What exchanging two chains costs; 1 where it cannot be or is no better."""
    m, cells, shift, worth = w.m, w.cells, w.shift, w.worth
    if a < 1 or b < 1 or a + la > shift[r1, LEN] + 1 or b + lb > shift[r2, LEN] + 1:
        return 1.0
    if r1 == r2 and not (a + la < b or b + lb < a):
        return 1.0
    p1, s1, p2, s2 = (
        cells[r1, a - 1, NODE],
        cells[r1, a + la, NODE],
        cells[r2, b - 1, NODE],
        cells[r2, b + lb, NODE],
    )
    d = joined(m, cells, 0, p1, s1, r2, b, lb, rev2) + joined(m, cells, 0, p2, s2, r1, a, la, rev1)
    d += (
        cells[r1, a - 1, AHEAD]
        - cells[r1, a + la, AHEAD]
        + cells[r2, b - 1, AHEAD]
        - cells[r2, b + lb, AHEAD]
    )
    soft = worth[r1, SOFT]
    if r1 != r2:
        soft += worth[r2, SOFT]
    if d >= soft + w.knob[MOVE]:
        return 1.0
    if w.count[TIMED]:
        return exchange_on(w, 1.0 * d, r1, a, la, rev1, r2, b, lb, rev2)
    g1 = cells[r1, a - 1, LATER] - cells[r1, a + la, LATER] + joined(m, cells, 1, p1, s1, r2, b, lb, rev2)
    g2 = cells[r2, b - 1, LATER] - cells[r2, b + lb, LATER] + joined(m, cells, 1, p2, s2, r1, a, la, rev1)
    t1, t2 = cells[r1, shift[r1, LEN] + 1, LATER], cells[r2, shift[r2, LEN] + 1, LATER]
    if r1 == r2:
        return d + soft_of(shift, w.knob, r1, t1 + g1 + g2, worth[r1, OVERLOAD]) - worth[r1, SOFT]
    return after(w, 1.0 * d, r1, a, la, t1 + g1, r2, b, lb, t2 + g2)


@compiled
def tails_on(w: State, d: Any, r1: Any, c1: Any, r2: Any, c2: Any) -> Any:
    """Second stage for two tails on the clock."""
    knob, n1, n2 = w.knob, w.shift[r1, LEN] - c1, w.shift[r2, LEN] - c2
    d, over1, over2 = before_clock(w, d, r1, c1 + 1, n1, r2, c2 + 1, n2)
    if d + (over1 + over2) * knob[PER_LOAD] >= knob[MOVE]:
        return 1.0
    d += priced(w, r1, on_to(w, r1, up_to(w, r1, c1), w.cells[r1, c1, NODE], r2, c2 + 1), over1)
    if d + over2 * knob[PER_LOAD] >= knob[MOVE]:
        return 1.0
    return d + priced(w, r2, on_to(w, r2, up_to(w, r2, c2), w.cells[r2, c2, NODE], r1, c1 + 1), over2)


@inlined
def tails(w: State, r1: Any, c1: Any, r2: Any, c2: Any) -> Any:
    """What it costs that two rounds go on as the other did after these positions."""
    m, cells, shift, worth = w.m, w.cells, w.shift, w.worth
    n1, n2, e1, e2 = shift[r1, LEN], shift[r2, LEN], shift[r1, END], shift[r2, END]
    p1, p2 = cells[r1, c1, NODE], cells[r2, c2, NODE]
    d = joined(m, cells, 0, p1, e1, r2, c2 + 1, n2 - c2, 0) + joined(
        m, cells, 0, p2, e2, r1, c1 + 1, n1 - c1, 0
    )
    d += cells[r1, c1, AHEAD] - cells[r1, n1 + 1, AHEAD] + cells[r2, c2, AHEAD] - cells[r2, n2 + 1, AHEAD]
    if d >= worth[r1, SOFT] + worth[r2, SOFT] + w.knob[MOVE]:
        return 1.0
    if w.count[TIMED]:
        return tails_on(w, 1.0 * d, r1, c1, r2, c2)
    t1 = cells[r1, c1, LATER] + joined(m, cells, 1, p1, e1, r2, c2 + 1, n2 - c2, 0)
    t2 = cells[r2, c2, LATER] + joined(m, cells, 1, p2, e2, r1, c1 + 1, n1 - c1, 0)
    return after(w, 1.0 * d, r1, c1 + 1, n1 - c1, t1, r2, c2 + 1, n2 - c2, t2)


@compiled
def heads_on(w: State, d: Any, r1: Any, c1: Any, r2: Any, c2: Any) -> Any:
    """Second stage for a head and a tail on the clock."""
    knob, n1 = w.knob, w.shift[r1, LEN] - c1
    d, over1, over2 = before_clock(w, d, r1, c1 + 1, n1, r2, 1, c2)
    if d + (over1 + over2) * knob[PER_LOAD] >= knob[MOVE]:
        return 1.0
    d += priced(w, r1, head_and(w, r1, c1, r2, 1, c2, w.shift[r2, LEN] + 1), over1)
    if d + over2 * knob[PER_LOAD] >= knob[MOVE]:
        return 1.0
    return d + priced(w, r2, head_of(w, r2, r1, c1 + 1, n1, c2 + 1), over2)


@inlined
def heads(w: State, r1: Any, c1: Any, r2: Any, c2: Any) -> Any:
    """r1: its head to c1, then r2's head to c2 turned round; r2: r1's tail turned round, then r2's tail."""
    m, cells, shift, worth = w.m, w.cells, w.shift, w.worth
    n1, n2, e1 = shift[r1, LEN], shift[r2, LEN], shift[r1, END]
    p1, s2 = cells[r1, c1, NODE], cells[r2, c2 + 1, NODE]
    d = cells[r1, c1, AHEAD] + joined(m, cells, 0, p1, e1, r2, 1, c2, 1)
    d += joined(m, cells, 0, cells[r2, 0, NODE], s2, r1, c1 + 1, n1 - c1, 1)
    d -= cells[r2, c2 + 1, AHEAD] + cells[r1, n1 + 1, AHEAD]
    if d >= worth[r1, SOFT] + worth[r2, SOFT] + w.knob[MOVE]:
        return 1.0
    if w.count[TIMED]:
        return heads_on(w, 1.0 * d, r1, c1, r2, c2)
    t1 = cells[r1, c1, LATER] + joined(m, cells, 1, p1, e1, r2, 1, c2, 1)
    t2 = joined(m, cells, 1, cells[r2, 0, NODE], s2, r1, c1 + 1, n1 - c1, 1)
    t2 += cells[r2, n2 + 1, LATER] - cells[r2, c2 + 1, LATER]
    return after(w, 1.0 * d, r1, c1 + 1, n1 - c1, t1, r2, 1, c2, t2)


@inlined
def turned(w: State, r: Any, a: Any, b: Any) -> Any:
    """What turning a..b of a round costs."""
    m, cells, n = w.m, w.cells, w.shift[r, LEN]
    p, s = cells[r, a - 1, NODE], cells[r, b + 1, NODE]
    d = joined(m, cells, 0, p, s, r, a, b - a + 1, 1) + cells[r, a - 1, AHEAD] - cells[r, b + 1, AHEAD]
    if d >= w.worth[r, SOFT] + w.knob[MOVE]:
        return 1.0
    if w.count[TIMED]:
        hours = head_and(w, r, a - 1, r, a, b - a + 1, b + 1)
        return d + priced(w, r, hours, w.worth[r, OVERLOAD]) - w.worth[r, SOFT]
    t = cells[r, n + 1, LATER] + cells[r, a - 1, LATER] - cells[r, b + 1, LATER]
    t += joined(m, cells, 1, p, s, r, a, b - a + 1, 1)
    return d + soft_of(w.shift, w.knob, r, t, w.worth[r, OVERLOAD]) - w.worth[r, SOFT]


@compiled
def note(
    knob: Any, d: Any, kind: Any, r1: Any, a: Any, la: Any, rev1: Any, r2: Any, b: Any, lb: Any, rev2: Any
) -> None:
    """Keeps the best move of a visit."""
    knob[MOVE], knob[MOVE + 1], knob[MOVE + 2], knob[MOVE + 3], knob[MOVE + 4] = d, kind, r1, a, la
    knob[MOVE + 5], knob[MOVE + 6], knob[MOVE + 7], knob[MOVE + 8], knob[MOVE + 9] = rev1, r2, b, lb, rev2


@compiled
def chains(w: State, way: Any, r1: Any, p: Any, r2: Any, q: Any) -> None:
    """The exchanges of chains after which u and v are neighbours."""
    table, knob = w.table, w.knob
    for x in range(table.shape[1]):
        a, b = p + table[way, x, 0], q + table[way, x, 3]
        la, rev1, lb, rev2 = table[way, x, 1], table[way, x, 2], table[way, x, 4], table[way, x, 5]
        d = exchange(w, r1, a, la, rev1, r2, b, lb, rev2)
        if d < knob[MOVE]:
            note(knob, d, EXCHANGE, r1, a, la, rev1, r2, b, lb, rev2)


@compiled
def ends(w: State, way: Any, r1: Any, p: Any, r2: Any, q: Any) -> None:
    """The moves of long parts after which u and v are neighbours: v behind u (way 0) or before it."""
    knob = w.knob
    if r1 == r2:
        if q > p:
            a, b = p + 1 - way, q - way
        else:
            a, b = q + 1 - way, p - way
        d = turned(w, r1, a, b)
        if d < knob[MOVE]:
            note(knob, d, TURNED, r1, a, b, 0, r1, 0, 0, 0)
        return
    c1, c2 = p - way, q - 1 + way
    d = tails(w, r1, c1, r2, c2)
    if d < knob[MOVE]:
        note(knob, d, TAILS, r1, c1, 0, 0, r2, c2, 0, 0)
    if way:
        r1, c1, r2, c2 = r2, q - 1, r1, p - 1
    else:
        c2 = q
    d = heads(w, r1, c1, r2, c2)
    if d < knob[MOVE]:
        note(knob, d, HEADS, r1, c1, 0, 0, r2, c2, 0, 0)


@compiled
def look(w: State, i: Any, day: Any) -> None:
    """The best move of one visit."""
    where, m, worth, cells, near = w.where, w.m, w.worth, w.cells, w.near
    r1, p = where[i, day, 0], where[i, day, 1]
    w.knob[MOVE] = -EPS
    if w.shift[r1, STORES]:  # who is at the store on the way is moved only by taking out and putting back
        return
    before, follow = m[cells[r1, p - 1, NODE], i, 0], m[i, cells[r1, p + 1, NODE], 0]
    soft = worth[r1, SOFT]
    for k in range(near.shape[1]):
        j = near[i, k]
        r2, q = where[j, day, 0], where[j, day, 1]
        if r2 < 0 or w.shift[r2, STORES]:
            continue
        free = soft
        if r1 != r2:
            free += worth[r2, SOFT]
        if m[i, j, 0] < follow + free and not (r1 == r2 and q == p + 1):
            chains(w, 0, r1, p, r2, q)
            ends(w, 0, r1, p, r2, q)
        if m[i, j, 2] < before + free and not (r1 == r2 and q == p - 1):
            chains(w, 1, r1, p, r2, q)
            ends(w, 1, r1, p, r2, q)


@compiled
def descend(w: State) -> None:
    """Moves until none of the marked visits has one that is better."""
    count, days, size = w.count, w.count[DAY_COUNT], w.spare.shape[0]
    while count[QUEUED]:
        node = w.spare[count[QUEUE_HEAD], QUEUE]
        count[QUEUE_HEAD] = (count[QUEUE_HEAD] + 1) % size
        count[QUEUED] -= 1
        i, day = node // days, node % days
        w.where[i, day, 2] = 0
        if w.where[i, day, 0] < 0:
            continue
        look(w, i, day)
        if w.knob[MOVE] < -EPS:
            do_best(w)
            push(count, w.where, w.spare, i, day)
