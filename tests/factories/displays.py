"""Photos of displays."""

import io
import uuid
from datetime import datetime

from django.utils import timezone
from PIL import Image

from servicedesk.instruments.actions import keep_display_photo
from servicedesk.instruments.models import DisplayPhoto, Instrument
from servicedesk.staff.models import User
from tests.factories.people import make_owner


def picture(
    form: str = "JPEG",
    *,
    size: tuple[int, int] = (90, 60),
    tone: int = 60,
    taken: str = "",
    offset: str = "",
) -> bytes:
    """A photo as a camera writes it; `taken` (2026:06:03 09:00:00) and `offset` (+02:00) as its clock says."""
    out, exif = io.BytesIO(), Image.Exif()
    if taken:
        told = exif.get_ifd(0x8769)
        told[0x9003] = taken
        if offset:
            told[0x9011] = offset
        exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
        exif[0x010F] = "canary maker"
    Image.new("RGB", size, (10, 90, tone)).save(out, form, exif=exif)
    return out.getvalue()


def make_display_photo(
    instrument: Instrument,
    *,
    by: User | None = None,
    at: datetime | None = None,
    body: bytes = b"",
    note: str = "",
    key: uuid.UUID | None = None,
    zone: object = None,
) -> DisplayPhoto:
    return keep_display_photo(
        key=key or uuid.uuid4(),
        instrument=instrument,
        file=io.BytesIO(body or picture()),
        note=note,
        by=by or make_owner(),
        at=at or timezone.now(),
        zone=zone or timezone.get_current_timezone(),
    )
