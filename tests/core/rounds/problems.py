"""Small invented problems for tests, drawn or built by hand."""

import random
from dataclasses import replace

from hypothesis import strategies as st

from servicedesk.core.rounds.problem import (
    CLEAN,
    ISOLATED,
    SUSPECT,
    Lunch,
    Problem,
    Refill,
    Shift,
    Travel,
    Visit,
    Window,
)

H, M = 3600, 60
LUNCH = Lunch(30 * M, 11 * H + 30 * M, 13 * H)


def line(*kilometres, minutes_a_km=2):
    """Places on one road: whole minutes between them."""
    square = [[abs(a - b) * minutes_a_km * M for b in kilometres] for a in kilometres]
    return Travel(square)


def visit(name, place, minutes=30, days=(0,), opens=8, closes=16, **more):
    windows = tuple(Window(day, int(opens * H), int(closes * H)) for day in days)
    return Visit(name, place, minutes * M, more.pop("windows", windows), **more)


def shift(technician="ada", day=0, start=0, **more):
    return Shift(technician, day, start, more.pop("end", start), *more.pop("hours", (7 * H, 17 * H)), **more)


def drawn_problem(seed, visits=8, technicians=2, days=2):
    """Everything at once: skills, windows, isolation, loads, lunch, holds, prices, one-way streets."""
    d = random.Random(seed)
    places = visits + technicians + 1
    xy = [(d.uniform(0, 40), d.uniform(0, 40)) for _ in range(places)]
    square = [
        [0 if a == b else int(M * (2 + 1.3 * ((p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2) ** 0.5) + d.uniform(0, 90)) for b, q in enumerate(xy)]
        for a, p in enumerate(xy)
    ]  # fmt: skip
    names = [f"t{n}" for n in range(technicians)]
    made = []
    for number in range(visits):
        some = sorted(d.sample(range(days), d.randint(1, days)))
        windows = []
        for day in some:
            opens = d.choice([8, 8, 9, 12, 13])
            windows.append(Window(day, opens * H, (opens + d.choice([1, 3, 5])) * H, d.choice([0, 0, 300])))
            if d.random() < 0.2:
                windows.append(Window(day, 14 * H, 16 * H, d.choice([0, 200])))
        made.append(
            Visit(
                f"v{number}", technicians + 1 + number, d.choice([20, 45, 120, 200]) * M, tuple(windows),
                frozenset({"marine"} if d.random() < 0.3 else ()), (d.choice([0, 40, 120]), d.choice([0, 1])),
                d.choice([CLEAN] * 4 + [SUSPECT, ISOLATED]), d.random() < 0.2, d.choice([None, None, 4000]),
                frozenset({d.choice(names)}) if d.random() < 0.15 else None, d.choice([None, *names]), d.choice([0, 400]),
            )
        )  # fmt: skip
    shifts = tuple(
        Shift(
            name, day, number, number, 7 * H, d.choice([12 * H + 30 * M, 17 * H, 17 * H]), d.choice([None, 8 * H]), d.choice([0, H]),
            2, d.choice([None, LUNCH, replace(LUNCH, seconds=45 * M)]), frozenset({"marine"} if number == 0 else ()), (160, 4),
            Refill(technicians, 10 * M) if d.random() < 0.4 else None, d.choice([None, 5]), d.choice([0, 500]),
        )
        for number, name in enumerate(names)
        for day in range(days)
    )  # fmt: skip
    return Problem(Travel(square), tuple(made), shifts)


problems = st.builds(
    drawn_problem,
    st.integers(0, 10**6),
    visits=st.integers(1, 9),
    technicians=st.integers(1, 3),
    days=st.integers(1, 3),
)
