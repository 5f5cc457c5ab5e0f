"""A photo of a display, and what somebody read off it: taken in as any delivery is, with the photo kept as evidence.

A photo is a row before anybody reads it, so that none is lost; it becomes one delivery at the most. Nothing reads a photo by itself."""

import hashlib
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import IO
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from servicedesk.core.units import to_canonical
from servicedesk.instruments.actions.deliveries import take
from servicedesk.instruments.actions.taking import FUTURE
from servicedesk.instruments.adapters.records import Record
from servicedesk.instruments.choices import DISPLAY
from servicedesk.instruments.models import Delivery, DisplayPhoto, DisplayRead, Instrument, Measure
from servicedesk.instruments.queries.displays import shown_unit, sign_names
from servicedesk.staff.models import User
from servicedesk.water import actions as water
from servicedesk.water.models import Correction, Reading
from servicedesk.web.pictures import NoPhoto, body_of, camera_time, rewritten, store, unstore

LONGEST_SIDE = 2400
"""Small figures on a display stay legible (common practice)."""
FOLDER = "displays"


class NotShown(Exception):
    """It cannot be taken in as what the display showed; the sentence says why."""


@dataclass(frozen=True)
class Shown:
    """What somebody read: when, each measure's value as the display shows it (by the measure's id), which signs were on and which are gone
    (choices.SignKind), and its own words."""

    at: datetime
    values: Mapping[UUID, float]
    on: Sequence[str] = field(default_factory=tuple)
    gone: Sequence[str] = field(default_factory=tuple)
    says: str = ""


def keep_display_photo(
    *, key: UUID, instrument: Instrument, file: IO[bytes], note: str, by: User, at: datetime, zone: tzinfo
) -> DisplayPhoto:
    """Keep a photo until somebody reads it. The same id again, and the same file again, are the same photo. The camera's own time is read as
    in `zone` where it names no offset. Raises NoPhoto."""
    before = DisplayPhoto.objects.filter(pk=key).first()
    if before is not None:
        if before.instrument_id != instrument.pk:
            raise NoPhoto(_("A photo of this id is already there."))
        return before
    raw = body_of(file)
    named = {"instrument": instrument, "sha256": hashlib.sha256(raw).hexdigest()}
    same = DisplayPhoto.objects.filter(**named).first()
    if same is not None:
        return same
    body, width, height = rewritten(io.BytesIO(raw), longest=LONGEST_SIDE)
    name = store(body, folder=FOLDER)
    row = DisplayPhoto(id=key, origin=key, **named, file=name, width=width, height=height, note=note[:200])
    row.camera_at, row.by, row.received_at = camera_time(raw, zone=zone), by, at
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError:  # somebody was quicker with it
        unstore(name)
        return DisplayPhoto.objects.get(Q(pk=key) | Q(**named))
    return row


def _records(instrument: Instrument, shown: Shown) -> list[Record]:
    """What was read as records, in the instrument's own names. Raises NotShown."""
    measures = {m.pk: m for m in Measure.objects.filter(instrument=instrument).order_by("parameter", "pk")}
    if set(shown.values) - set(measures):
        raise NotShown(_("This instrument does not measure that."))
    found = [
        Record(number, m.sent_name, shown_unit(m), shown.values[m.pk], shown.at, dated=True, shown=True)
        for number, m in enumerate(measures.values())
        if m.pk in shown.values
    ]
    names = sign_names(instrument)
    for on, kinds in ((True, shown.on), (False, shown.gone)):
        for kind in kinds:
            if kind not in names:
                raise NotShown(_("This instrument does not say that of itself."))
            says = shown.says or ("yes" if on else "no")
            place = len(measures) + len(found)
            found.append(Record(place, names[kind], "", None, shown.at, dated=True, says=says, on=on))
    return found


def _body(photo: DisplayPhoto, records: Sequence[Record]) -> bytes:
    """What was read as it is kept: the photo, the time, the values and the signs."""
    rows = [
        {"name": r.name, "value": r.value, "unit": r.unit}
        if r.says is None
        else {"name": r.name, "on": r.on, "says": r.says}
        for r in records
    ]
    at = records[0].at
    told = {"photo": str(photo.pk), "at": at and at.isoformat(), "readings": rows}
    return json.dumps(told, ensure_ascii=False, sort_keys=True).encode()


def _outcome(photo: DisplayPhoto) -> DisplayRead | None:
    """What became of a photo; from here on nobody else writes it."""
    Instrument.objects.select_for_update().get(pk=photo.instrument_id)
    rows = DisplayRead.objects.filter(photo=photo).select_related("delivery", "by")
    return rows.first()


@transaction.atomic
def read_display(*, photo: DisplayPhoto, shown: Shown, by: User, at: datetime) -> tuple[Delivery, bool]:
    """Take in what a photo shows; the delivery, and whether it is new. The same again is the same delivery; a photo that was read
    otherwise, or set aside, stays so. Raises NotShown."""
    if shown.at > at + FUTURE:
        raise NotShown(_("This time is still to come. Type when the display showed it."))
    records = _records(photo.instrument, shown)
    if not records:
        raise NotShown(_("Type a value or tick a sign, or leave the photo for later."))
    body = _body(photo, records)
    before = _outcome(photo)
    if before is not None:
        if before.delivery is not None and before.delivery.body == body.decode():
            return before.delivery, False
        raise NotShown(_ended(before))
    delivery, _new = take(instrument=photo.instrument, records=records, body=body, at=at, media_type=DISPLAY)
    DisplayRead.objects.create(photo=photo, delivery=delivery, by=by, origin=photo.pk, received_at=at)
    return delivery, True


def _ended(outcome: DisplayRead) -> str:
    if outcome.delivery is None:
        return _("%(who)s has set this photo aside: “%(why)s”.") % {
            "who": outcome.by.name,
            "why": outcome.why,
        }
    return _("%(who)s has read this photo before. Correct a value there, or take a new photo.") % {
        "who": outcome.by.name
    }


@transaction.atomic
def set_photo_aside(*, photo: DisplayPhoto, why: str, by: User, at: datetime) -> DisplayRead:
    """Say that a photo is not read, and why; it is kept. The same again changes nothing. Raises NotShown."""
    why = why.strip()[:200]
    if not why:
        raise NotShown(_("Say why it is not read."))
    before = _outcome(photo)
    if before is not None:
        if before.why == why:
            return before
        raise NotShown(_ended(before))
    return DisplayRead.objects.create(photo=photo, why=why, by=by, origin=photo.pk, received_at=at)


@transaction.atomic
def correct_shown(
    *, photo: DisplayPhoto, reading: int, new: float | None, why: str, key: UUID, by: User, at: datetime
) -> Correction:
    """Say that a value was typed wrongly: what the display shows (its unit), or None where it shows none. `key` is the id of this word, so that
    the same again is one correction. Raises NotShown."""
    row = Reading.objects.filter(pk=reading, origin__in=_of(photo)).select_related("series__tank").first()
    if row is None:
        raise NotShown(_("This photo has no such value."))
    parameter = row.series.parameter
    try:
        value = None if new is None else to_canonical(parameter=parameter, value=new, unit=row.entered_unit)
        return water.correct_reading(
            reading=row, new=value, why=why, by=by, at=at, origin=key, received_at=at
        )
    except water.NotWater as wrong:
        raise NotShown(str(wrong)) from wrong


def _of(photo: DisplayPhoto) -> QuerySet[DisplayRead, UUID | None]:
    """The delivery that a photo became."""
    return DisplayRead.objects.filter(photo=photo, delivery__isnull=False).values_list("delivery", flat=True)
