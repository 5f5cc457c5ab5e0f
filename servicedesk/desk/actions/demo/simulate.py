"""A tank's water day by day: uptake, dosing, evaporation and top-up, feeding, water changes.

A mass balance on well-mixed water, in canonical units and days. Every dissolved thing is an amount in a volume:
evaporation takes pure water and so raises all concentrations alike; top-up gives pure water back and lowers them
alike; a water change takes out a share of every amount and brings in that of the fresh mix. Alkalinity and calcium
leave together as calcium carbonate (7.147 mg/L calcium per dKH: chemistry.dosing); nitrification takes a little
alkalinity with the nitrate it makes (1/31 dKH per mg/L NO3, from 2 equivalents per mole of NH4 made to NO3: half of
it is given back by plants and filters, common practice). The constants below are common practice, chosen so that
the numbers look like tanks."""

import math
from dataclasses import dataclass, field
from random import Random

from servicedesk.core.chemistry.dosing import CALCIUM_PER_DKH
from servicedesk.core.chemistry.oxygen import saturation_mg_l

UPTAKE = {"reef_stony": 0.9, "reef_mixed": 0.55, "reef_soft": 0.2}
"""Alkalinity that corals take, dKH a day (common practice)."""
GROWTH = 0.0012
"""By how much uptake grows a day, as a share: corals grow (common practice, 15 % in four months)."""
EVAPORATION = {"reef": 0.011, "marine": 0.009, "brackish": 0.007, "pond": 0.004}
EVAPORATION_USUAL = 0.005
"""Share of the net volume that evaporates a day: open bright tanks most, covered ones least (common practice)."""
SALT_LOSS = 0.00015
"""Share of the salt that leaves a day with skimmate, splashes and creep (common practice)."""
MIX_OVER = 0.35
"""Fresh salt mix stands so much (PSS-78) over what the tank should have, against that loss (common practice)."""
TOP_UP_MOST = 0.03
"""Share of the net volume that an automatic top-up gives a day at most (common practice)."""
MAGNESIUM_PER_DKH = 0.7
"""mg/L magnesium that leaves with each dKH: an order of magnitude less than calcium (common practice)."""
CLEAN = ("nitrate", "phosphate", "ammonia_total", "nitrite")
HARDNESS = ("alkalinity", "carbonate_hardness")
NOT_DISSOLVED = ("temperature", "ph", "dissolved_oxygen")
OXYGEN_SHARE, OXYGEN_SWING = 0.92, 0.06
"""Share of saturation that dissolved oxygen stands at, and its swing with the light: lowest at dawn (common practice)."""


@dataclass
class Water:
    """The true state of one tank. `fill` is the volume as a share of the full net volume; `doses` is what each
    channel was set to raise a day, `given` the share of it that really comes; feeding brings `feed_no3` and
    `feed_po4` mg/L a day; `tops_up` says whether an automatic top-up is fitted and works."""

    water_type: str
    net_l: float
    values: dict[str, float]
    tops_up: bool = False
    doses: dict[str, float] = field(default_factory=dict)
    given: dict[str, float] = field(default_factory=dict)
    feed_no3: float = 0.5
    feed_po4: float = 0.002
    fill: float = 1.0
    grown: float = 1.0

    def __post_init__(self) -> None:
        self.home = dict(self.values)

    @property
    def uptake(self) -> float:
        """dKH a day that is taken up now."""
        return UPTAKE.get(self.water_type, 0.0) * self.grown

    def day(self, rng: Random) -> None:
        """One day passes."""
        self._eat(rng)
        for name, amount in self.doses.items():
            if name in self.values:
                self.values[name] += amount * self.given.get(name, 1.0)
        self._evaporate(rng)
        warm = self.values["temperature"]
        self.values["temperature"] += (self.home["temperature"] - warm) * 0.5 + rng.gauss(0, 0.12)
        if "ph" in self.values:
            self.values["ph"] += (self.home["ph"] - self.values["ph"]) * 0.3 + rng.gauss(0, 0.015)
        for name in ("phosphate", "nitrate"):
            if name in self.values:
                self.values[name] = max(0.005, self.values[name])

    def _eat(self, rng: Random) -> None:
        """Uptake by corals, nitrification, feeding."""
        values = self.values
        uptake, feed = self.uptake * rng.gauss(1, 0.06), self.feed_no3 * rng.gauss(1, 0.15)
        self.grown *= 1 + GROWTH
        loss = dict.fromkeys(HARDNESS, uptake + feed / 62)
        loss |= {"calcium": uptake * CALCIUM_PER_DKH, "magnesium": uptake * MAGNESIUM_PER_DKH}
        loss |= {"nitrate": -feed, "phosphate": -self.feed_po4 * rng.gauss(1, 0.3)}
        for name, amount in loss.items():
            if name in values:
                values[name] -= amount
        if "salinity" in values:
            values["salinity"] *= 1 - SALT_LOSS

    def _evaporate(self, rng: Random) -> None:
        kind = self.water_type.partition("_")[0]
        share = EVAPORATION.get(kind, EVAPORATION_USUAL) * max(0.2, rng.gauss(1, 0.15))
        self.to_fill(self.fill - share)
        if self.tops_up:
            level = rng.gauss(1, 0.001)  # a float switches a little earlier or later
            self.to_fill(min(self.fill + TOP_UP_MOST, max(self.fill, level)))

    def to_fill(self, fill: float) -> None:
        """Pure water leaves or comes until the tank is filled so far: amounts stay, concentrations follow."""
        factor = self.fill / fill
        for name in self.values:
            if name not in NOT_DISSOLVED:
                self.values[name] *= factor
        self.fill = fill

    def change(self, share: float) -> None:
        """A water change of that share of the volume with the mix this tank gets."""
        for name in self.values:
            if name not in NOT_DISSOLVED:
                self.values[name] += (self.fresh(name) - self.values[name]) * share

    def fresh(self, name: str) -> float:
        """What the fresh mix holds of it."""
        if name in CLEAN:
            return 0.0
        return self.home[name] + (MIX_OVER if name == "salinity" else 0.0)

    def dose(self, name: str, amount: float) -> None:
        """An amount (canonical unit times litres) goes in by hand."""
        if name in self.values:
            self.values[name] += amount / (self.net_l * self.fill)


def at_hour(water: Water, name: str, hour: float) -> float:
    """The true value at an hour of the day: temperature, pH and oxygen swing with the light. Oxygen follows
    saturation at the water's temperature (chemistry.oxygen)."""
    value = water.values[name]
    light = math.sin((hour - 9) / 24 * 2 * math.pi)
    if name == "dissolved_oxygen":
        full = saturation_mg_l(
            salinity=water.values.get("salinity", 0.0), temperature_c=water.values["temperature"]
        )
        return full * (OXYGEN_SHARE + OXYGEN_SWING * light)
    swing = {"temperature": 0.25, "ph": 0.13}.get(name, 0.0)
    return value + swing * light


def pond_warmth(day_of_year: int) -> float:
    """An outdoor pond's temperature by season, C: warmest late in July, never frozen through (common practice)."""
    return 11.5 + 7.5 * math.cos((day_of_year - 205) / 365 * 2 * math.pi)


def measured(true: float, *, abs_tol: float, rel_tol: float, step: float, bias: float, rng: Random) -> float:
    """A method's result: its own bias (a share of its tolerance), scatter, and the steps of its scale."""
    wide = max(abs_tol, rel_tol * abs(true))
    value = true + bias * wide + rng.gauss(0, wide / 4)
    if step > 0:
        value = round(value / step) * step
    return max(0.0, value)
