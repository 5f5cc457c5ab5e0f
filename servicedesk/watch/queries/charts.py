"""A parameter of a tank over time, as a chart: on the tank's page and beside an alarm."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from clients.models import Tank
from servicedesk.core import units
from servicedesk.core.drawing.chart import Chart, ChartEvent, ChartSeries, Marker
from servicedesk.instruments.choices import Trust
from servicedesk.instruments.queries import Standings, standing_of, standings_of
from servicedesk.instruments.queries.mixing import minutes_since_dose
from servicedesk.watch.models import Attention
from servicedesk.water.models import Band
from servicedesk.water.queries import bands_of, readings_of, water_changes_of

MARKERS: dict[str, Marker] = {
    "photometer": "photometer",
    "kit": "titration",
    "probe": "probe",
    "titrator": "titrator",
    "strip": "strip",
    "laboratory": "laboratory",
}
BESIDE_ALARM_DAYS = 14
"""So much of the past tells how it came to an alarm (common practice)."""


def mover(band: Band) -> Any:
    """Turns canonical values into the unit in which a tank is read."""

    def moved(number: float | None) -> float | None:
        if number is None:
            return None
        return units.from_canonical(parameter=band.parameter, value=number, unit=band.unit)

    return moved


def _moment(at: datetime, now: datetime, zone: ZoneInfo) -> str:
    local = at.astimezone(zone)
    return date_format(local, "H:i" if local.date() == now.astimezone(zone).date() else "l j F, H:i")


Groups = dict[tuple[str, Marker], list[tuple[datetime, float]]]


def _chart_title(band: Band, groups: Groups, now: datetime, zone: ZoneInfo) -> str:
    """The chart's answer as a sentence: where the last value stood and when."""
    name = units.parameter(band.parameter).name
    last = max(((at, v) for points in groups.values() for at, v in points), default=None)
    if last is None:
        return _("%(name)s has not been measured in this time.") % {"name": name}
    digits = units.decimals_in(parameter=band.parameter, unit=band.unit)
    said = {
        "name": name,
        "value": f"{last[1]:.{digits}f} {units.unit_word(band.unit)}".strip(),
        "when": _moment(last[0], now, zone),
    }
    return _("%(name)s stood at %(value)s, %(when)s.") % said


def chart_of(
    tank: Tank, band: Band, standings: Standings, *, days: int, now: datetime, zone: ZoneInfo
) -> Chart:
    """A parameter over time, each method by its marker, a doubted one named so in the key."""
    since, moved = now - timedelta(days=days), mover(band)
    groups: Groups = {}
    found = readings_of(tank, parameter=band.parameter, since=since)
    unmixed = minutes_since_dose(tank, found, standings)
    for row in found:
        label = row.method_name
        if row.reading_id in unmixed:
            label = _("%(method)s (water not mixed)") % {"method": label}
        trust = standing_of(standings, row.equipment_id, band.parameter).trust
        if trust != Trust.BELIEVED:
            label = f"{label} ({trust.label})"
        key = (label, MARKERS.get(row.kind, "probe"))
        groups.setdefault(key, []).append((row.at, moved(row.value)))
    return Chart(
        title=_chart_title(band, groups, now, zone),
        unit=units.unit_word(band.unit),
        series=[
            ChartSeries(label, marker, points, gap=timedelta(days=2 if marker == "titrator" else 9))
            for (label, marker), points in sorted(groups.items(), key=lambda pair: -len(pair[1]))[:3]
        ],
        low=moved(band.low),
        high=moved(band.high),
        limit_low=moved(band.alarm_low),
        limit_high=moved(band.alarm_high),
        events=[ChartEvent(c.at, "change", f"{c.litres:g} L") for c in water_changes_of(tank, since)],
        now=now,
        start=since,
        end=now + timedelta(days=max(1, days // 20)),
        zone=zone,
    )


def chart_beside(row: Attention, *, now: datetime, zone: ZoneInfo) -> Chart | None:
    """What an alarm's parameter did in the two weeks before it, up to now where it stands open; None where it is about no parameter with a band."""
    band = bands_of(row.tank).get(row.parameter) if row.tank and row.parameter else None
    if row.tank is None or band is None:
        return None
    until = row.cleared_at or now
    days = BESIDE_ALARM_DAYS + max(0, (until - row.since).days)
    drawn = chart_of(row.tank, band, standings_of([row.tank]), days=days, now=until, zone=zone)
    return replace(drawn, now=None) if row.cleared_at else drawn  # its end is not today
