"""What wants attention now, and when harm begins where that can be told."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from django.db.models import F, Q, QuerySet
from django.db.models.functions import Now

from clients.models import Tank
from servicedesk.core import units
from servicedesk.core.advice import BandSpec, word_of
from servicedesk.core.tracking.harm import BEARABLE_H, hours_to_limit
from servicedesk.core.tracking.mixed import ENOUGH_ALONE
from servicedesk.dispatch.queries import last_done
from servicedesk.instruments.choices import Trust
from servicedesk.instruments.models import Instrument
from servicedesk.instruments.queries import standing_of, standings_of
from servicedesk.instruments.queries.mixing import MIXED, Mixing
from servicedesk.staff.models import User
from servicedesk.watch.models import Attention
from servicedesk.water.models import Band, Method, Reading
from servicedesk.water.queries import ReadingValue, latest_of_series, readings_of
from servicedesk.web.prepared import KEY, MOMENT, NUMBER, Slot, prepared

# The sweep comes every two minutes; after five that did not come, nobody can say that all is well (common practice).
STALE = timedelta(minutes=10)
TREND_DAYS, SHORT_TREND_DAYS, ENOUGH_POINTS = 90, 7, 8


SHOWN = (
    *("kind", "word", "sentence", "why", "harm_at", "severity", "site__name"),
    *("tank__name", "tank__site__name"),
)


@prepared()
def _open() -> QuerySet[Attention]:
    aside = Q(shelved_until__gt=Now())  # set aside with an end: it stands on the page of alarms meanwhile
    rows = Attention.objects.filter(cleared_at__isnull=True).exclude(aside)
    rows = rows.select_related("tank", "tank__site", "site")
    soonest = F("harm_at").asc(nulls_last=True)
    return rows.order_by(soonest, "severity", "tank__site__name", "tank__name", "pk").only(*SHOWN)


@prepared(tank=KEY)
def _open_at(tank: Slot) -> QuerySet[Attention]:
    rows = Attention.objects.filter(cleared_at__isnull=True, tank=tank)
    return rows.order_by(F("harm_at").asc(nulls_last=True), "severity", "pk")


def open_for(user: User) -> list[Attention]:
    """Open rows, soonest harm first, then by severity, never by age: everything for owner and office, nothing for
    anybody else. Only what is shown of them is read."""
    return _open() if user.is_office else []


@dataclass(frozen=True)
class Looked:
    """When the tanks were last judged, `at` None where never, and whether that is too long ago to call a day quiet."""

    at: datetime | None
    stale: bool


def looked(*, now: datetime) -> Looked:
    """When the sweep last went through to its end."""
    at = last_done("sweep")
    return Looked(at, at is None or now - at > STALE)


def harm_at(tank: Tank, value: ReadingValue | None, band: Band | None) -> datetime | None:
    """When harm begins for a parameter: at once beyond its limit, in hours for a lost life-support signal, when the
    trend of the value's own series meets the limit otherwise; None where nothing tells."""
    if value is None or band is None:
        return None
    beyond = word_in(value.value, band).endswith("limit")
    if units.parameter(value.parameter).signal:
        return value.at + timedelta(hours=BEARABLE_H[value.parameter]) if beyond else None
    if beyond:
        return value.at
    points = _points(tank, value)
    method = Method.objects.get(pk=value.method_id)
    tolerance = max(method.tolerance_abs, method.tolerance_rel * abs(value.value), method.resolution)
    hours = hours_to_limit(points, low=band.alarm_low, high=band.alarm_high, tolerance=tolerance)
    return None if hours is None else value.at + timedelta(hours=hours)


def word_in(value: float, band: Band) -> str:
    """The word of a value against its band, the same that a visit says."""
    names = ("low", "high", "alarm_low", "alarm_high")
    edges = {name: getattr(band, name) for name in names}
    return word_of(BandSpec(parameter=band.parameter, unit=band.unit, **edges), value)


def name_in_words(parameter: str) -> str:
    """A parameter's name inside a sentence: "alkalinity", and "pH" as it is written."""
    name = units.parameter(parameter).name
    return name if name[1:2].isupper() else name[:1].lower() + name[1:]


@dataclass(frozen=True)
class Newest:
    """The newest value of a parameter that is believed, and the newest of an instrument in doubt with its trust."""

    believed: ReadingValue | None = None
    in_doubt: ReadingValue | None = None
    trust: Trust = Trust.BELIEVED


LAST = 12


@prepared(series=NUMBER, until=MOMENT)
def last_of(series: Slot, until: Slot) -> QuerySet[Reading, tuple[datetime, float]]:
    """The last twelve of a series, newest first."""
    rows = Reading.objects.filter(series=series, at__lte=until)
    return rows.order_by("-at", "pk").values_list("at", "value")[:LAST]


def _counted(value: ReadingValue, mixing: Mixing) -> ReadingValue | None:
    """The value to go by: itself; where it came before a dose was mixed in, the last of its series that counts. None where that is not known yet."""
    if mixing.since_dose(value.equipment_id, value.parameter, value.at) is None:
        return value
    rows = list(last_of(series=value.series_id, until=value.at))[::-1]
    counts = mixing.counting(value.equipment_id, value.parameter, rows)
    kept = [row for row, count in zip(rows, counts, strict=True) if count]
    if kept:
        return replace(value, at=kept[-1][0], value=kept[-1][1])
    return value if len(rows) >= ENOUGH_ALONE else None


def newest_of(tank: Tank, at: datetime, mixing: Mixing = MIXED) -> dict[str, Newest]:
    """The newest values of a tank per parameter, those of instruments in doubt apart from those that are believed. What came before a dose was mixed in
    decides nothing alone."""
    standings = standings_of([tank])
    found: dict[str, Newest] = {}
    newest = latest_of_series([tank], until=at)
    if mixing is not MIXED:
        counted = [_counted(value, mixing) for value in newest]
        newest = sorted((value for value in counted if value is not None), key=lambda value: value.at)
    for value in newest:
        before = found.get(value.parameter, Newest())
        trust = standing_of(standings, value.equipment_id, value.parameter).trust
        if trust == Trust.BELIEVED:
            found[value.parameter] = replace(before, believed=value)
        else:
            found[value.parameter] = replace(before, in_doubt=value, trust=trust)
    return found


def silence_harms_at(instrument: Instrument, last: datetime) -> datetime | None:
    """When animals may suffer unseen: the shortest hours of the life-support signals that nobody hears any more."""
    hours = [BEARABLE_H[m.parameter] for m in instrument.measures.all() if m.parameter in BEARABLE_H]
    return last + timedelta(hours=min(hours)) if hours else None


def _points(tank: Tank, value: ReadingValue) -> list[tuple[float, float]]:
    """(Days ago, value) of the same series, oldest first: the last week where that holds enough, else a quarter."""
    since = value.at - timedelta(days=TREND_DAYS)
    rows = readings_of(tank, parameter=value.parameter, since=since, until=value.at)
    points = [
        ((value.at - r.at).total_seconds() / 86400, r.value) for r in rows if r.series_id == value.series_id
    ]
    short = [point for point in points if point[0] <= SHORT_TREND_DAYS]
    return short if len(short) >= ENOUGH_POINTS else points


def of_seen_tank(tank: Tank) -> list[Attention]:
    """Open rows of a tank that one of ours was given to see (get_tank_for), soonest harm first."""
    return _open_at(tank=tank.pk)
