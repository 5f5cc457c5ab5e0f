"""What the compiler must know of a tank: bands, volume, state, history, products. Values in canonical units."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from servicedesk.core import units
from servicedesk.core.tracking.history import Expected

MARINE = ("reef_soft", "reef_mixed", "reef_stony", "marine_fish")
FRESH = ("fresh_community", "fresh_soft", "planted", "cichlid_hard", "coldwater", "pond")
FORBIDDING = ("treatment", "low_salinity", "heat")


class SheetWrong(ValueError):
    """Something about the tank cannot be computed with; the sentence says what."""


@dataclass(frozen=True)
class BandSpec:
    """Band, limits and safe daily change of one parameter; `unit` is the one shown for this tank."""

    parameter: str
    unit: str
    low: float | None = None
    target: float | None = None
    high: float | None = None
    alarm_low: float | None = None
    alarm_high: float | None = None
    max_rise_per_day: float | None = None
    max_fall_per_day: float | None = None

    @property
    def goal(self) -> float | None:
        """Where a correction aims: the target, or the middle of the band."""
        if self.target is not None:
            return self.target
        if self.low is not None and self.high is not None:
            return (self.low + self.high) / 2
        return self.low if self.low is not None else self.high


@dataclass(frozen=True)
class Product:
    """A solution on this tank's list: canonical units times litres per mL, relative standard uncertainty; the salt in it
    where that is known (a formula); and of the channel that gives it here (if one does) its key, what it runs at, its step
    and the most it gives, mL a day."""

    key: str
    name: str
    parameter: str
    per_ml: float
    per_ml_u_rel: float = 0.02
    salt: str = ""
    channel: str = ""
    running_ml: float = 0.0
    pump_step_ml: float = 0.0
    most_ml: float | None = None

    def __post_init__(self) -> None:
        if self.per_ml <= 0:
            raise SheetWrong(f"The strength of {self.name} must be above nought.")
        if self.running_ml < 0 or self.pump_step_ml < 0:
            raise SheetWrong(f"What the channel of {self.name} gives is nought or more.")


@dataclass(frozen=True)
class TankSheet:
    """A tank on a day. `tests` are the parameters that today's round of tests asks for; `fresh_mix` what the water
    for changes holds; `state` a tank state; `trust` where the tank's instruments stand per parameter ("believed",
    "to_check", "not_to_act_on"); `sensitive` what its animals cannot bear (e.g. "copper"); `test_u` the standard
    uncertainty of the usual test of a parameter, canonical units."""

    water_type: str
    net_l: float
    bands: tuple[BandSpec, ...]
    net_l_u: float = 0.0
    state: str = "normal"
    tests: tuple[str, ...] = ()
    expected: Mapping[str, Expected] = field(default_factory=dict)
    products: tuple[Product, ...] = ()
    fresh_mix: Mapping[str, float] = field(default_factory=dict)
    trust: Mapping[str, str] = field(default_factory=dict)
    sensitive: tuple[str, ...] = ()
    test_u: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.net_l <= 0:
            raise SheetWrong("The tank's net volume must be above nought.")

    def band(self, parameter: str) -> BandSpec | None:
        """The band of a parameter, where the tank has one."""
        return next((b for b in self.bands if b.parameter == parameter), None)

    def product(self, parameter: str) -> Product | None:
        """The first solution on the tank's list that raises a parameter."""
        return next((p for p in self.products if p.parameter == parameter), None)

    def parameters(self) -> list[str]:
        """Everything that can be judged today, in the usual order of testing."""
        named = {b.parameter for b in self.bands} | set(self.tests)
        return sorted(named, key=lambda key: (units.parameter(key).order, key))
