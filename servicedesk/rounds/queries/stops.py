"""Rounds and stops as people look at them, and next visits."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db.models import F, Min, Q, QuerySet
from django.http import Http404

from clients.models import Tank
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import DueVisit, Round, Stop
from servicedesk.staff.models import User
from servicedesk.web.prepared import DAY, KEY, KEYS, Slot, prepared


@prepared(due_visit=KEY, technician=KEY, round=KEY, first=DAY, last=DAY)
def _stops(
    due_visit: Slot | None = None,
    technician: Slot | None = None,
    round: Slot | None = None,
    first: Slot | None = None,
    last: Slot | None = None,
) -> QuerySet[Stop]:
    """Stops with all that is said of them, in order of their rounds."""
    rows = Stop.objects.select_related(
        "round", "round__technician", "due_visit", "due_visit__site", "due_visit__site__client"
    )
    asked = {
        "due_visit": due_visit,
        "round__technician": technician,
        "round": round,
        "round__day__gte": first,
        "round__day__lte": last,
    }
    rows = rows.filter(**{name: value for name, value in asked.items() if value is not None})
    return rows.order_by("round__day", "round__technician__name", "order", "pk")


@prepared(visits=KEYS)
def _tanks_at(visits: Slot) -> QuerySet[Tank]:
    """The tanks of these due visits in order, each with the visit it is one of."""
    rows = Tank.objects.filter(due_visits__in=visits).annotate(due_visit=F("due_visits"))
    return rows.order_by("order", "pk")


def _with_tanks(stops: list[Stop]) -> list[Stop]:
    """Says of each stop which tanks it is for, each with its site."""
    at: dict[UUID, list[Tank]] = {stop.due_visit_id: [] for stop in stops}
    sites = {stop.due_visit.site_id: stop.due_visit.site for stop in stops}
    for tank in _tanks_at(visits=at):
        if tank.site_id in sites:
            tank.site = sites[tank.site_id]
        at[tank.due_visit].append(tank)  # type: ignore[attr-defined]  # the annotation of _tanks_at
    for stop in stops:
        stop.tanks = at[stop.due_visit_id]
    return stops


def stop_for(user: User, due_visit_id: UUID | str) -> Stop:
    """The stop of a due visit, if the person may open it: owner and office any, a technician the own ones, anybody else
    none. Else Http404."""
    try:
        key = UUID(str(due_visit_id))
    except ValueError:
        raise Http404 from None
    found: list[Stop] = []
    if user.is_office:
        found = _stops(due_visit=key)
    elif user.is_technician:
        found = _stops(due_visit=key, technician=user.pk)
    if not found:
        raise Http404
    return _with_tanks(found)[0]


def opens_its_door(stop: Stop, *, on: date) -> bool:
    """Whether the key or code may be shown to the stop's technician: on its day, and not once it is called off."""
    off = stop.state == StopState.CALLED_OFF or stop.due_visit.called_off_at is not None
    return stop.round.day == on and not off


@prepared(technician=KEY, day=DAY)
def _round(technician: Slot, day: Slot) -> QuerySet[Round]:
    return Round.objects.filter(technician=technician, day=day).select_related("van", "technician")


def round_of(technician: User, day: date) -> tuple[Round | None, list[Stop]]:
    """A technician's round of a day and its stops in order."""
    row = _round.first(technician=technician.pk, day=day)
    if row is None:
        return None, []
    return row, _with_tanks(_stops(round=row.pk))


def coming_days(technician: User, *, after: date, days: int = 7) -> list[date]:
    """The days to come on which a technician has stops."""
    rows = Round.objects.filter(technician=technician, day__gt=after, day__lte=after + timedelta(days=days))
    rows = rows.filter(stops__state=StopState.PLANNED)
    return sorted(set(rows.values_list("day", flat=True)))


def stops_on(day: date, *, until: date | None = None, technician: User | None = None) -> list[Stop]:
    """All stops of a day (or of several), by technician and order; of one technician where one is named."""
    return _with_tanks(_stops(first=day, last=until or day, technician=technician.pk if technician else None))


@prepared(after=DAY, tanks=KEYS)
def _next_visits(after: Slot, tanks: Slot | None = None) -> QuerySet[DueVisit, Any]:
    open_states = [StopState.PLANNED, StopState.UNDER_WAY]
    owed = DueVisit.objects.filter(called_off_at__isnull=True, tanks__isnull=False)
    if tanks is not None:
        owed = owed.filter(tanks__in=tanks)
    planned = Q(stop__round__day__gt=after, stop__state__in=open_states)
    rows = owed.filter(planned | Q(stop__isnull=True, due__gt=after)).values("tanks")
    return rows.annotate(on_stop=Min("stop__round__day"), on_due=Min("due")).order_by()


def next_visits_of(tanks: Iterable[Tank] | None, *, after: date) -> dict[UUID, date]:
    """The next day on which somebody of ours comes to each of these tanks (None: to any), after that day."""
    rows = _next_visits(after=after, tanks=None if tanks is None else [t.pk for t in tanks])
    return {row["tanks"]: row["on_stop"] or row["on_due"] for row in rows}
