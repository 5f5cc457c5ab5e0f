"""Photos of visits."""

from datetime import datetime
from typing import IO
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from clients.models import Tank
from servicedesk.rounds import actions as rounds
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries import stop_for
from servicedesk.staff.models import User
from servicedesk.visits.models import Photo, Visit
from servicedesk.web.pictures import NoPhoto, rewritten, store


def keep_photo(
    *,
    key: UUID,
    visit_id: UUID,
    tank_id: UUID | None,
    file: IO[bytes],
    caption: str,
    taken_at: datetime,
    by: User,
) -> Photo:
    """Keep a photo of a visit; the same id again is the same photo. Raises NoPhoto, Http404 for a foreign visit."""
    stop = stop_for(by, visit_id)
    before = Photo.objects.filter(pk=key).first()
    if before is not None:
        if before.visit_id != visit_id or before.author_id != by.pk:
            raise NoPhoto(_("A photo of this id is already there."))
        return before
    if "\x00" in caption:
        raise NoPhoto(_("The caption holds a sign that cannot be stored."))
    body, width, height = rewritten(file)
    name = store(body, folder="photos")
    with transaction.atomic():
        visit = _visit_of(stop, taken_at)
        tank = Tank.objects.filter(pk=tank_id, site=visit.site).first() if tank_id else None
        photo = Photo(id=key, visit=visit, tank=tank, file=name, width=width, height=height)
        photo.caption, photo.taken_at, photo.author = caption[:200], taken_at, by
        photo.save(force_insert=True)
    return photo


def _visit_of(stop: Stop, at: datetime) -> Visit:
    """The visit of a stop, opened by the photo when it is the first that comes of it."""
    due = stop.due_visit
    visit, made = Visit.objects.get_or_create(
        pk=due.pk,
        defaults={"due_visit": due, "site": due.site, "technician": stop.round.technician, "arrived_at": at},
    )
    if made:
        rounds.arrive(due_visit_id=due.pk, at=at)
    return visit
