"""The master round as the planner takes it: service plans that come back in these weeks, technicians as any week has them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from hashlib import sha256

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients.models import ServicePlan
from servicedesk.core.recurrence.changing import DAYS_A_WEEK, Pattern
from servicedesk.core.rounds.master.values import LEAST_APART, Habit, Master, Person, Prices, Regular, apart
from servicedesk.core.rounds.problem import NotPlanned
from servicedesk.rounds.queries.ground import hours_on, windows_of_day
from servicedesk.rounds.queries.wanted import Builder
from servicedesk.staff.models import User, Working
from servicedesk.staff.queries import technicians


@dataclass
class Round:
    """The master round and the way back: plans and people by their names there, what could not be taken as it is written down."""

    first: date
    master: Master
    plans: dict[str, ServicePlan]
    people: dict[str, User]
    said: list[str] = field(default_factory=list)

    def starts_on(self, habit: Habit) -> date:
        """The Monday from which the weeks of a habit are counted."""
        return self.first + timedelta(days=DAYS_A_WEEK * habit.week)


def stamp_of_plan(plan: ServicePlan) -> str:
    """Names what a proposal was worked out from: the same only while the plan's days, weeks, person and minutes are."""
    told = (plan.weekday, plan.second_weekday, plan.every_weeks, plan.starts_on, plan.technician_id, plan.minutes, plan.people, plan.ends_on)  # fmt: skip
    return sha256(repr(told).encode()).hexdigest()


def plans_in(first: date, last: date) -> list[ServicePlan]:
    """Service plans that hold in these days, at sites that are served."""
    rows = ServicePlan.objects.filter(
        Q(ends_on__isnull=True) | Q(ends_on__gt=last),
        site__retired_on__isnull=True,
        site__client__retired_on__isnull=True,
        starts_on__lte=last,
        tanks__retired_on__isnull=True,
        tanks__isnull=False,
    ).distinct()
    return list(
        rows.select_related("site", "site__client", "technician")
        .prefetch_related("skills", "site__hours")
        .order_by("site__name", "pk")
    )


def habit_of(plan: ServicePlan, first: date) -> Habit | None:
    """How a plan is today, its weeks counted from this Monday; None where no technician who still drives has it."""
    person = plan.technician
    if person is None or not person.is_technician or not person.is_active:
        return None
    days = tuple(
        sorted({plan.weekday} if plan.second_weekday is None else {plan.weekday, plan.second_weekday})
    )
    turn = timedelta(days=DAYS_A_WEEK * plan.every_weeks)
    pattern = Pattern(days, plan.every_weeks, plan.starts_on)
    begins = max(first, plan.starts_on)
    due = pattern.days(begins, begins + 2 * turn)[0]
    return Habit(str(person.pk), days, (due - first).days // DAYS_A_WEEK % plan.every_weeks)


class _Weekly(Builder):
    """Reads what a master round hangs on."""

    def persons(self) -> list[Person]:
        """Technicians on the days on which they work as a rule, whoever is away just now."""
        found = []
        rows = {row.person_id: row for row in Working.objects.prefetch_related("skills")}
        for person in technicians():
            working: Working | None = rows.get(person.pk)
            weekdays = tuple(sorted({int(day) for day in (working or Working(person=person)).weekdays}))
            if not weekdays:
                continue
            shift = self._shift(person, working, None, 0, self.days[0], anyway=True)[0]
            latest = shift.latest - shift.overtime
            found.append(
                Person(
                    shift.technician, shift.start, shift.end, weekdays, shift.earliest, latest,
                    paid=shift.paid or 0, lunch=shift.lunch, skills=shift.skills,
                )
            )  # fmt: skip
        return found

    def regular(self, plan: ServicePlan) -> Regular:
        site, minutes = plan.site, self.actuals.minutes(plan.pk, plan.minutes)
        hours = [
            window
            for weekday in range(DAYS_A_WEEK)
            for opens, closes in hours_on(site, weekday)
            for window in windows_of_day(weekday, opens, closes - minutes * 60, 0, plan.preferred_time)
        ]
        return Regular(
            id=str(plan.pk),
            place=self.places.of(("site", site.pk), site.name, site.lat, site.lon),
            seconds=minutes * 60,
            every=plan.every_weeks,
            hours=tuple(hours),
            twice=plan.second_weekday is not None,
            skills=frozenset(str(skill.pk) for skill in plan.skills.all()),
            habit=habit_of(plan, self.days[0]),
        )


def master_round(*, first: date, weeks: int, reluctance: float, now: datetime) -> Round:
    """Everything that the round of so many weeks from this Monday hangs on."""
    last = first + timedelta(days=DAYS_A_WEEK * weeks - 1)
    builder = _Weekly(first, last, now)
    people, plans = builder.persons(), plans_in(first, last)
    sites = beside_one_another(plans, [builder.regular(plan) for plan in plans])
    said = _said(builder, plans, sites, weeks)
    prices = Prices().times(reluctance)
    travel = builder.travel()
    return Round(
        first=first,
        master=Master(travel, sites, tuple(people), weeks, prices),
        plans={str(plan.pk): plan for plan in plans},
        people={str(person.pk): person for person in technicians()},
        said=[*said, *builder.said],
    )


def beside_one_another(plans: list[ServicePlan], sites: list[Regular]) -> tuple[Regular, ...]:
    """Where one site has several plans only the longest may change, with the same technician and some days from the others, since they were sold
    as visits between one another."""
    here: dict[object, list[int]] = defaultdict(list)
    for number, plan in enumerate(plans):
        here[plan.site_id].append(number)
    found = list(sites)
    for numbers in here.values():
        free = max(numbers, key=lambda n: (sites[n].seconds, -n))
        others = [n for n in numbers if n != free and sites[n].habit is not None]
        days = {day for n in others for day in (sites[n].habit or Habit("", ())).weekdays}
        for n in others:
            found[n] = replace(sites[n], held=True)
        habit = sites[free].habit
        if others and habit is not None:
            clear = tuple(w for w in sites[free].hours if w.day in habit.weekdays or _clear(w.day, days))
            found[free] = replace(sites[free], hours=clear, technicians=frozenset({habit.technician}))
    return tuple(found)


def _clear(weekday: int, others: set[int]) -> bool:
    return all(apart(tuple(sorted((weekday, other)))) >= LEAST_APART for other in others)


def _said(builder: Builder, plans: list[ServicePlan], sites: tuple[Regular, ...], weeks: int) -> list[str]:
    """What could not be taken as it is written down, in sentences."""
    said, lost = list[str](), builder.places.lost()
    if lost:
        words = ngettext(
            "It is not written down where %(name)s stands: it is planned as if in the middle of the rest.",
            "It is not written down where %(n)s places stand, %(name)s among them: they are planned as if in the middle of the rest.",
            len(lost),
        )
        said.append(words % {"n": len(lost), "name": lost[0]})
    two = [plan for plan in plans if plan.people == 2]
    if two:
        words = ngettext(
            "One client needs two people at once (%(name)s): the second one's hours are not in these numbers.",
            "%(n)s clients need two people at once, %(name)s among them: the second one's hours are not in these numbers.",
            len(two),
        )
        said.append(words % {"n": len(two), "name": two[0].site.name})
    several = len([site for site in sites if site.held])
    if several:
        words = ngettext(
            "One client has a second plan at the same place: it stays as it is, and the longer one keeps two days from it.",
            "%(n)s plans are second ones at the same place: they stay as they are, and the longer ones keep two days from them.",
            several,
        )
        said.append(words % {"n": several})
    odd = [plan for plan, site in zip(plans, sites, strict=True) if weeks % site.every]
    if odd:
        words = ngettext(
            "One client comes back in other weeks than these divide into (%(name)s): its weeks stay as they are.",
            "%(n)s clients come back in other weeks than these divide into, %(name)s among them: their weeks stay as they are.",
            len(odd),
        )
        said.append(words % {"n": len(odd), "name": odd[0].site.name})
    return said


def refuse_empty(wanted: Round) -> None:
    """Raises the planner's NotPlanned, in a sentence, where there is nothing to work out."""
    if not wanted.plans:
        raise NotPlanned(_("No service plan comes back in these weeks: there is nothing to work out."))
    if not wanted.master.people:
        raise NotPlanned(_("No technician works on any weekday: nobody could drive a round."))
    if all(plan.site.lat is None or plan.site.lon is None for plan in wanted.plans.values()):
        raise NotPlanned(
            _("It is written down of no site where it stands: give the sites their coordinates first.")
        )
