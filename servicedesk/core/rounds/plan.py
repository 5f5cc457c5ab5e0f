"""What comes out: rounds with the times of every stop, and what a plan costs. Seconds since local midnight; prices as in the
problem."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from servicedesk.core.rounds.problem import Key

REFILL = "+refill"
"""Stands in an order of visits where the van takes on its full load again."""

Orders = Mapping[Key, tuple[str, ...]]
"""Who drives to which visits in which order, on which day: a plan without its times."""


@dataclass(frozen=True)
class Stop:
    """One stop. `travel` are the seconds of the way to it, `wait` those between arrival (and lunch) and start, `slack` how much
    later it could begin without anything breaking. `visit` is REFILL at the store."""

    visit: str
    place: int
    travel: int
    arrive: int
    start: int
    end: int
    wait: int
    slack: int
    lunch: int | None = None
    """When lunch begins, where it is eaten on the way to or before this stop."""
    disinfected: bool = False
    """The kit is disinfected after this stop, because clean animals follow an isolated place."""


@dataclass(frozen=True)
class Round:
    """One technician's day: `away` seconds of which lunch is left out, `overtime` of them beyond what is paid anyway."""

    technician: str
    day: int
    leave: int
    back: int
    stops: tuple[Stop, ...]
    travel: int
    lunch: int | None
    away: int
    overtime: int
    cost: int
    metres: int | None = None

    @property
    def key(self) -> Key:
        return (self.technician, self.day)

    @property
    def visits(self) -> tuple[str, ...]:
        return tuple(stop.visit for stop in self.stops if stop.visit != REFILL)


@dataclass(frozen=True)
class Plan:
    """Rounds in the order of the shifts, visits left out, and what all of it costs. `cost` counts travel, prices of days, of
    people, of overtime and of what is left out; `driving` and `overtime` are seconds."""

    rounds: tuple[Round, ...]
    missing: tuple[str, ...]
    cost: int
    driving: int
    overtime: int
    metres: int | None = None
    broken: tuple[str, ...] = field(default=())
    """Rules the plan breaks, in sentences; empty for every plan the planner gives."""

    @property
    def orders(self) -> dict[Key, tuple[str, ...]]:
        return {round_.key: tuple(stop.visit for stop in round_.stops) for round_ in self.rounds}

    @property
    def where(self) -> dict[str, tuple[Round, Stop]]:
        """Each planned visit's round and stop."""
        return {
            stop.visit: (round_, stop)
            for round_ in self.rounds
            for stop in round_.stops
            if stop.visit != REFILL
        }
