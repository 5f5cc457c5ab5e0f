"""A proposed week beside the week in force: what changes, what finds no place, both in numbers."""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.http import Http404
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.core.drawing.strip import DayStrip, StripStop
from servicedesk.rounds.choices import OfferKind, ProposalState, StopState
from servicedesk.rounds.models import Proposal, Proposed, Stop
from servicedesk.rounds.queries.moving import moves_of
from servicedesk.rounds.queries.shares import Shares, shares_of
from servicedesk.rounds.queries.wanted import stamp_of
from servicedesk.staff.models import User
from servicedesk.web.prepared import DAY, Slot, prepared

A_LITTLE = timedelta(minutes=30)
"""A visit that moves by less on the same day with the same person is no change worth a word (common practice)."""


@dataclass(frozen=True)
class Change:
    """A visit that moves: from where, to where, and which of person, day and hour are another."""

    line: Proposed
    name: str
    was: str
    now: str
    person: bool
    day: bool
    hour: bool


@dataclass(frozen=True)
class Homeless:
    """A visit that finds no place: which rule stops it, the cheapest ways out, and whether it stands on a round now."""

    line: Proposed
    name: str
    stands: bool


@dataclass(frozen=True)
class ProposedDay:
    """One technician\'s day as proposed."""

    name: str
    day: date
    strip: DayStrip
    stops: list[Proposed]
    words: str
    technician: UUID
    wrong: list[str]
    hours: list[str]

    @property
    def visits(self) -> set[str]:
        """Whose stops these are."""
        return {str(line.due_visit_id) for line in self.stops}


@dataclass(frozen=True)
class Beside:
    """All that the page of a proposal says."""

    proposal: Proposal
    lead: str
    changes: list[Change]
    fresh: int
    homeless: list[Homeless]
    days: list[ProposedDay]
    numbers: list[tuple[str, str, str, str]]
    outdated: bool
    shares: Shares
    held: int
    moves: int

    @property
    def wrong(self) -> list[str]:
        """Rules that its rounds break, in sentences."""
        return [words for day in self.days for words in day.wrong]

    @property
    def may_begin(self) -> bool:
        """Whether it can be put in force."""
        return self.proposal.state == ProposalState.READY and not self.outdated


def proposal_for(user: User, key: UUID) -> Proposal:
    """A proposed week, for the office only."""
    rows = Proposal.objects.select_related("asked_by").filter(kind=OfferKind.WEEK)
    row = rows.filter(pk=key).first() if user.is_office else None
    if row is None:
        raise Http404
    return row


@prepared(first=DAY, last=DAY)
def _open_proposals(first: Slot, last: Slot) -> QuerySet[Proposal]:
    rows = Proposal.objects.filter(
        kind=OfferKind.WEEK,
        first__lte=last,
        last__gte=first,
        state__in=(ProposalState.ASKED, ProposalState.READY),
    )
    return rows.defer("before", "after").order_by("-asked_at", "pk")


def proposals_of(*, first: date, last: date) -> list[Proposal]:
    """Proposed weeks of these days that are open, newest first."""
    return _open_proposals(first=first, last=last)


def _said(who: str, day: date, at: time) -> str:
    return _("%(who)s, %(day)s at %(at)s") % {
        "who": who,
        "day": date_format(day, "l j F"),
        "at": time_format(at, "H:i"),
    }


def _minutes_apart(a: time, b: time) -> timedelta:
    day = date(2000, 1, 1)
    return abs(datetime.combine(day, a) - datetime.combine(day, b))


def changes_of(lines: list[Proposed], stops: dict[UUID, Stop]) -> list[Change]:
    """Visits that stand on a round and would move to another person, day, or an hour more than half an hour away."""
    found = []
    for line in lines:
        stop = stops.get(line.due_visit_id)
        if stop is None or line.technician is None or line.day is None or line.planned_at is None:
            continue
        person = stop.round.technician_id != line.technician_id
        day = stop.round.day != line.day
        hour = _minutes_apart(stop.planned_at, line.planned_at) > A_LITTLE
        if person or day or hour:
            was = _said(stop.round.technician.name, stop.round.day, stop.planned_at)
            now = _said(line.technician.name, line.day, line.planned_at)
            found.append(Change(line, line.due_visit.site.name, was, now, person, day, hour))
    return found


def _hours(seconds: float) -> str:
    minutes = round(seconds / 60)
    return _("%(h)s h %(m)s min") % {"h": minutes // 60, "m": minutes % 60}


def _difference(was: float, now: float, words: Callable[[float], str]) -> str:
    """What the proposal saves, or costs more."""
    said = _("%(much)s less") if now < was else _("%(much)s more")
    much = words(abs(now - was))
    return said % {"much": much} if much != words(0) else _("the same")


def _whole(number: float) -> str:
    return f"{number:.0f}"


def _numbers(before: dict[str, Any], after: dict[str, Any]) -> list[tuple[str, str, str, str]]:
    """Rows of both weeks: what, now, as proposed, and what it saves."""
    asked: list[tuple[str, float, float, Callable[[float], str]]] = [
        (_("Visits on rounds"), before.get("visits", 0), after.get("visits", 0), _whole),
        (_("At the wheel"), before.get("driving", 0), after.get("driving", 0), _hours),
    ]
    if "metres" in after:
        km = (before.get("metres", 0) / 1000, after["metres"] / 1000)
        asked.append((_("Kilometres"), *km, _whole))
    asked.append((_("Overtime"), before.get("overtime", 0), after.get("overtime", 0), _hours))
    broken = [len(side.get("broken", [])) for side in (before, after)]
    asked.append((_("Rules broken"), broken[0], broken[1], _whole))
    return [(name, words(was), words(now), _difference(was, now, words)) for name, was, now, words in asked]


def lead_of(proposal: Proposal, homeless: int) -> str:
    """The week in one sentence: whether it works, and what it saves."""
    before, after = proposal.before, proposal.after
    visits, broken = after.get("visits", 0), len(after.get("broken", []))
    head = ngettext("One visit", "%(n)s visits", visits) % {"n": visits}
    if broken:
        words = ngettext("%(head)s placed, one rule is broken.", "%(head)s placed, %(n)s rules are broken.", broken)  # fmt: skip
        more = (
            ngettext("One visit finds no place.", "%(n)s visits find no place.", homeless) if homeless else ""
        )
        return " ".join(
            part for part in (words % {"head": head, "n": broken}, more % {"n": homeless}) if part
        )
    if homeless:
        words = ngettext(
            "%(head)s placed, one finds no place.", "%(head)s placed, %(n)s find no place.", homeless
        )
        return words % {"head": head, "n": homeless}
    saved = before.get("driving", 0) - after.get("driving", 0)
    if before.get("visits", 0) == visits and saved >= 60:
        return _("The week works: %(head)s, %(saved)s less at the wheel than now.") % {
            "head": head,
            "saved": _hours(saved),
        }
    return _("The week works: %(head)s, %(hours)s at the wheel.") % {
        "head": head,
        "hours": _hours(after.get("driving", 0)),
    }


def beside(proposal: Proposal, *, zone: ZoneInfo) -> Beside:
    """A proposal that is ready, beside the rounds in force now."""
    lines = list(
        proposal.visits.select_related(
            "due_visit__site", "due_visit__pin", "technician", "moved_by"
        ).order_by("day", "technician__name", "order", "pk")
    )
    keys = [line.due_visit_id for line in lines]
    rows = Stop.objects.select_related("round__technician").filter(
        due_visit__in=keys, state=StopState.PLANNED
    )
    stops = {stop.due_visit_id: stop for stop in rows}
    homeless = [
        Homeless(line, line.due_visit.site.name, line.due_visit_id in stops)
        for line in lines
        if line.technician is None
    ]
    outdated = proposal.state == ProposalState.READY and (
        stamp_of(line.due_visit for line in lines) != proposal.stamp
    )
    return Beside(
        proposal=proposal,
        lead=lead_of(proposal, len(homeless)),
        changes=changes_of(lines, stops),
        fresh=sum(1 for line in lines if line.technician is not None and line.due_visit_id not in stops),
        homeless=homeless,
        days=_days(proposal, lines, zone),
        numbers=_numbers(proposal.before, proposal.after),
        outdated=outdated,
        shares=shares_of(proposal, lines),
        held=sum(1 for line in lines if hasattr(line.due_visit, "pin")),
        moves=moves_of(proposal.after),
    )


def _days(proposal: Proposal, lines: list[Proposed], zone: ZoneInfo) -> list[ProposedDay]:
    by_round: dict[tuple[date, str], list[Proposed]] = defaultdict(list)
    for line in lines:
        if line.technician is not None and line.day is not None:
            by_round[line.day, str(line.technician_id)].append(line)
    told = {(row["day"], row["technician"]): row for row in proposal.after.get("rounds", [])}
    found = []
    for (day, key), mine in sorted(
        by_round.items(), key=lambda item: (item[0][0], str(item[1][0].technician))
    ):
        row = told.get((day.isoformat(), key), {})
        found.append(_day(day, mine, row, zone))
    return found


def _at(day: date, seconds: int, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(0), tzinfo=zone) + timedelta(seconds=seconds)


def _day(day: date, lines: list[Proposed], row: dict[str, Any], zone: ZoneInfo) -> ProposedDay:
    stops = []
    for line in lines:
        assert line.planned_at is not None
        start = datetime.combine(day, line.planned_at, tzinfo=zone)
        stops.append(
            StripStop(
                number=line.order,
                name=line.due_visit.site.name,
                start=start,
                end=start + timedelta(minutes=line.minutes),
                isolated=line.due_visit.isolated,
                arrives=start - timedelta(minutes=line.wait_minutes),
            )
        )
    lunch = row.get("lunch")
    strip = DayStrip(
        shift_start=_at(day, row.get("begins", 8 * 3600), zone),
        shift_end=_at(day, row.get("ends", 17 * 3600), zone),
        stops=stops,
        lunch=(_at(day, lunch, zone), _at(day, lunch + row["lunch_s"], zone)) if lunch is not None else None,
        leaves=_at(day, row["leave"], zone) if "leave" in row else None,
        home=_at(day, row["back"], zone) if "back" in row else None,
        title=_("The day of %(name)s") % {"name": lines[0].technician},
    )
    wrong = [str(broken["words"]) for broken in row.get("broken", [])]
    words = _words_of(lines, row, spare=not wrong)
    assert lines[0].technician is not None
    return ProposedDay(
        str(lines[0].technician),
        day,
        strip,
        lines,
        words,
        lines[0].technician.pk,
        wrong,
        row.get("hours", []),
    )


def _words_of(lines: list[Proposed], row: dict[str, Any], *, spare: bool) -> str:
    """A day in a line: stops, at the wheel, and what there is to spare where that means something."""
    words = ngettext("one stop", "%(n)s stops", len(lines)) % {"n": len(lines)}
    words = _("%(stops)s, %(drive)s at the wheel") % {"stops": words, "drive": _hours(row.get("travel", 0))}
    slack = min((line.slack_minutes for line in lines), default=0)
    return words + ", " + _("%(m)s min to spare at the tightest") % {"m": slack} if spare else words
