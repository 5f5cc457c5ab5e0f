"""Invented master rounds, drawn from a seed: the places of invented weeks, sites visited every one, two or four weeks, some twice a
week, and a habit that grew over the years: mostly the nearest technician's, on the weekday that was free or wished when it was sold.

A name is `master-SITES-SEED`, such as master-200-1. Shares are round values, access and minutes those of the invented weeks."""

from __future__ import annotations

import random
import re
from dataclasses import replace

from servicedesk.core.rounds.master.book import Book
from servicedesk.core.rounds.master.values import Master, Person, Prices, Regular, habits_of
from servicedesk.core.rounds.problem import NotPlanned, Window
from servicedesk.core.rounds.travel import travel_between
from servicedesk.core.rounds.weeks import (
    ACCESS,
    ACCESS_WEIGHTS,
    HOUR,
    LUNCH,
    MINUTE_WEIGHTS,
    MINUTES,
    PAID_S,
    ROADS,
    SHIFT,
    degrees,
    places,
    technicians_for,
)

WEEKS, WORKDAYS = 4, (0, 1, 2, 3, 4)
OFTEN, OFTEN_WEIGHTS = ((1, True), (1, False), (2, False), (4, False)), (2, 13, 35, 50)
"""Every so many weeks, twice in each; of a hundred sites."""
MARINE, ABLE = 0.15, 0.7
"""Share of sites that need a skill, and of technicians who have it."""
CLOSED = 0.25
"""Share of sites that are closed on one weekday."""
A_WEEK, SPARE = 0.47, 1.3
"""Visits a week for each site by these shares; so many times as many people as for the invented weeks, since habits are no plan."""
OLD_WAY = 0.75
"""Share of sites whose technician is the nearest one; the others have come to somebody else over the years."""
ASKED = 4
"""So many technicians are asked, one after the other, who still has room."""
NAME = re.compile(r"master-(\d+)-(\d+)")


def master_round(sites: int, seed: int, *, prices: Prices | None = None) -> Master:
    """An invented master round of four weeks."""
    drawn = random.Random(f"master {sites} {seed}")
    people = technicians_for(max(1, round(A_WEEK * sites * SPARE)))
    draw = places(drawn, sites, people)
    travel = travel_between([degrees(point) for point in (*draw.homes, *draw.sites)], ROADS)
    staff = tuple(
        Person(
            f"t{n + 1}", n, n, WORKDAYS, *SHIFT, paid=PAID_S, lunch=LUNCH,
            skills=frozenset({"marine"} if drawn.random() < ABLE or n == 0 else ()),
        )
        for n in range(people)
    )  # fmt: skip
    bare = Master(travel, (), staff, WEEKS, prices or Prices())
    made = tuple(_site(drawn, number, people + number) for number in range(sites))
    return replace(bare, sites=_settled(drawn, replace(bare, sites=made)))


def _settled(drawn: random.Random, master: Master) -> tuple[Regular, ...]:
    """The sites with habits as they might have grown: one after the other each came to somebody on some day that still had room."""
    asked, seconds = dict[str, list[str]](), master.travel.arrays[0]
    for site in master.sites:
        able = [p for p in master.people if master.able(site, p)]
        able.sort(key=lambda p: int(seconds[p.start, site.place]))
        if drawn.random() >= OLD_WAY:
            drawn.shuffle(able)
        asked[site.id] = [p.id for p in able[:ASKED]]
    book = Book(master, {}, {}, asked)
    for site in master.sites:
        for person in asked[site.id]:
            could = habits_of(master, site, master.person[person])
            drawn.shuffle(could)
            step = next((s for s in (book.over(site.id, habit) for habit in could) if s is not None), None)
            if step is not None:
                book.take(step)
                break
    return tuple(replace(site, habit=book.habits.get(site.id)) for site in master.sites)


def _site(drawn: random.Random, number: int, place: int) -> Regular:
    seconds = 60 * drawn.choices(MINUTES, MINUTE_WEIGHTS)[0]
    every, twice = drawn.choices(OFTEN, OFTEN_WEIGHTS)[0]
    opens, closes = drawn.choices(ACCESS, ACCESS_WEIGHTS)[0]
    shut = int(drawn.random() * len(WORKDAYS)) if drawn.random() < CLOSED else -1
    latest = int(closes * HOUR) - seconds
    hours = tuple(Window(day, int(opens * HOUR), latest) for day in WORKDAYS if day != shut)
    skills = frozenset({"marine"} if drawn.random() < MARINE else ())
    return Regular(f"s{number + 1}", place, seconds, every, hours, twice, skills)


def named_master(name: str) -> Master:
    """The master round of that name. Raises NotPlanned."""
    found = NAME.fullmatch(name)
    if found is None or not 1 <= int(found[1]) <= 5000:
        raise NotPlanned(f"“{name}” names no master round: master-SITES-SEED does, with 1 to 5000 sites.")
    return master_round(int(found[1]), int(found[2]))
