"""A glass electrode in two buffers: its slope beside Nernst's, its offset, and what that says of it.

Slope by theory: ln 10 · R · T / F with R = 8.314462618 J/(mol K) and F = 96485.33212 C/mol (CODATA 2018, exact): 59.159 mV at
25 °C. Two-point calibration with buffers on either side: IUPAC Recommendations 2002, Pure Appl. Chem. 74, 2169. Within which
slope and offset an electrode is good is common practice. mV and °C; an electrode's voltage falls as pH rises."""

import math
from dataclasses import dataclass

R, F, ZERO_K = 8.314462618, 96485.33212, 273.15
NEUTRAL = 7.0
APART, WELL_APART = 1.0, 2.0
"""pH between two buffers: less tells no slope, two or more is usual (common practice)."""
GOOD, WORN = (95.0, 103.0), (88.0, 105.0)
"""Per cent of Nernst's slope within which an electrode is good, and within which it still serves (common practice)."""
GOOD_MV, WORN_MV = 30.0, 60.0
"""mV at pH 7, to either side, the same."""


class NoSlope(ValueError):
    """Two buffers tell no slope; the sentence says why."""


@dataclass(frozen=True)
class Electrode:
    """Slope in mV per pH (above nought), per cent of Nernst's, mV at pH 7 (nought of a perfect one), and "good", "worn" or "spent"."""

    slope_mv: float
    percent: float
    offset_mv: float
    word: str


def nernst_mv(temperature_c: float) -> float:
    """mV per pH of a perfect electrode at that temperature."""
    return 1000 * math.log(10) * R * (temperature_c + ZERO_K) / F


def check_apart(first_ph: float, second_ph: float) -> bool:
    """Whether two buffers lie well apart. Raises NoSlope where they lie so near that they tell nothing."""
    apart = abs(second_ph - first_ph)
    if apart < APART:
        raise NoSlope(f"The two buffers lie {apart:.2f} apart: take two that lie 2 apart or more.")
    return apart >= WELL_APART


def judged(*, percent: float, offset_mv: float) -> str:
    """What slope (per cent of Nernst's) and offset (mV at pH 7) say of an electrode."""
    if GOOD[0] <= percent <= GOOD[1] and abs(offset_mv) <= GOOD_MV:
        return "good"
    return "worn" if WORN[0] <= percent <= WORN[1] and abs(offset_mv) <= WORN_MV else "spent"


def electrode(
    *, first_ph: float, first_mv: float, second_ph: float, second_mv: float, temperature_c: float
) -> Electrode:
    """An electrode from its voltages in two buffers of one temperature. Raises NoSlope for buffers too near, or a voltage that
    does not fall as pH rises (the two mixed up, or the sign)."""
    check_apart(first_ph, second_ph)
    slope = (first_mv - second_mv) / (second_ph - first_ph)
    if slope <= 0:
        raise NoSlope(
            "The voltage falls as pH rises: these do not. Look whether the two buffers, or a sign, are mixed up."
        )
    percent = 100 * slope / nernst_mv(temperature_c)
    offset = first_mv + slope * (first_ph - NEUTRAL)
    return Electrode(slope, percent, offset, judged(percent=percent, offset_mv=offset))


def shown_slope(*, first: tuple[float, float], second: tuple[float, float]) -> float:
    """Where no voltage is known: how steeply what it shows follows the buffers, per cent of what it was last set to. Each pair is the
    buffer's pH and what it shows. Raises NoSlope."""
    check_apart(first[0], second[0])
    return 100 * (second[1] - first[1]) / (second[0] - first[0])
