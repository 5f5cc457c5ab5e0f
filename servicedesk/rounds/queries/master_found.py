"""What the planner found for a master round, in the lines and numbers that are kept."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from clients.models import ServicePlan
from servicedesk.core.rounds.master.book import Book
from servicedesk.core.rounds.master.search import MasterPlan
from servicedesk.core.rounds.master.territories import spread_km
from servicedesk.core.rounds.master.values import WEEK
from servicedesk.rounds.queries.mastered import Round
from servicedesk.staff.models import User


@dataclass(frozen=True)
class PlanLine:
    """A service plan as the planner would have it. No technician: it found no place, and why. Seconds at the wheel and metres that it saves in
    the cycle if it alone is changed; None where it cannot be changed alone."""

    plan: ServicePlan
    changes: bool
    technician: User | None
    weekday: int
    second_weekday: int | None
    starts_on: date
    saved_s: int | None = None
    saved_m: int | None = None
    why: str = ""


def lines_of(found: MasterPlan, wanted: Round) -> list[PlanLine]:
    """A line for each plan that comes back in the cycle, in the order of the plans."""
    book, lines = found.after, list[PlanLine]()
    for key, plan in wanted.plans.items():
        site = wanted.master.site[key]
        habit = book.habits.get(key)
        if key in found.unable:
            lines.append(
                _same(plan, False, _("No technician can be there: by skill, working days or opening hours."))
            )
        elif habit is None:
            continue  # not due in these weeks
        elif key in book.homeless:
            lines.append(_same(plan, False, _("It finds no room beside the others.")))
        elif habit == site.habit:
            lines.append(_same(plan, True))
        else:
            alone = found.alone.get(key)
            fits = alone is not None and alone.fits
            lines.append(
                PlanLine(
                    plan,
                    changes=True,
                    technician=wanted.people[habit.technician],
                    weekday=habit.weekdays[0],
                    second_weekday=habit.weekdays[1] if len(habit.weekdays) > 1 else None,
                    starts_on=wanted.starts_on(habit),
                    saved_s=alone.driving if alone is not None and fits else None,
                    saved_m=alone.metres if alone is not None and fits else None,
                )
            )
    return lines


def _same(plan: ServicePlan, placed: bool, why: str = "") -> PlanLine:
    who = plan.technician if placed else None
    return PlanLine(plan, False, who, plan.weekday, plan.second_weekday, plan.starts_on, why=why)


def numbers_of(book: Book) -> dict[str, Any]:
    """A master round in numbers: seconds and metres, whole and by technician and week; plans without a place; how far sites lie apart."""
    master = book.master
    metres = {person.id: [0] * master.weeks for person in master.people}
    wheel = {person.id: [0] * master.weeks for person in master.people}
    for (person, day), numbers in book.days.items():
        metres[person][day // WEEK] += numbers.metres
        wheel[person][day // WEEK] += numbers.driving
    homeless = sorted(book.homeless & set(book.habits))
    return {
        "plans": len(book.habits) - len(homeless),
        "driving": book.driving,
        "metres": sum(day.metres for day in book.days.values()),
        "overtime": sum(day.overtime for day in book.days.values()),
        "hours": book.weeks,
        "wheel": wheel,
        "km": metres,
        "room": {person.id: person.paid * len(person.weekdays) for person in master.people},
        "homeless": homeless,
        "spread": spread_km(master, {name: habit.technician for name, habit in book.habits.items()}),
    }
