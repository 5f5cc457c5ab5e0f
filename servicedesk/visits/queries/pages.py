"""Finished values for the pages of a visit: rows, cautions, livestock, tasks, things to record."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from clients.choices import TankState
from clients.models import Equipment, Livestock, Tank
from clients.queries import livestock_of, states_of
from servicedesk.core import units
from servicedesk.core.drawing.levels import LevelRow
from servicedesk.core.drawing.spark import spark_svg
from servicedesk.core.tables import read_json
from servicedesk.dosing.choices import TreatmentForm
from servicedesk.dosing.models import Channel, Solution
from servicedesk.dosing.queries import Settings, channels_of
from servicedesk.instruments.models import Instrument, Measure
from servicedesk.instruments.queries import measures_of, standing_of
from servicedesk.stock.models import Lot
from servicedesk.upkeep.choices import reason_words
from servicedesk.upkeep.models import Task
from servicedesk.upkeep.queries import last_left, open_tasks_of
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.sheet import GLYPHS, TankToday, Tested
from servicedesk.watch.queries import word_in
from servicedesk.water.models import Band
from servicedesk.web.prepared import KEY, KEYS, Slot, prepared
from servicedesk.web.zones import day_of

SPARK_POINTS = 8


def level_row(tested: Tested, *, url: str = "", here: bool = False) -> LevelRow:
    """One row of the list of tests."""
    band, unit = tested.band, tested.unit
    last, value = tested.last, tested.value
    word = units.unit_word(unit)
    last_text = (
        _("last %(value)s %(unit)s") % {"value": tested.shown(last.value), "unit": word} if last else ""
    )
    return replace(
        blank_row(tested.test.parameter, band),
        method=tested.test.method.get_kind_display(),
        value_text=_shown_today(tested),
        value=_moved(tested.test.parameter, unit, value),
        last=_moved(tested.test.parameter, unit, last.value if last else None),
        last_text=last_text.strip(),
        kind="measured" if value is not None else "not_tested",
        state=tested.glyph,
        url=url,
        here=here,
    )


def _shown_today(tested: Tested) -> str:
    """Today's value; where the results do not agree, from the least to the most of them."""
    if tested.reference is None or tested.reference.agree:
        return tested.shown(tested.value)
    results = [r.value for r in tested.replicates]
    return f"{tested.shown(min(results))}–{tested.shown(max(results))}"


def last_rows(today: TankToday) -> list[LevelRow]:
    """Last values beside their bands, each judged by itself, without regard to history."""
    rows = []
    for test in today.tests:
        parameter, band = test.parameter, today.bands.get(test.parameter)
        row = blank_row(parameter, band)
        if last := today.last.get(parameter):
            standing = standing_of(today.standings, last.equipment_id, parameter)
            unit = band.unit if band else units.parameter(parameter).unit
            row = replace(
                row,
                method=date_format(last.at, "j M"),
                value_text=units.show(parameter, last.value, unit),
                value=_moved(parameter, unit, last.value),
                kind="measured",
                state=GLYPHS[word_in(last.value, band) if band else "in_band"],
                trust=str(standing.trust) if last.equipment_id else "",
                trust_why=standing.why,
            )
        rows.append(row)
    return rows


def _moved(parameter: str, unit: str, value: float | None) -> float | None:
    return None if value is None else units.from_canonical(parameter=parameter, value=value, unit=unit)


def blank_row(parameter: str, band: Band | None) -> LevelRow:
    """A parameter's row with its marks in the tank's unit, before anything is known of its value."""
    row = LevelRow(label=units.parameter(parameter).name, kind="not_tested")
    if band is None:
        return replace(row, unit=units.unit_word(units.parameter(parameter).unit))
    return replace(
        row,
        unit=units.unit_word(band.unit),
        low=_moved(parameter, band.unit, band.low),
        high=_moved(parameter, band.unit, band.high),
        alarm_low=_moved(parameter, band.unit, band.alarm_low),
        alarm_high=_moved(parameter, band.unit, band.alarm_high),
    )


@dataclass(frozen=True)
class Trend:
    name: str
    picture: str


def trends(today: TankToday) -> list[Trend]:
    """Small trends of what was tested by hand at least twice."""
    found = []
    for test in today.tests:
        rows = today.before.get(test.parameter, [])[-SPARK_POINTS:]
        if len(rows) < 2:
            continue
        band, name = today.bands.get(test.parameter), units.parameter(test.parameter).name
        title = _("%(name)s over the last %(n)s tests") % {"name": name, "n": len(rows)}
        picture = spark_svg(
            [r.value for r in rows],
            low=band.low if band else None,
            high=band.high if band else None,
            title=title,
        )
        found.append(Trend(name=name, picture=picture))
    return found


@dataclass(frozen=True)
class TaskLine:
    """A task to tick or to leave; the instrument that it is about, where it is one."""

    task: Task
    overdue: bool
    when: str
    left: str
    instrument: UUID | None = None


@prepared(equipment=KEYS)
def _instruments(equipment: Slot) -> QuerySet[Instrument, tuple[Any, ...]]:
    return Instrument.objects.filter(equipment__in=equipment).values_list("equipment", "pk")


def _instruments_of(tasks: list[Task]) -> dict[UUID | None, UUID]:
    keys = [task.equipment_id for task in tasks if task.equipment_id]
    return dict(_instruments(equipment=keys)) if keys else {}


def task_lines(tanks: list[Tank], on: date) -> list[TaskLine]:
    """Open tasks of these tanks, what is overdue said first."""
    tasks = open_tasks_of(tanks, until=on + timedelta(days=1))
    left, devices = last_left(tasks), _instruments_of(tasks)
    lines = []
    for task in tasks:
        days = (on - task.latest).days
        when = _("due %(day)s") % {"day": date_format(task.due, "j M")}
        if days > 0:
            when = _("%(n)s days overdue") % {"n": days}
        fact = left.get(task.pk)
        lines.append(
            TaskLine(
                task=task,
                overdue=days > 0,
                when=when,
                left=reason_words(fact.reason) if fact else "",
                instrument=devices.get(task.equipment_id),
            )
        )
    return sorted(lines, key=lambda line: (not line.overdue, line.task.due, line.task.title))


@dataclass(frozen=True)
class Caution:
    """A work hazard: what it is, what to do, and that local codes come first."""

    title: str
    lines: list[str]


def cautions_of(visit: Visit, tasks: list[TaskLine]) -> list[Caution]:
    """The hazards of this site and today's tasks, each once."""
    wanted = list(dict.fromkeys([*visit.site.cautions, *(h for line in tasks for h in line.task.hazards)]))
    known = {row["id"]: row for row in read_json("hazards.json")["hazards"]}
    return [Caution(title=known[key]["title"], lines=known[key]["lines"]) for key in wanted if key in known]


@dataclass(frozen=True)
class TankCard:
    """A tank as it is seen first: photo, place, state, animals."""

    tank: Tank
    state: str
    state_glyph: str
    animals: list[Livestock]
    rows: list[LevelRow]
    trends: list[Trend]


def tank_card(visit: Visit, tank: Tank, *, at: datetime) -> TankCard:
    today = TankToday(visit, tank, at=at)
    state_row = states_of([tank], day_of(at)).get(tank.pk)
    words, glyph = "", ""
    if state_row is not None and state_row.state != TankState.NORMAL:
        words = str(state_row.get_state_display()).capitalize()
        if state_row.until_on:
            words = _("%(state)s until %(day)s") % {
                "state": words,
                "day": date_format(state_row.until_on, "j F"),
            }
        if state_row.why:
            words = f"{words}. {state_row.why}"
        glyph = "alone" if state_row.state == TankState.ISOLATION else "expect"
    return TankCard(
        tank=tank,
        state=words,
        state_glyph=glyph,
        animals=livestock_of([tank]),
        rows=last_rows(today),
        trends=trends(today),
    )


@dataclass(frozen=True)
class WorkSheet:
    """What may be recorded on the work page, for the tanks of the visit."""

    channels: list[tuple[Channel, str]]
    measures: list[Measure]
    solutions: list[Solution]
    lots: list[Lot]
    animals: list[Livestock]

    @property
    def instruments(self) -> list[Instrument]:
        """What measures here, each once."""
        return list({measure.instrument_id: measure.instrument for measure in self.measures}.values())

    @property
    def treatment_forms(self) -> list[tuple[str, str]]:
        """Forms of a medicine, to choose from."""
        return [(value, str(words)) for value, words in TreatmentForm.choices]


@prepared(items=KEYS)
def _lots(items: Slot) -> QuerySet[Lot]:
    return Lot.objects.filter(item__in=items).select_related("item").order_by("item__name", "code")


@prepared()
def _solutions() -> QuerySet[Solution]:
    return Solution.objects.select_related("item").order_by("item__name", "pk")


def work_sheet(tanks: list[Tank], *, at: datetime) -> WorkSheet:
    channels = channels_of(tanks)
    settings = Settings(channels, at)
    items = {c.solution.item_id for c in channels}
    measures = measures_of(tanks)
    items |= {m.reagent_id for m in measures if m.reagent_id}
    return WorkSheet(
        channels=[(c, _left_words(settings, c)) for c in channels],
        measures=measures,
        solutions=_solutions(),
        lots=_lots(items=items),
        animals=livestock_of(tanks),
    )


def _left_words(settings: Settings, channel: Channel) -> str:
    left, rate, days = settings.left_ml(channel), settings.rate(channel), settings.days_left(channel)
    if left is None:
        return _("never filled, as far as we know")
    words = _("about %(ml)s mL left") % {"ml": f"{left:.0f}"}
    if rate:
        words += _(", %(rate)s mL a day") % {"rate": f"{rate:g}"}
    if days is not None:
        words += _(", %(days)s days") % {"days": f"{days:.0f}"}
    return words


@prepared(site=KEY)
def _back_on(site: Slot) -> QuerySet[Equipment]:
    rows = Equipment.objects.filter(site=site, back_on_check=True, retired_on__isnull=True)
    return rows.select_related("tank").order_by("tank__order", "kind", "name", "pk")


def back_on_list(visit: Visit, tanks: list[Tank]) -> list[Equipment]:
    """What must run again before anyone leaves."""
    keys = {t.pk for t in tanks}
    return [e for e in _back_on(site=visit.site_id) if e.tank_id is None or e.tank_id in keys]
