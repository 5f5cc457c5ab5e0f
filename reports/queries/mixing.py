"""What a test is worth after what was done to the water since: worked out, or measured before it and no more."""

from dataclasses import dataclass

from servicedesk.core.chemistry.dosing import rise_of
from servicedesk.core.chemistry.water import after_changes
from servicedesk.dosing.models import Dose
from servicedesk.visits.queries import Tested
from servicedesk.visits.queries.since import Work
from servicedesk.water.models import WaterChange
from servicedesk.water.queries import is_marine, water_for

AT_ONCE = {"temperature", "salinity", "conductivity"}
"""What a water change makes meaningful at once; everything else has to settle (common practice)."""


@dataclass(frozen=True)
class Since:
    """What befell the water after a test: whether it was changed and dosed, and what is expected now, if that can be
    worked out."""

    changed: bool = False
    dosed: bool = False
    expected: float | None = None


def _fresh(parameter: str, change: WaterChange, holds: dict[str, float], marine: bool) -> float | None:
    """The new water's value; None where nobody knows it. A mix of another salinity than usual is a weaker or stronger
    one of the same salts (constant proportions of sea salt, common practice)."""
    usual = holds.get(parameter)
    if not marine or change.salinity is None:
        return usual
    if parameter == "salinity":
        return change.salinity
    mixed = holds.get("salinity")
    return usual * change.salinity / mixed if usual is not None and mixed else None


def since(tested: Tested, work: Work) -> Since:
    """What befell the water after this test, in the order in which it was done."""
    if not tested.replicates or tested.value is None:
        return Since()
    parameter, tank = tested.test.parameter, work.tank
    taken = max(r.at for r in tested.replicates)
    changes = [c for c in work.changes if c.at >= taken]
    if parameter in AT_ONCE and any(c.salinity is None for c in changes):
        return Since()
    if not changes or parameter in ("temperature", "conductivity"):
        return Since()
    doses = [d for d in work.doses if d.at >= taken and d.solution.parameter == parameter]
    marine, holds = is_marine(tank), water_for(tank).holds
    value = tested.value
    steps: list[WaterChange | Dose] = [*changes, *doses]
    for step in sorted(steps, key=lambda step: step.at):
        if isinstance(step, Dose):
            value += rise_of(ml=step.ml, per_ml=step.solution.per_ml, net_l=tank.net_l)
            continue
        fresh = _fresh(parameter, step, holds, marine)
        if fresh is None:
            return Since(changed=parameter not in AT_ONCE, dosed=bool(doses))
        value = after_changes(now=value, fresh=fresh, fraction=min(step.litres / tank.net_l, 1.0))
    return Since(changed=True, dosed=bool(doses), expected=value)
