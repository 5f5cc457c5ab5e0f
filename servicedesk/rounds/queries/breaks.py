"""Rules that a round breaks, each in one sentence for whoever decides whether it may stay."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from servicedesk.core.rounds.moving import Believed
from servicedesk.core.rounds.problem import Problem, Shift
from servicedesk.core.rounds.rules import Fault, loads
from servicedesk.rounds.queries.ground import open_hours, time_of
from servicedesk.rounds.queries.wanted import DIMENSIONS, SECOND, Wanted


@dataclass(frozen=True)
class Break:
    """A rule that is broken: its code in the planner, and the sentence."""

    code: str
    words: str


SENTENCES = {
    "skill": gettext_noop("%(name)s needs %(what)s, which %(who)s cannot."),
    "technician": gettext_noop("%(name)s is held to somebody else than %(who)s."),
    "window": gettext_noop("%(name)s is begun at %(at)s, %(m)s min too late."),
    "shift": gettext_noop("%(who)s is back at %(back)s, %(m)s min after the longest shift."),
    "paid": gettext_noop("%(who)s is back at %(back)s, %(m)s min beyond the overtime there may be."),
    "lunch": gettext_noop("%(who)s has no time for lunch."),
    "load": gettext_noop("The van takes %(m)s %(what)s less than %(who)s would need."),
    "level": gettext_noop("%(name)s comes after a place in isolation, or under treatment."),
    "stops": gettext_noop("%(who)s has %(m)s stops too many."),
}


def said_of(
    week: Wanted, problem: Problem, shift: Shift, found: Believed, tied: Collection[str] = ()
) -> list[Break]:
    """What a round breaks, each rule once for each visit. Who has to begin together with somebody else (`tied`) and comes too late is told
    of as a visit for two, not here."""
    told: dict[Break, None] = {}
    for fault in found.faults:
        if fault.code == "window" and fault.visit in tied:
            continue
        if fault.code == "day":
            told |= dict.fromkeys(_of_day(week, found, fault))
        else:
            told[Break(fault.code, _sentence(week, problem, shift, found, fault))] = None
    return list(told)


def _visit(week: Wanted, name: str) -> str:
    key = name.removesuffix(SECOND)
    return week.visits[key].site.name if key in week.visits else ""


def _sentence(week: Wanted, problem: Problem, shift: Shift, found: Believed, fault: Fault) -> str:
    starts = {stop.visit: stop.start for stop in found.round.stops}
    lacking = problem.visit[fault.visit].skills - shift.skills if fault.code == "skill" else ()
    return _(SENTENCES[fault.code]) % {
        "name": _visit(week, fault.visit),
        "who": week.people[shift.technician].name,
        "what": _most_lacking(problem, shift, found)
        if fault.code == "load"
        else ", ".join(sorted(week.skills.get(key, "") for key in lacking)),
        "at": time_format(time_of(starts.get(fault.visit, 0)), "H:i"),
        "back": time_format(time_of(found.round.back), "H:i"),
        "m": fault.amount if fault.code in ("load", "stops") else -(-fault.amount // 60),
    }


def _most_lacking(problem: Problem, shift: Shift, found: Believed) -> str:
    """Of what the van takes least."""
    order = [stop.visit for stop in found.round.stops]
    over = [
        (load - room, -number)
        for trip in loads(problem, shift, order)
        for number, (load, room) in enumerate(zip(trip, shift.van, strict=True))
    ]
    return DIMENSIONS[-max(over)[1]]


def _of_day(week: Wanted, found: Believed, fault: Fault) -> Iterator[Break]:
    """A visit on a day that is not its own: not due, held to another, or nobody is let in."""
    owed, day = week.visits[fault.visit.removesuffix(SECOND)], week.days[found.round.day]
    names = {
        "name": owed.site.name,
        "day": date_format(day, "l j F"),
        "a": date_format(owed.earliest, "j F"),
        "b": date_format(owed.latest, "j F"),
    }
    if not owed.earliest <= day <= owed.latest and owed.latest >= week.days[0]:
        words = _("%(name)s is due on %(a)s.") if owed.earliest == owed.latest else _("%(name)s is due from %(a)s to %(b)s.")  # fmt: skip
        yield Break("day", words % names)
    stop = next(stop for stop in found.round.stops if stop.visit == fault.visit)
    hours = open_hours(owed.site, day)
    if not any(opens <= stop.start and stop.end <= closes for opens, closes in hours):
        yield Break("window", _("Nobody is let in at %(name)s then on %(day)s.") % names)


__all__ = ["Break", "said_of"]
