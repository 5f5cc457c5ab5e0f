"""Photos: checked before they are decoded, written anew without any metadata, under a random name."""

import io
import secrets
import warnings
from datetime import datetime
from pathlib import Path
from typing import IO
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _
from PIL import Image, ImageOps

from clients.models import Tank
from servicedesk.rounds import actions as rounds
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries import stop_for
from servicedesk.staff.models import User
from servicedesk.visits.models import Photo, Visit

MOST_BYTES = 15 * 1024 * 1024
MOST_PIXELS = 40_000_000
LONGEST_SIDE = 1600


class NoPhoto(Exception):
    """This file is not taken as a photo; the sentence says why."""


def rewritten(file: IO[bytes]) -> tuple[bytes, int, int]:
    """The photo as a new JPEG of at most 1600 px with no metadata, its width and height. Raises NoPhoto."""
    body = file.read(MOST_BYTES + 1)
    if len(body) > MOST_BYTES:
        raise NoPhoto(_("The photo is larger than 15 MB. Take a smaller one."))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            image = Image.open(io.BytesIO(body), formats=["JPEG", "PNG", "WEBP"])
            if image.width * image.height > MOST_PIXELS:
                raise NoPhoto(_("The photo has more than 40 megapixels. Take a smaller one."))
            image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
            image.load()
    except NoPhoto:
        raise
    except Exception as wrong:  # noqa: BLE001  a decoder may raise anything on a broken or hostile file
        raise NoPhoto(_("This is not a JPEG, PNG or WebP photo that can be read.")) from wrong
    upright = ImageOps.exif_transpose(image).convert("RGB")
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    plain = Image.new("RGB", upright.size)
    plain.paste(upright)
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=82)
    return out.getvalue(), plain.width, plain.height


def store(body: bytes, *, folder: str) -> str:
    """Write bytes under a random name below the media root; the name relative to it."""
    name = f"{folder}/{secrets.token_hex(16)}.jpg"
    path = Path(settings.MEDIA_ROOT) / name
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.write_bytes(body)
    part.replace(path)
    return name


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
