"""What wants attention now."""

from datetime import date
from uuid import UUID

from django.db.models import QuerySet

from clients.queries import tanks_for
from servicedesk.staff.models import User
from servicedesk.watch.models import Attention


def open_for(user: User) -> QuerySet[Attention]:
    """Open rows, soonest first: everything for owner and office, nothing for anybody else."""
    rows = Attention.objects.filter(cleared_at__isnull=True).select_related("tank", "tank__site", "site")
    rows = rows.order_by("severity", "since", "pk")
    return rows if user.is_office else rows.none()


def of_tank(user: User, tank_id: UUID, *, on: date) -> QuerySet[Attention]:
    """Open rows of one tank that the user may see (never for a contact)."""
    rows = Attention.objects.filter(cleared_at__isnull=True, tank=tank_id).order_by("severity", "since", "pk")
    if user.is_client or not tanks_for(user, on=on).filter(pk=tank_id).exists():
        return rows.none()
    return rows
