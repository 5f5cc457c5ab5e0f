"""Where visits stand, as one word: what was worked out from them holds only while the word stays the same."""

from collections.abc import Iterable
from datetime import date
from functools import lru_cache
from hashlib import sha256
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import DueVisit, Move, Proposed, Stop
from servicedesk.web.prepared import DAY, KEY, Raw, Slot, prepared, stored


def stamp_of(visits: Iterable[DueVisit]) -> str:
    """Where each of these visits stands now, as one word."""
    keys = [visit.pk for visit in visits]
    stops = Stop.objects.filter(due_visit__in=keys).order_by("due_visit")
    rows = stops.values_list("due_visit", "round__day", "round__technician", "order", "planned_at", "state")
    owed = DueVisit.objects.filter(pk__in=keys, called_off_at__isnull=True).order_by("pk")
    return _stamp(list(rows), list(owed.values_list("pk", flat=True)))


def _stamp(standing: list[tuple[Any, ...]], owed: list[UUID]) -> str:
    return sha256(repr([standing, owed]).encode()).hexdigest()


@prepared(proposal=KEY)
def _standing(proposal: Slot) -> QuerySet[Proposed, Any]:
    stop, rows = "due_visit__stop__", Proposed.objects.filter(proposal=proposal).order_by("due_visit")
    day, at = stored(f"{stop}round__day"), stored(f"{stop}planned_at")
    return rows.values_list(
        "due_visit__called_off_at",
        "due_visit",
        day,
        f"{stop}round__technician",
        f"{stop}order",
        at,
        f"{stop}state",
    )


@lru_cache(maxsize=32)
def _stamp_kept(rows: Raw) -> str:
    read = _standing.read(rows)
    standing = [row[1:] for row in read if row[-1] is not None]
    return _stamp(standing, [row[1] for row in read if row[0] is None])


def stamp_now(proposal: UUID) -> str:
    """The same for the visits of a proposal. The database is asked every time; the word is kept by what it says, since turning 900 stops into one
    costs more than asking."""
    return _stamp_kept(_standing.raw(proposal=proposal))


BEGUN = (StopState.UNDER_WAY, StopState.CLOSED)


@prepared(day=DAY)
def _stops_on(day: Slot) -> QuerySet[Stop, Any]:
    rows = Stop.objects.filter(round__day=day).order_by("due_visit")
    return rows.values_list(
        "due_visit", "round__technician", "order", stored("planned_at"), "minutes", "state"
    )


@prepared(day=DAY)
def _waiting_on(day: Slot) -> QuerySet[Move, Any]:
    rows = Move.objects.filter(Q(day=day) | Q(from_day=day), applied_at=None, withdrawn_at=None)
    return rows.order_by("pk").values_list("pk")


@prepared(day=DAY)
def _off_on(day: Slot) -> QuerySet[DueVisit, Any]:
    rows = DueVisit.objects.filter(stop__round__day=day, called_off_at__isnull=False)
    return rows.order_by("pk").values_list("pk")


def stamp_of_day(day: date) -> str:
    """Where everything of a day stands, as one word: its stops, what has begun, what waits for a technician's word."""
    return _day_kept(_stops_on.raw(day=day), _waiting_on.raw(day=day), _off_on.raw(day=day))


@lru_cache(maxsize=32)
def _day_kept(stops: Raw, waiting: Raw, off: Raw) -> str:
    rows = [(*row, state in BEGUN, state == StopState.CALLED_OFF) for *row, state in _stops_on.read(stops)]
    asked, gone = [key for (key,) in _waiting_on.read(waiting)], [key for (key,) in _off_on.read(off)]
    return sha256(repr([rows, asked, gone]).encode()).hexdigest()
