"""Visits that a proposal puts elsewhere than they stand now, as plain values: pages say thousands of them and need no rows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cached_property, lru_cache
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import F, QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Proposed
from servicedesk.web.prepared import KEY, Raw, Slot, prepared, stored

A_LITTLE = timedelta(minutes=30)
"""A visit that moves by less on the same day with the same person is no change worth a word (common practice)."""


class Placed(NamedTuple):
    """A visit as a proposal has it (nobody, no day, no time: it finds no place), and its stop, where it has one. Whether that still stands, `stands` says."""

    due_visit: UUID
    name: str
    technician: UUID | None
    who: str | None
    day: date | None
    at: time | None
    why: str
    ways: list[str]
    client: UUID
    site_phone: str
    client_phone: str
    state: str | None
    was_technician: UUID | None
    was_who: str | None
    was_day: date | None
    was_at: time | None

    @property
    def stands(self) -> bool:
        """Whether it stands on a round now."""
        return self.state == StopState.PLANNED

    @property
    def phone(self) -> str:
        """Under which number somebody is told, empty where none is written down."""
        return self.site_phone or self.client_phone


@prepared(proposal=KEY)
def _elsewhere(proposal: Slot) -> QuerySet[Proposed, Any]:
    stop = "due_visit__stop__"
    rows = Proposed.objects.filter(proposal=proposal).exclude(
        **{
            f"{stop}state": StopState.PLANNED,
            f"{stop}round__technician": F("technician"),
            f"{stop}round__day": F("day"),
            f"{stop}planned_at": F("planned_at"),
        }
    )
    return rows.order_by("day", "technician__name", "order", "pk").values_list(
        "due_visit", "due_visit__site__name", "technician", "technician__name", stored("day"), stored("planned_at"), "why", "ways", "due_visit__site__client",
        "due_visit__site__on_site_phone", "due_visit__site__client__phone", f"{stop}state", f"{stop}round__technician",
        f"{stop}round__technician__name", stored(f"{stop}round__day"), stored(f"{stop}planned_at"),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Change:
    """A visit that moves: from where, to where (`on` that day), why, and which of person, day and hour are another. `was_then` and `now_then` say the
    same without the day."""

    name: str
    on: date
    was: str
    now: str
    was_then: str
    now_then: str
    why: str
    person: bool
    day: bool
    hour: bool


def _minutes_apart(a: time, b: time) -> timedelta:
    day = date(2000, 1, 1)
    return abs(datetime.combine(day, a) - datetime.combine(day, b))


def moves(row: Placed) -> tuple[bool, bool, bool] | None:
    """Of a visit that stands on a round and would stand on another: whether person, day, and hour by more than half an hour, are others. None where
    it is no such visit, or moves by less."""
    if not row.stands or row.day is None or row.at is None or row.was_at is None:
        return None
    others = (
        row.technician != row.was_technician,
        row.day != row.was_day,
        _minutes_apart(row.at, row.was_at) > A_LITTLE,
    )
    return others if any(others) else None


def _change(row: Placed, others: tuple[bool, bool, bool]) -> Change:
    assert row.day is not None and row.was_day is not None
    full, then = _("%(who)s, %(day)s at %(at)s"), _("%(who)s at %(at)s")
    was = {"who": row.was_who, "day": _day_words(row.was_day), "at": f"{row.was_at:%H:%M}"}
    now = {"who": row.who, "day": _day_words(row.day), "at": f"{row.at:%H:%M}"}
    person, day, hour = others
    return Change(
        row.name, row.day, full % was, full % now, then % was, then % now, row.why, person, day, hour
    )


@lru_cache(maxsize=64)
def _day_words(day: date) -> str:
    return date_format(day, "l j F")


@dataclass(frozen=True, eq=False)
class Elsewhere:
    """All of a proposal but what stays as it is to the minute, by day, technician and order."""

    rows: tuple[Placed, ...]

    @cached_property
    def changes(self) -> list[Change]:
        """Visits that stand on a round and would move to another person, day, or an hour more than half an hour away."""
        found = ((row, moves(row)) for row in self.rows)
        return [_change(row, others) for row, others in found if others is not None]

    @cached_property
    def homeless(self) -> list[Placed]:
        """Visits that find no place."""
        return [row for row in self.rows if row.technician is None]

    @cached_property
    def fresh(self) -> list[Placed]:
        """Visits that stand on no round and get a place."""
        return [row for row in self.rows if row.technician is not None and not row.stands]

    @cached_property
    def little(self) -> list[Placed]:
        """Visits that move by half an hour or less."""
        return [
            row for row in self.rows if row.stands and row.at not in (None, row.was_at) and moves(row) is None
        ]


def elsewhere(proposal: UUID) -> Elsewhere:
    """Where a proposal puts visits elsewhere. The database is asked every time; what it says is read once."""
    return _read(_elsewhere.raw(proposal=proposal))


@lru_cache(maxsize=32)
def _read(rows: Raw) -> Elsewhere:
    return Elsewhere(tuple(Placed._make(row) for row in _elsewhere.read(rows)))
