"""Taking visits out on arrays and putting them back at their cheapest places, sites with the pattern that is cheapest in all (after
the pattern improvement of Vidal et al. 2012, Operations Research 60:611-624)."""

from __future__ import annotations

from typing import Any

from servicedesk.core.rounds.compiled.arrays import (
    AHEAD,
    BEFORE,
    BLINK,
    CHEAPEST,
    CHOSEN,
    COUNT,
    DAY_COUNT,
    DAYS,
    DEAR,
    EQUAL,
    FIRST,
    FIXED,
    KIND,
    KNOWN_AT,
    LATE_THEN,
    LEN,
    LOAD,
    LOADS,
    LONGER,
    MANY,
    NEED,
    NODE,
    NOISE,
    OUT,
    OUT_DAY,
    OUT_KEY,
    OUT_SITE,
    OVER_THEN,
    PER_LOAD,
    PLACE,
    PRICE,
    ROOM,
    SOFT,
    STAMP,
    START,
    STORE,
    STORES,
    TIMED,
    TURN,
    VERSION,
    WINDOW,
    WINDOW_THEN,
    State,
)
from servicedesk.core.rounds.compiled.clocked import joined_on, on_to, up_to
from servicedesk.core.rounds.compiled.compiling import compiled, inlined
from servicedesk.core.rounds.compiled.reading import ABLE, CLOSE, DEARER, HUGE, MORE, OPEN
from servicedesk.core.rounds.compiled.rounds import (
    changed,
    draw,
    priced,
    push_around,
    seconds_of,
    touch,
    trips,
)

STRING, NEAR = 14, 25
"""Most visits of a string, most sites around one, that are taken out in a turn; mostly it is few, seldom whole rounds."""
STRINGS = 3


@inlined
def overload_of(w: State, i: Any, r: Any) -> Any:
    """Overload of a round with a site, where it is not at the store on the way."""
    over, n = 0, w.shift[r, LEN]
    for k in range(w.count[LOADS]):
        over += max(0, w.cells[r, n, LOAD + k] + w.site[i, NEED + k] - w.shift[r, ROOM + k])
    return over


@compiled
def scan_on(w: State, i: Any, r: Any) -> None:
    """The cheapest place and window of a site on a round by the clock, kept until the round changes."""
    m, cells, ins, n, best = w.m, w.cells, w.ins, w.shift[r, LEN], HUGE
    over = overload_of(w, i, r)
    for p in range(1, n + 2):
        if w.shift[r, STORES]:
            over = trips(w, r, i, p)
        a = cells[r, p - 1, NODE]
        way = 0 + m[i, a, 2] + m[i, cells[r, p, NODE], 0]
        if n > 0:
            way += cells[r, p - 1, AHEAD] - cells[r, p, AHEAD]
        if way >= best:
            continue
        for k in range(w.hours.shape[2]):
            row = w.hours[w.shift[r, KIND], i, k]
            if not row[ABLE]:
                continue
            part = joined_on(up_to(w, r, p - 1), m[a, i, 1], (row[MORE], 0, row[OPEN], row[CLOSE]))
            seconds, late = on_to(w, r, part, i, r, p)
            cost = way + row[DEARER] + priced(w, r, (seconds, late), over)
            if cost < best:
                best = cost
                ins[i, r, DEAR], ins[i, r, PLACE] = way + row[DEARER], p
                ins[i, r, LONGER], ins[i, r, LATE_THEN], ins[i, r, WINDOW_THEN] = (
                    seconds - seconds_of(w, r),
                    late,
                    k,
                )
                ins[i, r, OVER_THEN] = over
    ins[i, r, KNOWN_AT] = w.shift[r, VERSION]


@compiled
def scan(w: State, i: Any, r: Any) -> None:
    """The shortest way to have a site on a round, kept until the round changes."""
    m, cells, ins, n = w.m, w.cells, w.ins, w.shift[r, LEN]
    if w.count[TIMED]:
        scan_on(w, i, r)
        return
    least, best, at, over = HUGE, 0, 1, 0
    for p in range(1, n + 2):
        d = cells[r, p - 1, AHEAD] - cells[r, p, AHEAD]
        d += m[i, cells[r, p - 1, NODE], 2] + m[i, cells[r, p, NODE], 0]
        cost = 1.0 * d
        if w.shift[r, STORES]:
            over = trips(w, r, i, p)
            cost += over * w.knob[PER_LOAD]
        if cost < least:
            least, best, at, ins[i, r, OVER_THEN] = cost, d, p, over
    a, b = cells[r, at - 1, NODE], cells[r, at, NODE]
    if n == 0:
        best = 0 + m[i, a, 2] + m[i, b, 0]
    ins[i, r, KNOWN_AT], ins[i, r, DEAR], ins[i, r, PLACE] = w.shift[r, VERSION], best, at
    ins[i, r, LONGER] = 0 + m[i, a, 3] + m[i, b, 1] - m[a, b, 1]
    ins[i, r, LATE_THEN], ins[i, r, WINDOW_THEN] = 0, 0


@compiled
def least_way(w: State, i: Any, r: Any) -> Any:
    """How much longer the way of a round is at least with a site."""
    m, cells, n, best = w.m, w.cells, w.shift[r, LEN], 1 << 60
    if n == 0:
        return 0
    for p in range(1, n + 2):
        way = cells[r, p - 1, AHEAD] - cells[r, p, AHEAD]
        way += m[i, cells[r, p - 1, NODE], 2] + m[i, cells[r, p, NODE], 0]
        best = min(best, way)
    return best


@inlined
def with_site(w: State, i: Any, r: Any, most: Any) -> Any:
    """What a site costs more on a round, penalties counted; where the clock has not been asked yet and it would be `most` or more, HUGE."""
    shift, n, over = w.shift, w.shift[r, LEN], 0
    if not shift[r, STORES]:
        over = overload_of(w, i, r)
    cost = w.extra[i, r] - w.worth[r, SOFT]
    if n == 0:
        cost += shift[r, FIXED]
    if w.ins[i, r, KNOWN_AT] != shift[r, VERSION]:
        if w.count[TIMED] and cost + over * w.knob[PER_LOAD] + least_way(w, i, r) >= most:
            return HUGE
        scan(w, i, r)
    if shift[r, STORES]:
        over = w.ins[i, r, OVER_THEN]
    hours = (seconds_of(w, r) + w.ins[i, r, LONGER], w.ins[i, r, LATE_THEN])
    return cost + w.ins[i, r, DEAR] + priced(w, r, hours, over)


@compiled
def cheapest(w: State, i: Any, day: Any, blink: Any) -> None:
    """The cheapest round of a day for a site; some are overlooked by chance."""
    best, at, empty = HUGE, -1, False
    for k in range(w.byday[day, 0]):
        r = w.byday[day, 1 + k]
        if w.shift[r, LEN] == 0 and w.count[EQUAL]:
            if empty and alike(w.shift, r, w.byday[day, k]):
                continue
            empty = True
        if w.extra[i, r] >= HUGE or (blink > 0 and draw(w.count) < blink):
            continue
        cost = with_site(w, i, r, best)
        if cost < best:
            best, at = cost, r
    w.knob[CHEAPEST + 2 * day] = best
    w.knob[CHEAPEST + 2 * day + 1] = at


@inlined
def alike(shift: Any, r: Any, other: Any) -> Any:
    """Whether an empty round would be the same as the one before it, empty too."""
    same = shift[other, LEN] == 0
    for k in range(shift.shape[1]):
        if k < LEN or k >= ROOM:
            same = same and shift[r, k] == shift[other, k]
    return same


@compiled
def put(w: State, i: Any, day: Any) -> None:
    """Puts a site at its cheapest place of a day, which is known."""
    if w.knob[CHEAPEST + 2 * day + 1] < 0:
        cheapest(w, i, day, 0.0)
    cells, r = w.cells, int(w.knob[CHEAPEST + 2 * day + 1])
    touch(w, r)
    at = w.ins[i, r, PLACE]
    w.where[i, day, WINDOW] = w.ins[i, r, WINDOW_THEN]
    for p in range(w.shift[r, LEN] + 1, at - 1, -1):
        cells[r, p + 1, NODE] = cells[r, p, NODE]
    cells[r, at, NODE] = i
    w.shift[r, LEN] += 1
    changed(w, r)
    push_around(w, r, at - 1, at + 1)


@compiled
def place(w: State, i: Any) -> None:
    """Puts a site back on the pattern whose cheapest places cost least together, give or take some chance."""
    site, pattern, knob = w.site, w.pattern, w.knob
    best, taken = 1e300, site[i, FIRST]
    for day in range(w.count[DAY_COUNT]):
        knob[CHEAPEST + 2 * day] = -HUGE
    for row in range(site[i, FIRST], site[i, FIRST] + site[i, MANY]):
        total = 1.0 * pattern[row, PRICE]
        for k in range(pattern[row, COUNT]):
            day = pattern[row, DAYS + k]
            if knob[CHEAPEST + 2 * day] == -HUGE:
                cheapest(w, i, day, knob[BLINK])
            total += knob[CHEAPEST + 2 * day]
        total *= 1 + knob[NOISE] * draw(w.count)
        if total < best:
            best, taken = total, row
    site[i, CHOSEN] = taken
    for k in range(pattern[taken, COUNT]):
        put(w, i, pattern[taken, DAYS + k])


@compiled
def leave_out(w: State, r: Any, at: Any) -> None:
    """Takes what stands at a position out of its round."""
    touch(w, r)
    for p in range(at, w.shift[r, LEN] + 1):
        w.cells[r, p, NODE] = w.cells[r, p + 1, NODE]
    w.shift[r, LEN] -= 1
    changed(w, r)


@compiled
def take_out(w: State, i: Any, day: Any) -> None:
    """Takes one visit out of its round."""
    r, at = w.where[i, day, 0], w.where[i, day, 1]
    w.where[i, day, 0] = -1
    leave_out(w, r, at)
    push_around(w, r, at - 1, at)


@compiled
def out(w: State, i: Any, day: Any) -> None:
    """Takes a visit out, to be put back on its day; or with day -1 all visits of a site, to be put back on any pattern."""
    count, spare, row = w.count, w.spare, w.site[i, CHOSEN]
    if day >= 0:
        take_out(w, i, day)
    else:
        for k in range(w.pattern[row, COUNT]):
            take_out(w, i, w.pattern[row, DAYS + k])
        w.site[i, BEFORE] = row
    spare[count[OUT], OUT_SITE], spare[count[OUT], OUT_DAY] = i, day
    count[OUT] += 1


@compiled
def ruin_near(w: State, seed: Any) -> None:
    """Takes out a site and some of those around it."""
    chance = draw(w.count)
    left = int(chance * chance * chance * NEAR)
    out(w, seed, -1)
    reach = min(w.near.shape[1], 2 * left + 2)
    for k in range(reach):
        if draw(w.count) * (reach - k) < left:
            out(w, w.near[seed, k], -1)
            left -= 1


@compiled
def ruin_string(w: State, i: Any, day: Any, whole: Any) -> None:
    """Takes out a string of visits of one round with one visit in it; `whole`: all visits of their sites."""
    r, at, n = w.where[i, day, 0], w.where[i, day, 1], w.shift[w.where[i, day, 0], LEN]
    chance = draw(w.count)
    size = min(n, 1 + int(chance * chance * STRING))
    low, high = max(1, at - size + 1), min(at, n - size + 1)
    a = low + int(draw(w.count) * (high - low + 1))
    for _number in range(size):
        if w.cells[r, a, NODE] == w.count[STORE]:
            leave_out(w, r, a)
        else:
            out(w, w.cells[r, a, NODE], -1 if whole else day)


@compiled
def ruin_strings(w: State, seed: Any, whole: Any) -> None:
    """Takes out strings around a site on one of its days, of different rounds (after Christiaens & Vanden Berghe 2020,
    Transportation Science 54:417-433)."""
    count, row = w.count, w.site[seed, CHOSEN]
    if w.pattern[row, COUNT] == 0:
        out(w, seed, -1)
        return
    day = w.pattern[row, DAYS + int(draw(count) * w.pattern[row, COUNT])]
    left = int(draw(count) * STRINGS)
    ruin_string(w, seed, day, whole)
    for k in range(w.near.shape[1]):
        j = w.near[seed, k]
        if left > 0 and w.where[j, day, 0] >= 0 and w.shift[w.where[j, day, 0], STAMP] != count[TURN]:
            ruin_string(w, j, day, whole)
            left -= 1


@compiled
def ordered(w: State) -> None:
    """What is out in the order in which it is put back: by chance, by need, or the farthest first."""
    spare, how = w.spare, int(draw(w.count) * 3)
    for k in range(w.count[OUT]):
        i, day = spare[k, OUT_SITE], spare[k, OUT_DAY]
        key = int(draw(w.count) * 1000000)
        if how == 1 and w.count[LOADS]:
            key = -w.site[i, NEED] * w.pattern[w.site[i, FIRST] + w.site[i, MANY] - 1, COUNT]
        elif how == 2:
            key = -w.m[i, w.shift[0, START], 0]
        x = k
        while x > 0 and spare[x - 1, OUT_KEY] > key:
            for column in range(OUT_SITE, OUT_KEY + 1):
                spare[x, column] = spare[x - 1, column]
            x -= 1
        spare[x, OUT_SITE], spare[x, OUT_DAY], spare[x, OUT_KEY] = i, day, key


@compiled
def recreate(w: State) -> None:
    """Puts everything back that is out."""
    ordered(w)
    for k in range(w.count[OUT]):
        i, day = w.spare[k, OUT_SITE], w.spare[k, OUT_DAY]
        if day < 0:
            place(w, i)
        else:
            cheapest(w, i, day, w.knob[BLINK])
            put(w, i, day)
