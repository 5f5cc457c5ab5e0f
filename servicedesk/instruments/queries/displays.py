"""Photos of displays: who may see them, which wait to be read, what the one that reads should know, and what was read."""

from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404

from clients.queries import tanks_for
from servicedesk.core.units import PARAMETERS
from servicedesk.instruments.choices import SignKind
from servicedesk.instruments.models import DisplayPhoto, Instrument, Measure, SentSign, Sign
from servicedesk.staff.models import User
from servicedesk.water.models import Reading
from servicedesk.water.queries import latest_of_series

TOLD = (SignKind.ERROR, SignKind.LOW_SAMPLE, SignKind.WASTE_FULL, SignKind.LOW_REAGENT, SignKind.NOTE)
"""What a display says, a note last; that a line is lost or there is told by the line."""


def photos_for(user: User, *, on: date) -> QuerySet[DisplayPhoto]:
    """Photos of displays at the tanks this person of ours sees, newest first; none for a client's contact."""
    rows = DisplayPhoto.objects.select_related(
        "instrument__equipment", "instrument__tank__site", "by", "outcome__delivery", "outcome__by"
    ).order_by("-received_at", "pk")
    if user.is_client:
        return rows.none()
    return rows.filter(instrument__tank__in=tanks_for(user, on=on).order_by())


def photo_for(user: User, key: UUID, *, on: date) -> DisplayPhoto:
    """One of them; foreign and missing are the same Http404."""
    found = photos_for(user, on=on).filter(pk=key).first()
    if found is None:
        raise Http404
    return found


def waiting_for(user: User, *, on: date) -> QuerySet[DisplayPhoto]:
    """Those that wait to be read, oldest first."""
    return photos_for(user, on=on).filter(outcome__isnull=True).order_by("received_at", "pk")


def sign_names(instrument: Instrument) -> dict[str, str]:
    """By kind of sign that its display may show, the name under which this instrument says it."""
    own = dict(SentSign.objects.filter(instrument=instrument).values_list("sent_name", "kind"))
    usual = {kind.value: kind.value for kind in TOLD} | own
    found: dict[str, str] = {}
    for name, kind in [*own.items(), *usual.items()]:
        found.setdefault(kind, name)
    return {kind.value: found[kind] for kind in TOLD if kind in found}


def shown_unit(measure: Measure) -> str:
    """The unit in which its display shows a measure: a line's volts are shown as what they mean."""
    return measure.unit if measure.low_volts is None else PARAMETERS[measure.parameter].unit


def open_signs(instrument: Instrument) -> dict[str, datetime]:
    """By kind of sign that its display may show the moment since when it stands."""
    found = {}
    for kind in TOLD[:-1]:
        rows = Sign.objects.filter(instrument=instrument, kind=kind).order_by("-at", "-pk")
        newest = rows.first()
        if newest is not None and newest.on:
            found[kind.value] = newest.at
    return found


def last_shown(instrument: Instrument) -> dict[str, tuple[float, datetime]]:
    """By parameter the newest value of this instrument, canonical unit, and when that was."""
    return {
        row.parameter: (row.value, row.at)
        for row in latest_of_series([instrument.tank])
        if row.equipment_id == instrument.equipment_id
    }


@dataclass(frozen=True)
class ReadValue:
    """One value that was read off a photo: as typed, as it counts now (canonical unit; None where it was taken out), and why it was changed."""

    reading: int
    parameter: str
    at: datetime
    entered: str
    unit: str
    value: float | None
    corrected: bool
    why: str


def values_of(photo: DisplayPhoto) -> list[ReadValue]:
    """What was read off a photo and stored, in the order of the form."""
    outcome = getattr(photo, "outcome", None)
    if outcome is None or outcome.delivery_id is None:
        return []
    rows = Reading.objects.filter(origin=outcome.delivery_id).select_related("series")
    found = []
    for row in rows.prefetch_related("corrections").order_by("part"):
        last = max(row.corrections.all(), key=lambda c: c.number, default=None)
        found.append(
            ReadValue(
                row.pk,
                row.series.parameter,
                row.at,
                row.entered,
                row.entered_unit,
                row.value if last is None else last.new,
                last is not None,
                last.why if last else "",
            )
        )
    return found
