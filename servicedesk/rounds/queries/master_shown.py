"""A master round beside today's plans, as its page says it: what changes for whom, what it brings, how even the weeks are."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.http import Http404
from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients.models import ServicePlan
from servicedesk.core.drawing.territories import Territories, Territory
from servicedesk.core.drawing.weeks import WeekBar, Weeks
from servicedesk.core.recurrence.changing import DAYS_A_WEEK, Pattern
from servicedesk.rounds.choices import ChangeState, ProposalState
from servicedesk.rounds.models import MasterLine, MasterRound
from servicedesk.rounds.queries.mastered import plans_in, stamp_of_plan
from servicedesk.staff.models import User

A_MONDAY = date(2024, 1, 1)


@dataclass(frozen=True)
class ChangeRow:
    """One client's change: the habit today and as proposed, what it brings alone, what may be done about it."""

    line: MasterLine
    name: str
    was: str
    now: str
    brings: str
    state: str
    stale: bool
    adopts: bool
    keeps: bool
    takes_back: bool


@dataclass(frozen=True)
class PersonRow:
    """A technician's weeks, drawn and in words."""

    name: str
    weeks: Weeks
    words: list[str]
    area: str


@dataclass(frozen=True)
class Shown:
    """All that the page of a master round says."""

    lead: str
    changes: list[ChangeRow]
    same: list[str]
    homeless: list[MasterLine]
    people: list[PersonRow]
    numbers: list[tuple[str, str, str]]
    today: Territories
    proposed: Territories
    outdated: bool
    open: bool


def master_for(user: User, key: UUID) -> MasterRound:
    """A master round, for the owner only."""
    row = MasterRound.objects.select_related("asked_by").filter(pk=key).first() if user.is_owner else None
    if row is None:
        raise Http404
    return row


def masters_for(user: User) -> list[MasterRound]:
    """The newest master rounds, for the owner only."""
    if not user.is_owner:
        raise Http404
    return list(MasterRound.objects.order_by("-asked_at", "pk")[:10])


def line_for(user: User, master: UUID, key: str) -> MasterLine:
    """One client's part of a master round, for the owner only."""
    row = None
    if key.isascii() and key.isdigit() and len(key) < 19:
        row = (
            master_for(user, master)
            .lines.select_related("plan__site", "technician")
            .filter(pk=int(key))
            .first()
        )
    if row is None:
        raise Http404
    return row


def hours_of(seconds: float) -> str:
    """Hours with one decimal, as sentences take them."""
    return number_format(seconds / 3600, 1)


def kilometres_of(metres: float) -> str:
    """Whole kilometres."""
    return number_format(metres / 1000, 0)


def _weekday(number: int) -> str:
    return date_format(A_MONDAY + timedelta(days=number), "l")


def habit_words(
    plan: ServicePlan, weekdays: list[int], starts_on: date, who: str, master: MasterRound
) -> str:
    """A habit in words: "Monday and Thursday, every week, Ida"."""
    days = _(" and ").join(_weekday(day) for day in sorted(weekdays))
    every = plan.every_weeks
    if every == 1:
        weeks = _("every week")
    else:
        turn = timedelta(days=DAYS_A_WEEK * every)
        pattern = Pattern(tuple(sorted(weekdays)), every, starts_on)
        begins = max(master.first, starts_on)
        due = pattern.days(begins, begins + 2 * turn)[0]
        first = (due - master.first).days // DAYS_A_WEEK % every
        numbers = [str(n + 1) for n in range(first, master.weeks, every)]
        weeks = ngettext(
            "every %(every)s weeks, in week %(w)s", "every %(every)s weeks, in weeks %(w)s", len(numbers)
        ) % {
            "every": every,
            "w": _(" and ").join(numbers) or "–",
        }
    return _("%(days)s, %(weeks)s, %(who)s") % {"days": days, "weeks": weeks, "who": who}


def _was(line: MasterLine, people: dict[str, str], master: MasterRound) -> str:
    was = line.was
    days = [was["weekday"], *([was["second_weekday"]] if was["second_weekday"] is not None else [])]
    who = people.get(was["technician"] or "", _("nobody"))
    return habit_words(line.plan, days, date.fromisoformat(was["starts_on"]), who, master)


def _now(line: MasterLine, master: MasterRound) -> str:
    days = [line.weekday, *([line.second_weekday] if line.second_weekday is not None else [])]
    assert line.technician is not None  # a change has one
    return habit_words(line.plan, days, line.starts_on, line.technician.name, master)


def _brings(line: MasterLine) -> str:
    if line.saved_s is None or line.saved_m is None:
        return _("Alone it finds no room: others have to change first.")
    if line.saved_s >= 60:
        return _("Alone it saves %(m)s min and %(km)s km in these weeks.") % {
            "m": round(line.saved_s / 60),
            "km": number_format(max(0, line.saved_m) / 1000, 0),
        }
    return _("Alone it saves nothing at the wheel: it pays together with the others, or evens out the weeks.")


def _is_stale(line: MasterLine) -> bool:
    """Whether the plan is another than this line believes."""
    if line.state == ChangeState.ADOPTED:
        change = line.change
        plan = line.plan
        return change is None or (plan.weekday, plan.second_weekday, plan.starts_on, plan.technician_id) != (
            change.weekday,
            change.second_weekday,
            change.starts_on,
            change.technician_id,
        )
    return stamp_of_plan(line.plan) != line.stamp


def _row(line: MasterLine, master: MasterRound, people: dict[str, str]) -> ChangeRow:
    ready, stale = master.state == ProposalState.READY, _is_stale(line)
    may = ready and not stale
    return ChangeRow(
        line=line,
        name=line.plan.site.name,
        was=_was(line, people, master),
        now=_now(line, master),
        brings=_brings(line),
        state="" if line.state == ChangeState.OPEN else str(ChangeState(line.state).label),
        stale=stale,
        adopts=may and line.state != ChangeState.ADOPTED,
        keeps=may and line.state in (ChangeState.OPEN, ChangeState.BACK),
        takes_back=may and line.state == ChangeState.ADOPTED,
    )


def _longest(numbers: dict[str, Any]) -> int:
    return max((max(row, default=0) for row in numbers.get("hours", {}).values()), default=0)


def lead_of(master: MasterRound, clients: int, changed: int, homeless: int) -> str:
    """The round in one sentence: what changes, what that brings, the longest week; and who finds no place."""
    before, after = master.before, master.after
    weeks = ngettext("One week", "%(w)s weeks", master.weeks) % {"w": master.weeks}
    head = ngettext("%(weeks)s of one client", "%(weeks)s of %(n)s clients", clients) % {
        "weeks": weeks,
        "n": clients,
    }
    saved = before.get("driving", 0) - after.get("driving", 0)
    km = before.get("metres", 0) - after.get("metres", 0)
    if not changed:
        said = _("%(head)s: no change of habit is worth it, %(all)s hours at the wheel%(longest)s.")
    elif saved >= 360 and km > 0 and before.get("plans") == after.get("plans"):
        said = ngettext(
            "%(head)s: one change of habit saves %(h)s hours and %(km)s km%(longest)s.",
            "%(head)s: %(n)s changes of habit save %(h)s hours and %(km)s km%(longest)s.",
            changed,
        )
    else:
        said = ngettext(
            "%(head)s: one change of habit, then %(all)s hours at the wheel%(longest)s.",
            "%(head)s: %(n)s changes of habit, then %(all)s hours at the wheel%(longest)s.",
            changed,
        )
    lead = said % {
        "head": head, "n": changed, "h": hours_of(saved), "km": kilometres_of(km), "all": hours_of(after.get("driving", 0)),
        "longest": _("; %(what)s") % {"what": _outcome_words(before, after)},
    }  # fmt: skip
    words = ngettext("One service plan finds no place.", "%(n)s service plans find no place.", homeless)
    return f"{lead} {words % {'n': homeless}}" if homeless else lead


def _outcome_words(before: dict[str, Any], after: dict[str, Any]) -> str:
    """How the longest week changes; and how many plans are in it, where that is another number: a week that holds more of them may well be longer."""
    longest = _longest_words(_longest(before), _longest(after))
    was, now = before.get("plans"), after.get("plans")
    if was is None or now is None or was == now:
        return longest
    placed = ngettext(
        "one service plan finds a place instead of %(was)s",
        "%(now)s service plans find a place instead of %(was)s",
        now,
    )
    return _("%(placed)s, and %(longest)s") % {
        "placed": placed % {"was": was, "now": now},
        "longest": longest,
    }


def _longest_words(before: int, after: int) -> str:
    was, now = round(before / 3600), round(after / 3600)
    if was == now:
        return _("the longest week stays at %(now)s hours") % {"now": now}
    said = _("the longest week falls from %(was)s to %(now)s hours") if now < was else _("the longest week rises from %(was)s to %(now)s hours")  # fmt: skip
    return said % {"was": was, "now": now}


def _numbers(before: dict[str, Any], after: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Rows of both rounds: what, today, as proposed."""

    def spread(side: dict[str, Any]) -> float:
        return max((max(row) - min(row) for row in side.get("hours", {}).values() if row), default=0)

    def people(side: dict[str, Any]) -> str:
        rows = [sum(row) / len(row) for row in side.get("hours", {}).values() if row]
        return f"{hours_of(min(rows))}–{hours_of(max(rows))} h" if rows else "–"

    def area(side: dict[str, Any]) -> str:
        rows = list(side.get("spread", {}).values())
        return _("%(km)s km") % {"km": number_format(sum(rows) / len(rows), 1)} if rows else "–"

    sides = (before, after)
    kinds: list[tuple[str, list[str]]] = [
        (_("Service plans with a place"), [str(side.get("plans", 0)) for side in sides]),
        (_("At the wheel"), [_("%(h)s h") % {"h": hours_of(side.get("driving", 0))} for side in sides]),
        (_("On the road"), [_("%(km)s km") % {"km": kilometres_of(side.get("metres", 0))} for side in sides]),
        (_("Overtime"), [_("%(h)s h") % {"h": hours_of(side.get("overtime", 0))} for side in sides]),
        (_("Longest week"), [_("%(h)s h") % {"h": hours_of(_longest(side))} for side in sides]),
        (_("Most between two weeks of one technician"), [_("%(h)s h") % {"h": hours_of(spread(side))} for side in sides]),
        (_("A week, by technician"), [people(side) for side in sides]),
        (_("From the middle of a territory, on average"), [area(side) for side in sides]),
    ]  # fmt: skip
    return [(name, was, now) for name, (was, now) in kinds]


def _people(master: MasterRound, people: dict[str, str]) -> list[PersonRow]:
    before, after = master.before, master.after
    hours, wheel = after.get("hours", {}), after.get("wheel", {})
    longest = max(_longest(before), _longest(after), 1)
    found = []
    for key, row in hours.items():
        today = before.get("hours", {}).get(key)
        bars = tuple(
            WeekBar(max(0, row[n] - wheel[key][n]), min(row[n], wheel[key][n]), today[n] if today else None)
            for n in range(len(row))
        )
        words = [
            _("Week %(w)s: %(h)s h, %(wheel)s h of it at the wheel, %(km)s km; today %(was)s h") % {
                "w": n + 1, "h": hours_of(row[n]), "wheel": hours_of(wheel[key][n]),
                "km": kilometres_of(after["km"][key][n]), "was": hours_of(today[n] if today else 0),
            }
            for n in range(len(row))
        ]  # fmt: skip
        spread = after.get("spread", {}).get(key)
        was = before.get("spread", {}).get(key)
        area = ""
        if spread is not None and was is not None:
            area = _("%(now)s km from the middle of the territory on average, today %(was)s km") % {
                "now": number_format(spread, 1), "was": number_format(was, 1),
            }  # fmt: skip
        found.append(
            PersonRow(people.get(key, _("somebody")), Weeks(bars, after["room"][key], longest), words, area)
        )
    return sorted(found, key=lambda row: row.name)


def _territories(lines: list[MasterLine], people: dict[str, str], title: str, *, today: bool) -> Territories:
    """Whose sites lie where, in the order of names."""
    mine: dict[str, set[tuple[float, float]]] = defaultdict(set)
    for line in lines:
        who = line.was["technician"] if today or not line.changes else str(line.technician_id)
        site = line.plan.site
        if who in people and site.lat is not None and site.lon is not None:
            mine[who].add((site.lat, site.lon))
    rows = [(people[key], tuple(sorted(spots))) for key, spots in mine.items()]
    return Territories(title, tuple(Territory(name, spots) for name, spots in sorted(rows)))


def shown(master: MasterRound) -> Shown:
    """A master round that is ready, beside the plans as they are."""
    rows = master.lines.select_related("plan__site", "technician", "change").order_by(
        "plan__site__name", "pk"
    )
    lines = list(rows)
    people = {str(key): name for key, name in User.objects.values_list("pk", "name")}
    changed = sorted((line for line in lines if line.changes), key=lambda line: -(line.saved_s or 0))
    homeless = [line for line in lines if line.technician is None and line.why]
    changes = [_row(line, master, people) for line in changed]
    told = {row.name for row in changes} | {line.plan.site.name for line in homeless}
    same = {line.plan.site.name for line in lines} - told
    ready = master.state == ProposalState.READY
    return Shown(
        lead=lead_of(master, len({line.plan.site.client_id for line in lines}), len(changes), len(homeless)),
        changes=changes,
        same=sorted(same),
        homeless=homeless,
        people=_people(master, people),
        numbers=_numbers(master.before, master.after),
        today=_territories(lines, people, _("Territories today, north up"), today=True),
        proposed=_territories(lines, people, _("Territories as proposed, north up"), today=False),
        outdated=ready and (any(_is_stale(line) for line in lines) or _newcomers(master, lines)),
        open=ready,
    )


def _newcomers(master: MasterRound, lines: list[MasterLine]) -> bool:
    """Whether a service plan has come since that has a visit in these weeks."""
    last = master.first + timedelta(days=DAYS_A_WEEK * master.weeks - 1)
    known = {line.plan_id for line in lines}
    for plan in plans_in(master.first, last):
        if plan.pk not in known:
            days = {plan.weekday} if plan.second_weekday is None else {plan.weekday, plan.second_weekday}
            if Pattern(tuple(sorted(days)), plan.every_weeks, plan.starts_on).days(master.first, last):
                return True
    return False
