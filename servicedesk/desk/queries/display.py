"""What stands beside the photo of a display: what to type, with the last value and the band, and what came of it in words."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.core import units
from servicedesk.core.drawing.glyphs import glyph_of
from servicedesk.instruments.choices import READ_BY_EYE
from servicedesk.instruments.models import DisplayPhoto, Instrument, Measure
from servicedesk.instruments.queries.displays import ReadValue, last_shown, open_signs, shown_unit, values_of
from servicedesk.watch.queries import word_in
from servicedesk.water.models import Band
from servicedesk.water.queries import bands_of


@dataclass(frozen=True)
class Asked:
    """One measure to be read: its id, name, the word of its unit, and what was known of it before."""

    key: UUID
    name: str
    unit_word: str
    help: str


def asked_of(instrument: Instrument, *, zone: ZoneInfo) -> list[Asked]:
    """What its display may show, in the order of the tank's parameters."""
    rows = Measure.objects.filter(instrument=instrument).select_related("method")
    bands, last = bands_of(instrument.tank), last_shown(instrument)
    ordered = sorted(rows, key=lambda row: (units.parameter(row.parameter).order, row.sent_name))
    return [
        Asked(
            row.pk,
            units.parameter(row.parameter).name,
            units.unit_word(shown_unit(row)),
            _help(row, bands.get(row.parameter), last.get(row.parameter), zone),
        )
        for row in ordered
    ]


def _help(row: Measure, band: Band | None, last: tuple[float, datetime] | None, zone: ZoneInfo) -> str:
    """The last value and when, and the band, in the unit of the display where it has one."""
    parts = [_("Not shown before.")]
    if last is not None:
        said = {"value": _text(row, last[0]), "when": date_format(last[1].astimezone(zone), "j M, H:i")}
        parts = [_("Last %(value)s, %(when)s.") % said]
    if band is not None and band.low is not None and band.high is not None:
        parts.append(
            _("Band %(low)s to %(high)s.") % {"low": _text(row, band.low), "high": _text(row, band.high)}
        )
    return " ".join(parts)


def _text(row: Measure, value: float) -> str:
    return units.show(row.parameter, value, shown_unit(row))


def stands(instrument: Instrument, *, zone: ZoneInfo) -> dict[str, str]:
    """By kind of sign that stands, since when it is said."""
    return {
        kind: _("It says so since %(when)s.") % {"when": date_format(at.astimezone(zone), "j M, H:i")}
        for kind, at in open_signs(instrument).items()
    }


@dataclass(frozen=True)
class CameOf:
    """A value that was read: how it reads now, how it stands to the tank's band, what was typed and why it was changed."""

    value: ReadValue
    name: str
    now: str
    word: str
    glyph: str


def came_of(photo: DisplayPhoto) -> list[CameOf]:
    """What was read off a photo and stored, each value judged as the page of the tank would."""
    bands = bands_of(photo.instrument.tank)
    found = []
    for row in values_of(photo):
        band = bands.get(row.parameter)
        word = word_in(row.value, band) if band is not None and row.value is not None else ""
        now = ""
        if row.value is not None:
            text = units.show(row.parameter, row.value, row.unit)
            now = f"{text} {units.unit_word(row.unit)}".strip()
        found.append(
            CameOf(row, units.parameter(row.parameter).name, now, word, glyph_of(word) if word else "")
        )
    return found


def leads(instrument: Instrument, *, silent: bool) -> bool:
    """Whether reading its display is the first thing to do with it: it has no line, or its line is silent."""
    return silent or instrument.reports_by in READ_BY_EYE
