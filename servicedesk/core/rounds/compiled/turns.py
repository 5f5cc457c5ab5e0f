"""Turns on arrays: some visits are taken out and put back, then the local search runs where something changed. What comes out is kept
by simulated annealing; after many vain turns it goes on from the best. Whatever is too much costs a penalty, steered so that about
half of the plans hold (Vidal et al. 2012, Operations Research 60:611-624)."""

from __future__ import annotations

import math
from typing import Any

from servicedesk.core.rounds.compiled.arrays import (
    BEFORE,
    BEST,
    BEST_COST,
    BEST_LEN,
    BETTER,
    BLINK,
    CHOSEN,
    COUNT,
    DAYS,
    END,
    FIRST,
    FULL,
    HEAT,
    HELD_LOAD,
    HELD_TIME,
    JUDGED,
    LAST,
    LATE,
    LATENESS,
    LEAST_LOAD,
    LEAST_TIME,
    LEN,
    MANY,
    NODE,
    NOISE,
    NOW,
    OLD_WORTH,
    OUT,
    OUT_DAY,
    OUT_SITE,
    OVERLOAD,
    OVERTIME,
    PATIENCE,
    PER_LOAD,
    PER_TIME,
    PRICE,
    PRICES,
    SOFT,
    START,
    TOUCHED,
    TOUCHED_,
    TURN,
    WAY,
    State,
)
from servicedesk.core.rounds.compiled.compiling import compiled
from servicedesk.core.rounds.compiled.filling import filled_all
from servicedesk.core.rounds.compiled.moves import descend
from servicedesk.core.rounds.compiled.placing import recreate, ruin_near, ruin_strings
from servicedesk.core.rounds.compiled.reading import HUGE
from servicedesk.core.rounds.compiled.rounds import (
    changed,
    code,
    decoded,
    draw,
    priced,
    push_around,
    restore,
    seconds_of,
)

ONE_DAY, STRING_SHARE = 0.3, 0.3
"""How often strings of one day are put back on that day; how often all visits of those on a string may change their days."""
FEW, MOST = 0.4, 0.6
"""Share of plans that are to hold."""
LEAST_PULL, MOST_PULL = 0.02, 10_000.0


@compiled
def tally(w: State) -> None:
    """Sums of the whole plan anew."""
    now, full, late = w.knob[PRICES], 0, 0
    for r in range(w.shift.shape[0]):
        now += w.worth[r, WAY] + w.worth[r, SOFT]
        full += int(w.worth[r, OVERLOAD] > 0)
        late += int(w.worth[r, OVERTIME] > 0)
    w.knob[NOW], w.count[FULL], w.count[LATE] = now, full, late


@compiled
def save(w: State) -> None:
    """Keeps the plan as the best where it holds and is better."""
    if w.count[FULL] or w.count[LATE] or w.knob[NOW] >= w.knob[BEST_COST] - 0.5:
        return
    for r in range(w.shift.shape[0]):
        w.shift[r, BEST_LEN] = w.shift[r, LEN]
        for p in range(1, w.shift[r, LEN] + 1):
            w.cells[r, p, BEST] = code(w, r, p)
    w.knob[BEST_COST] = w.knob[NOW]
    w.count[BETTER], w.count[LAST] = 1, w.count[TURN]


@compiled
def pattern_of(w: State, i: Any) -> Any:
    """The pattern on whose days a site stands."""
    found = w.site[i, FIRST]
    for row in range(w.site[i, FIRST], w.site[i, FIRST] + w.site[i, MANY]):
        there = 0
        for k in range(w.pattern[row, COUNT]):
            there += int(w.where[i, w.pattern[row, DAYS + k], 0] >= 0)
        if there == w.pattern[row, COUNT]:
            found = row
    return found


@compiled
def back_to_best(w: State) -> None:
    """Goes on from the best plan."""
    cells, shift, where = w.cells, w.shift, w.where
    for i in range(where.shape[0]):
        for day in range(where.shape[1]):
            where[i, day, 0] = -1
    for r in range(shift.shape[0]):
        shift[r, LEN] = shift[r, BEST_LEN]
        for p in range(1, shift[r, LEN] + 1):
            decoded(w, r, p, cells[r, p, BEST])
        cells[r, shift[r, LEN] + 1, NODE] = shift[r, END]
        changed(w, r)
    w.knob[PRICES] = 0.0
    for i in range(where.shape[0]):
        w.site[i, CHOSEN] = pattern_of(w, i)
        w.knob[PRICES] += w.pattern[w.site[i, CHOSEN], PRICE]
    tally(w)
    w.count[LAST] = w.count[TURN]


@compiled
def pull(share: Any, now: Any, least: Any, found: Any) -> Any:
    """A penalty, where this share of plans held; it grows fast until a first one did."""
    if share < FEW:
        now *= 1.1 if found else 1.3
    elif share > MOST:
        now *= 0.9
    return min(max(now, LEAST_PULL * least), MOST_PULL * least)


@compiled
def weigh(w: State) -> None:
    """Dearer or cheaper to break a rule, by how often plans held lately."""
    knob, found = w.knob, w.knob[BEST_COST] < HUGE
    knob[PER_LOAD] = pull(knob[HELD_LOAD] / knob[JUDGED], knob[PER_LOAD], knob[LEAST_LOAD], found)
    knob[PER_TIME] = pull(knob[HELD_TIME] / knob[JUDGED], knob[PER_TIME], knob[LEAST_TIME], found)
    knob[JUDGED] = knob[HELD_LOAD] = knob[HELD_TIME] = 0.0
    for r in range(w.shift.shape[0]):
        if w.shift[r, LEN]:
            w.worth[r, SOFT] = priced(w, r, (seconds_of(w, r), w.worth[r, LATENESS]), w.worth[r, OVERLOAD])
    tally(w)


@compiled
def prices(w: State) -> Any:
    """What the patterns chosen in this turn cost more than those before."""
    more = 0
    for k in range(w.count[OUT]):
        if w.spare[k, OUT_DAY] < 0:
            i = w.spare[k, OUT_SITE]
            more += w.pattern[w.site[i, CHOSEN], PRICE] - w.pattern[w.site[i, BEFORE], PRICE]
    return more


@compiled
def decide(w: State) -> None:
    """Takes what this turn made where it is better or hardly worse (simulated annealing), else undoes it."""
    count, knob, worth = w.count, w.knob, w.worth
    more, full, late = prices(w), count[FULL], count[LATE]
    delta = 1.0 * more
    for k in range(count[TOUCHED]):
        r = w.spare[k, TOUCHED_]
        delta += worth[r, WAY] + worth[r, SOFT] - worth[r, OLD_WORTH + WAY] - worth[r, OLD_WORTH + SOFT]
        full += int(worth[r, OVERLOAD] > 0) - int(worth[r, OLD_WORTH + OVERLOAD] > 0)
        late += int(worth[r, OVERTIME] > 0) - int(worth[r, OLD_WORTH + OVERTIME] > 0)
    knob[JUDGED] += 1
    knob[HELD_LOAD] += int(full == 0)
    knob[HELD_TIME] += int(late == 0)
    if delta < -knob[HEAT] * math.log(draw(count)):
        knob[NOW] += delta
        knob[PRICES] += more
        count[FULL], count[LATE] = full, late
        save(w)
        return
    for k in range(count[OUT]):
        if w.spare[k, OUT_DAY] < 0:
            w.site[w.spare[k, OUT_SITE], CHOSEN] = w.site[w.spare[k, OUT_SITE], BEFORE]
    restore(w)


@compiled
def begin(w: State) -> None:
    """From the rounds that are there: sites without a pattern are put in, then the local search."""
    count, shift, blink, noise = w.count, w.shift, w.knob[BLINK], w.knob[NOISE]
    count[TURN] += 1
    count[TOUCHED] = count[OUT] = 0
    w.knob[BLINK] = w.knob[NOISE] = 0.0
    for i in range(w.where.shape[0]):
        for day in range(w.where.shape[1]):
            w.where[i, day, 0] = -1
    for r in range(shift.shape[0]):
        w.cells[r, 0, NODE], w.cells[r, shift[r, LEN] + 1, NODE] = shift[r, START], shift[r, END]
        changed(w, r)
        push_around(w, r, 1, shift[r, LEN])
    for i in range(w.site.shape[0]):
        if w.site[i, CHOSEN] < 0:
            w.spare[count[OUT], OUT_SITE], w.spare[count[OUT], OUT_DAY] = i, -1
            count[OUT] += 1
    recreate(w)
    descend(w)
    filled_all(w, 0)
    w.knob[BLINK], w.knob[NOISE], w.knob[PRICES] = blink, noise, 0.0
    for i in range(w.site.shape[0]):
        w.knob[PRICES] += w.pattern[w.site[i, CHOSEN], PRICE]
    tally(w)
    save(w)


@compiled
def take(w: State, turns: Any) -> None:
    """So many turns: some visits out, back in at another place, the local search around them, kept or undone."""
    count = w.count
    for _turn in range(turns):
        count[TURN] += 1
        count[TOUCHED] = count[OUT] = 0
        seed, how = int(draw(count) * w.site.shape[0]), draw(count)
        if how < ONE_DAY + STRING_SHARE:
            ruin_strings(w, seed, how >= ONE_DAY)
        else:
            ruin_near(w, seed)
        recreate(w)
        descend(w)
        filled_all(w, 1)
        decide(w)
        if w.knob[JUDGED] == 100:
            weigh(w)
        if count[TURN] - count[LAST] > count[PATIENCE] and w.knob[BEST_COST] < HUGE:
            back_to_best(w)
    tally(w)
