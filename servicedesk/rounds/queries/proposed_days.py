"""The rounds of a proposed week: which there are, and each with its stops, as pages show them."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from typing import Any, NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Count, QuerySet, Sum
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.core.drawing.strip import DayStrip, StripStop
from servicedesk.rounds.models import Proposal, Proposed
from servicedesk.web.prepared import DAY, KEY, Raw, Slot, prepared, stored

Key = tuple[str, str]
"""A technician and a day, as a proposal names them among its numbers."""
Told = dict[str, Any]
"""What a proposal says of one round: seconds since midnight, rules that are broken."""


class ProposedRound(NamedTuple):
    """A round of a proposed week in numbers."""

    day: date
    technician: UUID
    name: str
    stops: int
    minutes: int

    @property
    def key(self) -> Key:
        return str(self.technician), self.day.isoformat()


class LineSeen(NamedTuple):
    """All of a proposed stop that its round is drawn from."""

    due_visit: UUID
    name: str
    isolated: bool
    order: int
    planned_at: time
    minutes: int
    wait_minutes: int
    slack_minutes: int
    why: str
    moved_by: str | None
    pinned: UUID | None
    pinned_day: date | None
    pinned_at: time | None


@dataclass(frozen=True, eq=False)
class ProposedDay:
    """One technician's day as proposed. The same one as long as nothing of it changes, so that what is drawn of it can be kept."""

    name: str
    day: date
    strip: DayStrip
    stops: tuple[LineSeen, ...]
    words: str
    technician: UUID
    wrong: list[str]
    hours: list[str]

    @property
    def visits(self) -> set[str]:
        """Whose stops these are."""
        return {str(line.due_visit) for line in self.stops}


@prepared(proposal=KEY)
def _rounds(proposal: Slot) -> QuerySet[Proposed, Any]:
    rows = Proposed.objects.filter(proposal=proposal, technician__isnull=False, day__isnull=False)
    grouped = rows.values("day", "technician", "technician__name").annotate(
        n=Count("pk"), minutes_=Sum("minutes")
    )
    return grouped.order_by("day", "technician__name", "technician").values_list(
        "day", "technician", "technician__name", "n", "minutes_"
    )


@prepared(proposal=KEY, first=DAY, last=DAY)
def _lines(proposal: Slot, first: Slot, last: Slot) -> QuerySet[Proposed, Any]:
    rows = Proposed.objects.filter(proposal=proposal, day__gte=first, day__lte=last, technician__isnull=False)
    return rows.order_by("order", "pk").values_list(
        "technician", stored("day"), "due_visit", "due_visit__site__name", "due_visit__isolated", "order", stored("planned_at"), "minutes", "wait_minutes",
        "slack_minutes", "why", "moved_by__name", "due_visit__pin", stored("due_visit__pin__day"), stored("due_visit__pin__at"),
    )  # fmt: skip


@prepared(proposal=KEY, visit=KEY)
def _day_of(proposal: Slot, visit: Slot) -> QuerySet[Proposed, Any]:
    return Proposed.objects.filter(proposal=proposal, due_visit=visit).values_list("day", flat=True)


def rounds_of(proposal: UUID) -> list[ProposedRound]:
    """The rounds of a proposed week, by day and technician."""
    return _read_rounds(_rounds.raw(proposal=proposal))


@lru_cache(maxsize=32)
def _read_rounds(rows: Raw) -> list[ProposedRound]:
    return [ProposedRound._make(row) for row in _rounds.read(rows)]


def day_alone(proposal: UUID, rounds: list[ProposedRound], at: str, asked: str) -> date:
    """Of a week of many rounds the day that is shown: that of the stop `at`, else the one asked for, else the first."""
    try:
        found = _day_of.first(proposal=proposal, visit=UUID(at)) if at else None
    except ValueError:
        found = None
    named = [row.day for row in rounds if row.day == found] + [
        row.day for row in rounds if row.day.isoformat() == asked
    ]
    return (named or [rounds[0].day])[0]


def told_of(proposal: Proposal) -> dict[Key, Told]:
    """What is said of each round."""
    return {(row["technician"], row["day"]): row for row in proposal.after.get("rounds", [])}


def wrong_of(told: Told) -> list[str]:
    """The rules that a round breaks, in sentences."""
    return [str(broken["words"]) for broken in told.get("broken", [])]


def days_of(
    proposal: UUID, rounds: list[ProposedRound], told: dict[Key, Told], zone: ZoneInfo
) -> list[ProposedDay]:
    """These rounds with their stops; each is worked out once for what it says."""
    if not rounds:
        return []
    days, lines, raw = (
        [row.day for row in rounds],
        dict[tuple[UUID, date], tuple[LineSeen, ...]](),
        defaultdict[Any, list[Any]](list),
    )
    for line in _lines.raw(proposal=proposal, first=min(days), last=max(days)):
        raw[line[:2]].append(line)
    for rows in raw.values():
        key, mine = _read_lines(tuple(rows))
        lines[key] = mine
    return [
        _day(row, lines.get((row.technician, row.day), ()), json.dumps(told.get(row.key, {})), zone)
        for row in rounds
    ]


@lru_cache(maxsize=1024)
def _read_lines(rows: Raw) -> tuple[tuple[UUID, date], tuple[LineSeen, ...]]:
    """The lines of one round, and whose day that is."""
    read = _lines.read(rows)
    return read[0][:2], tuple(LineSeen._make(row[2:]) for row in read)


def _at(day: date, seconds: int, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(0), tzinfo=zone) + timedelta(seconds=seconds)


@lru_cache(maxsize=512)
def _day(row: ProposedRound, lines: tuple[LineSeen, ...], told: str, zone: ZoneInfo) -> ProposedDay:
    said: Told = json.loads(told)
    wrong = wrong_of(said)
    return ProposedDay(
        name=row.name,
        day=row.day,
        strip=_strip(row, lines, said, zone),
        stops=lines,
        words=_words_of(lines, said, spare=not wrong),
        technician=row.technician,
        wrong=wrong,
        hours=said.get("hours", []),
    )


def _strip(row: ProposedRound, lines: tuple[LineSeen, ...], told: Told, zone: ZoneInfo) -> DayStrip:
    day, lunch, stops = row.day, told.get("lunch"), []
    for line in lines:
        start = datetime.combine(day, line.planned_at, tzinfo=zone)
        stops.append(
            StripStop(
                number=line.order,
                name=line.name,
                start=start,
                end=start + timedelta(minutes=line.minutes),
                isolated=line.isolated,
                arrives=start - timedelta(minutes=line.wait_minutes),
            )
        )
    return DayStrip(
        shift_start=_at(day, told.get("begins", 8 * 3600), zone),
        shift_end=_at(day, told.get("ends", 17 * 3600), zone),
        stops=tuple(stops),
        lunch=(_at(day, lunch, zone), _at(day, lunch + told["lunch_s"], zone)) if lunch is not None else None,
        leaves=_at(day, told["leave"], zone) if "leave" in told else None,
        home=_at(day, told["back"], zone) if "back" in told else None,
        title=_("The day of %(name)s") % {"name": row.name},
    )


def _words_of(lines: tuple[LineSeen, ...], told: Told, *, spare: bool) -> str:
    """A day in a line: stops, at the wheel, and what there is to spare where that means something."""
    words = ngettext("one stop", "%(n)s stops", len(lines)) % {"n": len(lines)}
    words = _("%(stops)s, %(drive)s at the wheel") % {
        "stops": words,
        "drive": hours_words(told.get("travel", 0)),
    }
    slack = min((line.slack_minutes for line in lines), default=0)
    return words + ", " + _("%(m)s min to spare at the tightest") % {"m": slack} if spare else words


def hours_words(seconds: float) -> str:
    """Seconds as hours and minutes."""
    minutes = round(seconds / 60)
    return _("%(h)s h %(m)s min") % {"h": minutes // 60, "m": minutes % 60}
