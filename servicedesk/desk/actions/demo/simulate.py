"""A tank's water day by day: uptake, dosing, evaporation and top-up, feeding, water changes.

A mass balance on well-mixed water, in canonical units and days. Alkalinity and calcium leave together as calcium
carbonate (7.147 mg/L calcium per dKH: chemistry.dosing); nitrification takes a little alkalinity with the nitrate it
makes (1/31 dKH per mg/L NO3, from 2 equivalents per mole of NH4 made to NO3: half of it is given back by plants and
filters, common practice). Everything else is common practice, chosen so that the numbers look like tanks."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from random import Random

from servicedesk.core.chemistry.dosing import CALCIUM_PER_DKH

UPTAKE = {"reef_stony": 0.9, "reef_mixed": 0.55, "reef_soft": 0.2}
HARDNESS = ("alkalinity", "carbonate_hardness")


@dataclass
class Water:
    """The true state of one tank; `given` is the share of its set dose that each channel really gives;
    feeding brings `feed_no3` and `feed_po4` mg/L a day."""

    water_type: str
    net_l: float
    values: dict[str, float]
    doses: dict[str, float] = field(default_factory=dict)
    given: dict[str, float] = field(default_factory=dict)
    feed_no3: float = 0.5
    feed_po4: float = 0.002

    def day(self, rng: Random) -> None:
        """One day passes."""
        values = self.values
        uptake = UPTAKE.get(self.water_type, 0.0) * rng.gauss(1, 0.06)
        feed = self.feed_no3 * rng.gauss(1, 0.15)
        for name in HARDNESS:
            if name in values:
                values[name] -= uptake + feed / 62
        if "calcium" in values:
            values["calcium"] -= uptake * CALCIUM_PER_DKH
        if "magnesium" in values:
            values["magnesium"] -= uptake * 0.7
        if "nitrate" in values:
            values["nitrate"] += feed
        if "phosphate" in values:
            values["phosphate"] += self.feed_po4 * rng.gauss(1, 0.3)
        for name, amount in self.doses.items():
            if name in values:
                values[name] += amount * self.given.get(name, 1.0)
        if "salinity" in values:
            values["salinity"] += rng.gauss(0, 0.04)
        values["temperature"] += (self.home["temperature"] - values["temperature"]) * 0.5 + rng.gauss(0, 0.12)
        for name in ("phosphate", "nitrate"):
            if name in values:
                values[name] = max(0.005, values[name])

    @property
    def home(self) -> dict[str, float]:
        """What heaters and fresh mix bring the water back to."""
        return self._home

    def change(self, share: float) -> None:
        """A water change of that share of the volume with the mix this tank gets."""
        for name, fresh in self._home.items():
            if name in self.values and name != "temperature":
                clean = 0.0 if name in ("nitrate", "phosphate", "ammonia_total", "nitrite") else fresh
                self.values[name] += (clean - self.values[name]) * share

    def __post_init__(self) -> None:
        self._home = dict(self.values)


def at_hour(water: Water, name: str, hour: float) -> float:
    """The true value at an hour of the day: temperature and pH swing with the light."""
    value = water.values[name]
    swing = {"temperature": 0.25, "ph": 0.13}.get(name, 0.0)
    return value + swing * math.sin((hour - 9) / 24 * 2 * math.pi)


def measured(true: float, *, abs_tol: float, rel_tol: float, step: float, bias: float, rng: Random) -> float:
    """A method's result: its own bias (a share of its tolerance), scatter, and the steps of its scale."""
    wide = max(abs_tol, rel_tol * abs(true))
    value = true + bias * wide + rng.gauss(0, wide / 4)
    if step > 0:
        value = round(value / step) * step
    return max(0.0, value)


def days(water: Water, count: int, rng: Random, each: Callable[[int], None]) -> Iterator[int]:
    """Run so many days; `each` may change the water before a day passes."""
    for number in range(count):
        each(number)
        water.day(rng)
        yield number
