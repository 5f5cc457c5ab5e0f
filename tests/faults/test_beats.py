"""P13: two schedulers and five workers, as the house starts them, make each period's work once; a pause and a clock
that is set do not double it, and do not silence it."""

import os
import sqlite3
import subprocess
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from tests.faults.conftest import House, Sink, wait_for

pytestmark = [
    pytest.mark.faults,
    pytest.mark.redis,
    pytest.mark.slow,
]  # real processes are started and killed

BEGIN = datetime(2031, 3, 27, 0, 20, tzinfo=UTC)
"""Some days before the clocks change in spring: one of the counted days has 23 hours."""
HOUR, STEP, DAYS_WORK = timedelta(hours=1), timedelta(seconds=31), 6
ZONE = ZoneInfo("Europe/London")


class MovedHouse(House):
    """The house's own beat and jobs processes, twice and five times, under a moved clock."""

    def __init__(self, var: Path, redis_port: int, sink: Sink) -> None:
        super().__init__(var, redis_port, sink)
        self.clock = var / "clock"
        self.env["TANKROUND_CLOCK"] = str(self.clock)
        self.now = BEGIN
        self.slots: set[int] = set()
        self.days: set[str] = set()
        self.set_to(BEGIN - HOUR)

    def set_to(self, moment: datetime) -> None:
        part = self.clock.with_suffix(".part")
        part.write_text(moment.isoformat())
        os.replace(part, self.clock)
        self.now = moment

    def celery(self, name: str, **changed: str) -> "subprocess.Popen[str]":
        """A process by the tree's own command; only the clock's module and the named options are others."""
        words = self.order("command", name)[1:]
        words[words.index("-A") + 1] = "tests.faults.moved"
        for option, value in changed.items():
            words[words.index(f"-{option}") + 1] = value
        return self.start(words)

    def beats(self) -> list["subprocess.Popen[str]"]:
        """Two schedulers that have begun: the first tick comes half a minute of moved time later."""
        started = [self.celery("beat", s=str(self.var / f"schedule{n}")) for n in range(2)]
        wait_for(lambda: all(list(self.var.glob(f"schedule{n}*")) for n in range(2)), why="no beat has begun")
        return started

    def ticks(self) -> int:
        path = self.var / "ticks"
        return path.read_text().count("\n") if path.exists() else 0

    def done(self) -> Counter[str]:
        path = self.var / "counted"
        return Counter(path.read_text().split()) if path.exists() else Counter()

    def expect(self) -> None:
        """Write down the work of this moment: its hour, and the latest day whose six o'clock is past."""
        self.slots.add(int(self.now.timestamp()) // 3600)
        local = self.now.astimezone(ZONE)
        day = local.date() if local.hour >= DAYS_WORK else local.date() - timedelta(days=1)
        if self.now - datetime(day.year, day.month, day.day, DAYS_WORK, tzinfo=ZONE) <= timedelta(hours=20):
            self.days.add(day.isoformat())

    def expected(self) -> set[str]:
        return {f"hourly:{slot}" for slot in self.slots} | {f"counted:{day}" for day in self.days}

    def move(self, to: datetime) -> None:
        """Set the clock; both schedulers must tick at it, and all that is due must be done."""
        before = self.ticks()
        self.set_to(to)
        self.expect()
        wait_for(lambda: self.ticks() >= before + 2, seconds=20, why=f"no two ticks at {to}")
        wait_for(self.settled, seconds=20, why=f"not done at {to}")

    def settled(self) -> bool:
        """All is written down as done. Not before then may the clock leap: who sleeps an hour has lost the lease,
        and the work is rightly done by another."""
        with closing(sqlite3.connect(self.database, timeout=20)) as rows:
            kept = dict(rows.execute("SELECT key, state FROM dispatch_job").fetchall())
        return all(state == "done" for state in kept.values()) and self.expected() <= set(kept)

    def check(self) -> None:
        """Nothing missing, nothing twice, nothing else; all this house's own periodic work once per key too."""
        assert self.done() == Counter(self.expected())
        with closing(sqlite3.connect(self.database)) as rows:
            kept = rows.execute("SELECT key, state, attempt FROM dispatch_job").fetchall()
        mine = [row for row in kept if row[0].startswith(("hourly:", "counted:"))]
        assert sorted(mine) == sorted((key, "done", 1) for key in self.expected())
        assert [row for row in kept if row[1] == "failed"] == []
        assert len(kept) > len(mine), "the house's own periodic work runs beside the counted"


@pytest.fixture
def moved(tmp_path: Path, redis_port: int, sink: Sink) -> Iterator[Callable[[], MovedHouse]]:
    started: list[MovedHouse] = []

    def make() -> MovedHouse:
        started.append(MovedHouse(tmp_path / "house", redis_port, sink))
        return started[-1]

    yield make
    for house in started:
        house.end()


def live_through(house: MovedHouse, hours: int) -> None:
    """Hours of moved time, six hours without a scheduler, then a clock that is set back and forth by an hour."""
    beats = house.beats()
    for hour in range(hours):
        house.move(BEGIN + hour * HOUR)
    house.check()

    morning = (house.now + timedelta(days=1)).replace(hour=1, minute=30)
    house.move(morning)
    for beat in beats:
        house.stop(beat)
    days = len(house.days)
    house.beats()
    house.move(morning + 6 * HOUR)
    assert len(house.days) == days + 1, "the pause went over six o'clock: that day is caught up"
    house.check()

    kept = len(house.expected())
    for set_to in (morning + 5 * HOUR, morning + 6 * HOUR, morning + 7 * HOUR, morning + 6 * HOUR):
        for step in range(3):
            house.move(set_to + step * STEP)
    assert len(house.expected()) == kept + 2, "the hour set back to and the hour set forward to"
    house.check()


def test_two_schedulers_and_five_workers_make_each_period_once_through_a_pause_and_a_clock_that_is_set(
    moved: Callable[[], MovedHouse],
) -> None:
    house = moved()
    house.celery("jobs", c="5")
    house.celery("plans")
    live_through(house, 8)


@pytest.mark.long
def test_a_thousand_hours_of_two_schedulers_and_five_workers_of_their_own(
    moved: Callable[[], MovedHouse],
) -> None:
    house = moved()
    for _n in range(5):
        house.celery("jobs", c="1")
    house.celery("plans")
    live_through(house, 1000)
