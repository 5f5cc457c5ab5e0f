"""P48, P12: the real web process, worker and detector together; the web is killed, the queue goes away. What was
acknowledged is there, once."""

import sqlite3
import subprocess
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.faults.conftest import House, Sink, free_port, wait_for
from tests.faults.tablets import Senders, Web

pytestmark = [
    pytest.mark.faults,
    pytest.mark.redis,
    pytest.mark.slow,
]  # real processes are started and killed


@pytest.fixture
def served(tmp_path: Path, redis_port: int, sink: Sink) -> Iterator[House]:
    made = House(tmp_path / "house", redis_port, sink)
    yield made
    made.end()


def kept(database: Path) -> tuple[Counter[str], Counter[str], str]:
    """How often each entry's reading and each delivered value is there, and what SQLite says of its file."""
    hand = (
        """SELECT e.id FROM visits_entry e JOIN water_reading r ON r.origin = e.id WHERE e.kind = 'reading'"""
    )
    sent = """SELECT d.body FROM instruments_delivery d JOIN water_reading r ON r.origin = d.id"""
    with closing(sqlite3.connect(database, timeout=20)) as rows:
        entries = Counter(row[0] for row in rows.execute(hand))
        packs = Counter(row[0].rpartition(":")[2].strip(" }]") for row in rows.execute(sent))
        return entries, packs, rows.execute("PRAGMA integrity_check").fetchone()[0]


def differences(senders: Senders, database: Path) -> dict[str, object]:
    """Journal against database: what was answered and is missing, what is there twice, what nobody sent."""
    entries, packs, integrity = kept(database)
    begun = int(senders.begun.timestamp())
    found: dict[str, object] = {} if integrity == "ok" else {"integrity": integrity}
    for kind, there in (("reading", entries), ("delivery", packs)):

        def name(word: str, kind: str = kind) -> set[str]:
            lines = senders.lines(word, kind)
            return (
                {str(begun + int(n)) for n in lines}
                if kind == "delivery"
                else {n.replace("-", "") for n in lines}
            )

        if lost := name("answered") - set(there):
            found[f"{kind} lost"] = lost
        if twice := {key for key, number in there.items() if number > 1 and key in name("sent")}:
            found[f"{kind} doubled"] = twice
        mine = set(there) - name("sent")
        if kind == "delivery" and mine:
            found["delivery of nobody"] = mine
    return found


def pressed(house: House, journal: Path, *, writes: int, kills: int) -> None:
    """Eight senders, a worker, a scheduler and a detector on one SQLite file; the web dies so many times."""
    web = Web(house)
    for name in ("jobs", "beat"):
        house.start(house.order("command", name)[1:])
    detector = house.start(["-m", "tests.faults.stage", "detector"], piped=True)
    senders = Senders(web, journal)
    began = time.monotonic()
    senders.begin(["reading", "delivery"], writes, at_once=8)
    for number in range(1, kills + 1):
        wait_for(lambda n=number: senders.answered >= n * writes // (kills + 1), seconds=60, why="no answers")
        web.kill()
    senders.join(120)
    took = time.monotonic() - began
    house.stop(detector)
    assert detector.stdout is not None
    looked = detector.stdout.read().count("looked")
    print(f"{writes} writes, {kills} kills, {senders.broken} broken lines, {looked} looks, {took:.1f} s")
    assert house.complaints is not None
    assert senders.wrong == []
    assert senders.statuses <= {200, 201}
    assert "locked" not in house.complaints.read_text()
    assert (senders.answered, looked > 0) == (writes, True)
    assert kills == 0 or senders.broken > 0, "no killing cut a request off"
    assert differences(senders, house.database) == {}
    with closing(sqlite3.connect(house.database, timeout=20)) as rows, rows:
        rows.execute("INSERT INTO dispatch_erasure (opened_at, why) VALUES ('2000-01-01', 'a planted loss')")
        rows.execute(
            "DELETE FROM water_reading WHERE origin IN (SELECT id FROM instruments_delivery LIMIT 1)"
        )
    assert list(differences(senders, house.database)) == ["delivery lost"], "the comparison sees a lost row"


def test_eight_senders_over_http_find_no_lock_and_lose_nothing_to_two_killings(
    served: House, tmp_path: Path
) -> None:
    pressed(served, tmp_path / "journal", writes=240, kills=2)


@pytest.mark.long
@pytest.mark.parametrize("kills", [0, 20])
def test_eight_hundred_writes_over_http_find_no_lock_and_lose_nothing_to_twenty_killings(
    served: House, tmp_path: Path, kills: int
) -> None:
    pressed(served, tmp_path / "journal", writes=800, kills=kills)


class Queue:
    """A Redis of this test's own that can be taken away and brought back."""

    def __init__(self, folder: Path, port: int) -> None:
        folder.mkdir()
        self.folder, self.port = folder, port
        self.begin()

    def begin(self) -> None:
        words = ["redis-server", "--port", str(self.port), "--bind", "127.0.0.1", "--appendonly", "yes"]
        self.process = subprocess.Popen(words, cwd=self.folder, stdout=subprocess.DEVNULL)

    def end(self) -> None:
        self.process.kill()
        self.process.wait()

    def empty(self) -> None:
        words = ["redis-cli", "-p", str(self.port), "flushall"]
        assert subprocess.run(words, capture_output=True, text=True, check=True).stdout.strip() == "OK"


def reports(database: Path) -> Counter[tuple[str, int]]:
    with closing(sqlite3.connect(database, timeout=20)) as rows:
        asked = "SELECT state, attempt FROM dispatch_job WHERE kind = 'report' AND key NOT LIKE '%:1'"
        return Counter(rows.execute(asked).fetchall())


def queue_away(folder: Path, sink: Sink, *, away: float, at_once: int, pause: float) -> None:
    """Additions to a closed visit ask for a report each. Their queue dies, comes back, and once is emptied."""
    port = free_port()
    queue = Queue(folder / "queue", port)
    house = House(folder / "house", port, sink)
    try:
        web = Web(house)
        house.start(house.order("command", "jobs")[1:])
        senders = Senders(web, folder / "journal")
        senders.begin(["finding"], int(at_once * (away + 2) / pause), at_once=at_once, pause=pause)
        wait_for(lambda: senders.answered >= 1, why="no answer")
        queue.end()
        began, before = time.monotonic(), len(senders.took)
        time.sleep(away)
        meanwhile = sorted(senders.took[before:])
        queue.begin()
        senders.join(away + 120)
        back = time.monotonic()
        asked = senders.answered

        def over() -> bool:
            house.order("tick")
            return reports(house.database) == {("done", 1): asked}

        wait_for(over, seconds=60, why=f"{asked} asked, {reports(house.database)}")
        p95 = meanwhile[int(len(meanwhile) * 0.95)]
        print(
            f"away {back - began:.1f} s: {len(meanwhile)} writes, p95 {p95:.3f} s, longest {meanwhile[-1]:.3f} s"
        )
        print(f"{asked} jobs done {time.monotonic() - back:.1f} s after it came back")
        assert (senders.wrong, senders.statuses, p95 < 1) == ([], {200}, True)
        assert len(meanwhile) >= at_once
        emptied(house, senders, queue, asked)
    finally:
        house.end()
        queue.end()


def emptied(house: House, senders: Senders, queue: Queue, before: int) -> None:
    """With no worker there, three more are asked for and the queue is emptied; the sweep rings for them again."""
    for process in house.started:
        if "worker" in process.args:
            house.stop(process)
    senders.begin(["finding"], 3, at_once=1)
    senders.join(60)
    queue.empty()
    house.start(house.order("command", "jobs")[1:])
    began = time.monotonic()

    def over() -> bool:
        house.order("tick")
        return reports(house.database) == {("done", 1): before + 3}

    wait_for(over, seconds=300, why=f"after emptying: {reports(house.database)}")
    print(f"emptied: 3 jobs done {time.monotonic() - began:.1f} s after a worker came")


def test_writes_are_answered_quickly_while_the_queue_is_away_and_no_work_is_lost(
    tmp_path: Path, redis_port: int, sink: Sink
) -> None:
    queue_away(tmp_path, sink, away=6, at_once=2, pause=1.0)


@pytest.mark.long
def test_a_minute_without_the_queue_under_load(tmp_path: Path, redis_port: int, sink: Sink) -> None:
    queue_away(tmp_path, sink, away=60, at_once=4, pause=2.0)
