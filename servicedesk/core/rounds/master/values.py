"""The master round as values: who is visited how often, how that is today, who drives when, and what a change of habit has to
save before it is worth it. Days count from 0, the Monday on which the cycle begins; places are rows of the travel matrix."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations

from servicedesk.core.rounds.problem import Lunch, NotPlanned, Problem, Shift, Travel, Window

WEEK = 7
LEAST_APART = 2
"""Days between the two visits of one week, at the least, over the weekend too (common practice); a pair that is driven today stays."""
MOST_SITES, MOST_WEEKS = 5000, 12
HEAVY_S, HEAVY_PRICE, EVEN_PRICE = 4 * 3600, 3, 1
"""Beyond what is paid a day may run on so long, each second at so many at the wheel: a habit that does not fit is then said, not refused.
Beyond an even share of the work, but within what is paid, at fewer."""


@dataclass(frozen=True, order=True)
class Habit:
    """When and by whom a site is visited: on these weekdays (Monday is 0, rising), first in this week of the cycle."""

    technician: str
    weekdays: tuple[int, ...]
    week: int = 0


@dataclass(frozen=True)
class Regular:
    """A site that is visited every so many weeks, once or `twice` in such a week, so many seconds each time.

    `hours` are windows for the begin of the work by weekday (`day` is the weekday, `price` what that hour costs). `habit` is how
    it is today; None for a new client. `technicians` None: anybody who has the skills."""

    id: str
    place: int
    seconds: int
    every: int
    hours: tuple[Window, ...]
    twice: bool = False
    skills: frozenset[str] = frozenset()
    technicians: frozenset[str] | None = None
    habit: Habit | None = None
    held: bool = False
    """It stays as it is today, where it can."""

    @cached_property
    def open_on(self) -> frozenset[int]:
        """Weekdays on which one gets in."""
        return frozenset(window.day for window in self.hours)


@dataclass(frozen=True)
class Person:
    """A technician as any week has them: from `start` to `end` on these weekdays, `paid` seconds a day."""

    id: str
    start: int
    end: int
    weekdays: tuple[int, ...]
    earliest: int
    latest: int
    paid: int
    lunch: Lunch | None = None
    skills: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Prices:
    """What a change has to save in one cycle before it is proposed, and what unevenness weighs, in seconds at the wheel (common
    practice): another weekday, only other weeks, another technician; a second by which a technician's longest week exceeds the
    shortest, one by which a technician has more or less than their share."""

    weekday: int = 1200
    weeks: int = 300
    technician: int = 1800
    uneven_weeks: float = 0.25
    uneven_people: float = 0.3

    def of(self, before: Habit | None, after: Habit) -> int:
        """The price of going over from one habit to another."""
        if before is None or before == after:
            return 0
        return self.pattern(before, after) + (self.technician if before.technician != after.technician else 0)

    def pattern(self, before: Habit | None, after: Habit) -> int:
        """The same without the person's part."""
        if before is None or (before.weekdays, before.week) == (after.weekdays, after.week):
            return 0
        return self.weekday if before.weekdays != after.weekdays else self.weeks

    def times(self, factor: float) -> Prices:
        """Changes so many times as dear."""
        weekday, weeks, technician = (round(p * factor) for p in (self.weekday, self.weeks, self.technician))
        return Prices(weekday, weeks, technician, self.uneven_weeks, self.uneven_people)


@dataclass(frozen=True, eq=False)
class Master:
    """Everything a master round hangs on. Order counts: with the same order, seed and limit of iterations the result is the same."""

    travel: Travel
    sites: tuple[Regular, ...]
    people: tuple[Person, ...]
    weeks: int = 4
    prices: Prices = field(default_factory=Prices)

    @cached_property
    def site(self) -> Mapping[str, Regular]:
        return {site.id: site for site in self.sites}

    @cached_property
    def person(self) -> Mapping[str, Person]:
        return {person.id: person for person in self.people}

    @cached_property
    def drawn(self) -> dict[str, tuple[tuple[str, ...], Problem]]:
        """Each technician's problem as it was drawn up last, and with which sites."""
        return {}

    @cached_property
    def capacity(self) -> Mapping[str, int]:
        """Paid seconds of each technician in the cycle."""
        return {p.id: p.paid * len(p.weekdays) * self.weeks for p in self.people}

    def able(self, site: Regular, person: Person) -> bool:
        """Whether this technician can be the one who comes: skill, person, and a pattern on which both can."""
        if not site.skills <= person.skills or not (
            site.technicians is None or person.id in site.technicians
        ):
            return False
        return bool(habits_of(self, site, person))


def days_of(master: Master, site: Regular, habit: Habit) -> tuple[int, ...]:
    """The days of the cycle on which it is visited."""
    weeks = range(habit.week, master.weeks, site.every)
    return tuple(WEEK * week + weekday for week in weeks for weekday in habit.weekdays)


def visits_of(master: Master, site: Regular) -> int:
    """Visits in the cycle, whatever the pattern; where the weeks do not come out even, those of today's."""
    first = site.habit.week if site.habit is not None and master.weeks % site.every else 0
    return len(range(first, master.weeks, site.every)) * (2 if site.twice else 1)


def habits_of(master: Master, site: Regular, person: Person) -> list[Habit]:
    """Every way in which this technician could visit the site: today's alone, where it is held and can go on."""
    if site.held and site.habit is not None:
        today = master.person.get(site.habit.technician)
        if today is not None and site.habit in _possible(master, site, today):
            return [site.habit] if person.id == today.id else []
    return _possible(master, site, person)


def _possible(master: Master, site: Regular, person: Person) -> list[Habit]:
    """Habits by working days, hours and days between; weeks that do not come out even with the cycle stay as they are."""
    open_days = [day for day in person.weekdays if day in site.open_on]
    today = site.habit.weekdays if site.habit is not None else ()
    if site.twice:
        pairs = [p for p in combinations(open_days, 2) if apart(p) >= LEAST_APART or p == today]
        choices: list[tuple[int, ...]] = list(pairs)
    else:
        choices = [(day,) for day in open_days]
    weeks = range(site.every)
    if master.weeks % site.every:
        week = site.habit.week if site.habit is not None else 0
        weeks = range(week, week + 1)
    return [Habit(person.id, days, week) for week in weeks for days in choices]


def apart(pair: tuple[int, ...]) -> int:
    """Days between the two visits of one week, the shorter way round."""
    across = pair[1] - pair[0]
    return min(across, WEEK - across)


def kept(master: Master, site: Regular) -> Habit | None:
    """Today's habit where it can go on as it is."""
    habit = site.habit
    if habit is None or habit.technician not in master.person:
        return None
    person = master.person[habit.technician]
    return habit if master.able(site, person) and habit in habits_of(master, site, person) else None


def shifts_of(master: Master, person: Person, paid: int, start: int, end: int) -> tuple[Shift, ...]:
    """The days of a technician in the cycle, between these two places; beyond `paid` seconds each one costs."""
    return tuple(
        Shift(
            person.id, WEEK * week + day, start, end, person.earliest, min(person.latest + HEAVY_S, 2 * 86_400 - 1),
            paid=paid, overtime=max(0, person.paid - paid) + HEAVY_S,
            overtime_price=HEAVY_PRICE if paid >= person.paid else EVEN_PRICE, lunch=person.lunch, skills=person.skills,
        )
        for week in range(master.weeks)
        for day in person.weekdays
    )  # fmt: skip


def refuse_odd(master: Master) -> None:
    """Raises NotPlanned for what cannot be, in a sentence."""
    if not 1 <= master.weeks <= MOST_WEEKS:
        raise NotPlanned(f"A cycle has from 1 to {MOST_WEEKS} weeks.")
    if len(master.sites) > MOST_SITES:
        raise NotPlanned(f"A master round has {MOST_SITES} sites at most.")
    if len(master.site) < len(master.sites) or len(master.person) < len(master.people):
        raise NotPlanned("Each site and each technician is named once.")
    if any(site.every < 1 or site.seconds < 0 for site in master.sites):
        raise NotPlanned("A site is visited every week at the most, for no less than no time.")
    if any(w.latest < w.earliest for site in master.sites for w in site.hours):
        raise NotPlanned("A window closes before it opens, or is shorter than the work.")
    for person in master.people:
        if person.paid < 0 or not 0 <= person.earliest <= person.latest:
            raise NotPlanned(f"The shift of {person.id} ends before it begins.")


__all__ = [
    "Habit",
    "Master",
    "Person",
    "Prices",
    "Problem",
    "Regular",
    "apart",
    "days_of",
    "habits_of",
    "kept",
    "visits_of",
]
