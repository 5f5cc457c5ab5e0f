"""An instrument beside the tests by hand: pairs over time, the verdict in words, its calibrations and bottles."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as lazy
from django.utils.translation import ngettext

from servicedesk.core import units
from servicedesk.core.drawing.chart import Chart, ChartEvent, ChartSeries
from servicedesk.core.metrology.agreement import Agreement
from servicedesk.core.metrology.drift import Followed, Pair, followed
from servicedesk.core.metrology.uncertainty import Replicate, reference_value, tolerance
from servicedesk.dispatch.queries import standing
from servicedesk.instruments.models import Calibration, Measure, ReagentLoad
from servicedesk.instruments.queries import Standing, measured_by, standing_of, standings_of
from servicedesk.visits.queries.sheet import REPLICATES_WITHIN
from servicedesk.watch.queries.charts import MARKERS
from servicedesk.water.choices import SourceKind
from servicedesk.water.models import Method
from servicedesk.water.queries import ReadingValue, readings_of, spec_of

FOLLOWED_DAYS = 120
BESIDE = timedelta(hours=12)
"""A value of the instrument within half a day stands beside a test by hand (common practice)."""
SECONDS_A_DAY, HAIR = 86400.0, 1e-6
GLYPHS = {"within": "in", "outside": "doubt", "cannot be told": "again"}


@dataclass(frozen=True)
class PairLine:
    """One pair as the page shows it."""

    at: datetime
    by_hand: str
    shown: str
    difference: str


@dataclass
class Beside:
    """One measure of an instrument: word, sentence and what stands behind them; nothing but the trust where no pair is."""

    measure: Measure
    name: str
    trust: Standing
    word: str = ""
    glyph: str = "none"
    sentences: list[str] = field(default_factory=list)
    why: list[str] = field(default_factory=list)
    chart: Chart | None = None
    pairs: list[PairLine] = field(default_factory=list)
    calibrations: list[Calibration] = field(default_factory=list)

    @property
    def digits(self) -> int:
        """How many decimals its values are told with here."""
        return units.parameter(self.measure.parameter).decimals + 1


class _Kept:
    """What is known of all measures of one instrument, each kind read once."""

    def __init__(self, rows: list[Measure], *, since: datetime, until: datetime) -> None:
        self.readings: list[ReadingValue] = []
        if rows:
            self.readings = readings_of(rows[0].instrument.tank, since=since, until=until)
        hands = {row.method_id for row in self.readings if row.source_kind == SourceKind.HAND}
        self.methods = Method.objects.in_bulk(hands)
        done = Calibration.objects.filter(measure__in=rows, at__gte=since, at__lte=until)
        self.calibrations = list(standing(done).select_related("by", "lot__item").order_by("-at", "-pk"))
        loads = ReagentLoad.objects.filter(measure__in=rows, at__gte=since, at__lte=until)
        self.loads = list(standing(loads).order_by("at", "pk"))

    def pairs(self, measure: Measure, since: datetime) -> list[tuple[datetime, Pair]]:
        """Tests by hand with the instrument's value nearest in time, within half a day; replicates together."""
        mine = [row for row in self.readings if row.parameter == measure.parameter]
        sent = [row for row in mine if row.equipment_id == measure.instrument.equipment_id]
        found = []
        for group in _together([row for row in mine if row.source_kind == SourceKind.HAND]):
            at = group[-1].at
            nearest = min(sent, key=lambda row: abs(row.at - at), default=None)
            if nearest is None or abs(nearest.at - at) > BESIDE:
                continue
            results = [Replicate(row.value, spec_of(self.methods[row.method_id])) for row in group]
            day = (at - since).total_seconds() / SECONDS_A_DAY
            found.append((at, Pair(day, reference_value(results), nearest.value)))
        return found


def beside(measures: Iterable[Measure], *, now: datetime, zone: ZoneInfo) -> list[Beside]:
    """Every measure of one instrument, each followed over the last four months."""
    rows, since = list(measures), now - timedelta(days=FOLLOWED_DAYS)
    kept = _Kept(rows, since=since, until=now)
    standings = standings_of([row.instrument.tank for row in rows[:1]])
    return [
        _one(row, standing_of(standings, row.instrument.equipment_id, row.parameter), kept, now, zone)
        for row in rows
    ]


def pairs_of(measure: Measure, *, since: datetime, until: datetime) -> list[tuple[datetime, Pair]]:
    """The pairs of one measure in that time."""
    return _Kept([measure], since=since, until=until).pairs(measure, since)


def _together(rows: list[ReadingValue]) -> list[list[ReadingValue]]:
    groups: list[list[ReadingValue]] = []
    for row in rows:
        if not groups or row.at - groups[-1][0].at > REPLICATES_WITHIN:
            groups.append([])
        groups[-1].append(row)
    return groups


def _one(measure: Measure, trust: Standing, kept: _Kept, now: datetime, zone: ZoneInfo) -> Beside:
    since = now - timedelta(days=FOLLOWED_DAYS)
    page = Beside(measure, units.parameter(measure.parameter).name, trust)
    page.calibrations = [row for row in kept.calibrations if row.measure_id == measure.pk]
    loaded = [row for row in kept.loads if row.measure_id == measure.pk]
    pairs = kept.pairs(measure, since)
    if not pairs:
        page.sentences.append(
            str(_("No test by hand stands beside its values yet: whether it is right, nobody can tell."))
        )
        return page
    begun = max(
        [c.at for c in page.calibrations if not c.left_as_is] + [row.at for row in loaded], default=since
    )
    spec = measured_by(measure)
    fresh = [pair for at, pair in pairs if at >= begun]
    counted = fresh or [pairs[-1][1]]
    _say(page, followed(pairs=counted, instrument=spec), len(fresh), begun if begun > since else None)
    page.pairs = [_line(measure.parameter, at, pair) for at, pair in reversed(pairs)]
    events = [ChartEvent(c.at, "calibration") for c in page.calibrations]
    events += [ChartEvent(row.at, "reagent") for row in loaded]
    page.chart = _chart(page, pairs, events, since=since, now=now, zone=zone)
    return page


def _chart(
    page: Beside,
    pairs: list[tuple[datetime, Pair]],
    events: list[ChartEvent],
    *,
    since: datetime,
    now: datetime,
    zone: ZoneInfo,
) -> Chart:
    """The differences over time, between what the instrument states."""
    method, known = page.measure.method, units.parameter(page.measure.parameter)
    allowed = tolerance(measured_by(page.measure), pairs[-1][1].reference.value)
    points = [(at, pair.difference) for at, pair in pairs]
    marker = MARKERS.get(method.kind, "probe")
    return Chart(
        title=str(_("%(name)s: what it shows less the test by hand.") % {"name": page.name}),
        unit=units.unit_word(known.unit),
        series=[ChartSeries(method.name, marker, points, gap=timedelta(days=30))],
        low=-allowed if allowed else None,
        high=allowed or None,
        events=events,
        now=now,
        start=since,
        end=now + timedelta(days=5),
        zone=zone,
    )


def _line(parameter: str, at: datetime, pair: Pair) -> PairLine:
    digits = units.decimals_in(parameter=parameter, unit=units.parameter(parameter).unit) + 1
    return PairLine(
        at,
        f"{pair.reference.value:.{digits}f} ± {pair.reference.expanded:.{digits}f}",
        f"{pair.shown:.{digits}f}",
        f"{pair.difference:+.{digits}f}",
    )


VERDICTS = {
    "within": (lazy("Within"), lazy("It keeps what it states, the uncertainty of the test by hand counted.")),
    "outside": (
        lazy("Outside"),
        lazy("It is outside what it states, even with the uncertainty in its favour: calibrate it, then test again."),
    ),
    "cannot be told": (
        lazy("Cannot be told"),
        lazy("One test by hand cannot tell whether it keeps what it states: several, by another method, or a standard would."),
    ),
}  # fmt: skip


def _say(page: Beside, found: Followed, pairs: int, begun: datetime | None) -> None:
    """The verdict in words, and the arithmetic behind it."""
    known = units.parameter(page.measure.parameter)
    unit, digits = units.unit_word(known.unit), known.decimals + 1
    off = found.newest
    word, sentence = VERDICTS[off.verdict]
    page.word, page.glyph = str(word), GLYPHS[off.verdict]
    page.sentences.append(str(sentence))

    def number(value: float) -> str:
        return f"{value:.{digits}f} {unit}".strip()

    newest = {
        "delta": f"{off.delta:+.{digits}f}",
        "wide": number(off.expanded),
        "allowed": number(off.allowed),
    }
    page.why.append(_("Newest: off by %(delta)s ± %(wide)s; its stated tolerance is ± %(allowed)s.") % newest)
    if found.agreement is not None:
        page.why.append(_rule(found.agreement, pairs, digits, unit))
    if begun is not None:
        day = {"day": date_format(begun, "j F")}
        page.why.append(_("Counted since it was last calibrated or filled, on %(day)s.") % day)
    if found.drift is not None:
        _say_drift(page, found, number)


def _rule(rule: Agreement, pairs: int, digits: int, unit: str) -> str:
    low, high, bias = (f"{value:+.{digits}f}" for value in (rule.low, rule.high, rule.bias))
    words = {"n": pairs, "bias": bias, "low": low, "high": f"{high} {unit}".strip()}
    return (
        _("Over %(n)s pairs it differs by %(bias)s on average; 95 of 100 lie from %(low)s to %(high)s.")
        % words
    )


def _say_drift(page: Beside, found: Followed, number: Callable[[float], str]) -> None:
    drift, days = found.drift, found.leaves_in_days
    if drift is None:
        return
    size = {"size": number(abs(drift.slope) * 30)}
    up, down = _("It drifts upwards by %(size)s a month."), _("It drifts downwards by %(size)s a month.")
    page.sentences.append((up if drift.slope > 0 else down) % size)
    if days is not None and days >= 1:
        whole = int(days + HAIR)
        words = ngettext(
            "At that pace it leaves its tolerance in one day.",
            "At that pace it leaves its tolerance in %(days)s days.",
            whole,
        )
        page.sentences.append(words % {"days": whole})
