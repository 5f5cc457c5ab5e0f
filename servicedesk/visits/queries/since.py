"""What was done to a tank after its tests of this visit: advice that rests on them must know of it."""

from dataclasses import dataclass, field

from clients.models import Tank
from servicedesk.core import units
from servicedesk.visits.choices import EntryKind
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.journal import entries_of
from servicedesk.visits.queries.sheet import TankToday


@dataclass
class Since:
    """mL given by hand per solution (by its id, as text), and the litres changed, both after the last test."""

    given: dict[str, str] = field(default_factory=dict)
    changed: str = ""


def done_since_tests(visit: Visit, tank: Tank, today: TankToday) -> Since:
    """Doses of a solution count from the last test of its parameter, water changes from the last test at all."""
    found = Since()
    tests = {p: max(r.at for r in rows) for p, rows in today.today.items() if rows}
    if not tests:
        return found
    parameters = {p.key: p.parameter for p in today.sheet.products}
    given: dict[str, float] = {}
    litres = 0.0
    for entry in entries_of(visit, EntryKind.DOSE, EntryKind.WATER_CHANGE):
        if entry.payload.get("tank") != str(tank.pk):
            continue
        if entry.kind == EntryKind.WATER_CHANGE and entry.at >= max(tests.values()):
            litres += units.parse_typed(str(entry.payload["litres"]))
        solution = str(entry.payload.get("solution", ""))
        tested = tests.get(parameters.get(solution, ""))
        if entry.kind == EntryKind.DOSE and tested is not None and entry.at >= tested:
            given[solution] = given.get(solution, 0.0) + units.parse_typed(str(entry.payload["ml"]))
    found.given = {solution: f"{ml:g}" for solution, ml in given.items()}
    found.changed = f"{litres:g}" if litres else ""
    return found
