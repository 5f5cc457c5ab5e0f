"""Invented weeks of a business, drawn from a seed: towns, sites in and between them, technicians who start at home, visits with
days of tolerance, access windows, skills, isolation, water to carry and lunch. The same name gives the same week everywhere.

A name is `week-VISITS-SEED`, such as week-80-1. All numbers are common practice of the trade or round values."""

from __future__ import annotations

import math
import random
import re
from dataclasses import dataclass, replace

from servicedesk.core.rounds.problem import CLEAN, ISOLATED, Lunch, NotPlanned, Problem, Shift, Visit, Window
from servicedesk.core.rounds.travel import Band, Roads, travel_between

DAYS = 5
HOUR = 3600
SIDE_KM = 60.0
TOWN_KM = 4.0
IN_TOWN = 0.6
MIDDLE = (50.0, 10.0)
KM_A_DEGREE = 111.195
ROADS = Roads(bands=(Band(5, 1.35, 25), Band(15, 1.35, 38), Band(float("inf"), 1.35, 55)), leg_minutes=2)
MINUTES, MINUTE_WEIGHTS = (25, 35, 45, 60, 90), (30, 30, 20, 15, 5)
TOLERANCES, TOLERANCE_WEIGHTS = (0, 1, 2, 4), (15, 35, 35, 15)
ACCESS, ACCESS_WEIGHTS = ((8.0, 16.5), (8.0, 11.5), (13.0, 16.0)), (60, 20, 20)
LITRES, VAN_L = (0, 20, 40, 80), 400
SHIFT = (7 * HOUR, 17 * HOUR)
PAID_S = 8 * HOUR + HOUR // 2
LUNCH = Lunch(HOUR // 2, 11 * HOUR + HOUR // 2, 13 * HOUR + HOUR // 2)
SKILLS = (("marine", 0.2, 0.6), ("diving", 0.1, 0.4))
"""Name, share of visits that need it, share of technicians who have it."""
ISOLATED_SHARE = 0.05
CHANGED = 0.15
"""Share of visits that are others in the week after."""
NAME = re.compile(r"week-(\d+)-(\d+)(\+1)?")


@dataclass(frozen=True)
class Draw:
    """Places in km from the middle, and how many technicians."""

    homes: tuple[tuple[float, float], ...]
    sites: tuple[tuple[float, float], ...]


def technicians_for(visits: int) -> int:
    """Enough people that the week can work: one for about 35 visits."""
    return max(1, math.ceil(visits / 34.7))


def places(drawn: random.Random, visits: int, people: int) -> Draw:
    half = SIDE_KM / 2
    towns = [(drawn.uniform(-half, half), drawn.uniform(-half, half)) for _ in range(max(1, people // 2))]

    def near_town() -> tuple[float, float]:
        x, y = towns[int(drawn.random() * len(towns))]
        return x + drawn.gauss(0, TOWN_KM), y + drawn.gauss(0, TOWN_KM)

    def anywhere() -> tuple[float, float]:
        return drawn.uniform(-half, half), drawn.uniform(-half, half)

    homes = tuple(near_town() for _ in range(people))
    return Draw(homes, tuple(near_town() if drawn.random() < IN_TOWN else anywhere() for _ in range(visits)))


def degrees(point: tuple[float, float]) -> tuple[float, float]:
    lat = MIDDLE[0] + point[1] / KM_A_DEGREE
    return lat, MIDDLE[1] + point[0] / (KM_A_DEGREE * math.cos(math.radians(MIDDLE[0])))


def _visit(drawn: random.Random, number: int, place: int) -> Visit:
    seconds = 60 * drawn.choices(MINUTES, MINUTE_WEIGHTS)[0]
    tolerance = drawn.choices(TOLERANCES, TOLERANCE_WEIGHTS)[0]
    opens, closes = drawn.choices(ACCESS, ACCESS_WEIGHTS)[0]
    due = int(drawn.random() * DAYS)
    latest = int(closes * HOUR) - seconds
    windows = tuple(
        Window(day, int(opens * HOUR), latest)
        for day in range(max(0, due - tolerance), min(DAYS, due + tolerance + 1))
    )
    skills = frozenset(name for name, share, _able in SKILLS if drawn.random() < share)
    litres = LITRES[int(drawn.random() * len(LITRES))]
    level = ISOLATED if drawn.random() < ISOLATED_SHARE else CLEAN
    return Visit(f"v{number + 1}", place, seconds, windows, skills, (litres,), level)


def week(visits: int, seed: int, *, after: bool = False) -> Problem:
    """An invented week with so many visits; with `after` the one that follows, in which some visits are others. The first two
    technicians have every skill."""
    drawn = random.Random(f"week {visits} {seed}")
    people = technicians_for(visits)
    draw = places(drawn, visits, people)
    shifts = []
    for number in range(people):
        able = {name for name, _share, able in SKILLS if drawn.random() < able or number < 2}
        for day in range(DAYS):
            shifts.append(
                Shift(
                    f"t{number + 1}", day, number, number, *SHIFT, paid=PAID_S, lunch=LUNCH, skills=frozenset(able), van=(VAN_L,)
                )
            )  # fmt: skip
    made = [_visit(drawn, number, people + number) for number in range(visits)]
    sites = list(draw.sites)
    if after:
        other = places(drawn, visits, people).sites
        for number in range(visits):
            if drawn.random() < CHANGED:
                made[number] = replace(_visit(drawn, number, people + number), id=f"w{number + 1}")
                sites[number] = other[number]
    travel = travel_between([degrees(point) for point in (*draw.homes, *sites)], ROADS)
    return Problem(travel, tuple(made), tuple(shifts), dimensions=("litres of water",))


def named_week(name: str) -> Problem:
    """The week of that name; with +1 behind it the week after. Raises NotPlanned."""
    found = NAME.fullmatch(name)
    if found is None or not 1 <= int(found[1]) <= 5000:
        raise NotPlanned(f"“{name}” names no week: week-VISITS-SEED does, with 1 to 5000 visits.")
    return week(int(found[1]), int(found[2]), after=found[3] is not None)


def week_before(name: str) -> str:
    """The name of the week before, for a name with +1; else empty."""
    return name.removesuffix("+1") if name.endswith("+1") else ""
