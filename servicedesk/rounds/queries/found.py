"""What the planner found, in the words of the rounds: a line for each visit, a week in numbers."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time
from math import ceil
from typing import Any

from django.utils.formats import date_format

from servicedesk.core.rounds.plan import Plan, Round, Stop
from servicedesk.core.rounds.problem import Shift
from servicedesk.core.rounds.rules import Fault
from servicedesk.core.rounds.why import why
from servicedesk.rounds.models import DueVisit
from servicedesk.rounds.queries.by_hour import late_words
from servicedesk.rounds.queries.ground import time_of
from servicedesk.rounds.queries.wanted import SECOND, Wanted
from servicedesk.staff.models import User


@dataclass(frozen=True)
class Line:
    """A visit as the planner put it, or left it out (no technician), with what stands behind that. Whole minutes; the time is local to the
    business."""

    due_visit: DueVisit
    technician: User | None = None
    day: date | None = None
    order: int = 0
    planned_at: time | None = None
    minutes: int = 0
    drive_minutes: int = 0
    wait_minutes: int = 0
    slack_minutes: int = 0
    why: str = ""
    ways: tuple[str, ...] = ()


@dataclass(frozen=True)
class Reason:
    """Why a visit finds no place, and the cheapest ways out, in words."""

    why: str
    ways: tuple[str, ...] = ()


def _minutes(seconds: int) -> int:
    return ceil(seconds / 60)


def lines_of(week: Wanted, plan: Plan, reasons: dict[str, Reason] | None = None) -> list[Line]:
    """Each visit of the week as planned, in order of days, people and stops; those that found no place last, with the reason and the ways out."""
    found = [line for row in plan.rounds for line in lines_of_round(week, row)]
    placed = plan.where
    for key, visit in week.visits.items():
        if key not in placed:
            told = (reasons or {}).get(key, Reason(""))
            found.append(Line(visit, why=told.why, ways=told.ways))
    return found


def lines_of_round(week: Wanted, row: Round) -> list[Line]:
    """The visits of one round in their order."""
    stops = [
        stop for stop in row.stops if stop.visit in week.visits
    ]  # neither taking on water nor the second of two
    return [
        _line(week, week.visits[stop.visit], row, stop, number) for number, stop in enumerate(stops, start=1)
    ]


MOST_REASONS = 40
"""So many visits without a place are looked into; where more find none, the week as a whole is the reason."""


def reasons_of(week: Wanted, plan: Plan) -> dict[str, Reason]:
    """Of visits that found no place, which rule stops them and what would let them in."""
    days, found = [date_format(day, "l") for day in week.days], {}
    for key in [name for name in plan.missing if name in week.visits][:MOST_REASONS]:
        told = why(week.problem, plan.orders, key, day_names=days)
        ways = tuple(_named(week, way.sentence) for way in told.ways)
        found[key] = Reason(_named(week, told.sentence), ways)
    return found


def _named(week: Wanted, sentence: str) -> str:
    """A sentence of the planner with people and visits by their names."""
    for key, person in week.people.items():
        sentence = sentence.replace(key, person.name)
    for key, visit in week.visits.items():
        sentence = sentence.replace(key, visit.site.name)
    for key, name in week.skills.items():
        sentence = sentence.replace(key, name)
    return sentence[:1].upper() + sentence[1:]


def _line(week: Wanted, visit: DueVisit, row: Round, stop: Stop, number: int) -> Line:
    return Line(
        due_visit=visit,
        technician=week.people[row.technician],
        day=week.days[row.day],
        order=number,
        planned_at=time_of(_minutes(stop.start) * 60),
        minutes=_minutes(stop.end - stop.start),
        drive_minutes=_minutes(stop.travel),
        wait_minutes=stop.wait // 60,
        slack_minutes=stop.slack // 60,
        why="; ".join(week.notes.get(str(visit.pk), ())),
    )


def day_numbers(week: Wanted, row: Round, shift: Shift) -> dict[str, Any]:
    """A day in numbers, seconds since midnight and metres; its whole order, with taking on water and the second of two, and when each begins."""
    told: dict[str, Any] = {
        "technician": row.technician,
        "day": week.days[row.day].isoformat(),
        "leave": row.leave,
        "back": row.back,
        "travel": row.travel,
        "overtime": row.overtime,
        "begins": shift.earliest,
        "ends": shift.latest - shift.overtime,
        "metres": row.metres or 0,
        "order": [stop.visit for stop in row.stops],
        "starts": [stop.start for stop in row.stops],
        "broken": [],
        "hours": late_words(week, row, shift),
    }
    if row.lunch is not None and shift.lunch is not None:
        told |= {"lunch": row.lunch, "lunch_s": shift.lunch.seconds}
    return told


def numbers_of(week: Wanted, plan: Plan, faults: Sequence[Fault] = ()) -> dict[str, Any]:
    """A week in numbers: visits, seconds, metres, the codes of the rules it breaks, its rounds."""
    visits = sum(1 for name in plan.where if not name.endswith(SECOND))
    return {
        "visits": visits,
        "driving": plan.driving,
        "overtime": plan.overtime,
        "metres": plan.metres or 0,
        "broken": [fault.code for fault in faults],
        "shifts": [
            [shift.technician, week.days[shift.day].isoformat(), shift.paid] for shift in week.problem.shifts
        ],
        "rounds": [day_numbers(week, row, week.problem.shift[row.key]) for row in plan.rounds],
    }
