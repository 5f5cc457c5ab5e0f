"""What was done and what was not, from the journal, in the client's words."""

from collections import Counter
from collections.abc import Callable
from functools import cached_property
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients.choices import LivestockChange
from clients.models import Livestock, Tank
from reports.queries.words import listed, name_of, number_text, times_text
from servicedesk.dosing.models import Channel, Solution
from servicedesk.instruments.models import Measure
from servicedesk.upkeep.choices import reason_words
from servicedesk.upkeep.models import Task
from servicedesk.visits.choices import EntryKind
from servicedesk.visits.models import Entry

Said = tuple[UUID | None, str] | None
MEDICINES = {"copper"}
"""What is a medicine: that it was given is told, never how much, so that nobody follows it unsupervised."""


class Journal:
    """The entries of one visit with everything they name, looked up once. `scrub` takes secrets out of typed text."""

    def __init__(self, entries: list[Entry], scrub: Callable[[str], str]) -> None:
        self.entries, self.scrub = entries, scrub

    def of(self, *kinds: str) -> list[Entry]:
        return [e for e in self.entries if e.kind in kinds]

    def _keys(self, name: str) -> list[UUID]:
        return [UUID(e.payload[name]) for e in self.entries if e.payload.get(name)]

    @cached_property
    def tasks(self) -> dict[UUID, Task]:
        return Task.objects.in_bulk(self._keys("task"))

    @cached_property
    def channels(self) -> dict[UUID, Channel]:
        return Channel.objects.select_related("solution").in_bulk(self._keys("channel"))

    @cached_property
    def measures(self) -> dict[UUID, Measure]:
        return Measure.objects.select_related("instrument").in_bulk(self._keys("measure"))

    @cached_property
    def solutions(self) -> dict[UUID, Solution]:
        return Solution.objects.in_bulk(self._keys("solution"))

    @cached_property
    def animals(self) -> dict[UUID, Livestock]:
        return Livestock.objects.in_bulk(self._keys("livestock"))

    def tank_key(self, payload: dict[str, Any]) -> UUID | None:
        return UUID(payload["tank"]) if payload.get("tank") else None

    def withdrawn(self) -> set[str]:
        """Readings that were taken back."""
        return {e.payload["entry"] for e in self.of(EntryKind.CORRECTION) if e.payload.get("withdraw")}

    def acted_on(self, tank: Tank) -> set[str]:
        """Parameters about which something was done on this tank."""
        found = {
            self.solutions[UUID(e.payload["solution"])].parameter
            for e in self.of(EntryKind.DOSE)
            if self.tank_key(e.payload) == tank.pk
        }
        for entry in self.of(EntryKind.RATE, EntryKind.REFILL, EntryKind.PUMP_CHECK):
            channel = self.channels[UUID(entry.payload["channel"])]
            if channel.tank_id == tank.pk:
                found.add(channel.solution.parameter)
        if any(self.tank_key(e.payload) == tank.pk for e in self.of(EntryKind.WATER_CHANGE)):
            found |= {"nitrate", "phosphate", "ammonia_total", "nitrite"}
        return found


def _task(j: Journal, p: dict[str, Any]) -> Said:
    task = j.tasks[UUID(p["task"])]
    return task.tank_id, j.scrub(task.title)


def _change(j: Journal, p: dict[str, Any]) -> Said:
    litres = number_text(float(str(p["litres"]).replace(",", ".")))
    return j.tank_key(p), _("%(litres)s L of water changed") % {"litres": litres}


def _dose(j: Journal, p: dict[str, Any]) -> Said:
    parameter = j.solutions[UUID(p["solution"])].parameter
    name = name_of(parameter)
    if parameter in MEDICINES:
        return j.tank_key(p), _("%(name)s: given by us; please add none yourself") % {"name": name}
    return j.tank_key(p), _("%(name)s: one step of %(ml)s mL by hand") % {"name": name, "ml": p["ml"]}


def _rate(j: Journal, p: dict[str, Any]) -> Said:
    channel = j.channels[UUID(p["channel"])]
    said = {"name": name_of(channel.solution.parameter), "ml": p["ml_per_day"]}
    if channel.solution.parameter in MEDICINES:
        return channel.tank_id, _("%(name)s: given by us; please add none yourself") % said
    return channel.tank_id, _("%(name)s: dosing pump set to %(ml)s mL a day") % said


def _refill(j: Journal, p: dict[str, Any]) -> Said:
    channel = j.channels[UUID(p["channel"])]
    return channel.tank_id, _("%(name)s: container filled") % {"name": name_of(channel.solution.parameter)}


def _pump_check(j: Journal, p: dict[str, Any]) -> Said:
    channel = j.channels[UUID(p["channel"])]
    said = {
        "name": name_of(channel.solution.parameter),
        "got": p.get("after_ml") or p["before_ml"],
        "asked": p["asked_ml"],
    }
    return channel.tank_id, _(
        "%(name)s: dosing pump measured, it gives %(got)s mL of %(asked)s asked for"
    ) % said


def _load(j: Journal, p: dict[str, Any]) -> Said:
    measure = j.measures[UUID(p["measure"])]
    return measure.instrument.tank_id, _("%(name)s: fresh reagent for the tester") % {
        "name": name_of(measure.parameter)
    }


def _calibration(j: Journal, p: dict[str, Any]) -> Said:
    measure = j.measures[UUID(p["measure"])]
    return measure.instrument.tank_id, _("%(name)s: tester calibrated") % {"name": name_of(measure.parameter)}


def _treatment(j: Journal, p: dict[str, Any]) -> Said:
    """That it was given, and by whose word; never what or how much, which somebody might repeat."""
    return j.tank_key(p), _("A treatment, by order of the veterinarian; please add nothing yourself")


def _animals(j: Journal, p: dict[str, Any]) -> Said:
    row = j.animals[UUID(p["livestock"])]
    number = int(float(p["number"]))
    if p["change"] == LivestockChange.ADDED:
        return row.tank_id, _("Added: %(n)s %(name)s") % {"n": number, "name": row.name}
    if p["change"] == LivestockChange.MOVED:
        return row.tank_id, _("Moved out: %(n)s %(name)s") % {"n": number, "name": row.name}
    return None


SAY: dict[str, Callable[[Journal, dict[str, Any]], Said]] = {
    EntryKind.WATER_CHANGE: _change,
    EntryKind.DOSE: _dose,
    EntryKind.RATE: _rate,
    EntryKind.PUMP_CHECK: _pump_check,
    EntryKind.REFILL: _refill,
    EntryKind.REAGENT_LOAD: _load,
    EntryKind.CALIBRATION: _calibration,
    EntryKind.TREATMENT: _treatment,
    EntryKind.LIVESTOCK: _animals,
    EntryKind.TASK_DONE: _task,
}
"""Kinds of entries that tell of something done, in the order in which a client reads them."""


def _tests(journal: Journal, tank: Tank) -> list[str]:
    gone = journal.withdrawn()
    readings = [e for e in journal.of(EntryKind.READING) if journal.tank_key(e.payload) == tank.pk]
    counts = Counter(e.payload["parameter"] for e in readings if str(e.pk) not in gone)
    if not counts:
        return []
    said = ngettext("%(n)s test", "%(n)s tests", len(counts)) % {"n": len(counts)}
    names = [name_of(p) if n == 1 else f"{name_of(p)} {times_text(n)}" for p, n in counts.items()]
    return [f"{said}: {listed([name[:1].lower() + name[1:] for name in names])}"]


def did(journal: Journal, tank: Tank, *, alone: bool) -> list[str]:
    """What was done on this tank. With `alone`, what belongs to no tank is told here too."""
    lines = _tests(journal, tank)
    for kind, say in SAY.items():
        for entry in journal.of(kind):
            said = say(journal, entry.payload)
            if said is not None and (said[0] == tank.pk or (alone and said[0] is None)):
                lines.append(said[1])
    return list(dict.fromkeys(lines))


def left(journal: Journal, tank: Tank) -> list[str]:
    """The tasks that were left, and why."""
    done = {e.payload["task"] for e in journal.of(EntryKind.TASK_DONE)}
    lines = {}
    for entry in journal.of(EntryKind.TASK_LEFT):
        task = journal.tasks[UUID(entry.payload["task"])]
        if task.tank_id == tank.pk and entry.payload["task"] not in done:
            lines[task.pk] = journal.scrub(f"{task.title}: {reason_words(entry.payload['reason'])}")
    return list(lines.values())
