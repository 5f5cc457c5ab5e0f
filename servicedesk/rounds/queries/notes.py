"""Notes that wait for whoever comes next to a site, and those for the office."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import SiteNote, Stop
from servicedesk.staff.models import User
from servicedesk.web.prepared import KEYS, Slot, prepared


@prepared(sites=KEYS)
def _waiting(sites: Slot) -> QuerySet[SiteNote]:
    came = Stop.objects.filter(
        due_visit__site=OuterRef("site"), state=StopState.CLOSED, arrived_at__gt=OuterRef("at")
    )
    rows = SiteNote.objects.filter(~Exists(came), site__in=sites, for_office=False)
    return rows.select_related("by").order_by("at", "pk")


def standing_notes(sites: Iterable[UUID]) -> dict[UUID, list[SiteNote]]:
    """Per site the notes that nobody has come for yet: no visit there began after the note and was closed."""
    found: dict[UUID, list[SiteNote]] = defaultdict(list)
    for row in _waiting(sites=set(sites)):
        found[row.site_id].append(row)
    return dict(found)


def notes_for_office(user: User, *, since: datetime, by: User | None = None) -> list[SiteNote]:
    """Notes for the office since then, newest first: the office all (or one person's), a technician the own ones."""
    rows = SiteNote.objects.filter(for_office=True, at__gte=since).select_related("site", "by")
    if not user.is_office:
        rows = rows.filter(by=user)
    elif by is not None:
        rows = rows.filter(by=by)
    return list(rows.order_by("-at", "pk"))
