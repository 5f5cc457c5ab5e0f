"""Procedures of calibration: which suits, how far one is, and what its measured values say so far. Canonical units."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from servicedesk.core.chemistry import electrode as glass
from servicedesk.core.chemistry import standards
from servicedesk.core.metrology import procedures as book
from servicedesk.core.metrology import setting as bench
from servicedesk.core.metrology.procedures import Suits
from servicedesk.core.metrology.propagation import Known
from servicedesk.core.metrology.setting import Points, Setting
from servicedesk.dispatch.queries import standing
from servicedesk.dosing.models import Channel
from servicedesk.instruments.choices import ProcedureKind
from servicedesk.instruments.models import Calibration, Instrument, Measure, Procedure, ProcedureStep
from servicedesk.stock.choices import ItemKind
from servicedesk.stock.models import Lot

END = "end"
Kept = dict[str, ProcedureStep]


def suits_measure(measure: Measure) -> Suits | None:
    """Which procedure suits what it measures; None where nothing can be set on the spot."""
    return book.procedure_for(
        parameter=measure.parameter, method=measure.method.kind, analogue=measure.low_volts is not None
    )


def suits_of(procedure: Procedure) -> Suits:
    """What the procedure goes by, as it was begun, whatever became of its method meanwhile."""
    if procedure.measure is None:
        return book.PUMP
    return book.of_kind(kind=procedure.kind, parameter=procedure.measure.parameter) or book.PUMP


def channels_at(instrument: Instrument) -> list[Channel]:
    """Dosing channels that hang on an instrument: the one it drives, and those whose doses it reports."""
    keys = set(instrument.sent_doses.values_list("channel", flat=True))
    if instrument.dosing_channel_id:
        keys.add(instrument.dosing_channel_id)
    rows = Channel.objects.filter(pk__in=keys, retired_on__isnull=True)
    return list(rows.select_related("equipment", "solution__item", "tank").order_by("number", "pk"))


def kept_steps(procedure: Procedure) -> Kept:
    """The steps that stand, by their key: one that was done again takes those after it away."""
    order = [step.key for step in book.steps_of(procedure.kind)]
    found: Kept = {}
    for row in procedure.steps.select_related("by", "lot__item").order_by("pk"):
        after = order[order.index(row.step) + 1 :]
        found = {key: kept for key, kept in found.items() if key not in after}
        found[row.step] = row
    return found


def here(procedure: Procedure, kept: Kept) -> str:
    """The step that comes next; END where nothing is left to do."""
    if procedure.ended_at is not None:
        return END
    for step in book.steps_of(procedure.kind):
        if step.key not in kept or not kept[step.key].data.get("agrees", True):
            return step.key
    return END


def open_at(instrument: Instrument) -> list[Procedure]:
    """What is under way at an instrument."""
    return list(
        Procedure.objects.filter(instrument=instrument, ended_at__isnull=True)
        .select_related("measure__method", "channel", "begun_by")
        .order_by("begun_at", "pk")
    )


def last_calibrated(measures: Iterable[Measure]) -> dict[UUID, datetime]:
    """When each measure was calibrated, or compared and left as it was, last."""
    rows = standing(Calibration.objects.filter(measure__in=[m.pk for m in measures])).order_by("at", "pk")
    return dict(rows.values_list("measure", "at"))


def standard_lots() -> list[Lot]:
    """Lots of standards that the house keeps, the one that expires last first."""
    rows = Lot.objects.filter(item__kind=ItemKind.STANDARD, item__retired_on__isnull=True)
    return list(rows.select_related("item").order_by("item__name", "-expires_on", "code", "pk"))


@dataclass(frozen=True)
class Point:
    """One thing of known value that was measured: which, its value with standard uncertainty, and what was shown of it."""

    step: str
    name: str
    true: Known
    shown: Known


@dataclass(frozen=True)
class Judged:
    """What the measured values say: a word (core.metrology.setting), the points with what each says, the electrode or the new line where
    there is one, and sentences that warn."""

    word: str
    points: tuple[tuple[Point, Setting], ...]
    electrode: glass.Electrode | None = None
    percent: float | None = None
    line: Points | None = None
    mind: tuple[str, ...] = ()


def points_of(procedure: Procedure, kept: Kept) -> list[Point]:
    """What was measured of things of known value, as far as it was."""
    if procedure.kind == ProcedureKind.TWO_BUFFERS:
        return [_single(kept[key], procedure) for key in ("first", "second") if key in kept]
    if procedure.kind == ProcedureKind.LINE:
        return [_on_old_line(kept[key], procedure) for key in ("low", "high") if key in kept]
    if procedure.kind == ProcedureKind.PUMP:
        return [_caught(kept["run"].data)] if "run" in kept else []
    known = "standard" if procedure.kind == ProcedureKind.CELL else "reference"
    if known not in kept or "shown" not in kept:
        return []
    shown = bench.mean_of(kept["shown"].data["values"], _step(procedure))
    return [Point(known, kept[known].data["name"], _true(kept[known].data), shown)]


def _step(procedure: Procedure) -> float:
    return procedure.measure.method.resolution if procedure.measure else 0.0


def _true(data: dict[str, Any]) -> Known:
    return Known(data["reference"], data["u"])


def _single(row: ProcedureStep, procedure: Procedure) -> Point:
    shown = bench.mean_of([row.data["shown"]], _step(procedure))
    return Point(row.step, row.data["name"], _true(row.data), shown)


def old_line(measure: Measure) -> Points:
    """The line by which its volts are turned now. Raises NoSetting where there is none."""
    ends = [measure.low_volts, measure.low_value, measure.high_volts, measure.high_value]
    v0, y0, v1, y1 = (float("nan") if end is None else end for end in ends)
    return bench.line_of((v0, y0), (v1, y1))


def _on_old_line(row: ProcedureStep, procedure: Procedure) -> Point:
    """What the old line made of the volts, kept with the step: the line in force may be a new one by now."""
    return Point(row.step, row.data["name"], _true(row.data), Known(row.data["shown"]))


def _caught(data: dict[str, Any]) -> Point:
    """What a cylinder says that came, and what the pump was told to give."""
    came = bench.mean_of(data["caught"], 2 * data["good_to"])
    return Point("run", _("Volume"), came, Known(data["asked"]))


def judged(procedure: Procedure, kept: Kept) -> Judged | None:
    """What the measured values say; None while any is missing. Raises NoSetting or OutOfRange where they say nothing."""
    found = points_of(procedure, kept)
    two = procedure.kind in (ProcedureKind.TWO_BUFFERS, ProcedureKind.LINE)
    if len(found) < (2 if two else 1):
        return None
    suits = suits_of(procedure)
    each = tuple((point, _setting(procedure, kept, suits, point)) for point in found)
    word = bench.worst([one.word for _point, one in each])
    if procedure.kind == ProcedureKind.TWO_BUFFERS:
        return _two_buffers(kept, each, word)
    if procedure.kind == ProcedureKind.LINE:
        low, high = kept["low"].data, kept["high"].data
        new = bench.line_of((low["volts"], low["reference"]), (high["volts"], high["reference"]))
        return Judged(word, each, line=new)
    return Judged(word, each)


def _setting(procedure: Procedure, kept: Kept, suits: Suits, point: Point) -> Setting:
    factor, power = None, 1.0
    if procedure.kind == ProcedureKind.CELL and procedure.measure is not None:
        factor, power = standards.cell_factor(
            parameter=procedure.measure.parameter,
            reference=point.true.value,
            shown=point.shown.value,
            temperature_c=kept["standard"].data["temperature_c"],
        )
    return bench.setting(
        reference=point.true,
        shown=point.shown,
        by_factor=suits.by_factor,
        expected=suits.expected,
        factor=factor,
        power=power,
    )


MOST_KELVIN = 2.0
"""Buffers further apart in warmth than this are left to become alike (common practice)."""
STEEP = (85.0, 115.0)
"""Per cent of what it was last set to: beyond, the electrode is doubtful though no voltage is known (common practice)."""


def _two_buffers(kept: Kept, each: tuple[tuple[Point, Setting], ...], word: str) -> Judged:
    one, two = kept["first"].data, kept["second"].data
    mind = _mind_buffers(one, two)
    if one["mv"] is not None and two["mv"] is not None:
        found = glass.electrode(
            first_ph=one["reference"],
            first_mv=one["mv"],
            second_ph=two["reference"],
            second_mv=two["mv"],
            temperature_c=(one["temperature_c"] + two["temperature_c"]) / 2,
        )
        if found.word == "spent":
            return Judged(bench.STOP, each, electrode=found, percent=found.percent, mind=tuple(mind))
        if found.word == "worn":
            mind.append(_("The electrode grows old: have a new one at hand for the next time."))
        kinder = bench.LOOK if word == bench.STOP else word  # a sound electrode was only set wrongly
        return Judged(kinder, each, electrode=found, percent=found.percent, mind=tuple(mind))
    percent = glass.shown_slope(
        first=(one["reference"], one["shown"]), second=(two["reference"], two["shown"])
    )
    if not STEEP[0] <= percent <= STEEP[1]:
        word = bench.worst([word, bench.LOOK])
        mind.append(_("What it shows follows the buffers badly. The voltage in each buffer would tell why."))
    return Judged(word, each, percent=percent, mind=tuple(mind))


def _mind_buffers(one: dict[str, Any], two: dict[str, Any]) -> list[str]:
    mind = []
    if not glass.check_apart(one["reference"], two["reference"]):
        mind.append(
            _("The two buffers lie near each other: two that lie 2 apart or more tell the slope better.")
        )
    if abs(one["temperature_c"] - two["temperature_c"]) > MOST_KELVIN:
        mind.append(_("The two buffers are not equally warm: let them become so, and measure again."))
    return mind
