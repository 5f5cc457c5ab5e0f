"""Whether, and by how much, an instrument is to be set: from what it shows of something whose value is known.

A factor where what is shown follows the setting in proportion, an offset where it is moved as a whole. What lies within
the uncertainty of the comparison (k = 2, JCGM 100:2008, 5.1.2 and 6.2) is left alone: setting by it would add noise. What lies beyond
what a calibration is expected to mend has a cause of its own. Canonical units; relative uncertainties of a quotient add as
squares (5.1.6)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from servicedesk.core.metrology.propagation import Known, rectangular_u
from servicedesk.core.metrology.uncertainty import COVERAGE, Reference

LEAVE, SET, LOOK, STOP = "leave", "set", "look", "stop"
WORST = (LEAVE, SET, LOOK, STOP)
BEYOND = 2.0
"""So many times what is expected is not mended by setting (common practice)."""


class NoSetting(ValueError):
    """Nothing can be told; the sentence says why."""


@dataclass(frozen=True)
class Setting:
    """Shown less true with its expanded uncertainty; the factor (true over shown, to some power) and the offset (true less shown), each
    with its standard uncertainty; and what to do: leave it, set it, look for a cause first, or not set it at all."""

    word: str
    delta: float
    expanded: float
    factor: float
    factor_u: float
    offset: float
    offset_u: float


def standard_of(value: float, good_to: float) -> Known:
    """A standard that is good to ± so much (a rectangle)."""
    return Known(value, rectangular_u(good_to))


def mean_of(values: Sequence[float], step: float = 0.0) -> Known:
    """Several readings as one: the scatter seen, or the step of the display where that is more."""
    if not values or not all(map(math.isfinite, values)):
        raise NoSetting("It takes one value or more, all of them numbers.")
    n = len(values)
    seen = stdev(values) / math.sqrt(n) if n > 1 else 0.0
    return Known(fmean(values), max(seen, rectangular_u(step / 2) / math.sqrt(n)))


def taken_for_true(known: Known) -> Reference:
    """A known value as the reference of a comparison."""
    return Reference(
        value=known.value,
        u=known.u,
        expanded=COVERAGE * known.u,
        k=COVERAGE,
        methods=1,
        replicates=1,
        birge=0.0,
        agree=True,
    )


def setting(
    *,
    reference: Known,
    shown: Known,
    by_factor: bool,
    expected: float,
    factor: float | None = None,
    power: float = 1.0,
) -> Setting:
    """What to do where `shown` stands beside `reference`. `expected` is the largest correction that is usual: a fraction for a factor, the
    canonical unit for an offset. `factor` and `power` where the factor is not the plain quotient but follows it with a power.
    Raises NoSetting where a factor has no meaning."""
    if by_factor and (reference.value <= 0 or shown.value <= 0):
        raise NoSetting("A factor needs values above nought.")
    delta, u = shown.value - reference.value, math.hypot(reference.u, shown.u)
    quotient, relative = 1.0, 0.0  # where either is nought a factor means nothing
    if reference.value and shown.value:
        quotient = reference.value / shown.value
        relative = math.hypot(reference.u / reference.value, shown.u / shown.value)
    found = quotient if factor is None else factor
    size = abs(found - 1) if by_factor else abs(delta)
    if abs(delta) <= COVERAGE * u:
        word = LEAVE
    elif size > BEYOND * expected:
        word = STOP
    else:
        word = LOOK if size > expected else SET
    return Setting(
        word=word,
        delta=delta,
        expanded=COVERAGE * u,
        factor=found,
        factor_u=abs(found * power) * relative,
        offset=-delta,
        offset_u=u,
    )


def new_setting(*, old: float, found: Setting, by_factor: bool) -> float:
    """What the device is to be set to: the old setting times the factor, or moved by the offset."""
    return old * found.factor if by_factor else old + found.offset


@dataclass(frozen=True)
class Points:
    """Two points of an analogue line: volts and the value there, the lower volts first; units per volt."""

    low_volts: float
    low_value: float
    high_volts: float
    high_value: float

    @property
    def per_volt(self) -> float:
        """How much the value moves for each volt."""
        return (self.high_value - self.low_value) / (self.high_volts - self.low_volts)

    def at(self, volts: float) -> float:
        """The value at so many volts."""
        return self.low_value + (volts - self.low_volts) * self.per_volt


LEAST_VOLTS = 0.05
"""Two points nearer than this tell no line: common practice for a line of 0 to 10 V, read to a hundredth."""


def line_of(first: tuple[float, float], second: tuple[float, float]) -> Points:
    """The line through two pairs of volts and value, in whatever order. Raises NoSetting where they tell none."""
    (v0, y0), (v1, y1) = sorted((first, second))
    if not all(map(math.isfinite, (v0, y0, v1, y1))):
        raise NoSetting("A value is not a number.")
    if v1 - v0 < LEAST_VOLTS:
        raise NoSetting(f"The two points lie {v1 - v0:.3f} V apart: that tells no line.")
    if y0 == y1:
        raise NoSetting("Both points have one value: that tells no line.")
    return Points(v0, y0, v1, y1)


def worst(words: Sequence[str]) -> str:
    """The word that asks most of several."""
    return max(words, key=WORST.index)
