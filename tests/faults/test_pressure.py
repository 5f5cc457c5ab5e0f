"""Poison among work, two schedulers, many writers on one SQLite file, a queue that is away."""

import json
import random
import signal
import sqlite3
import subprocess
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

import pytest

from tests.faults.conftest import House, Sink, free_port, wait_for

pytestmark = [
    pytest.mark.faults,
    pytest.mark.redis,
    pytest.mark.slow,
]  # real processes are started and killed

GOOD_WORK = 97
TICKS = 1000
WRITERS, TIMES, KILLS = 8, 100, 20


@pytest.fixture
def fresh(tmp_path: Path, redis_port: int, sink: Sink) -> Iterator[House]:
    made = House(tmp_path / "house", redis_port, sink)
    yield made
    made.end()


def test_poison_is_failed_with_its_reason_and_the_rest_is_done(fresh: House) -> None:
    worker = fresh.worker("prefork", number=2)
    asked = {kind: fresh.order("ask", kind, 1)["jobs"][0] for kind in ("raises", "exits", "eats")}
    good = fresh.order("ask", "quick", GOOD_WORK)["jobs"]

    def good_done() -> bool:
        states = fresh.order("states")
        return all(states[job][1] == "done" for job in good)

    wait_for(good_done, seconds=60, why="good work waits behind poison")
    tries: Counter[str] = Counter()

    def poison_over() -> bool:
        states = fresh.order("states")
        for kind, job in asked.items():
            tries[kind] = max(tries[kind], states[job][2])
        if all(states[job][1] == "failed" for job in asked.values()):
            return True
        fresh.order("heal")
        fresh.order("tick")
        time.sleep(3)
        return False

    wait_for(poison_over, seconds=150, why="poison is not given up")
    states = fresh.order("states")
    assert {kind: (states[job][2]) for kind, job in asked.items()} == {"raises": 5, "exits": 5, "eats": 5}
    assert states[asked["raises"]][3] == "RuntimeError: poison"
    assert states[asked["exits"]][3] == "It was begun five times and never ended."
    assert "RenderFailed" in states[asked["eats"]][3]
    assert worker.poll() is None


def lines_of(path: Path) -> Counter[str]:
    return Counter(path.read_text().split())


def test_two_schedulers_and_five_workers_do_each_of_a_thousand_days_once(fresh: House) -> None:
    part = ["-m", "tests.faults.stage"]
    tickers = [fresh.start([*part, "ticker", str(TICKS)]) for _n in range(2)]
    claimers = [fresh.start([*part, "claimer", str(TICKS)]) for _n in range(5)]
    assert [process.wait(timeout=100) for process in tickers] == [0, 0]
    assert [process.wait(timeout=100) for process in claimers] == [0] * 5
    with closing(sqlite3.connect(fresh.database)) as rows:
        kept = rows.execute(
            "SELECT count(*), count(DISTINCT key) FROM dispatch_job WHERE kind = 'counted' AND state = 'done'"
        ).fetchone()
    assert kept == (TICKS, TICKS)
    done = lines_of(fresh.var / "counted")
    assert (len(done), set(done.values())) == (TICKS, {1})


def said_by(writer: "subprocess.Popen[str]", times: int | None) -> tuple[list[str], list[str]]:
    """What a writer named as written and as locked; with `times` it is killed after so many lines."""
    written, locked = [], []
    assert writer.stdout is not None
    for number, line in enumerate(writer.stdout, start=1):
        with suppress(json.JSONDecodeError):
            said = json.loads(line)
            written += [said["written"]] if "written" in said else []
            locked += [said["locked"]] if "locked" in said else []
        if number == times:
            writer.send_signal(signal.SIGKILL)
    writer.wait()
    return written, locked


def kept(database: Path) -> tuple[set[str], set[str], str]:
    """Origins of the readings, keys of the work asked for with them, and what SQLite says of its file."""
    with closing(sqlite3.connect(database)) as rows:
        readings = {row[0] for row in rows.execute("SELECT origin FROM water_reading")}
        work = {row[0] for row in rows.execute("SELECT key FROM dispatch_job WHERE key LIKE 'writer:%'")}
        return readings, work, rows.execute("PRAGMA integrity_check").fetchone()[0]


def missing(acknowledged: list[str], database: Path) -> list[str]:
    """What was said to be written and is not there, as a reading and as work."""
    readings, work, integrity = kept(database)
    assert integrity == "ok"
    return [
        origin
        for origin in acknowledged
        if origin.replace("-", "") not in readings or f"writer:{origin}" not in work
    ]


def test_eight_writers_a_worker_and_a_sweeper_never_find_the_file_locked(fresh: House) -> None:
    fresh.worker("threads", number=2)
    part = ["-m", "tests.faults.stage", "writer"]
    writers = [fresh.start([*part, str(n), str(TIMES)], piped=True) for n in range(WRITERS)]
    began = time.monotonic()
    while any(writer.poll() is None for writer in writers) and time.monotonic() - began < 90:
        fresh.order("tick")
        time.sleep(0.2)
    found = [said_by(writer, None) for writer in writers]
    assert [locked for _written, locked in found] == [[]] * WRITERS
    acknowledged = [origin for written, _locked in found for origin in written]
    assert len(acknowledged) == WRITERS * TIMES
    assert missing(acknowledged, fresh.database) == []


def test_twenty_killed_writers_lose_nothing_that_they_acknowledged(fresh: House, seed: int) -> None:
    chance = random.Random(seed)
    part = ["-m", "tests.faults.stage", "writer"]
    acknowledged: list[str] = []
    for four in range(KILLS // 4):
        writers = [fresh.start([*part, str(4 * four + n), "10000"], piped=True) for n in range(4)]
        for writer in writers:
            acknowledged += said_by(writer, chance.randint(3, 30))[0]
            assert writer.returncode == -signal.SIGKILL
    assert len(acknowledged) >= 3 * KILLS
    assert missing(acknowledged, fresh.database) == []
    readings, work, _integrity = kept(fresh.database)
    assert {key.removeprefix("writer:").replace("-", "") for key in work} == readings & {
        key.removeprefix("writer:").replace("-", "") for key in work
    }
    with closing(sqlite3.connect(fresh.database, timeout=20)) as rows, rows:
        rows.execute("DELETE FROM dispatch_job WHERE key = ?", [f"writer:{acknowledged[0]}"])
    assert missing(acknowledged, fresh.database) == [acknowledged[0]], "the search sees a lost row"


def test_with_the_queue_away_work_is_kept_quickly_and_done_when_it_is_back(
    tmp_path: Path, sink: Sink, redis_port: int
) -> None:
    house = House(tmp_path / "house", redis_port, sink)
    away = House.__new__(House)
    try:
        away.var, away.sink, away.started = house.var, sink, house.started
        away.env = {**house.env, "CELERY_BROKER_URL": f"redis://127.0.0.1:{free_port()}/0"}
        away.stage = away.start(["-m", "tests.faults.stage"], piped=True)
        away.order("states")
        began = time.monotonic()
        jobs = [away.order("ask", "quick", 1)["jobs"][0] for _n in range(10)]
        assert (time.monotonic() - began) / len(jobs) < 1
        house.worker("threads", number=2)

        def done() -> bool:
            house.order("tick")
            states = house.order("states")
            return all(states[job][1:3] == ["done", 1] for job in jobs)

        wait_for(done, seconds=60, why="kept work is not done")
    finally:
        house.end()
