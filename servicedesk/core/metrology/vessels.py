"""What a measuring vessel adds to the uncertainty of what was mixed with it.

Tolerances: tables/glassware.csv, each with the standard it stands in and whether it was read there or is from memory."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from servicedesk.core.metrology.propagation import NotPropagated, rectangular_u, triangular_u
from servicedesk.core.tables import read_csv


@dataclass(frozen=True)
class Vessel:
    """A vessel or scale by its stated tolerance (mL, or g for a scale): `likelier_middle` for glass that is made to a mark
    (triangle), else limits with nothing known between them (rectangle)."""

    name: str
    nominal: float
    tolerance: float
    likelier_middle: bool = True

    def __post_init__(self) -> None:
        if not 0 < self.nominal < math.inf or not 0 <= self.tolerance < math.inf:
            raise NotPropagated("A vessel holds more than nothing, and its tolerance is nought or more.")

    @property
    def u(self) -> float:
        """Standard uncertainty of one filling."""
        return triangular_u(self.tolerance) if self.likelier_middle else rectangular_u(self.tolerance)


def vessels() -> tuple[Vessel, ...]:
    """The vessels of the table, both classes."""
    return tuple(
        Vessel(
            f"{row['kind']} {float(row['nominal_mL']):g} mL, class {letter}",
            float(row["nominal_mL"]),
            float(row[f"class_{letter}_tolerance"]),
        )
        for row in read_csv("glassware.csv")
        for letter in ("A", "B")
        if row[f"class_{letter}_tolerance"]
    )


SCALES = (
    Vessel("kitchen scale to 5 kg, ± 2 g", 5000, 2, likelier_middle=False),
    Vessel("letter scale to 500 g, ± 0.1 g", 500, 0.1, likelier_middle=False),
)
"""Scales as they are sold for a kitchen or a desk (common practice): g, taken for mL of water."""


def vessel(name: str) -> Vessel:
    """The vessel or scale of that name. Raises NotPropagated."""
    for one in (*vessels(), *SCALES):
        if one.name == name:
            return one
    raise NotPropagated(f"“{name}” is not in the table of vessels.")


def fillings_u(*, vessel: Vessel, total: float, own_each_time: float = 0.0) -> float:
    """Standard uncertainty of a volume measured with several fillings of one vessel: its own error repeats every time and adds
    up; what differs each time (reading the line, drops left behind; standard uncertainty `own_each_time`) does not."""
    if not 0 < total < math.inf:
        raise NotPropagated("What is measured out is more than nothing.")
    times = math.ceil(total / vessel.nominal - 1e-9)
    shared = vessel.u * total / vessel.nominal if total >= vessel.nominal else vessel.u
    return math.hypot(shared, own_each_time * math.sqrt(times))


@dataclass(frozen=True)
class Share:
    """What one step of a mixture adds to the relative standard uncertainty of its strength."""

    what: str
    relative_u: float


def strength_budget(shares: Sequence[Share]) -> float:
    """Relative standard uncertainty of a strength from its steps, none of them tied to another."""
    if any(not 0 <= share.relative_u < math.inf for share in shares):
        raise NotPropagated("An uncertainty is nought or more.")
    return math.hypot(*(share.relative_u for share in shares)) if shares else 0.0
