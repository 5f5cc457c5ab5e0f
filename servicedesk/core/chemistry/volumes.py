"""How much water a tank holds: by its sizes less what lies in it, by a measured rise after a known addition, and the two
brought together. Litres; geometry is exact, what rock and sand displace is common practice (no source)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from servicedesk.core.chemistry.water import NoChange, cylinder_l, hexagon_l, rectangular_l
from servicedesk.core.metrology.agreement import weighted_mean
from servicedesk.core.metrology.propagation import Known, combined

ROCK_KG_PER_L = 1.6, 0.3
"""kg of reef rock that displace a litre, pores filled, with its standard uncertainty."""
SAND_SOLID = 0.6, 0.05
"""Share of a bed of sand that is grain and not water, with its standard uncertainty."""
RESOLVED = 2.0
"""A rise tells a volume only when it is this many standard uncertainties large."""
APART = 2.0
"""Birge's ratio from which two volumes are said to disagree."""
SHAPES = ("rectangle", "cylinder", "hexagon", "bow front", "quarter cylinder")


def bow_front_l(*, length_cm: float, width_cm: float, bow_cm: float, height_cm: float) -> float:
    """Litres in a rectangle whose front bulges out by `bow_cm` in the arc of a circle. Raises NoChange."""
    straight = rectangular_l(length_cm=length_cm, width_cm=width_cm, height_cm=height_cm)
    if not 0 < bow_cm <= length_cm / 2:
        raise NoChange("The bow lies above nought and up to half the length.")
    radius = (length_cm**2 / 4 + bow_cm**2) / (2 * bow_cm)
    angle = 2 * math.asin(min(1.0, length_cm / (2 * radius)))
    return straight + radius**2 / 2 * (angle - math.sin(angle)) * height_cm / 1000


def quarter_cylinder_l(*, radius_cm: float, height_cm: float) -> float:
    """Litres in a corner tank: a quarter of a circle. Raises NoChange."""
    return cylinder_l(diameter_cm=2 * radius_cm, height_cm=height_cm) / 4


def gross_l(
    *, shape: str, length_cm: float, width_cm: float = 0.0, water_cm: float, bow_cm: float = 0.0
) -> float:
    """Litres up to the water's surface, inner sizes. `length_cm` is the diameter of a cylinder, the side of a hexagon, the
    radius of a quarter cylinder. Raises NoChange."""
    if shape == "rectangle":
        return rectangular_l(length_cm=length_cm, width_cm=width_cm, height_cm=water_cm)
    if shape == "cylinder":
        return cylinder_l(diameter_cm=length_cm, height_cm=water_cm)
    if shape == "hexagon":
        return hexagon_l(side_cm=length_cm, height_cm=water_cm)
    if shape == "bow front":
        return bow_front_l(length_cm=length_cm, width_cm=width_cm, bow_cm=bow_cm, height_cm=water_cm)
    if shape == "quarter cylinder":
        return quarter_cylinder_l(radius_cm=length_cm, height_cm=water_cm)
    raise NoChange(f"A vessel is one of these: {', '.join(SHAPES)}.")


def net_from_sizes(
    *, gross: Known, rock_kg: float = 0.0, sand_l: float = 0.0, elsewhere: Known | None = None
) -> Known:
    """Net litres: what the vessel holds, less rock and sand, with the sump's water added. Raises NoChange where nothing is
    left."""
    if not 0 <= rock_kg < math.inf or not 0 <= sand_l < math.inf:
        raise NoChange("Rock and sand are nought or more.")
    found = combined(
        lambda vessel, sump, rock, sand: vessel + sump - rock_kg / rock - sand_l * sand,
        {
            "vessel": gross,
            "sump": elsewhere or Known(0.0),
            "rock": Known(*ROCK_KG_PER_L),
            "sand": Known(*SAND_SOLID),
        },
    )
    if found.value <= 0:
        raise NoChange("Rock and sand would fill more than the vessel holds.")
    return Known(found.value, found.u)


def net_from_rise(*, added: Known, before: Known, after: Known, shared_u: float = 0.0) -> Known:
    """Net litres from a known addition (canonical units times litres) and the values before and after it.

    `shared_u` is the standard uncertainty that both results share (the same lot's bias), which falls out of their
    difference and is taken off again. Raises NoChange where the rise is too small to be told from the tests' scatter."""
    rise = after.value - before.value
    if added.value <= 0 or rise <= 0:
        raise NoChange("Something was added, and the value after it lies above the one before.")
    own = [math.sqrt(max(0.0, known.u**2 - shared_u**2)) for known in (before, after)]
    u_rise = math.hypot(*own)
    if rise < RESOLVED * u_rise:
        raise NoChange(
            f"The rise of {rise:.3g} is not {RESOLVED:g} times its uncertainty of {u_rise:.2g}: add more, or test more often."
        )
    relative = math.hypot(added.u / added.value, u_rise / rise)
    return Known(added.value / rise, added.value / rise * relative)


@dataclass(frozen=True)
class Reconciled:
    """The volume that several ways give together, its standard uncertainty (litres), and whether they agree."""

    litres: float
    u: float
    birge: float
    agree: bool


def reconciled(ways: Sequence[Known]) -> Reconciled:
    """Volumes from two ways or more as one, weighted by 1/u²; where they disagree the uncertainty is the difference seen.
    Raises NoAgreement."""
    found = weighted_mean(values=[w.value for w in ways], standard_uncertainties=[w.u for w in ways])
    return Reconciled(found.value, found.u_widened, found.birge, found.birge <= APART)


def dose_error(*, believed_l: float, true_l: float) -> float:
    """By what share every dose's effect is off when the volume is another than was believed: 0.25 is a quarter more than
    meant. Raises NoChange."""
    if not (0 < believed_l < math.inf and 0 < true_l < math.inf):
        raise NoChange("A volume lies above nought.")
    return believed_l / true_l - 1
