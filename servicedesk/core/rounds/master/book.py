"""A master round as it stands: habits, the order of every day, what that costs, and what one change of habit would cost.

The judge of rounds judges every day that changes. What counts is said by `worth`: seconds at the wheel and what overtime and hours
cost, the price of each changed habit, unevenness over weeks and people, and what finds no room."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from servicedesk.core.rounds.insertion import detours, with_visit
from servicedesk.core.rounds.later import np
from servicedesk.core.rounds.master.parts import name_of, part, site_of
from servicedesk.core.rounds.master.values import (
    WEEK,
    Habit,
    Master,
    Person,
    Regular,
    days_of,
    habits_of,
    kept,
    visits_of,
)
from servicedesk.core.rounds.plan import Orders
from servicedesk.core.rounds.problem import Key, Problem
from servicedesk.core.rounds.rules import judge_round
from servicedesk.core.rounds.timing import Times

NO_ROOM = 40 * 3600
"""A visit without a place weighs as a week at the wheel."""
TRIED = 5
"""So many habits of a site are judged, of those whose ways alone are cheapest."""
NEIGHBOURS = 6


@dataclass(frozen=True)
class Day:
    """A technician's day in numbers: what it costs, seconds at the wheel, seconds away (lunch left out), overtime, metres."""

    cost: int = 0
    driving: int = 0
    away: int = 0
    overtime: int = 0
    metres: int = 0


@dataclass(frozen=True)
class Step:
    """One site goes over to a habit: days that change, with their orders and numbers, and what that adds to the worth."""

    site: str
    habit: Habit
    days: Mapping[Key, tuple[tuple[str, ...], Day]]
    delta: float
    driving: int
    metres: int


def measured(problem: Problem, key: Key, order: tuple[str, ...]) -> Day | None:
    """A day in numbers; None where it breaks a rule."""
    if not order:
        return Day()
    shift = problem.shift[key]
    faults, times = judge_round(problem, shift, order)
    if faults or not isinstance(times, Times):
        return None
    places = [shift.start, *(problem.visit[name].place for name in order), shift.end]
    pairs = list(zip(places, places[1:], strict=False))
    costs, rows, lengths = problem.travel.costs, problem.travel.rows, problem.travel.lengths
    way = sum(costs[a][b] for a, b in pairs)
    return Day(
        cost=way + times.price + times.overtime * shift.overtime_price,
        driving=sum(rows[a][b] for a, b in pairs),
        away=times.away,
        overtime=times.overtime,
        metres=0 if lengths is None else sum(lengths[a][b] for a, b in pairs),
    )


class Book:
    """Habits and orders of a whole master round. `around` are the technicians to whom a site might go besides its own."""

    def __init__(
        self,
        master: Master,
        habits: Mapping[str, Habit],
        orders: Orders,
        around: Mapping[str, Sequence[str]] | None = None,
    ) -> None:
        self.master = master
        self.habits = dict(habits)
        self.around = dict(around or {})
        self.parts = self._drawn()
        self.orders: dict[Key, tuple[str, ...]] = {}
        self.days: dict[Key, Day] = {}
        for person, problem in self.parts.items():
            for shift in problem.shifts:
                order = tuple(orders.get(shift.key, ()))
                day = measured(problem, shift.key, order)
                if day is None:
                    raise ValueError(f"A day of {person} breaks a rule.")
                self.orders[shift.key], self.days[shift.key] = order, day
        self.homeless = self._homeless()
        self._hours()

    def _drawn(self) -> dict[str, Problem]:
        """Each technician's problem, with sites that might come over as guests."""
        own: dict[str, list[Regular]] = defaultdict(list)
        guests: dict[str, list[Regular]] = defaultdict(list)
        for site in self.master.sites:
            mine = self.habits[site.id].technician if site.id in self.habits else ""
            own[mine].append(site)
            for other in self.around.get(site.id, ()):
                guests[other].append(site)
        return {p.id: self._part(p, own[p.id], guests[p.id]) for p in self.master.people}

    def _part(self, person: Person, own: Sequence[Regular], guests: Sequence[Regular]) -> Problem:
        """A technician's problem, or the same again where it was drawn up last."""
        known, key = self.master.drawn, (*(s.id for s in own), "", *(s.id for s in guests))
        if person.id not in known or known[person.id][0] != key:
            known[person.id] = (key, part(self.master, person, own, guests=guests))
        return known[person.id][1]

    def _homeless(self) -> set[str]:
        """Sites of which a visit has no place."""
        there = {name for order in self.orders.values() for name in order}
        return {
            site.id
            for site in self.master.sites
            if not all(name_of(site.id, n) in there for n in range(visits_of(self.master, site)))
        }

    def _hours(self) -> None:
        """Seconds away of each technician in each week."""
        self.weeks = {person.id: [0] * self.master.weeks for person in self.master.people}
        for (person, day), numbers in self.days.items():
            self.weeks[person][day // WEEK] += numbers.away

    def uneven(self, weeks: Mapping[str, Sequence[int]], people: Iterable[str] | None = None) -> float:
        """What it costs that weeks and people (these, or all) have more and less to do."""
        prices, room = self.master.prices, self.master.capacity
        whole, hours = max(1, sum(room.values())), sum(sum(row) for row in weeks.values())
        some = [(weeks[name], room[name]) for name in sorted(weeks if people is None else people)]
        across = sum(max(row) - min(row) for row, _room in some)
        apart = sum(abs(sum(row) - hours * mine / whole) for row, mine in some)
        return prices.uneven_weeks * across + prices.uneven_people * apart

    @property
    def driving(self) -> int:
        return sum(day.driving for day in self.days.values())

    @property
    def changed(self) -> list[str]:
        """Sites whose habit is another than today's."""
        return [
            site.id
            for site in self.master.sites
            if site.habit is not None and self.habits.get(site.id, site.habit) != site.habit
        ]

    @property
    def worth(self) -> float:
        """The less the better."""
        price = sum(
            self.master.prices.of(site.habit, self.habits[site.id])
            for site in self.master.sites
            if site.id in self.habits
        )
        lost = sum(visits_of(self.master, self.master.site[name]) for name in self.homeless) * NO_ROOM
        return sum(day.cost for day in self.days.values()) + price + self.uneven(self.weeks) + lost

    def over(self, site: str, habit: Habit) -> Step | None:
        """What it takes that a site goes over to a habit; None where it finds no room there."""
        changed = self._without(site)
        wanted = self._put(site, habit, changed) if changed is not None else None
        if wanted is None:
            return None
        regular = self.master.site[site]
        weeks = {person: list(row) for person, row in self.weeks.items()}
        cost = driving = metres = 0
        for key, (_order, day) in wanted.items():
            before = self.days[key]
            weeks[key[0]][key[1] // WEEK] += day.away - before.away
            cost, driving = cost + day.cost - before.cost, driving + day.driving - before.driving
            metres += day.metres - before.metres
        price = self.master.prices.of(regular.habit, habit)
        now = self.habits.get(site)
        price -= self.master.prices.of(regular.habit, now) if now is not None else 0
        lost = visits_of(self.master, regular) * NO_ROOM if site in self.homeless else 0
        delta = cost + price - lost + self.uneven(weeks) - self.uneven(self.weeks)
        return Step(site, habit, wanted, delta, driving, metres)

    def _without(self, site: str) -> dict[Key, tuple[tuple[str, ...], Day]] | None:
        """Days on which the site stands, without it."""
        changed: dict[Key, tuple[tuple[str, ...], Day]] = {}
        if site not in self.habits or site in self.homeless:
            return changed
        for day in set(days_of(self.master, self.master.site[site], self.habits[site])):
            key = (self.habits[site].technician, day)
            order = tuple(name for name in self.orders[key] if site_of(name) != site)
            numbers = measured(self.parts[key[0]], key, order)
            if numbers is None:
                return None
            changed[key] = (order, numbers)
        return changed

    def _put(
        self, site: str, habit: Habit, changed: Mapping[Key, tuple[tuple[str, ...], Day]]
    ) -> dict[Key, tuple[tuple[str, ...], Day]] | None:
        """The same days with the site put in by its new habit, each visit where it costs least."""
        found, problem = dict(changed), self.parts[habit.technician]
        for number, day in enumerate(days_of(self.master, self.master.site[site], habit)):
            key = (habit.technician, day)
            name = name_of(site, number)
            order = found[key][0] if key in found else self.orders[key]
            if name not in problem.visit:
                return None
            ways = sorted(detours(problem, problem.shift[key], order, problem.visit[name]))
            for _way, position in ways:
                longer = with_visit(order, position, name)
                numbers = measured(problem, key, longer)
                if numbers is not None:
                    found[key] = (longer, numbers)
                    break
            else:
                return None
        return found

    def steps(self, site: str, tried: int = TRIED, people: Sequence[str] | None = None) -> list[Step]:
        """Of so many habits (with these people, or all who come into question) whose ways alone are cheapest, the most promising ways in which a site could go over to another habit, the best first."""
        regular, rated = self.master.site[site], []
        own = [self.habits[site].technician] if site in self.habits else []
        for person in people or [*own, *self.around.get(site, ())]:
            problem, at = self.parts[person], dict[int, int]()
            if name_of(site, 0) not in problem.visit:
                continue
            visit = problem.visit[name_of(site, 0)]
            for habit in habits_of(self.master, regular, self.master.person[person]):
                if habit == self.habits.get(site) and site not in self.homeless:
                    continue
                days = days_of(self.master, regular, habit)
                for day in days:
                    if day not in at:
                        order = tuple(n for n in self.orders[person, day] if site_of(n) != site)
                        at[day] = min(detours(problem, problem.shift[person, day], order, visit))[0]
                rated.append((sum(at[d] for d in days) + self.master.prices.of(regular.habit, habit), habit))
        made = [self.over(site, habit) for _way, habit in sorted(rated)[:tried]]
        return sorted((step for step in made if step is not None), key=lambda step: (step.delta, step.habit))

    def take(self, step: Step) -> None:
        """The step is made."""
        self.habits[step.site] = step.habit
        for key, (order, day) in step.days.items():
            self.orders[key], self.days[key] = order, day
        self.homeless.discard(step.site)
        self._hours()

    def back(self, site: str) -> Step | None:
        """What it takes that a site has today's habit again; None where that cannot be."""
        habit = kept(self.master, self.master.site[site])
        return None if habit is None else self.over(site, habit)


def neighbours_of(master: Master, habits: Mapping[str, Habit]) -> dict[str, list[str]]:
    """For each site the technicians other than its own who visit its nearest neighbours, and the one of today, where they are
    able to come."""
    at = [site.place for site in master.sites]
    if not at:
        return {}
    rows, found = master.travel.arrays[0], dict[str, list[str]]()
    for site in master.sites:
        near = np.argsort(rows[site.place, at], kind="stable")[: NEIGHBOURS + 1]
        names = [habits[o.id].technician for o in (master.sites[int(n)] for n in near) if o.id in habits]
        today = [site.habit.technician] if site.habit is not None else []
        mine = habits[site.id].technician if site.id in habits else ""
        others = [n for n in dict.fromkeys([*today, *names]) if n != mine and n in master.person]
        found[site.id] = [name for name in others if master.able(site, master.person[name])]
    return found


def started(master: Master, sites: Iterable[Regular]) -> dict[str, Habit]:
    """Today's habits as far as they can go on."""
    found = {site.id: kept(master, site) for site in sites}
    return {name: habit for name, habit in found.items() if habit is not None}
