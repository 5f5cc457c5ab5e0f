"""Rounds and stops as people look at them, and next visits."""

from collections.abc import Iterable
from datetime import date
from uuid import UUID

from django.db.models import Min, Prefetch, Q, QuerySet
from django.http import Http404

from clients.models import Tank
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import DueVisit, Round, Stop
from servicedesk.staff.models import User


def _stops() -> QuerySet[Stop]:
    return Stop.objects.select_related(
        "round", "round__technician", "due_visit", "due_visit__site", "due_visit__site__client"
    ).prefetch_related(Prefetch("due_visit__tanks", queryset=Tank.objects.order_by("order", "pk")))


def stops_for(user: User) -> QuerySet[Stop]:
    """Stops a person may open: owner and office all, a technician the own ones, anybody else none."""
    rows = _stops().order_by("round__day", "order", "pk")
    if user.is_office:
        return rows
    if user.is_technician:
        return rows.filter(round__technician=user)
    return rows.none()


def stop_for(user: User, due_visit_id: UUID | str) -> Stop:
    """The stop of a due visit, if the person may open it; else Http404."""
    try:
        found = stops_for(user).filter(due_visit=UUID(str(due_visit_id))).first()
    except ValueError:
        found = None
    if found is None:
        raise Http404
    return found


def opens_its_door(stop: Stop, *, on: date) -> bool:
    """Whether the key or code may be shown to the stop's technician: on its day, and not once it is called off."""
    off = stop.state == StopState.CALLED_OFF or stop.due_visit.called_off_at is not None
    return stop.round.day == on and not off


def round_of(technician: User, day: date) -> tuple[Round | None, list[Stop]]:
    """A technician's round of a day and its stops in order."""
    row = Round.objects.filter(technician=technician, day=day).select_related("van", "technician").first()
    if row is None:
        return None, []
    return row, list(_stops().filter(round=row).order_by("order", "pk"))


def stops_on(day: date, *, until: date | None = None) -> list[Stop]:
    """All stops of a day (or of several), by technician and order."""
    rows = _stops().filter(round__day__gte=day, round__day__lte=until or day)
    return list(rows.order_by("round__day", "round__technician__name", "order", "pk"))


def next_visits_of(tanks: Iterable[Tank] | None, *, after: date) -> dict[UUID, date]:
    """The next day on which somebody of ours comes to each of these tanks (None: to any), after that day."""
    open_states = [StopState.PLANNED, StopState.UNDER_WAY]
    owed = DueVisit.objects.filter(called_off_at__isnull=True, tanks__isnull=False)
    if tanks is not None:
        owed = owed.filter(tanks__in=[t.pk for t in tanks])
    rows = (
        owed.filter(
            Q(stop__round__day__gt=after, stop__state__in=open_states) | Q(stop__isnull=True, due__gt=after)
        )
        .values("tanks")
        .annotate(on_stop=Min("stop__round__day"), on_due=Min("due"))
    )
    return {row["tanks"]: row["on_stop"] or row["on_due"] for row in rows.order_by()}
