"""Keeping level: what a channel must give, how long a container lasts, and how long a silent fault may last before it harms.

Mass balance; canonical units, litres, mL, days. Common practice (no source) where no arithmetic stands."""

import math
from dataclasses import dataclass


class NoLevel(ValueError):
    """It cannot be reckoned; the sentence says why."""


def _above(**sizes: float) -> None:
    for name, size in sizes.items():
        if not 0 < size < math.inf:
            raise NoLevel(f"The {name.replace('_', ' ')} lies above nought.")


def setting_ml_per_day(
    *, uptake_per_day: float, net_l: float, per_ml: float, pump_step_ml: float = 0.0
) -> float:
    """mL a day that make up for the uptake, to the pump's nearest step. Raises NoLevel for an uptake below nought: something else
    adds it, and nothing is to be dosed."""
    _above(volume=net_l, strength=per_ml)
    if not 0 <= uptake_per_day < math.inf:
        raise NoLevel("The value rises by itself: something else adds it, and nothing is to be dosed.")
    exact = uptake_per_day * net_l / per_ml
    return round(exact / pump_step_ml) * pump_step_ml if pump_step_ml > 0 else exact


def strength_to_last(
    *, uptake_per_day: float, net_l: float, container_ml: float, days: float, reserve: float = 0.1
) -> float:
    """The strength (canonical units times litres a mL) with which a full container lasts that many days and a tenth more.
    Raises NoLevel."""
    _above(uptake=uptake_per_day, volume=net_l, container=container_ml, days=days)
    if not 0 <= reserve < 1:
        raise NoLevel("The reserve lies between 0 and 1.")
    return uptake_per_day * net_l * days / (container_ml * (1 - reserve))


@dataclass(frozen=True)
class Faults:
    """What a channel does when it sticks on for a day (rise) and when it stands still for a week (fall), canonical units."""

    stuck_day: float
    stopped_week: float


def faults(*, uptake_per_day: float, net_l: float, per_ml: float, most_ml_per_day: float) -> Faults:
    """What the two silent faults of a channel do; `most_ml_per_day` is what it gives when it runs without stopping, or what the
    container holds where that is less."""
    _above(volume=net_l, strength=per_ml)
    if min(uptake_per_day, most_ml_per_day) < 0:
        raise NoLevel("Uptake and rate are nought or more.")
    return Faults(most_ml_per_day * per_ml / net_l - uptake_per_day, 7 * uptake_per_day)


@dataclass(frozen=True)
class Silence:
    """The longest time without a test in which neither fault does harm: days until a stopped dose and until a steady overdose of a
    given share leave the limits (None: never), and the whole days between tests that follow, at least one."""

    stopped_days: float | None
    overdosed_days: float | None
    test_every_days: int
    seldom: bool


def longest_silence(
    *,
    value: float,
    low: float | None,
    high: float | None,
    uptake_per_day: float,
    uptake_u: float = 0.0,
    overdose_share: float = 0.5,
    longest_days: int = 14,
) -> Silence:
    """How often a manual test is needed: before a silent stop (the value falls by the uptake), or a channel that gives
    `overdose_share` more than it should, takes the value out of its limits, the uptake reckoned two standard uncertainties
    high. `longest_days` is the longest interval that the business allows. Raises NoLevel where the value is out already."""
    if min(uptake_per_day, uptake_u, overdose_share) < 0 or longest_days < 1:
        raise NoLevel(
            "Uptake, its uncertainty and the overdose are nought or more, the longest interval a day."
        )
    if (low is not None and value <= low) or (high is not None and value >= high):
        raise NoLevel("The value is at its limit or beyond it: act now.")
    fastest = uptake_per_day + 2 * uptake_u
    stopped = (value - low) / fastest if low is not None and fastest > 0 else None
    rising = fastest * overdose_share
    overdosed = (high - value) / rising if high is not None and rising > 0 else None
    soonest = min((d for d in (stopped, overdosed) if d is not None), default=math.inf)
    every = max(1, min(longest_days, math.floor(min(soonest, longest_days))))
    return Silence(stopped, overdosed, every, soonest < 1)
