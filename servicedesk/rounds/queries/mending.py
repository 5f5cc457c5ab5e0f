"""Ways out of a day that broke: each worked out, and each beside the day in force, in words."""

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from datetime import date, time
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.plan import Plan
from servicedesk.core.rounds.today import offer
from servicedesk.rounds.choices import OfferKind, ProposalState, StopState, TroubleKind, TroubleState
from servicedesk.rounds.models import Move, Proposal, Proposed, Stop, Trouble
from servicedesk.rounds.queries.broken import Broken
from servicedesk.rounds.queries.by_hour import late_words
from servicedesk.rounds.queries.found import Line, lines_of, reasons_of
from servicedesk.rounds.queries.isolation import disinfect_words, disinfected_after
from servicedesk.rounds.queries.other_days import in_words, other_days
from servicedesk.rounds.queries.placed import Change, Placed, elsewhere
from servicedesk.rounds.queries.stamps import stamp_of_day
from servicedesk.rounds.queries.telling import Call, TimeMoved, calls_ahead, calls_of, moved_by, tidings_of
from servicedesk.staff.models import User
from servicedesk.web.prepared import DAY, KEY, Slot, prepared

KINDS = (OfferKind.SMALLEST, OfferKind.PRICED, OfferKind.FREE)
SEARCH_S = 1.2
"""Each of the two searches; both together stay under three seconds."""
WORTH_S = 5 * 60
"""A start that moves by less with the same person stays as it was told (common practice)."""


@dataclass(frozen=True)
class Found:
    """One way out, worked out: a line for each visit, both days in numbers (seconds; `after` also names where those without a place today could be
    made later), what else is to be said of it."""

    lines: list[Line]
    before: dict[str, Any]
    after: dict[str, Any]
    said: list[str]


def _numbers(day: Broken, plan: Plan) -> dict[str, Any]:
    """Seconds at the wheel, seconds after the end of the shifts, visits."""
    after = sum(max(0, row.back - day.ends[row.technician]) for row in plan.rounds)
    return {"driving": plan.driving, "overtime": after, "visits": len(plan.where), "metres": plan.metres or 0}


def way_out(
    day: Broken, kind: str, budget: Budget | None = None, cancelled: Callable[[], bool] | None = None
) -> Found:
    """Works out one kind of way out. Raises the planner's NotPlanned."""
    budget = budget or Budget(seconds=SEARCH_S)
    made = offer(kind, day.week.problem, day.before, budget, said=day.said, cancelled=cancelled)
    lines = lines_of(day.week, made.plan, reasons_of(day.week, made.plan))
    kept = {key: stop for key, (_row, stop) in made.plan.where.items()}
    lines = [_as_told(day, line, kept) for line in lines]
    if day.off is not None:
        lines.append(Line(day.off, why=_("cancelled")))
    homeless = [line.due_visit for line in lines if line.technician is None]
    later = other_days(homeless, day.week.days[0], day.now)
    after = {
        **_numbers(day, made.plan),
        "later": {key: place.kept() for key, place in later.items()},
        "disinfect": disinfected_after(made.plan),
    }
    return Found(lines, _numbers(day, day.before), after, _by_the_hour(day, kind, made.plan))


def _by_the_hour(day: Broken, kind: str, plan: Plan) -> list[str]:
    """Who would come later by what ways take at that hour, with the way out of which it holds."""
    late = [
        words for row in plan.rounds for words in late_words(day.week, row, day.week.problem.shift[row.key])
    ]
    title = OfferKind(kind).label
    return [_("%(title)s: %(words)s") % {"title": title, "words": words} for words in late]


def _as_told(day: Broken, line: Line, kept: dict[str, Any]) -> Line:
    """A line that keeps the time that was told, where it moves by too little to be worth a word."""
    key = str(line.due_visit.pk)
    stop = getattr(line.due_visit, "stop", None)
    if line.technician is None or stop is None or key not in day.said:
        return line
    same = stop.round.technician_id == line.technician.pk
    if same and abs(kept[key].start - day.said[key]) < WORTH_S:
        return replace(line, planned_at=stop.planned_at)
    return line


@dataclass(frozen=True)
class Later:
    """A visit that could be made on another day, in words; `ticked` unless its client cancelled it and has to agree first."""

    key: str
    name: str
    words: str
    ticked: bool


@dataclass(frozen=True)
class Side:
    """One way out beside the day in force. Minutes are more than now, less than nought: saved."""

    offer: Proposal
    title: str
    driving: int
    overtime: int
    changes: list[Change]
    little: list[Placed]
    fresh: list[Placed]
    homeless: list[Placed]
    calls: list[Call]
    later: list[Later]
    disinfect: list[str]
    outdated: bool

    @property
    def driving_less(self) -> int:
        return -self.driving

    @property
    def overtime_less(self) -> int:
        return -self.overtime

    @property
    def people(self) -> int:
        """Visits that get another technician."""
        return sum(change.person for change in self.changes)

    @property
    def hours(self) -> int:
        """Visits that move by more than half an hour."""
        return sum(change.hour for change in self.changes)

    @property
    def may_be_chosen(self) -> bool:
        return not self.outdated and self.offer.state == ProposalState.READY


@dataclass(frozen=True)
class Sides:
    """All that the page of a trouble says."""

    trouble: Trouble
    said: str
    sides: list[Side]
    awaited: list[str]
    notes: list[str]
    waiting: int
    away: str = ""
    away_next: date | None = None


JOINED = ("person", "due_visit__site", "asked_by", "away")


@prepared(key=KEY)
def _trouble(key: Slot) -> QuerySet[Trouble]:
    return Trouble.objects.filter(pk=key).select_related(*JOINED)


@prepared(day=DAY)
def _troubles(day: Slot) -> QuerySet[Trouble]:
    rows = Trouble.objects.filter(day=day).exclude(state=TroubleState.DROPPED)
    return rows.select_related(*JOINED).order_by("-asked_at", "pk")


def trouble_for(user: User, key: UUID) -> Trouble:
    """A trouble, for the office only."""
    row = _trouble.first(key=key) if user.is_office else None
    if row is None:
        raise Http404
    return row


def troubles_of(day: date) -> list[Trouble]:
    """What broke on a day, newest first; what was dropped is left out."""
    return _troubles(day=day)


def said_of(trouble: Trouble) -> str:
    """What happened, in one sentence."""
    if trouble.kind == TroubleKind.SICK:
        return _("%(name)s is sick.") % {"name": trouble.person}
    if trouble.kind == TroubleKind.LATE:
        return _("%(name)s runs %(m)s minutes late.") % {"name": trouble.person, "m": trouble.minutes}
    assert trouble.due_visit is not None
    site = trouble.due_visit.site.name
    if trouble.kind == TroubleKind.CANCELLED:
        return _("%(site)s is cancelled.") % {"site": site}
    if trouble.until is None:
        return _("Somebody must go to %(site)s today.") % {"site": site}
    return _("Somebody must be at %(site)s by %(at)s.") % {
        "site": site,
        "at": time_format(trouble.until, "H:i"),
    }


def _minutes(seconds: int) -> int:
    return round(seconds / 60)


def _lines_and_stops(row: Proposal) -> tuple[list[Proposed], dict[UUID, Stop]]:
    joined = ("due_visit__site__client", "technician")
    lines = list(row.visits.select_related(*joined).order_by("technician__name", "order", "pk"))
    held = Stop.objects.filter(due_visit__in=[line.due_visit_id for line in lines], state=StopState.PLANNED)
    return lines, {stop.due_visit_id: stop for stop in held.select_related("round__technician")}


def _cancelled(row: Proposal) -> UUID | None:
    """The visit that the client cancelled: nobody is told what they said."""
    trouble = row.trouble
    return trouble.due_visit_id if trouble is not None and trouble.kind == TroubleKind.CANCELLED else None


def _side(row: Proposal, stamp: str) -> Side:
    there, cancelled = elsewhere(row.pk), _cancelled(row)
    in_force = row.state == ProposalState.IN_FORCE
    return Side(
        offer=row,
        title=str(OfferKind(row.kind).label),
        driving=_minutes(row.after["driving"] - row.before["driving"]),
        overtime=_minutes(row.after["overtime"] - row.before["overtime"]),
        changes=there.changes,
        little=there.little,
        fresh=there.fresh,
        homeless=[line for line in there.homeless if line.due_visit != cancelled],
        calls=calls_of(tidings_of(row), row.first)
        if in_force
        else calls_ahead(there.rows, row.first, but=cancelled),
        later=_later(row, there.homeless, cancelled),
        disinfect=_disinfect(row),
        outdated=row.stamp != stamp,
    )


def _disinfect(row: Proposal) -> list[str]:
    """After which visits one disinfects, in words."""
    pairs = row.after.get("disinfect", [])
    if not pairs:
        return []
    named = row.visits.filter(due_visit__in=[key for pair in pairs for key in pair])
    names = dict(named.values_list("due_visit", "due_visit__site__name"))
    return disinfect_words(pairs, {str(key): name for key, name in names.items()})


def _later(row: Proposal, homeless: list[Placed], cancelled: UUID | None) -> list[Later]:
    names = {str(line.due_visit): line.name for line in homeless}
    return [
        Later(key, names[key], in_words(kept), ticked=key != str(cancelled))
        for key, kept in later_of(row).items()
        if key in names
    ]


def moved_of(offer: Proposal, later: Collection[str] = ()) -> list[TimeMoved]:
    """Whose time moves where this way out is chosen, before it is; `later` are visits put on another day instead of none."""
    lines, stops = _lines_and_stops(offer)
    off = _cancelled(offer)
    found = moved_by(lines, stops, but=None if str(off) in later else off)
    places = {key: later_of(offer)[key] for key in later}
    days = {key: (date.fromisoformat(p["day"]), time.fromisoformat(p["at"])) for key, p in places.items()}
    return [replace(row, now=days.get(str(row.due_visit.pk), row.now)) for row in found]


def later_of(offer: Proposal) -> dict[str, dict[str, Any]]:
    """Where visits without a place today could be made later, by visit."""
    found: dict[str, dict[str, Any]] = offer.after.get("later", {})
    return found


def _away(trouble: Trouble) -> tuple[str, date | None]:
    """Of one who is sick for longer: what still stands on their rounds after today, in words, and the first day of it."""
    row = trouble.away
    if row is None or row.retired_on is not None or row.until_on <= trouble.day:
        return "", None
    stops = Stop.objects.filter(
        round__technician=row.person_id, round__day__gt=trouble.day, round__day__lte=row.until_on, state=StopState.PLANNED
    )  # fmt: skip
    days = list(stops.order_by("round__day").values_list("round__day", flat=True))
    if not days:
        return "", None
    words = ngettext(
        "%(name)s is away until %(day)s: one stop after today still stands on their rounds. Plan those days anew.",
        "%(name)s is away until %(day)s: %(n)s stops after today still stand on their rounds. Plan those days anew.",
        len(days),
    )
    given = {"name": trouble.person, "day": date_format(row.until_on, "l j F"), "n": len(days)}
    return words % given, days[0]


def sides_of(trouble: Trouble) -> Sides:
    """A trouble with its ways out, side by side."""
    rows = {row.kind: row for row in trouble.offers.select_related("trouble")}
    stamp = stamp_of_day(trouble.day)
    searching = trouble.state == TroubleState.OPEN and trouble.searched_at is None
    notes = list(dict.fromkeys(note for row in rows.values() for note in row.said))
    waiting = Move.objects.filter(day=trouble.day, applied_at=None, withdrawn_at=None).count()
    away, following = _away(trouble)
    return Sides(
        away=away,
        away_next=following,
        trouble=trouble,
        said=said_of(trouble),
        sides=[_side(rows[kind], stamp) for kind in KINDS if kind in rows],
        awaited=[str(kind.label) for kind in KINDS if kind not in rows] if searching else [],
        notes=notes,
        waiting=waiting,
    )
