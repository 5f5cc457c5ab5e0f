"""A calibration as its pages show it: numbers in the unit that the device shows, the verdict in words, what is to be set."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as lazy

from servicedesk.core import units
from servicedesk.core.chemistry import electrode
from servicedesk.core.chemistry.standards import LABEL_MS_CM
from servicedesk.core.metrology import procedures as book
from servicedesk.core.metrology import setting as bench
from servicedesk.core.tables import read_json
from servicedesk.dosing.models import Channel
from servicedesk.instruments.choices import ProcedureKind, Trust
from servicedesk.instruments.models import Instrument, Measure, Procedure
from servicedesk.instruments.queries import trusts
from servicedesk.instruments.queries.procedures import (
    Judged,
    Kept,
    Point,
    channels_at,
    judged,
    last_calibrated,
    open_at,
    suits_measure,
    suits_of,
)
from servicedesk.visits.queries.pages import Caution
from servicedesk.water.queries import latest_values


@dataclass(frozen=True)
class Scale:
    """The unit in which a device shows a parameter: canonical = value x factor + offset."""

    parameter: str
    unit: str
    factor: float = 1.0
    offset: float = 0.0

    @property
    def word(self) -> str:
        """The unit as it is read after a number."""
        return units.unit_word(self.unit)

    def into(self, value: float) -> float:
        """A typed value in the canonical unit."""
        return value * self.factor + self.offset

    def width_into(self, value: float) -> float:
        """A typed ± in the canonical unit."""
        return value * abs(self.factor)

    def back(self, value: float | None) -> float | None:
        """A canonical value as it was typed."""
        return None if value is None else round((value - self.offset) / self.factor, 6)

    def width_back(self, value: float | None) -> float | None:
        """A canonical ± as it was typed."""
        return None if value is None else round(value / abs(self.factor), 6)

    def _text(self, value: float, sign: str = "") -> str:
        digits = units.decimals_in(parameter=self.parameter, unit=self.unit) + 1
        return f"{value:{sign}.{digits}f}"

    def out(self, value: float) -> str:
        """A canonical value as it is shown."""
        return f"{self._text((value - self.offset) / self.factor)} {self.word}".strip()

    def with_width(self, value: float, width: float) -> str:
        """A canonical value and its ±, the unit once."""
        shown = self._text((value - self.offset) / self.factor)
        return f"{shown} ± {self._text(abs(width / self.factor))} {self.word}".strip()

    def off_by(self, value: float, width: float) -> str:
        """A canonical difference and its ±, the unit once."""
        shown = self._text(value / self.factor, "+")
        return f"{shown} ± {self._text(abs(width / self.factor))} {self.word}".strip()

    def signed(self, value: float) -> str:
        """A canonical difference with its sign."""
        return f"{self._text(value / self.factor, '+')} {self.word}".strip()


def scale_of(measure: Measure) -> Scale:
    """The device's own unit, where that is a plain one; else the canonical unit."""
    known = units.parameter(measure.parameter)
    if measure.low_volts is None and measure.unit in known.units:
        factor, offset = units.scale_of(parameter=measure.parameter, unit=measure.unit)
        return Scale(measure.parameter, measure.unit, factor, offset)
    return Scale(measure.parameter, known.unit)


@dataclass(frozen=True)
class Line:
    """One thing that can be calibrated: a measure or a channel; how, since when, whether it is under way."""

    name: str
    how: str
    key: str
    trust: str = ""
    why: str = ""
    last: datetime | None = None
    due: datetime | None = None
    open: Procedure | None = None
    channel: bool = False


def lines_at(instrument: Instrument) -> list[Line]:
    """Everything at an instrument that is calibrated, or why it is not."""
    measures = list(instrument.measures.select_related("method").order_by("parameter", "pk"))
    under_way = {row.measure_id or row.channel_id: row for row in open_at(instrument)}
    last, moves = last_calibrated(measures), trusts(measures)
    found = []
    for measure in measures:
        suits, move, then = suits_measure(measure), moves.get(measure.pk), last.get(measure.pk)
        found.append(
            Line(
                name=units.parameter(measure.parameter).name,
                how=book.title_of(suits.kind) if suits else "",
                key=str(measure.pk),
                trust=str(move.trust) if move else str(Trust.BELIEVED),
                why=move.why if move else "",
                last=then,
                due=then + timedelta(days=measure.calibrate_every_days) if then else None,
                open=under_way.get(measure.pk),
            )
        )
    for channel in channels_at(instrument):
        how = book.title_of(ProcedureKind.PUMP)
        found.append(Line(name_of_channel(channel), how, str(channel.pk), open=under_way.get(channel.pk), channel=True))  # fmt: skip
    return found


def name_of_channel(channel: Channel) -> str:
    """A dosing channel as people call it."""
    return _("%(pump)s, channel %(n)s: %(what)s") % {
        "pump": channel.equipment.name,
        "n": channel.number,
        "what": channel.solution.item.name,
    }


def name_of(procedure: Procedure) -> str:
    """What is being calibrated."""
    if procedure.channel is not None:
        return name_of_channel(procedure.channel)
    assert procedure.measure is not None  # the database's law: one of the two
    return units.parameter(procedure.measure.parameter).name


def cautions_of(hazards: Iterable[str]) -> list[Caution]:
    """Cautions in their own words, each once."""
    known = {row["id"]: row for row in read_json("hazards.json")["hazards"]}
    return [Caution(title=known[key]["title"], lines=known[key]["lines"]) for key in dict.fromkeys(hazards)]


WORDS = {
    bench.LEAVE: (lazy("Leave it as it is"), "in", lazy("What it shows differs by no more than the uncertainty of the comparison: setting it would add noise.")),
    bench.SET: (lazy("Set it"), "check", lazy("It is off by more than the uncertainty of the comparison, and by no more than a calibration mends.")),
    bench.LOOK: (lazy("Look first"), "again", lazy("It is off by more than is usual: look for a cause before you set it.")),
    bench.STOP: (lazy("Do not set it"), "doubt", lazy("It is off by far more than a calibration mends: something is broken, spent, mixed wrongly or mixed up.")),
}  # fmt: skip
ELECTRODE = {
    "good": lazy("good"),
    "worn": lazy("grows old"),
    "spent": lazy("spent: clean it, try fresh buffers, else replace it"),
}
CAUSES = {
    ProcedureKind.TWO_BUFFERS: lazy("Fouled or dried glass, an old electrode, a spent or wrong buffer, buffers mixed up."),
    ProcedureKind.CELL: lazy("Bubbles or lime in the cell, a standard that dried in or was thinned by rinse water, the wrong unit or temperature."),
    ProcedureKind.ONE_POINT: lazy("Reagent made up wrongly or old, air or wear in its tubing, a dirty cuvette or sensor, the wrong unit."),
    ProcedureKind.LINE: lazy("A loose terminal, another range at the device than here, a sensor that is worn."),
    ProcedureKind.PUMP: lazy("Worn or pinched tubing, air, a blocked end, an empty container, thick solution."),
}  # fmt: skip


@dataclass
class Verdict:
    """What the measured values say, ready to be shown."""

    key: str
    word: str
    glyph: str
    sentence: str
    rows: list[tuple[str, str]] = field(default_factory=list)
    to_set: list[str] = field(default_factory=list)
    mind: list[str] = field(default_factory=list)
    asks_old: bool = False


def verdict_of(procedure: Procedure, kept: Kept, old: float | None = None) -> Verdict | None:
    """The verdict on what was measured; None while something is missing. Raises ValueError where the values say nothing."""
    found = judged(procedure, kept)
    if found is None:
        return None
    word, glyph, sentence = WORDS[found.word]
    shown = Verdict(found.word, str(word), glyph, str(sentence), mind=list(found.mind))
    shown.rows = [row for point in found.points for row in _point_rows(procedure, *point)]
    if found.word in (bench.LOOK, bench.STOP):
        shown.mind.append(str(CAUSES[ProcedureKind(procedure.kind)]))
    _electrode_rows(found, shown)
    _outside_buffers(procedure, found, shown)
    if found.word in (bench.SET, bench.LOOK):
        shown.to_set = _to_set(procedure, kept, found, old)
        shown.asks_old = procedure.kind in (ProcedureKind.ONE_POINT, ProcedureKind.CELL)
    return shown


def _volume(value: float) -> str:
    return f"{value:.4g} mL"


def _point_rows(procedure: Procedure, point: Point, one: bench.Setting) -> list[tuple[str, str]]:
    if procedure.measure is None:
        share = f"{100 * point.true.value / point.shown.value:.1f} %"
        return [
            (_("Told"), _volume(point.shown.value)),
            (_("Came, on average"), f"{_volume(point.true.value)} ± {_volume(2 * point.true.u)}"),
            (_("It gives of what it is told"), share),
        ]
    scale = scale_of(procedure.measure)
    true = scale.with_width(point.true.value, 2 * point.true.u)
    off = scale.off_by(one.delta, one.expanded)
    words = _("%(true)s is true, it shows %(shown)s") % {
        "true": true,
        "shown": scale.out(point.shown.value),
    }
    return [(point.name, words), (_("Off by"), off)]


def _electrode_rows(found: Judged, shown: Verdict) -> None:
    if found.electrode is not None:
        one = found.electrode
        slope = _("%(mv)s mV per pH, %(share)s %% of Nernst's") % {
            "mv": f"{one.slope_mv:.1f}",
            "share": f"{one.percent:.1f}",
        }
        shown.rows += [
            (_("Slope"), slope),
            (_("Offset at pH 7"), f"{one.offset_mv:+.1f} mV"),
            (_("The electrode"), str(ELECTRODE[one.word])),
        ]
    elif found.percent is not None:
        words = _("%(share)s %% of what it was last set to; no voltage is known") % {
            "share": f"{found.percent:.1f}"
        }
        shown.rows.append((_("Slope"), words))


def _outside_buffers(procedure: Procedure, found: Judged, shown: Verdict) -> None:
    """The tank's own value is to lie between the two buffers (IUPAC Recommendations 2002)."""
    if procedure.kind != ProcedureKind.TWO_BUFFERS or procedure.measure is None:
        return
    tank = procedure.instrument.tank
    last = latest_values([tank]).get((tank.pk, procedure.measure.parameter))
    ends = sorted(point.true.value for point, _one in found.points)
    if last is not None and not ends[0] <= last.value <= ends[1]:
        words = _("The tank's last value, %(value)s, does not lie between the two buffers.")
        shown.mind.append(words % {"value": f"{last.value:.2f}"})


def _to_set(procedure: Procedure, kept: Kept, found: Judged, old: float | None) -> list[str]:
    one = found.points[0][1]
    if procedure.kind == ProcedureKind.TWO_BUFFERS:
        words = _(
            "At the device, calibrate two points: %(first)s in the first buffer, %(second)s in the second."
        )
        first, second = (f"{kept[key].data['reference']:.2f}" for key in ("first", "second"))
        return [
            words % {"first": first, "second": second},
            _("Rinse between the two, and wait each time until the value stands still."),
        ]
    if found.line is not None and procedure.measure is not None:
        scale, line = scale_of(procedure.measure), found.line
        words = _("%(value)s at %(volts)s V")
        pairs = ((line.low_value, line.low_volts), (line.high_value, line.high_volts))
        return [
            *(words % {"value": scale.out(value), "volts": f"{volts:g}"} for value, volts in pairs),
            _("These points are kept here: nothing is set at the device."),
        ]
    if procedure.kind == ProcedureKind.PUMP:
        return _pump_lines(one)
    return _single_lines(procedure, one, old)


def _pump_lines(one: bench.Setting) -> list[str]:
    return [
        _("Where the pump asks how much came, type the mean that you caught."),
        _("A setting in mL for each turn or second: the old one times %(share)s.") % {"share": f"{one.factor:.4f}"},
        _("A factor by which it gives more: the old one times %(more)s.") % {"more": f"{1 / one.factor:.4f}"},
    ]  # fmt: skip


def _single_lines(procedure: Procedure, one: bench.Setting, old: float | None) -> list[str]:
    suits = suits_of(procedure)
    assert procedure.measure is not None  # a pump has its own lines
    if suits.by_factor:
        what = _("Its cell constant") if procedure.kind == ProcedureKind.CELL else _("Its factor")
        words = _("%(what)s: the old one times %(factor)s ± %(wide)s.")
        lines = [words % {"what": what, "factor": f"{one.factor:.4f}", "wide": f"{2 * one.factor_u:.4f}"}]
    else:
        scale = scale_of(procedure.measure)
        words = _("Move what it shows by %(offset)s.")
        lines = [words % {"offset": scale.off_by(one.offset, 2 * one.offset_u)}]
    if old is not None:
        new = bench.new_setting(old=old, found=one, by_factor=suits.by_factor)
        lines.insert(0, _("Set it from %(old)s to %(new)s.") % {"old": f"{old:g}", "new": f"{new:.4g}"})
    else:
        lines.append(_("Where a larger number at the device makes it show less, it is the other way round."))
    return lines


def same_again(kept: Kept, scale: Scale) -> dict[str, Any]:
    """The last standard that was at hand, as it was typed: the re-test proposes it again."""
    rows = [row for row in kept.values() if row.step != "retest" and row.data.get("against") == "standard"]
    if not rows:
        return {}
    row = rows[-1]
    data, plain = row.data, row.data["standard"] == LABEL_MS_CM
    return {
        "standard": data["standard"],
        "temperature": data["temperature_c"],
        "value": data["label"] if plain else scale.back(data["label"]),
        "good_to": data["good_to"] if plain else scale.width_back(data["good_to"]),
        "lot": str(row.lot_id or ""),
        "code": data["code"],
    }


def default_buffers(measure: Measure) -> tuple[str, str]:
    """The two buffers that are proposed: on either side of the tank's last pH, else of sea water."""
    tank = measure.instrument.tank
    last = latest_values([tank]).get((tank.pk, "ph"))
    low = last is not None and last.value < electrode.NEUTRAL - 0.2
    return ("phthalate", "phosphate") if low else ("phosphate", "borax")


def retest_words(data: dict[str, Any], scale: Scale | None) -> str:
    """What a re-test that did not agree says."""
    if scale is None:
        return ""
    return _("It showed %(shown)s where %(true)s was true (%(name)s).") % {
        "shown": scale.out(data["shown"]),
        "true": scale.out(data["reference"]),
        "name": data["name"],
    }
