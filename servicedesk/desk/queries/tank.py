"""One tank as the office sees it: its values with their trust, its trends, and what stands around them."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import F
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients.models import Equipment, Site, Tank
from servicedesk.core import units
from servicedesk.core.drawing.glyphs import glyph_of
from servicedesk.core.drawing.levels import LevelRow
from servicedesk.core.drawing.overlay import DayOverlay, days_of
from servicedesk.core.tables import read_json
from servicedesk.desk.queries.ahead import moment
from servicedesk.dosing.queries import Settings, channels_of
from servicedesk.instruments.queries import Standings, standing_of
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries import next_visits_of
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.pages import blank_row
from servicedesk.watch.queries import word_in
from servicedesk.watch.queries.charts import mover
from servicedesk.water.choices import MethodKind
from servicedesk.water.models import Band
from servicedesk.water.queries import ReadingValue, readings_of

SPANS = (7, 28, 84)
SWINGING = ("ph", "dissolved_oxygen")
"""What swings by day and night, so that like hours are compared."""
OVERLAY_DAYS, LEAST_A_DAY = 7, 4


def level_rows(
    bands: dict[str, Band],
    latest: dict[str, ReadingValue],
    standings: Standings,
    *,
    zone: ZoneInfo,
    unmixed: dict[int, int],
) -> list[LevelRow]:
    """The last value of each parameter that has a band, judged as a visit would, with the trust of its series. What came before a dose was mixed in
    (`unmixed`, minutes after it by reading) is said so in place of a judgement."""
    ordered = sorted(bands.values(), key=lambda band: units.parameter(band.parameter).order)
    rows = [_level(band, latest.get(band.parameter), standings, zone) for band in ordered]
    values = [latest.get(band.parameter) for band in ordered]
    return [
        _unmixed(row, unmixed[value.reading_id]) if value and value.reading_id in unmixed else row
        for row, value in zip(rows, values, strict=True)
    ]


def _unmixed(row: LevelRow, minutes: int) -> LevelRow:
    """A value that came before a dose was mixed in: shown and not judged, since the next decides."""
    return replace(
        row, method=f"{row.method}, {unmixed_words(minutes)}", state="again", word=_("Water not mixed")
    )


def unmixed_words(minutes: int) -> str:
    """How long after a dose a value was measured."""
    return _("measured %(n)s min after a dose: water not mixed") % {"n": minutes}


def _level(band: Band, value: ReadingValue | None, standings: Standings, zone: ZoneInfo) -> LevelRow:
    parameter, moved = band.parameter, mover(band)
    row = replace(blank_row(parameter, band), url=f"?parameter={parameter}")
    if value is None:
        return row
    standing = standing_of(standings, value.equipment_id, parameter)
    when = date_format(value.at.astimezone(zone), "j M, H:i")
    return replace(
        row,
        method=f"{MethodKind(value.kind).label}, {when}",
        value_text=units.show(parameter, value.value, band.unit),
        value=moved(value.value),
        kind="measured",
        state=glyph_of(word_in(value.value, band)),
        trust=str(standing.trust),
        trust_why=standing.why,
    )


def overlays_of(
    tank: Tank, bands: dict[str, Band], standings: Standings, *, now: datetime, zone: ZoneInfo
) -> list[DayOverlay]:
    """The last seven days laid over each other, for pH and oxygen, where an instrument delivers often."""
    measured = {parameter for _equipment, parameter in standings}
    found = []
    for parameter in SWINGING:
        if parameter not in measured or parameter not in bands:
            continue
        first = now.astimezone(zone).date() - timedelta(days=OVERLAY_DAYS - 1)
        since = datetime.combine(first, datetime.min.time(), tzinfo=zone)
        rows = readings_of(tank, parameter=parameter, since=since, until=now)
        overlay = _overlay(bands[parameter], [r for r in rows if r.equipment_id], now, zone)
        if overlay is not None:
            found.append(overlay)
    return found


def _overlay(band: Band, rows: list[ReadingValue], now: datetime, zone: ZoneInfo) -> DayOverlay | None:
    moved, name = mover(band), units.parameter(band.parameter).name
    days = days_of(((r.at, moved(r.value)) for r in rows), zone)
    if len(days) < 2 or len(rows) < LEAST_A_DAY * len(days):
        return None
    values = [value for day in days for _hour, value in day.points]
    digits = units.decimals_in(parameter=band.parameter, unit=band.unit)
    local = now.astimezone(zone)
    today = days[-1].day == local.date()
    said = {
        "name": name,
        "n": len(days),
        "low": f"{min(values):.{digits}f}",
        "high": f"{max(values):.{digits}f} {units.unit_word(band.unit)}".strip(),
    }
    title = _("%(name)s over %(n)s days by the hour: between %(low)s and %(high)s.") % said
    if not today:
        last = date_format(days[-1].day, "l j F")
        title += " " + _("Nothing of today; the thick line is %(day)s.") % {"day": last}
    return DayOverlay(
        title=title,
        unit=units.unit_word(band.unit),
        days=days,
        low=moved(band.low),
        high=moved(band.high),
        now=local.hour + local.minute / 60 if today else None,
    )


@dataclass(frozen=True)
class Fitted:
    """A thing fitted, and where each of its measures stands (parameter, trust, why)."""

    equipment: Equipment
    measures: list[tuple[str, str, str]]
    instrument: UUID | None = None


def fitted_at(tank: Tank, standings: Standings) -> list[Fitted]:
    """What is fitted at a tank, with the trust of what it measures."""
    by_equipment: dict[UUID, list[tuple[str, str, str]]] = {}
    for (equipment, parameter), standing in standings.items():
        name = units.parameter(parameter).name
        by_equipment.setdefault(equipment, []).append((name, str(standing.trust), standing.why))
    rows = tank.equipment.filter(retired_on__isnull=True).order_by("kind", "name")
    keys = rows.annotate(own=F("instrument__pk"))
    return [Fitted(row, sorted(by_equipment.get(row.pk, [])), row.own) for row in keys]


@dataclass(frozen=True)
class Dosed:
    """A dosing channel: what it gives, and for how long its container lasts."""

    name: str
    solution: str
    words: str
    empty_soon: bool


def dosed_at(tank: Tank, *, now: datetime) -> list[Dosed]:
    """The channels of a tank with their rates and days left, as far as their settings tell."""
    channels = channels_of([tank])
    if not channels:
        return []
    settings, found = Settings(channels, now), []
    for channel in channels:
        rate, left, days = settings.rate(channel), settings.left_ml(channel), settings.days_left(channel)
        parts = [_("%(ml)s mL a day") % {"ml": f"{rate:g}"} if rate else _("gives nothing")]
        if left is None:
            parts.append(_("never filled"))
        elif left <= 0:
            parts.append(_("its container is empty"))
        else:
            parts.append(_("%(ml)s mL left") % {"ml": f"{left:.0f}"})
        if days is not None and left:
            whole = int(days)
            parts.append(
                ngettext("%(n)s day", "%(n)s days", whole) % {"n": whole}
                if whole
                else _("empty within the day")
            )
        soon = days is not None and days < 3
        found.append(Dosed(str(channel), str(channel.solution), ", ".join(parts), soon))
    return found


def last_visits(tank: Tank) -> Iterable[Visit]:
    """The last three visits to a tank, newest first."""
    rows = Visit.objects.filter(due_visit__tanks=tank).select_related("technician")
    rows = rows.only("arrived_at", "state", "technician__name")
    return rows.order_by("-arrived_at", "pk")[:3]


def next_visit(tank: Tank, *, now: datetime, zone: ZoneInfo) -> str:
    """Who comes next and when; the day it is owed where nobody is named yet; empty when none is planned."""
    today = now.astimezone(zone).date()
    row = (
        Stop.objects.filter(
            due_visit__tanks=tank,
            round__day__gte=today,
            state__in=[StopState.PLANNED, StopState.UNDER_WAY],
        )
        .order_by("round__day", "planned_at", "pk")
        .values_list("round__technician__name", "round__day", "planned_at", "minutes", "state")
        .first()
    )
    if row is None:
        due = next_visits_of([tank], after=today - timedelta(days=1)).get(tank.pk)
        return _("Owed on %(day)s; nobody is named yet.") % {"day": _day(due)} if due else ""
    who, day, at, minutes, state = row
    if state == StopState.UNDER_WAY:
        return _("%(who)s is there now.") % {"who": who}
    begins = datetime.combine(day, at, tzinfo=zone)
    when = moment(begins, now=now, zone=zone)
    if begins < now:
        return _("%(who)s was due today at %(when)s and has not begun.") % {"who": who, "when": when}
    if day == today:
        when = _("Today %(time)s") % {"time": when}
    return _("%(when)s, %(who)s, %(n)s min.") % {"when": when, "who": who, "n": minutes}


def _day(day: date) -> str:
    return date_format(day, "l j F")


def cautions_at(site: Site) -> list[tuple[str, list[str]]]:
    """The work hazards of a site: title and what to do."""
    known = {row["id"]: row for row in read_json("hazards.json")["hazards"]}
    return [(known[key]["title"], known[key]["lines"]) for key in site.cautions if key in known]


def lead_of(rows: list[LevelRow], sentence: str) -> str:
    """The tank in one sentence: what wants attention first, else how many values stand in band."""
    if sentence:
        return sentence
    known = [row for row in rows if row.kind == "measured"]
    if not known:
        return _("Nothing has been measured here yet.")
    inside = sum(1 for row in known if row.state == "in")
    if inside == len(known):
        return _("Everything that was measured stands in band.")
    return _("%(n)s of %(all)s values stand in band.") % {"n": inside, "all": len(known)}
