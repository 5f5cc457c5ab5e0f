"""Three to five values of a tank in the client's words, what changed, and twelve weeks of the one that matters most.

After a water change only warmth and salt mean something at once: the rest is worked out by dilution where the new
water is known, and labelled so; what it is not known to hold stands as measured before."""

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from django.utils.translation import gettext as _

from reports.queries import words
from reports.queries.fit import MOST_EACH
from reports.queries.mixing import Since, since
from reports.queries.shape import Level, Line, Trend
from servicedesk.core import units
from servicedesk.core.advice import word_of
from servicedesk.core.drawing.glyphs import glyph_of
from servicedesk.visits.queries import TankToday, Tested
from servicedesk.visits.queries.sheet import band_spec
from servicedesk.visits.queries.since import Work
from servicedesk.water.queries import ReadingValue

WEEKS = 12
MOST_LEVELS, MOST_COMPACT = 5, 4
MOST_TRENDS = 5
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
    settles: bool

    @property
    def state(self) -> str:
        """The worse of what was measured and what is expected now: new water undoes no result."""
        measured = _glyph(self.tested)
        return max(self.level.state, measured, key=lambda state: WORSE[state])

    @property
    def told_as(self) -> str:
        """The state that a sentence tells: as `words.outside` takes it."""
        if self.apart:
            return "apart"
        better = WORSE[self.state] > WORSE[self.level.state] > 0
        return f"was_{self.state}" if better and self.state != "again" else self.level.state

    @property
    def apart(self) -> bool:
        return _apart(self.tested)

    @property
    def beyond(self) -> bool:
        """Beyond a limit; of results that do not agree, that any one of them is."""
        if not self.apart:
            return self.state in ("under", "over")
        band = self.tested.band
        results = self.tested.replicates if band else []
        return any(word_of(band_spec(band), r.value).endswith("_limit") for r in results if band)

    @property
    def rank(self) -> tuple[int, int]:
        order = words.ORDER
        place = order.index(self.level.parameter) if self.level.parameter in order else len(order)
        return -WORSE[self.state], place


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


def _shown_state(tested: Tested, value: float) -> str:
    """The state of a value that was worked out, judged as it is shown: rounded. What was a surprise stays one as long
    as nothing worse is to be said."""
    if tested.band is None:
        return _glyph(tested)
    shown = units.parse_typed(units.show(tested.test.parameter, value, tested.unit))
    canonical = units.to_canonical(parameter=tested.test.parameter, value=shown, unit=tested.unit)
    state = glyph_of(word_of(band_spec(tested.band), canonical))
    return "again" if state == "in" and _glyph(tested) == "again" else state


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


def _level(tested: Tested, since: Since) -> Level:
    if _apart(tested):
        return _unsure(tested)
    parameter, band, state = tested.test.parameter, tested.band, _glyph(tested)
    value, kind = tested.value, "not_tested" if tested.value is None else "measured"
    if since.expected is not None:
        value, kind, state = since.expected, "expected", _shown_state(tested, since.expected)
    text = "" if value is None else words.with_unit(parameter, value, tested.unit)
    word = words.level_word(parameter, state)
    if since.expected is not None and tested.value is not None:
        text = _("about %(value)s") % {"value": text}
        word = words.worked_out(word, units.show(parameter, tested.value, tested.unit), dosed=since.dosed)
    elif since.changed:
        word = words.measured_before(word, dosed=since.dosed)
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


def judged(today: TankToday, work: Work) -> list[Judged]:
    """Every test of the tank, tested today or not, signals left out."""
    rows = []
    for tested in today.tested:
        if units.parameter(tested.test.parameter).signal:
            continue
        after = since(tested, work)
        level = _level(tested, after)
        rows.append(Judged(tested=tested, level=level, shift=_shift(tested), settles=after.changed))
    return rows


def told(rows: list[Judged], *, tanks: int) -> list[Level]:
    """Three to five values: what is outside first to get in, shown in the client's order."""
    tested = [row for row in rows if row.level.kind != "not_tested"]
    most = MOST_COMPACT if 1 < tanks <= MOST_EACH else MOST_LEVELS
    outside = sum(WORSE[row.state] > 1 for row in tested)
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
    names = [row.level.name for row in rows if row.settles]
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
    start = at - timedelta(weeks=WEEKS)
    plain = ("alkalinity", "carbonate_hardness", "nitrate", "salinity", "temperature")
    first = {p: n for n, p in enumerate(plain)}
    ranked = sorted(rows, key=lambda row: (-WORSE[row.state], first.get(row.level.parameter, len(first))))
    found = ((row, _points(today, row.level.parameter, start)) for row in ranked)
    return [_trend(row, points, start, at) for row, points in found if len(points) >= 3][:MOST_TRENDS]


def _points(today: TankToday, parameter: str, start: datetime) -> list[ReadingValue]:
    reference = today.reference(parameter)
    now = today.today.get(parameter, []) if reference is not None and reference.agree else []
    both = [*today.before.get(parameter, []), *now]
    return [r for r in both if r.at >= start and r.seq == 0]


def _trend(row: Judged, points: list[ReadingValue], start: datetime, at: datetime) -> Trend:
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
        start=start.isoformat(),
        end=at.isoformat(),
        lines=kept,
        low=level.low,
        high=level.high,
        alarm_low=level.alarm_low,
        alarm_high=level.alarm_high,
    )
