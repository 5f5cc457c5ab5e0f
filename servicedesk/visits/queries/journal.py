"""The journal of a visit and its photos."""

from collections.abc import Iterable
from datetime import date, datetime
from uuid import UUID

from django.db.models import Max, OuterRef, Q, QuerySet, Subquery
from django.http import Http404

from clients.models import Tank
from clients.queries import contact_of, tanks_for
from servicedesk.core.sheets import FieldEntry, FieldState, winner
from servicedesk.dispatch.models import Withdrawal
from servicedesk.dispatch.queries import standing, withdrawn
from servicedesk.staff.models import User
from servicedesk.visits.choices import EntryKind, VisitState
from servicedesk.visits.models import Entry, Photo, Visit
from servicedesk.web.prepared import KEY, WORDS, Slot, prepared


def visits_for(user: User) -> QuerySet[Visit]:
    """Visits a person may read: owner and office all, a technician the own ones, a contact the client's closed ones."""
    rows = Visit.objects.select_related("site", "site__client", "technician").order_by("-arrived_at", "pk")
    if user.is_office:
        return rows
    if user.is_technician:
        return rows.filter(Q(technician=user) | Q(due_visit__stop__round__technician=user))
    contact = contact_of(user) if user.is_client else None
    if contact is not None:
        return rows.filter(site__client=contact.client, state=VisitState.CLOSED)
    return rows.none()


@prepared(key=KEY)
def _visit(key: Slot) -> QuerySet[Visit]:
    return Visit.objects.filter(pk=key)


def visit_of(due_visit_id: UUID) -> Visit | None:
    """The visit of a due visit, once it was opened. (Permission: rounds.queries.stop_for.)"""
    return _visit.first(key=due_visit_id)


def last_closed(tanks: Iterable[Tank]) -> dict[UUID, datetime]:
    """When the last visit that was closed began, by tank."""
    rows = Visit.objects.filter(
        due_visit__tanks__in=[t.pk for t in tanks], state=VisitState.CLOSED
    ).order_by()
    return dict(rows.values_list("due_visit__tanks").annotate(Max("arrived_at")))


def tanks_of(visit: Visit) -> list[Tank]:
    """The tanks that the visit is for, in order."""
    return list(visit.due_visit.tanks.select_related("site", "site__client").order_by("order", "pk"))


@prepared(visit=KEY, kinds=WORDS)
def _entries(visit: Slot, kinds: Slot | None = None) -> QuerySet[Entry]:
    rows = standing(Entry.objects.filter(visit=visit), "pk").select_related("author")
    if kinds is not None:
        rows = rows.filter(kind__in=kinds)
    return rows.order_by("at", "seq", "pk")


@prepared(visit=KEY)
def _journal(visit: Slot) -> QuerySet[Entry]:
    why = Withdrawal.objects.filter(withdrawn=OuterRef("pk")).values("why")[:1]
    rows = Entry.objects.filter(visit=visit).select_related("author").annotate(gone=Subquery(why))
    return rows.order_by("at", "seq", "pk")


def entries_of(visit: Visit, *kinds: str) -> list[Entry]:
    """What stands in the journal, in order: by the tablet's sequence within one moment."""
    return _entries(visit=visit.pk, kinds=kinds or None)


def journal_of(visit: Visit) -> list[Entry]:
    """The whole journal in order; `gone` is why an entry was taken back, None for one that stands."""
    return _journal(visit=visit.pk)


def standing_photos(rows: QuerySet[Photo]) -> QuerySet[Photo]:
    """Without those whose entry was taken back."""
    gone = Entry.objects.filter(withdrawn("pk"), kind=EntryKind.PHOTO).values_list(
        "payload__photo", flat=True
    )
    return rows.exclude(pk__in=[UUID(key) for key in gone])


def fields_of(entries: Iterable[Entry]) -> dict[str, FieldState]:
    """The standing value of every single field, with what else was said."""
    said = (
        FieldEntry(name=e.payload["name"], value=e.payload.get("value", ""), entered_at=e.at, entry_id=e.pk)
        for e in entries
        if e.kind == EntryKind.FIELD
    )
    return winner(said)


def photos_of(visit: Visit) -> list[Photo]:
    rows = standing_photos(Photo.objects.filter(visit=visit))
    return list(rows.select_related("tank").order_by("taken_at", "pk"))


def photo_for(user: User, key: UUID, *, on: date) -> Photo:
    """A photo a person may see: of a visit that may be read, or of a tank in sight. Else Http404."""
    found = Photo.objects.filter(pk=key).first()
    if found is not None:
        if visits_for(user).filter(pk=found.visit_id).exists():
            return found
        if found.tank_id and tanks_for(user, on=on).filter(pk=found.tank_id).exists():
            return found
    raise Http404
