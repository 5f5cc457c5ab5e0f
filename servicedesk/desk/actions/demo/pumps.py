"""The demo's dosing channels: set from uptake, worn, measured, refilled, and set anew as corals grow."""

from dataclasses import dataclass, field
from datetime import timedelta

from servicedesk.core.chemistry.dosing import CALCIUM_PER_DKH
from servicedesk.desk.actions.demo.calls import Call
from servicedesk.desk.actions.demo.journal import Journal
from servicedesk.desk.actions.demo.simulate import Water
from servicedesk.desk.actions.demo.world import World
from servicedesk.dosing.models import Channel, RateChange, Refill
from servicedesk.water.models import Band

WEAR = 0.0006
"""Share of its delivery that a channel loses a day as its tubing wears (common practice: 2 % a month)."""
SLOWED = 0.86
CHECK_EVERY, SET_EVERY = timedelta(days=40), timedelta(days=20)
SPARE_DAYS = 4
"""A container that would not last until the next regular visit and so many days more is filled (common practice)."""
BACK_IN_DAYS = 21
"""A level that left its target is led back over so many days by the rate alone (common practice)."""
MOST_STEP = 0.12
"""A rate is changed by this share at most at once (common practice)."""
OFF_TARGET = {"alkalinity": 0.3, "calcium": 10.0}


@dataclass
class Pump:
    """One channel while the history runs. `gives` is the share of its set rate that really comes."""

    w: World
    journal: Journal
    channel: Channel
    band: Band
    rate: float = 0.0
    ml: float = 0.0
    gives: float = 1.0
    dry: bool = False
    did: dict[str, timedelta] = field(default_factory=dict)

    @property
    def parameter(self) -> str:
        return self.channel.solution.parameter

    def begin(self, state: Water) -> None:
        """Set from the uptake at the start, with a full container."""
        rise = state.uptake * (1.0 if self.parameter == "alkalinity" else CALCIUM_PER_DKH)
        self.rate = round(rise * state.net_l / self.channel.solution.per_ml, 1)
        self.ml = self.channel.container_ml
        start = {"channel": self.channel, "at": self.w.start, "by": self.w.owner, "received_at": self.w.start}
        rate = RateChange(origin=self.w.key(), ml_per_day=self.rate, why="From uptake.", **start)
        self.journal.facts[RateChange].append(rate)
        self.journal.facts[Refill].append(Refill(origin=self.w.key(), ml_now=self.ml, **start))

    def day(self, state: Water) -> None:
        """A day's dose: as much as was set, as the channel gives, while the container lasts."""
        state.doses[self.parameter] = self.rate * self.channel.solution.per_ml / state.net_l
        drawn = min(self.ml, self.rate * self.gives)
        self.ml -= drawn
        self.dry = drawn < self.rate * self.gives
        state.given[self.parameter] = drawn / self.rate
        self.gives -= WEAR

    def visit(self, call: Call, tested: float | None, age: timedelta, *, quiet: bool) -> None:
        """What a technician does about it: measure it, set it, fill it. `quiet` leaves a planted fault alone."""
        if not quiet and age - self.did.get("check", timedelta(0)) >= CHECK_EVERY:
            before = 10 * self.gives
            if self.journal.pump_check(call, 0.5, self.channel, before, 10.0):
                self.gives, self.did["check"] = 1.0, age
        if not quiet and tested is not None:
            self._set(call, tested, age)
        self._fill(call)

    def _set(self, call: Call, tested: float, age: timedelta) -> None:
        target = self.band.target
        if target is None or age - self.did.get("set", timedelta(0)) < SET_EVERY:
            return
        away = tested - target
        if abs(away) < OFF_TARGET[self.parameter]:
            return
        per_ml = self.channel.solution.per_ml
        step = -away / BACK_IN_DAYS * self.channel.tank.net_l / per_ml
        step = max(-MOST_STEP * self.rate, min(MOST_STEP * self.rate, step))
        rate = round(self.rate + step, 1)
        why = f"Tested {tested:g}, target {target:g}."
        if self.journal.rate(call, 0.52, self.channel, rate, why):
            self.rate, self.did["set"] = rate, age

    def _fill(self, call: Call) -> None:
        if self.ml / self.rate >= 7 * self.w.weeks[self.channel.tank.site.name] + SPARE_DAYS:
            return
        if self.journal.refill(call, 0.55, self.channel, self.ml, self.channel.container_ml):
            self.ml = self.channel.container_ml

    def fill_short(self, call: Call, days: float) -> None:
        """Planted: what was left in the van lasts so many days."""
        short = round(self.rate * self.gives * days)
        if self.ml < short and self.journal.refill(call, 0.55, self.channel, self.ml, short):
            self.ml = short
