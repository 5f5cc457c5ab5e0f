"""Water changes, dilution, hardness, volumes: mass balances on well-mixed water. Litres and the parameter's own unit.

Gallons: NIST SP 811 (231 cubic inches) and the UK Weights and Measures Act. Atomic weights: IUPAC 2021."""

import math


class NoChange(ValueError):
    """The water change cannot do this; the sentence says why."""


def after_changes(*, now: float, fresh: float, fraction: float, times: int = 1) -> float:
    """The value after `times` equal changes of a fraction of the volume with water of value `fresh`."""
    if not 0 <= fraction <= 1 or times < 0:
        raise NoChange("A change replaces between nothing and all of the water.")
    return fresh + (now - fresh) * (1 - fraction) ** times


def after_continuous(*, now: float, fresh: float, litres: float, net_l: float) -> float:
    """The value after a continuous exchange of `litres` through `net_l`, well mixed."""
    if litres < 0 or net_l <= 0:
        raise NoChange("Litres are nought or more, the volume is above nought.")
    return fresh + (now - fresh) * math.exp(-litres / net_l)


def fraction_needed(*, now: float, fresh: float, goal: float) -> float:
    """The fraction of the water that one change must replace to reach `goal`. Raises NoChange when water of that
    value cannot reach it."""
    if now == goal:
        return 0.0
    if now == fresh or not 0 <= (now - goal) / (now - fresh) <= 1:
        raise NoChange(f"Water of {fresh:g} does not bring {now:g} to {goal:g}.")
    return (now - goal) / (now - fresh)


def litres_needed(*, now: float, fresh: float, goal: float, net_l: float) -> float:
    """The same in litres."""
    return net_l * fraction_needed(now=now, fresh=fresh, goal=goal)


US_GALLON_L = 3.785411784
IMPERIAL_GALLON_L = 4.54609


def general_hardness(*, calcium_mg_l: float, magnesium_mg_l: float) -> float:
    """General hardness in dGH (10 mg CaO per litre, CaO 56.077 g/mol) from calcium and magnesium."""
    millimoles = calcium_mg_l / 40.078 + magnesium_mg_l / 24.305
    return millimoles * 56.077 / 10


def rectangular_l(
    *, length_cm: float, width_cm: float, height_cm: float, glass_cm: float = 0.0, gap_cm: float = 0.0
) -> float:
    """Litres in a rectangular vessel. With `glass_cm` the sizes are outer ones and four sides and the bottom are
    that thick; `gap_cm` is air below the rim."""
    inner = (length_cm - 2 * glass_cm, width_cm - 2 * glass_cm, height_cm - glass_cm - gap_cm)
    return math.prod(_above_nought(side) for side in inner) / 1000


def cylinder_l(*, diameter_cm: float, height_cm: float) -> float:
    """Litres in an upright cylinder."""
    return math.pi / 4 * _above_nought(diameter_cm) ** 2 * _above_nought(height_cm) / 1000


def hexagon_l(*, side_cm: float, height_cm: float) -> float:
    """Litres in a regular hexagonal prism."""
    return 1.5 * math.sqrt(3) * _above_nought(side_cm) ** 2 * _above_nought(height_cm) / 1000


def _above_nought(size: float) -> float:
    if size <= 0:
        raise NoChange("A size must be above nought.")
    return size
