"""What an instrument needs next, and everything that happened to it, in one line of time."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.core import units
from servicedesk.dispatch.queries import standing
from servicedesk.instruments.choices import SignKind, Trust
from servicedesk.instruments.models import Calibration, Instrument, Measure, ReagentLoad, Sign, TrustMove
from servicedesk.instruments.queries import bottles_left, empty_day, loads_of
from servicedesk.watch.choices import AttentionKind
from servicedesk.watch.models import Attention

OF_THE_WATCH = (
    AttentionKind.SILENT,
    AttentionKind.STUCK,
    AttentionKind.DISAGREES,
    AttentionKind.DRIFTS,
    AttentionKind.USELESS,
)
"""What the watch says of an instrument itself, beside what it says of its signs and bottles, which have lines of their own."""


@dataclass(frozen=True)
class Need:
    """One thing an instrument needs: of what, when, and whether that is past or within the week."""

    name: str
    words: str
    pressing: bool


@dataclass(frozen=True)
class Moment:
    """One thing that happened: when, what, and what stands behind it."""

    at: datetime
    words: str
    why: str = ""


def needs_of(measures: Iterable[Measure], *, now: datetime, zone: ZoneInfo) -> list[Need]:
    """Bottles with the tests that are left in them, and when each measure is due for calibration."""
    rows = list(measures)
    return [*_bottles(rows, now, zone), *_calibrations(rows, now, zone)]


def _bottles(rows: list[Measure], now: datetime, zone: ZoneInfo) -> Iterator[Need]:
    loads = loads_of(rows, now)
    for measure, tests in bottles_left(rows, now):
        whole, day = int(tests), empty_day(measure, loads[measure.pk], now.astimezone(zone))
        words = ngettext(
            "one test left in the bottle, by its schedule until %(day)s",
            "%(n)s tests left in the bottle, by its schedule until %(day)s",
            whole,
        )
        said = words % {"n": whole, "day": date_format(day, "j F")} if day else ""
        soon = day is not None and day <= (now.astimezone(zone) + timedelta(days=7)).date()
        yield Need(_named(measure), said, soon)


def _calibrations(rows: list[Measure], now: datetime, zone: ZoneInfo) -> Iterator[Need]:
    done = standing(Calibration.objects.filter(measure__in=rows, at__lte=now)).order_by("at")
    last = dict(done.values_list("measure", "at"))
    for measure in rows:
        if measure.calibrate_every_days == 0 or units.parameter(measure.parameter).signal:
            continue
        at = last.get(measure.pk)
        if at is None:
            yield Need(_named(measure), _("never calibrated, as far as is written down"), False)
            continue
        due = (at + timedelta(days=measure.calibrate_every_days)).astimezone(zone).date()
        today = now.astimezone(zone).date()
        days = {"last": date_format(at.astimezone(zone), "j F"), "due": date_format(due, "j F")}
        words = (
            _("calibrated %(last)s, was due again %(due)s")
            if due < today
            else _("calibrated %(last)s, due again %(due)s")
        )
        yield Need(_named(measure), words % days, due <= today + timedelta(days=7))


def _named(measure: Measure) -> str:
    return units.parameter(measure.parameter).name


def timeline(
    instrument: Instrument, measures: Iterable[Measure], *, until: datetime, most: int
) -> list[Moment]:
    """The newest things that happened to an instrument, newest first, at most so many."""
    rows = list(measures)
    found = [
        *_facts(rows, until, most),
        *_signs(instrument, until, most),
        *_watched(instrument, until, most),
        *_begun(instrument, until, most),
    ]
    return sorted(found, key=lambda moment: moment.at, reverse=True)[:most]


def _facts(rows: list[Measure], until: datetime, most: int) -> Iterator[Moment]:
    asked = {"measure__in": rows, "at__lte": until}
    for done in (
        standing(Calibration.objects.filter(**asked)).select_related("measure").order_by("-at")[:most]
    ):
        known = units.parameter(done.measure.parameter)
        unit = units.unit_word(known.unit)
        words = _("%(name)s calibrated: it showed %(before)s where %(reference)s was true")
        shown = {"name": known.name, "before": _number(done, "before"), "reference": f"{_number(done, 'reference')} {unit}".strip()}  # fmt: skip
        yield Moment(done.at, words % shown)
    loads = standing(ReagentLoad.objects.filter(**asked)).select_related("measure", "lot")
    for load in loads.order_by("-at")[:most]:
        words = _("%(name)s: a bottle of %(ml)s mL put in") % {
            "name": _named(load.measure),
            "ml": f"{load.ml:g}",
        }
        yield Moment(load.at, words, _("lot %(code)s") % {"code": load.lot.code} if load.lot else "")
    moves = standing(TrustMove.objects.filter(**asked)).select_related("measure")
    for move in moves.order_by("-at")[:most]:
        words = _("%(name)s: %(trust)s") % {"name": _named(move.measure), "trust": Trust(move.trust).label}
        yield Moment(move.at, words, move.why)


def _number(row: Calibration, name: str) -> str:
    known = units.parameter(row.measure.parameter)
    return units.show(known.key, getattr(row, name), known.unit)


def _signs(instrument: Instrument, until: datetime, most: int) -> Iterator[Moment]:
    rows = Sign.objects.filter(instrument=instrument, at__lte=until).exclude(kind=SignKind.ALIVE)
    for sign in rows.order_by("-at", "-pk")[:most]:
        label = SignKind(sign.kind).label
        said_of = str(label) if sign.on else _("no more: %(what)s") % {"what": label}
        yield Moment(sign.at, said_of, sign.text)


def _watched(instrument: Instrument, until: datetime, most: int) -> Iterator[Moment]:
    rows = Attention.objects.filter(instrument=instrument, kind__in=OF_THE_WATCH, since__lte=until)
    for row in rows.order_by("-since", "pk")[:most]:
        yield Moment(row.since, row.sentence, row.why)
        if row.cleared_at is not None and row.cleared_at <= until:
            yield Moment(row.cleared_at, _("over: %(what)s") % {"what": row.sentence})


def _begun(instrument: Instrument, until: datetime, most: int) -> Iterator[Moment]:
    rows = instrument.commissionings.filter(begun_at__lte=until).select_related("begun_by")
    for row in rows.order_by("-begun_at", "pk")[:most]:
        yield Moment(row.begun_at, _("bringing it into use was begun"), row.begun_by.name)
        if row.ended_at is not None and row.ended_at <= until:
            yield Moment(row.ended_at, _("brought into use"), row.note)
