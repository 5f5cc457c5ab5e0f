"""What was done to a tank's water at a visit, and what of it came after the tests: advice must know of it."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from clients.models import Tank
from servicedesk.dosing.choices import DoseKind
from servicedesk.dosing.models import Dose
from servicedesk.visits.choices import EntryKind
from servicedesk.visits.models import Entry, Visit
from servicedesk.visits.queries.journal import entries_of
from servicedesk.visits.queries.sheet import TankToday
from servicedesk.water.models import WaterChange


@dataclass(frozen=True)
class Work:
    """The water changes of a visit to one tank and its doses by hand."""

    tank: Tank
    changes: list[WaterChange] = field(default_factory=list)
    doses: list[Dose] = field(default_factory=list)


def work_on(tank: Tank, entries: Iterable[Entry]) -> Work:
    """What these entries did to the water of a tank."""
    keys = [entry.pk for entry in entries]
    changes = WaterChange.objects.filter(tank=tank, origin__in=keys).order_by("at", "pk")
    doses = Dose.objects.filter(tank=tank, origin__in=keys, kind=DoseKind.BY_HAND).select_related("solution")
    return Work(tank=tank, changes=list(changes), doses=list(doses.order_by("at", "pk")))


@dataclass
class Since:
    """mL given by hand per solution (by its id, as text), and the litres changed, both after the last test; the channels (ids as
    text) whose rate was set at this visit."""

    given: dict[str, str] = field(default_factory=dict)
    changed: str = ""
    set_here: frozenset[str] = frozenset()


def done_since_tests(visit: Visit, tank: Tank, today: TankToday) -> Since:
    """Doses of a solution count from the last test of its parameter, water changes from the last test at all."""
    tests = {p: max(r.at for r in rows) for p, rows in today.today.items() if rows}
    if not tests:
        return Since()
    entries = list(entries_of(visit, EntryKind.DOSE, EntryKind.WATER_CHANGE, EntryKind.RATE))
    work = work_on(tank, entries)
    given: dict[str, float] = {}
    for dose in work.doses:
        tested = tests.get(dose.solution.parameter)
        if tested is not None and dose.at >= tested:
            given[str(dose.solution_id)] = given.get(str(dose.solution_id), 0.0) + dose.ml
    litres = sum(change.litres for change in work.changes if change.at >= max(tests.values()))
    return Since(
        given={solution: f"{ml:g}" for solution, ml in given.items()},
        changed=f"{litres:g}" if litres else "",
        set_here=frozenset(str(e.payload.get("channel")) for e in entries if e.kind == EntryKind.RATE),
    )
