"""Problems for the search on arrays, and one lane of it run interpreted."""

import random
from dataclasses import replace

from servicedesk.core.rounds.compiled import compiling, lane, turns
from servicedesk.core.rounds.compiled.arrays import arrays_of, load_orders
from servicedesk.core.rounds.engine import Until
from servicedesk.core.rounds.keeping import Keeper
from servicedesk.core.rounds.planner import _other
from servicedesk.core.rounds.problem import (
    CLEAN,
    ISOLATED,
    NO_WAY_S,
    SUSPECT,
    Problem,
    Shift,
    Tie,
    Travel,
    Visit,
    Window,
)
from tests.core.rounds.problems import LUNCH, H, M

ALL_DAY = (0, 47 * H)


def sites(many=10, technicians=2, days=4, seed=3):
    """Tied and single visits with everything that the arrays know: one-way streets, skills, holds, usual technicians, two loads,
    the most stops, isolation, overtime with a price, prices of days and of patterns."""
    d = random.Random(seed)
    places = many + technicians
    xy = [(d.uniform(0, 40), d.uniform(0, 40)) for _ in range(places)]
    square = [
        [0 if a == b else int(M * (1 + ((p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2) ** 0.5) + d.uniform(0, 90)) for b, q in enumerate(xy)]
        for a, p in enumerate(xy)
    ]  # fmt: skip
    square[technicians][technicians + 1] = NO_WAY_S
    names, visits, ties = [f"t{n}" for n in range(technicians)], [], []
    for n in range(many):
        times = d.choice([1, 2, 2])
        some = {
            "skills": frozenset({"marine"} if n % 5 == 0 else ()), "loads": (d.choice([0, 40, 90]), d.choice([0, 1])),
            "level": d.choice([CLEAN, CLEAN, SUSPECT, ISOLATED]), "disinfects": d.random() < 0.2,
            "technicians": frozenset({names[-1]}) if n == 3 else None,
            "usual": d.choice([None, *names]), "change_price": d.choice([0, 400]),
        }  # fmt: skip
        made = [Visit(f"v{n}/{k}", technicians + n, d.choice([20, 45]) * M, tuple(Window(day, *ALL_DAY, 50 * day) for day in range(days)), **some) for k in range(times)]  # fmt: skip
        made = [replace(one, seconds=made[0].seconds) for one in made]
        visits += made
        if times > 1:
            ties.append(Tie(tuple(one.id for one in made), ((0, 2), (1, 3), (0, 3)), (0, 100, 50)))
    shifts = tuple(
        Shift(
            name, day, number, technicians - 1 - number, 7 * H, 17 * H, (None, 3 * H)[number % 2], (0, H)[number % 2], 2, None,
            frozenset({"marine"} if number == 0 else ()), (260, 4), None, (None, 5)[number % 2], 300 * number,
        )
        for number, name in enumerate(names)
        for day in range(days)
    )  # fmt: skip
    return Problem(Travel(square), tuple(visits), shifts, tuple(ties))


def plain(many=14, days=3, vans=2, room=9):
    """Sites alike but for where they lie, on vans that they nearly fill."""
    d = random.Random(8)
    xy = [(d.uniform(0, 40), d.uniform(0, 40)) for _ in range(many + 1)]
    square = [[int(60 * ((p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2) ** 0.5) for q in xy] for p in xy]
    visits = [Visit(f"{n}/{k}", n + 1, 0, tuple(Window(day, *ALL_DAY) for day in range(days)), loads=(1 + n % 3,)) for n in range(many) for k in range(2)]  # fmt: skip
    ties = [Tie((f"{n}/0", f"{n}/1"), ((0, 1), (1, 2), (0, 2))) for n in range(many)]
    shifts = [Shift(f"van {n}", day, 0, 0, 0, 23 * H, van=(room * many // 7,)) for day in range(days) for n in range(vans)]  # fmt: skip
    return Problem(Travel(square), tuple(visits), tuple(shifts), tuple(ties))


def windowed(problem, seed, lunch=False):
    """The problem with hours at each site: all day, a morning, two windows of different prices, an afternoon; two sites may be left
    out. With `lunch` the first technician eats."""
    d, hours, out = random.Random(seed), {}, []
    kinds = (
        ((*ALL_DAY, 0),), ((8 * H, 10 * H, 0),), ((8 * H, 9 * H, 30), (13 * H, 15 * H, 0)), ((13 * H, 16 * H, 5),),
    )  # fmt: skip
    for visit in problem.visits:
        site = visit.id.split("/")[0]
        hours.setdefault(site, kinds[d.randrange(4)])
        windows = tuple(Window(w.day, a, b, w.price + p) for w in visit.windows for a, b, p in hours[site])
        out.append(replace(visit, windows=windows, skip_price=3000 if site in ("v1", "v4") else None))
    shifts = problem.shifts
    if lunch:
        shifts = tuple(replace(s, lunch=LUNCH if s.technician == "t0" else None) for s in shifts)
    return replace(problem, visits=tuple(out), shifts=shifts)


def begun(problem, seed, leave=None):
    """A problem on arrays, and their state once every visit was put in."""
    found = arrays_of(problem, leave)
    w = found.state(seed)
    load_orders(found, w, {})
    turns.begin(w)
    return found, w


def engine(ready=True, failed=False):
    """An engine as it stands at some moment; interpreted."""
    made = compiling.Engine()
    made.turns, made.failed = turns, failed
    if ready:
        made.ready.set()
    else:
        made.wanted = lambda: made.ready
    return made


def searched(problem, budget, made, until=None, start=None):
    keeper = Keeper(problem)
    moment = None if budget.seconds is None else keeper.began + budget.seconds
    known = lane.known(problem)
    other = _other(problem, keeper, budget)
    one = lane.Lane(known, keeper, budget, until or Until(budget.iterations, moment), 0, other, made)
    one.run(start)
    return one, keeper
