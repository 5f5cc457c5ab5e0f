"""The worker dies, the database crashes and comes back, while tablets and instruments deliver: what was acknowledged is there, once, and all
work that was asked for is done, once."""

import pwd
import shutil
import subprocess
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest

from tests.faults.conftest import House, Sink, free_port, wait_for
from tests.faults.tablets import Senders, Web

pytestmark = [
    pytest.mark.faults,
    pytest.mark.redis,
    pytest.mark.slow,
]  # real processes are started and killed
AWAY = {500, 503}
"""What the web says while its database is away: whoever sends, sends again."""


@pytest.fixture
def served(tmp_path: Path, redis_port: int, sink: Sink) -> Iterator[House]:
    made = House(tmp_path / "house", redis_port, sink)
    yield made
    made.end()


class Cluster:
    """A PostgreSQL of this test's own, as whoever may run one."""

    def __init__(self) -> None:
        found = sorted(Path("/usr/lib/postgresql").glob("*/bin"))
        self.bin, self.port = found[-1], free_port()
        self.folder = Path(tempfile.mkdtemp(prefix="tankround-cluster-"))
        self.user = "postgres" if pwd.getpwuid(self.folder.stat().st_uid).pw_name == "root" else None
        if self.user:
            shutil.chown(self.folder, self.user)
        self._run("initdb", "-D", self.data, "-U", "keeper", "-A", "trust", "--no-sync")
        self.control("start")

    @property
    def data(self) -> str:
        return str(self.folder / "data")

    @property
    def address(self) -> str:
        return f"postgresql://keeper@127.0.0.1:{self.port}/postgres"

    def _run(self, program: str, *words: str) -> None:
        subprocess.run(
            [str(self.bin / program), *words], user=self.user, cwd="/", check=True, stdout=subprocess.DEVNULL
        )

    def control(self, *words: str) -> None:
        options = f"-p {self.port} -c listen_addresses=127.0.0.1 -k {self.folder}"
        self._run("pg_ctl", "-D", self.data, "-w", "-l", str(self.folder / "log"), "-o", options, *words)

    def crash(self) -> None:
        """Ended as by a power cut of its own, and brought back."""
        self.control("-m", "immediate", "restart")

    def end(self) -> None:
        self.control("-m", "immediate", "stop")
        shutil.rmtree(self.folder)


class OnPostgreSQL(House):
    """A house whose data lie in a cluster of its own."""

    def __init__(self, var: Path, redis_port: int, sink: Sink, cluster: Cluster) -> None:
        self.address = cluster.address
        super().__init__(var, redis_port, sink)

    def start(self, words: list[str], *, piped: bool = False, fault: str = "") -> "subprocess.Popen[str]":
        self.env["DATABASE_URL"] = self.address
        return super().start(words, piped=piped, fault=fault)


@pytest.fixture
def cluster() -> Iterator[Cluster]:
    made = Cluster()
    yield made
    made.end()


@pytest.fixture
def on_postgresql(tmp_path: Path, redis_port: int, sink: Sink, cluster: Cluster) -> Iterator[OnPostgreSQL]:
    made = OnPostgreSQL(tmp_path / "house", redis_port, sink, cluster)
    yield made
    made.end()


def kept(address: str) -> tuple[Counter[str], Counter[str]]:
    """How often each entry's reading is there, and each delivered moment."""
    hand = "SELECT e.id FROM visits_entry e JOIN water_reading r ON r.origin = e.id WHERE e.kind = 'reading'"
    sent = "SELECT d.body FROM instruments_delivery d JOIN water_reading r ON r.origin = d.id"
    with psycopg.connect(address) as rows:
        entries = Counter(str(row[0]) for row in rows.execute(hand))
        return entries, Counter(row[0].rpartition(":")[2].strip(" }]") for row in rows.execute(sent))


def differences(senders: Senders, address: str) -> dict[str, set[str]]:
    """Journal against database: what was answered and is missing, what is there twice, what nobody sent."""
    entries, packs = kept(address)
    begun = int(senders.begun.timestamp())
    found: dict[str, set[str]] = {}
    for kind, there, named in (
        ("reading", entries, lambda n: n),
        ("delivery", packs, lambda n: str(begun + int(n))),
    ):
        answered = {named(n) for n in senders.lines("answered", kind)}
        sent = {named(n) for n in senders.lines("sent", kind)}
        found[f"{kind} lost"] = answered - set(there)
        found[f"{kind} doubled"] = {key for key, number in there.items() if number > 1 and key in sent}
        if kind == "delivery":
            found["delivery of nobody"] = set(there) - sent
    return {name: some for name, some in found.items() if some}


def each_time(senders: Senders, writes: int, times: int, what: Callable[[], object]) -> None:
    """Do something so many times while the writes go on."""
    for number in range(1, times + 1):
        wait_for(lambda n=number: senders.answered >= n * writes // (times + 1), seconds=60, why="no answers")
        what()


def crashed(house: OnPostgreSQL, cluster: Cluster, journal: Path, *, writes: int, crashes: int) -> None:
    web = Web(house)
    senders = Senders(web, journal)
    senders.again_on = AWAY
    senders.begin(["reading", "delivery"], writes, at_once=6)
    each_time(senders, writes, crashes, cluster.crash)
    senders.join(120)
    print(f"{writes} writes, {crashes} crashes, {senders.again} sent again, {senders.broken} broken lines")
    assert senders.wrong == []
    assert senders.answered == writes
    assert senders.again + senders.broken > 0, "no crash was noticed by anybody"
    assert differences(senders, cluster.address) == {}
    with psycopg.connect(cluster.address) as rows:
        rows.execute("INSERT INTO dispatch_erasure (opened_at, why) VALUES (now(), 'a planted loss')")
        rows.execute(
            "DELETE FROM water_reading WHERE origin IN (SELECT id FROM instruments_delivery LIMIT 1)"
        )
        rows.commit()
    assert list(differences(senders, cluster.address)) == ["delivery lost"], "the comparison sees a lost row"


@pytest.mark.cluster
def test_what_was_acknowledged_is_there_once_after_the_database_crashed(
    on_postgresql: OnPostgreSQL, cluster: Cluster, tmp_path: Path
) -> None:
    crashed(on_postgresql, cluster, tmp_path / "journal", writes=120, crashes=2)


@pytest.mark.cluster
@pytest.mark.long
def test_what_was_acknowledged_is_there_once_after_twenty_crashes(
    on_postgresql: OnPostgreSQL, cluster: Cluster, tmp_path: Path
) -> None:
    crashed(on_postgresql, cluster, tmp_path / "journal", writes=1200, crashes=20)


def test_work_asked_for_while_workers_die_is_done_once(served: House, tmp_path: Path) -> None:
    writes, deaths = 18, 3
    web, worker = Web(served), served.order("command", "jobs")[1:]
    running = [served.start(worker)]
    senders = Senders(web, tmp_path / "journal")
    before = set(served.order("states"))

    def die() -> None:
        served.stop(running.pop())
        running.append(served.start(worker))

    senders.begin(["delivery", "finding"], writes, at_once=2, pause=0.3)
    each_time(senders, writes, deaths, die)
    senders.join(60)

    def over() -> bool:
        served.order("heal")
        served.order("tick")
        states = served.order("states")
        mine = {job: row for job, row in states.items() if job not in before and row[0] == "report"}
        return len(mine) == writes // 2 and {row[1] for row in mine.values()} == {"done"}

    wait_for(over, seconds=90, why="work is not done")
    assert (senders.wrong, senders.statuses <= {200, 201}) == ([], True)
    mine = [job for job, row in served.order("states").items() if job not in before and row[0] == "report"]
    looks = [served.order("look", job) for job in mine]
    print(f"tries: {Counter(found['attempt'] for found in looks)}")
    assert [found["reports"] for found in looks] == [1] * len(mine)
