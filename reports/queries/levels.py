"""Three to five values of a tank in the client's words, what changed, and twelve weeks of the one that matters most.

After a water change only warmth and salt mean something at once: the rest is expected, worked out by dilution, and
is labelled so."""

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from django.utils.translation import gettext as _

from clients.models import Tank
from reports.queries import words
from reports.queries.fit import MOST_EACH
from reports.queries.shape import Level, Line, Trend
from servicedesk.core import units
from servicedesk.core.advice import word_of
from servicedesk.core.chemistry.water import after_changes
from servicedesk.core.drawing.glyphs import glyph_of
from servicedesk.visits.queries import TankToday, Tested
from servicedesk.visits.queries.sheet import FRESH_MIX, band_spec
from servicedesk.water.models import WaterChange
from servicedesk.water.queries import ReadingValue

WEEKS = 12
MOST_LEVELS, MOST_COMPACT = 5, 4
MOST_TRENDS = 5
AT_ONCE = {"temperature", "salinity", "conductivity"}
"""What a water change makes meaningful at once; everything else has to settle (common practice)."""
WORSE = {"under": 4, "over": 4, "low": 3, "high": 3, "again": 2, "in": 1, "none": 0}
MARKERS = {"kit": "titration"}
NOTICED = 0.15
"""A step of so much of the band's width is told as a change."""


@dataclass(frozen=True)
class Judged:
    """One test of today, with its level. `shift` is how far it moved since last time, in bands."""

    tested: Tested
    level: Level
    shift: float

    @property
    def apart(self) -> bool:
        return _apart(self.tested)

    @property
    def beyond(self) -> bool:
        """Beyond a limit; of results that do not agree, that any one of them is."""
        if not self.apart:
            return self.level.state in ("under", "over")
        band = self.tested.band
        results = self.tested.replicates if band else []
        return any(word_of(band_spec(band), r.value).endswith("_limit") for r in results if band)

    @property
    def rank(self) -> tuple[int, int]:
        order = words.ORDER
        place = order.index(self.level.parameter) if self.level.parameter in order else len(order)
        return -WORSE[self.level.state], place


def _apart(tested: Tested) -> bool:
    """Today's results do not agree: none of them, nor their mean, is told as the value."""
    return tested.reference is not None and not tested.reference.agree


def _glyph(tested: Tested) -> str:
    """The state as it is told: a surprising value that nobody tested again stands as it was measured; only one in
    band is told as a surprise. Results that do not agree are tested again, whatever their mean would be."""
    if _apart(tested):
        return "again"
    verdict = tested.verdict
    return glyph_of(verdict.word if verdict.also in ("in_band", "not_tested") else verdict.also)


def _expected(tested: Tested, tank: Tank, changes: list[WaterChange]) -> float | None:
    """What the value is expected to be after today's water changes; None where the value needs no such word."""
    parameter = tested.test.parameter
    if tested.value is None or not changes or parameter in AT_ONCE or _apart(tested):
        return None
    marine = tank.water_type.startswith(("reef", "marine"))
    fresh = FRESH_MIX["marine" if marine else "fresh"].get(parameter)
    if fresh is None:
        return tested.value
    taken = max(r.at for r in tested.replicates)
    value = tested.value
    for change in changes:
        if change.at >= taken:
            value = after_changes(now=value, fresh=fresh, fraction=min(change.litres / tank.net_l, 1.0))
    return value


def _moved(tested: Tested, value: float | None) -> float | None:
    if value is None:
        return None
    return units.from_canonical(parameter=tested.test.parameter, value=value, unit=tested.unit)


def _unsure(tested: Tested) -> Level:
    """A test whose results do not agree: no value stands, nor is last time's drawn in its place."""
    parameter, band = tested.test.parameter, tested.band
    return Level(
        parameter=parameter,
        name=words.name_of(parameter),
        value_text="–",
        band_text=words.band_text(band),
        kind="measured",
        state="again",
        word=words.apart_word(),
        low=_moved(tested, band.low) if band else None,
        high=_moved(tested, band.high) if band else None,
        alarm_low=_moved(tested, band.alarm_low) if band else None,
        alarm_high=_moved(tested, band.alarm_high) if band else None,
    )


def _level(tested: Tested, expected: float | None) -> Level:
    if _apart(tested):
        return _unsure(tested)
    parameter, band, state = tested.test.parameter, tested.band, _glyph(tested)
    value = tested.value if expected is None else expected
    text = "" if value is None else words.with_unit(parameter, value, tested.unit)
    word = words.level_word(parameter, state)
    if expected is not None and tested.value is not None:
        text = _("about %(value)s") % {"value": text}
        measured = units.show(parameter, tested.value, tested.unit)
        word = _("worked out; %(value)s before the water change: %(word)s") % {
            "value": measured,
            "word": word,
        }
    kind = "not_tested" if value is None else "measured" if expected is None else "expected"
    return Level(
        parameter=parameter,
        name=words.name_of(parameter),
        value_text=text,
        band_text=words.band_text(band),
        kind=kind,
        state=state,
        word=word,
        value=_moved(tested, value),
        low=_moved(tested, band.low) if band else None,
        high=_moved(tested, band.high) if band else None,
        alarm_low=_moved(tested, band.alarm_low) if band else None,
        alarm_high=_moved(tested, band.alarm_high) if band else None,
        last=_moved(tested, tested.last.value) if tested.last else None,
    )


def _shift(tested: Tested) -> float:
    band = tested.band
    if tested.value is None or tested.last is None or band is None or band.high is None or _apart(tested):
        return 0.0
    width = band.high - (band.low if band.low is not None else 0.0)
    return (tested.value - tested.last.value) / width if width else 0.0


def judged(today: TankToday, changes: list[WaterChange]) -> list[Judged]:
    """Every test of the tank, tested today or not, signals left out."""
    rows = []
    for tested in today.tested:
        if units.parameter(tested.test.parameter).signal:
            continue
        level = _level(tested, _expected(tested, today.tank, changes))
        rows.append(Judged(tested=tested, level=level, shift=_shift(tested)))
    return rows


def told(rows: list[Judged], *, tanks: int) -> list[Level]:
    """Three to five values: what is outside first to get in, shown in the client's order."""
    tested = [row for row in rows if row.level.kind != "not_tested"]
    most = MOST_COMPACT if 1 < tanks <= MOST_EACH else MOST_LEVELS
    outside = sum(WORSE[row.level.state] > 1 for row in tested)
    picked = sorted(tested, key=lambda row: row.rank)[: max(most, min(outside, MOST_LEVELS))]
    return [row.level for row in sorted(picked, key=lambda row: row.rank[1])]


def not_tested(rows: list[Judged], zone: tzinfo) -> list[str]:
    """What was not tested, with the day on which it last was; what shares a day shares a line."""
    groups: dict[str, list[str]] = {}
    for row in rows:
        if row.level.kind == "not_tested":
            groups.setdefault(_why_not(row.tested, zone), []).append(row.level.name)
    return [f"{words.in_sentence(names)}: {why}" for why, names in groups.items()]


def _why_not(tested: Tested, zone: tzinfo) -> str:
    last = tested.last
    if last is None:
        return _("not tested yet")
    said = {"day": words.short_day(last.at.astimezone(zone)), "days": tested.test.every_days}
    if last.source_kind == "equipment":
        return _("not tested by hand today; measured by its own tester on %(day)s") % said
    return _("not tested today; last on %(day)s, usually every %(days)s days") % said


def settling(rows: list[Judged]) -> list[str]:
    """What the water change leaves untested."""
    names = [row.level.name for row in rows if row.level.kind == "expected"]
    if not names:
        return []
    said = {"names": words.in_sentence(names)}
    return [_("%(names)s: not tested again after the water change; the new water has to mix in first") % said]


def changed(rows: list[Judged]) -> list[str]:
    """What moved most since last time, at most three, biggest first."""
    moved = [row for row in rows if abs(row.shift) >= NOTICED and row.tested.last is not None]
    lines = []
    for row in sorted(moved, key=lambda row: -abs(row.shift))[:3]:
        last = row.tested.last
        assert last is not None and row.tested.value is not None
        said = {
            "name": row.level.name,
            "before": units.show(row.level.parameter, last.value, row.tested.unit),
            "now": words.with_unit(row.level.parameter, row.tested.value, row.tested.unit),
        }
        rose = row.shift > 0
        lines.append(
            _("%(name)s rose from %(before)s to %(now)s.") % said
            if rose
            else _("%(name)s fell from %(before)s to %(now)s.") % said
        )
    return lines


def trends(today: TankToday, rows: list[Judged], *, at: datetime) -> list[Trend]:
    """Twelve weeks of each value with three results: what is furthest out first, then what was tested today, then
    carbonate and nitrate before the others."""
    since = at - timedelta(weeks=WEEKS)
    plain = ("alkalinity", "carbonate_hardness", "nitrate", "salinity", "temperature")
    first = {p: n for n, p in enumerate(plain)}
    ranked = sorted(
        rows, key=lambda row: (-WORSE[row.level.state], first.get(row.level.parameter, len(first)))
    )
    found = ((row, _points(today, row.level.parameter, since)) for row in ranked)
    return [_trend(row, points, since, at) for row, points in found if len(points) >= 3][:MOST_TRENDS]


def _points(today: TankToday, parameter: str, since: datetime) -> list[ReadingValue]:
    reference = today.reference(parameter)
    now = today.today.get(parameter, []) if reference is not None and reference.agree else []
    both = [*today.before.get(parameter, []), *now]
    return [r for r in both if r.at >= since and r.seq == 0]


def _trend(row: Judged, points: list[ReadingValue], since: datetime, at: datetime) -> Trend:
    lines: dict[str, Line] = {}
    for reading in points:
        marker = MARKERS.get(reading.kind, reading.kind)
        line = lines.setdefault(reading.kind, Line(label=reading.method_name, marker=marker, points=[]))
        shown = _moved(row.tested, reading.value)
        assert shown is not None
        line.points.append((reading.at.isoformat(), shown))
    kept = sorted(lines.values(), key=lambda line: -len(line.points))[:3]
    level = row.level
    said = {"name": level.name, "n": sum(len(line.points) for line in kept)}
    inside = [
        (level.low is None or v >= level.low) and (level.high is None or v <= level.high)
        for line in kept
        for _at, v in line.points
    ]
    if all(inside):
        says = _("%(name)s over twelve weeks: all %(n)s tests between the two lines.") % said
    else:
        says = _("%(name)s over twelve weeks: %(in)s of %(n)s tests between the two lines.") % {
            **said,
            "in": sum(inside),
        }
    return Trend(
        name=level.name,
        says=says,
        unit=words.unit_of(row.tested.unit),
        start=since.isoformat(),
        end=at.isoformat(),
        lines=kept,
        low=level.low,
        high=level.high,
        alarm_low=level.alarm_low,
        alarm_high=level.alarm_high,
    )
