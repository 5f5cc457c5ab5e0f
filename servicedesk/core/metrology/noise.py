"""How loud a device is at the place where people listen, less what is there without it.

Levels in dB(A), as mean squares of pressure: 10 lg of sums and differences of 10^(L/10). Background correction as in ISO
3746:2010 (survey method; from memory): below 3 dB of difference it is only an upper limit. Distance as from a point in the
open, 20 lg of the ratio; in a room it falls off less (common practice)."""

import math
from dataclasses import dataclass

RESOLVABLE_DB = 3.0
READING_U_DB = 0.7
"""Standard uncertainty of one reading of a simple meter at a steady sound (common practice, no source)."""


class NoNoise(ValueError):
    """It cannot be reckoned; the sentence says why."""


@dataclass(frozen=True)
class Loudness:
    """The device alone in dB(A) with the range its inputs leave, or where it cannot be told the level it lies under."""

    resolved: bool
    level_db: float | None
    low_db: float | None
    high_db: float
    difference_db: float


def _level(value: float) -> float:
    if not 0 <= value <= 140:
        raise NoNoise("A level lies between 0 and 140 dB.")
    return value


def _less(total: float, background: float) -> float:
    return 10 * math.log10(10 ** (total / 10) - 10 ** (background / 10))


def device_alone(
    *, background_low: float, background_high: float, running_low: float, running_high: float
) -> Loudness:
    """The device without its background, from the ranges that a meter showed without and with it. Raises NoNoise."""
    for level in (background_low, background_high, running_low, running_high):
        _level(level)
    if background_low > background_high or running_low > running_high:
        raise NoNoise("The lower end of a range lies at or under its upper end.")
    background, running = (background_low + background_high) / 2, (running_low + running_high) / 2
    difference = running - background
    upper = _less(running_high, background_low) if running_high > background_low else running_high
    if difference < RESOLVABLE_DB or running_low <= background_high:
        return Loudness(False, None, None, max(0.0, upper), difference)
    return Loudness(True, _less(running, background), _less(running_low, background_high), upper, difference)


def at_distance(*, level_db: float, measured_m: float, listening_m: float) -> float:
    """The level at another distance from a small source in the open. Raises NoNoise."""
    _level(level_db)
    if not (0 < measured_m < math.inf and 0 < listening_m < math.inf):
        raise NoNoise("A distance lies above nought.")
    return level_db - 20 * math.log10(listening_m / measured_m)


def together(levels: list[float]) -> float:
    """Several sounds at once. Raises NoNoise for none."""
    if not levels:
        raise NoNoise("Nothing sounds.")
    return 10 * math.log10(math.fsum(10 ** (_level(level) / 10) for level in levels))
