"""What visits report back on their stops, and stops that fall out of their day."""

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from servicedesk.rounds.actions.planning import NotPlanned
from servicedesk.rounds.choices import STOP_MOVES, StopState
from servicedesk.rounds.models import Stop


def _move(stop: Stop, state: str, **columns: datetime) -> Stop:
    if state not in STOP_MOVES[stop.state]:
        raise NotPlanned(_("The stop is past that."))
    Stop.objects.filter(pk=stop.pk, state=stop.state).update(state=state, **columns)
    stop.refresh_from_db()
    return stop


@transaction.atomic
def arrive(*, due_visit_id: UUID, at: datetime) -> None:
    """Somebody arrived (news from the visit). Arriving twice keeps the first time."""
    stop = Stop.objects.select_for_update().filter(due_visit=due_visit_id).first()
    if stop is not None and stop.state in (StopState.PLANNED, StopState.CALLED_OFF):
        _move(stop, StopState.UNDER_WAY, arrived_at=at)


@transaction.atomic
def leave(*, due_visit_id: UUID, at: datetime) -> None:
    """The visit was closed (news from the visit)."""
    stop = Stop.objects.select_for_update().filter(due_visit=due_visit_id).first()
    if stop is not None and stop.state == StopState.UNDER_WAY:
        _move(stop, StopState.CLOSED, left_at=max(at, stop.arrived_at or at))


@transaction.atomic
def call_off(*, stop: Stop) -> Stop:
    """The stop falls out of today."""
    return _move(stop, StopState.CALLED_OFF)
