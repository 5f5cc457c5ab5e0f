"""What the demo's instruments measured, how they were looked after, and how they lie."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from servicedesk.core import units
from servicedesk.desk.actions.demo.calls import Call
from servicedesk.desk.actions.demo.journal import Journal
from servicedesk.desk.actions.demo.simulate import Water, at_hour, measured
from servicedesk.desk.actions.demo.world import World
from servicedesk.instruments.models import Instrument, Measure, ReagentLoad
from servicedesk.water import actions as water

WRONG_SHARE = 0.86
"""A reagent made up too strong gives a result a seventh too low: less of it reaches the end point."""
SILENT_FOR = timedelta(days=3)
DRIFT = 0.004
"""dKH a day by which a titrator drifts upward between calibrations, as its tubing wears (common practice)."""
BOTTLE_DAYS = 12
"""A bottle that lasts fewer days than this is replaced (common practice: lead time and the next visit)."""


@dataclass
class Device:
    """One measure of an instrument while the history runs."""

    w: World
    journal: Journal
    measure: Measure
    bottle_ml: float = 0.0
    left_ml: float = 0.0
    share: float = 1.0
    drifted: float = 0.0
    next_at: datetime | None = None
    last_at: datetime | None = None

    def __post_init__(self) -> None:
        self.source = water.source_of(self.instrument.equipment)
        self.next_at = self.w.start
        if self.bottle_ml:
            self.left_ml = self.bottle_ml * 0.8
            self.journal.facts[ReagentLoad].append(
                ReagentLoad(
                    origin=self.w.key(),
                    measure=self.measure,
                    at=self.w.start,
                    ml=self.left_ml,
                    by=self.w.owner,
                    lot=self.w.lots["Titrator reagent"],
                    received_at=self.w.start,
                )  # fmt: skip
            )

    @property
    def instrument(self) -> Instrument:
        return self.measure.instrument

    def until(self, end: datetime, state: Water) -> None:
        """Measure at every interval until that moment."""
        plan = self.w.planted[self.instrument.tank.name]
        silent = self.w.now - SILENT_FOR if plan == "silent" else self.w.now
        assert self.next_at is not None
        while self.next_at < end and self.next_at <= silent:
            local = self.next_at.astimezone(self.w.now.tzinfo)
            self._send(self.next_at, self.shown(state, local.hour))
            self.last_at = self.next_at
            self.next_at += timedelta(minutes=self.instrument.interval_minutes)

    def shown(self, state: Water, hour: int) -> float:
        """What it would show now."""
        method = self.measure.method
        true = at_hour(state, self.measure.parameter, hour) * self.share + self.drifted
        return measured(
            true,
            abs_tol=method.tolerance_abs / 2,
            rel_tol=0,
            step=method.resolution,
            bias=0.2,
            rng=self.w.rng,
        )

    def _send(self, at: datetime, value: float) -> None:
        typed = f"{value:.{units.parameter(self.measure.parameter).decimals}f}"
        tank = self.instrument.tank
        self.journal.value(tank, self.measure.method, self.source, at, typed, self.w.key(), None)

    def day(self) -> None:
        """A day's wear and use."""
        if self.bottle_ml:
            self.drifted += DRIFT
            self.left_ml -= self.measure.tests_per_day * self.measure.ml_per_test

    def load(self, call: Call, share: float, *, wrong: bool) -> None:
        """New reagent where the bottle runs low; once mixed wrongly."""
        lasts = self.left_ml / max(0.1, self.measure.tests_per_day * self.measure.ml_per_test)
        if not self.bottle_ml or (lasts > BOTTLE_DAYS and not wrong):
            return
        if self.journal.load(call, share, self.measure, self.bottle_ml):
            self.left_ml, self.share = self.bottle_ml, WRONG_SHARE if wrong else 1.0

    def compare(self, call: Call, share: float, hand: float, state: Water) -> None:
        """A test by hand that agrees lets it be believed again."""
        shown = self.shown(state, call.moment(share).hour)
        if abs(shown - hand) <= self.measure.method.tolerance_abs + 0.2:
            self.journal.believe(self.measure, call.moment(share))

    def calibrate(self, call: Call, share: float, reference: float, state: Water) -> None:
        before = self.shown(state, call.moment(share).hour)
        if self.journal.calibration(call, share, self.measure, reference, before):
            self.drifted = 0.0
