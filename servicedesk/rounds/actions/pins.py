"""What a person decided about a visit, so that planning keeps it."""

from datetime import date, datetime, time

from django.db import transaction
from django.utils.translation import gettext as _

from servicedesk.rounds.actions.planning import NotPlanned
from servicedesk.rounds.models import DueVisit, Pin
from servicedesk.staff.models import User


@transaction.atomic
def pin(
    *,
    due_visit: DueVisit,
    by: User,
    at: datetime,
    technician: User | None = None,
    day: date | None = None,
    begins: time | None = None,
) -> Pin:
    """Hold a visit to a technician, a day, a time of that day (local to the business): each as far as it is given. A later pin takes an earlier
    one's place. Raises NotPlanned."""
    if technician is None and day is None:
        raise NotPlanned(_("Say by whom it is made, or on which day."))
    if begins is not None and day is None:
        raise NotPlanned(_("A time needs its day."))
    if technician is not None and (not technician.is_technician or not technician.is_active):
        raise NotPlanned(_("Only a technician drives a round."))
    if day is not None and not due_visit.earliest <= day <= due_visit.latest:
        raise NotPlanned(_("It is not due on that day."))
    row, _made = Pin.objects.update_or_create(
        due_visit=due_visit,
        defaults={"technician": technician, "day": day, "at": begins, "made_by": by, "made_at": at},
    )
    return row


def unpin(*, due_visit: DueVisit) -> bool:
    """Leave a visit to planning again; whether it was held."""
    return bool(Pin.objects.filter(due_visit=due_visit).delete()[0])
