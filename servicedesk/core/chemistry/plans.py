"""A correction in parts: how much on which day, where the value ends, and the other ways to the same end.

Mass balance on well-mixed water. Canonical units, litres, mL, days. Order and rules are common practice (no source); the
arithmetic is checked against a simulated tank in the tests."""

import math
from dataclasses import dataclass

from servicedesk.core.chemistry.dosing import NoDose
from servicedesk.core.metrology.propagation import Known

CUT = 2.0
"""Standard uncertainties to which volume and strength are reckoned against us: no day rises faster than is safe even then."""
WIDTH = 1.8
"""Standard uncertainties of the stated interval. What goes in is known between limits (a tolerance, a rectangle's 95 % lie
within 1.65 of them, a normal's within 1.96), so that about 95 of 100 tanks end inside."""
MOST_DAYS = 60
LEVEL = Known(0.0)
HAIR = 1e-9


@dataclass(frozen=True)
class Part:
    """One day's dose: the day (0 is today), mL, and where the value is believed to stand after it."""

    day: int
    ml: float
    reaches: float


@dataclass(frozen=True)
class Plan:
    """A rise in equal daily parts. `first_ml` is today's safe lower amount; `ml_per_day` every later day's; the end with its
    interval; `fastest` the most that a day may truly rise when volume and strength are wrong by two standard uncertainties."""

    parts: tuple[Part, ...]
    first_ml: float
    ml_per_day: float
    total_ml: float
    end: float
    low: float
    high: float
    u_end: float
    fastest: float
    test_again_day: int

    @property
    def days(self) -> int:
        """Days on which something is given."""
        return len(self.parts)


def _checked(net_l: Known, per_ml: Known) -> tuple[float, float]:
    """The relative standard uncertainties of volume and strength."""
    if net_l.value <= 0 or per_ml.value <= 0:
        raise NoDose("The volume and the strength must be above nought.")
    relative = net_l.u / net_l.value, per_ml.u / per_ml.value
    if max(relative) * CUT >= 1:
        raise NoDose("Volume or strength is so uncertain that no dose is safe. Find out more first.")
    return relative


def safe_ml(*, step: float, net_l: Known, per_ml: Known, pump_step_ml: float = 0.0) -> float:
    """mL that raise a tank by no more than `step` (canonical units) even when the water is less and the solution stronger than
    believed by two standard uncertainties, rounded down to the pump's or syringe's step. Raises NoDose."""
    if not 0 < step < math.inf:
        raise NoDose("The safe daily change must be above nought.")
    u_volume, u_strength = _checked(net_l, per_ml)
    least_l = net_l.value * (1 - CUT * u_volume)
    most_per_ml = per_ml.value * (1 + CUT * u_strength)
    return floored(step * least_l / most_per_ml, pump_step_ml)


def floored(ml: float, step_ml: float) -> float:
    """Down to a whole number of steps; unchanged where there is no step."""
    return math.floor(ml / step_ml + HAIR) * step_ml if step_ml > 0 else ml


def raise_in_parts(
    *,
    value: Known,
    goal: float,
    net_l: Known,
    per_ml: Known,
    max_rise_per_day: float,
    left_over_per_day: Known = LEVEL,
    pump_step_ml: float = 0.0,
    most_days: int = MOST_DAYS,
) -> Plan:
    """A plan from a tested value to the goal. `left_over_per_day` is how the value moves by itself beside the correction: the
    running dose less the uptake, with what is not known of it. Raises NoDose where nothing is to be raised, no step can be
    given, or it would take too long."""
    rise = goal - value.value
    if not rise > 0:
        raise NoDose("It needs no raising: it is at its goal or above.")
    room = max_rise_per_day - max(0.0, left_over_per_day.value + CUT * left_over_per_day.u)
    if room <= 0:
        raise NoDose("The value already rises by itself as fast as is safe: nothing may be added.")
    most = safe_ml(step=room, net_l=net_l, per_ml=per_ml, pump_step_ml=pump_step_ml)
    if most <= 0:
        raise NoDose(
            f"The smallest step of {pump_step_ml:g} mL is more than is safe: dilute the solution first."
        )
    days, ml = _spread(rise, left_over_per_day.value, net_l.value / per_ml.value, most, most_days)
    daily = floored(ml, pump_step_ml) or pump_step_ml
    first = min(
        daily,
        safe_ml(
            step=daily * per_ml.value / net_l.value, net_l=net_l, per_ml=per_ml, pump_step_ml=pump_step_ml
        )
        or daily,
    )
    return _plan(value, net_l, per_ml, left_over_per_day, first, daily, days)


def _spread(
    rise: float, drift: float, ml_per_unit: float, most_ml: float, most_days: int
) -> tuple[int, float]:
    """The fewest days, and each day's mL, that bring the rise while the value drifts."""
    for days in range(1, most_days + 1):
        ml = (rise / days - drift) * ml_per_unit
        if ml <= 0:
            raise NoDose("The value reaches its goal by itself: wait and test again.")
        if ml <= most_ml * (1 + HAIR):
            return days, ml
    raise NoDose(
        f"It would take more than {most_days} days: change water, use a stronger solution, or a larger step."
    )


def _plan(
    value: Known, net_l: Known, per_ml: Known, drift: Known, first: float, daily: float, days: int
) -> Plan:
    effect = per_ml.value / net_l.value
    amounts = [first] + [daily] * (days - 1)
    parts, reached = [], value.value
    for day, ml in enumerate(amounts):
        reached += ml * effect + drift.value
        parts.append(Part(day, ml, reached))
    total = math.fsum(amounts)
    relative = math.hypot(net_l.u / net_l.value, per_ml.u / per_ml.value)
    u_end = math.hypot(value.u, total * effect * relative, days * drift.u)
    u_volume, u_strength = net_l.u / net_l.value, per_ml.u / per_ml.value
    fastest = daily * effect * (1 + CUT * u_strength) / (1 - CUT * u_volume)
    fastest += max(0.0, drift.value + CUT * drift.u)
    return Plan(
        parts=tuple(parts),
        first_ml=first,
        ml_per_day=daily,
        total_ml=total,
        end=reached,
        low=reached - WIDTH * u_end,
        high=reached + WIDTH * u_end,
        u_end=u_end,
        fastest=fastest,
        test_again_day=days if days <= 3 else 3,
    )


def pump_setting(
    *, running_ml_per_day: float, extra_ml_per_day: float, pump_step_ml: float, most_ml_per_day: float
) -> float:
    """The channel's temporary setting in mL a day: what keeps the level plus the correction, rounded down to its step. Raises
    NoDose where the channel cannot give so much."""
    if min(running_ml_per_day, extra_ml_per_day) < 0:
        raise NoDose("A rate is nought or more.")
    setting = floored(running_ml_per_day + extra_ml_per_day, pump_step_ml)
    if setting > most_ml_per_day:
        raise NoDose(f"The channel gives at most {most_ml_per_day:g} mL a day; {setting:g} would be needed.")
    return setting


@dataclass(frozen=True)
class Changes:
    """Water changes to a goal: litres each time, how many, the days between, and where the last one ends."""

    litres: float
    times: int
    end: float


def by_changes(
    *,
    now: float,
    goal: float,
    fresh: float,
    net_l: float,
    max_step: float | None,
    most_share: float = 0.3,
) -> Changes:
    """The fewest equal changes with water of value `fresh` that reach the goal, none moving the value by more than `max_step`
    or taking more than that share of the water. Raises NoDose where such water cannot reach it."""
    if net_l <= 0 or not 0 < most_share <= 1 or (max_step is not None and max_step <= 0):
        raise NoDose("The volume, the share and the safe step must be above nought.")
    if now == goal:
        return Changes(0.0, 0, now)
    share = (now - goal) / (now - fresh) if now != fresh else math.inf
    if not 0 < share < 1:
        raise NoDose(f"Water of {fresh:g} does not bring {now:g} to {goal:g}.")
    for times in range(1, MOST_DAYS + 1):
        each = 1 - (1 - share) ** (1 / times)
        first = abs(now - fresh) * each
        if each <= most_share + HAIR and (max_step is None or first <= max_step * (1 + HAIR)):
            return Changes(net_l * each, times, fresh + (now - fresh) * (1 - each) ** times)
    raise NoDose(f"It would take more than {MOST_DAYS} changes: look for the cause first.")


def continuous_l(*, now: float, goal: float, fresh: float, net_l: float) -> float:
    """Litres of a continuous exchange that reach the goal: always more than one change would take. Raises NoDose."""
    if net_l <= 0:
        raise NoDose("The volume must be above nought.")
    left = (goal - fresh) / (now - fresh) if now != fresh else math.inf
    if not 0 < left <= 1:
        raise NoDose(f"Water of {fresh:g} does not bring {now:g} to {goal:g} by exchange.")
    return -net_l * math.log(left)
