"""Bodies that are too big, packed, of unknown length, or sent a byte at a time, against the web process that the tree starts: each is refused
or let go, little of it is read, and everybody else is answered."""

import contextlib
import gzip
import socket
import threading
import time
from collections.abc import Iterator

import pytest

from servicedesk.desk.management.tree import resident_mb
from tests.faults.conftest import House, Sink, pool_children, wait_for
from tests.faults.tablets import Web, ask

pytestmark = [
    pytest.mark.faults,
    pytest.mark.redis,
    pytest.mark.slow,
]  # a real server is started, and memory is filled
MB = 1024 * 1024
BIG_MB, MOST_MORE_MB, MOST_SENT_MB = 100, 50, 18
SLOW = 24
"""Three times as many as there are threads."""
CLOSED_WITHIN_S = 60


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory, redis_port: int, sink: Sink) -> Iterator[Web]:
    house = House(tmp_path_factory.mktemp("house"), redis_port, sink)
    yield Web(house)
    house.end()


@pytest.fixture(scope="module")
def head(served: Web) -> bytes:
    """The head of a delivery, up to what says its length."""
    token = served.house.order("door")["token"]
    lines = ["POST /api/v1/deliveries/ HTTP/1.1", "Host: 127.0.0.1", f"Authorization: Bearer {token}", "Content-Type: application/senml+json"]  # fmt: skip
    return "\r\n".join(lines).encode() + b"\r\n"


def memory_mb(web: Web) -> float:
    found = sum(resident_mb(pid) for pid in pool_children(web.process))
    assert found > 20, "the process that answers is not among those looked at"
    return found


def sent_until_refused(port: int, head: bytes, chunk: bytes) -> tuple[bytes, int]:
    """The first bytes of the answer, and how many bytes the other side let us send of a hundred megabytes."""
    sent = 0
    with socket.create_connection(("127.0.0.1", port), 30) as line:
        line.sendall(head)
        answer = line.recv(200)
        line.settimeout(5)
        with contextlib.suppress(OSError):
            while sent < BIG_MB * MB:
                sent += line.send(chunk)
    return answer, sent


@pytest.mark.parametrize(
    ("says", "status"),
    [
        (b"Content-Length: %d\r\n" % (BIG_MB * MB), b"413"),
        (b"Transfer-Encoding: chunked\r\n", b"411"),
        (b"Content-Encoding: gzip\r\nContent-Length: %d\r\n", b"415"),
    ],
    ids=["with its length", "without", "packed"],
)
def test_what_is_too_big_is_refused_by_its_head_and_hardly_read(
    served: Web, head: bytes, says: bytes, status: bytes
) -> None:
    before = memory_mb(served)
    if status == b"415":
        bomb = gzip.compress(bytes(BIG_MB * MB))
        lines = head + says % len(bomb) + b"\r\n" + bomb
        with socket.create_connection(("127.0.0.1", served.port), 30) as line:
            line.sendall(lines)
            answer, sent = line.recv(200), len(bomb)
    else:
        chunk = b"100000\r\n" + bytes(MB) + b"\r\n" if status == b"411" else bytes(MB)
        answer, sent = sent_until_refused(served.port, head + says + b"\r\n", chunk)
    more = memory_mb(served) - before
    print(f"{answer[:40]!r}, {sent / MB:.1f} MB could be sent, {more:.1f} MB more in memory")

    assert answer.split()[1] == status
    assert sent < MOST_SENT_MB * MB
    assert more < MOST_MORE_MB
    assert ask(served.port, "GET", "/sign-in/", b"", {})[0] == 200


def test_a_line_that_is_kept_takes_the_next_request_and_one_behind_the_other(
    served: Web, head: bytes
) -> None:
    body = b'[{"n": "alkalinity", "v": 7.5, "t": %d}]'
    times = iter(range(int(time.time()) - 3600, int(time.time()) - 60, 60))
    with socket.create_connection(("127.0.0.1", served.port), 30) as line:
        for _n in range(2):
            said = [body % next(times), body % next(times)]
            requests = [head + b"Content-Length: %d\r\n\r\n" % len(some) + some for some in said]
            line.sendall(b"".join(requests))
            answers = b""
            while answers.count(b"HTTP/1.1 201") < 2 or answers.count(b'"stored":1') < 2:
                more = line.recv(65536)
                assert more, answers
                answers += more


class Trickling:
    """Lines on which a request comes a byte a second, and what became of them."""

    def __init__(self, port: int, head: bytes, number: int) -> None:
        self.lines = [socket.create_connection(("127.0.0.1", port), 60) for _n in range(number)]
        for n, line in enumerate(self.lines):
            line.sendall(head + b"Content-Length: 4000\r\n\r\n" if n % 2 else head[:40])
        self.begun, self.ended = time.monotonic(), dict[int, tuple[float, bytes]]()
        self.over = threading.Event()
        self.thread = threading.Thread(target=self.trickle)
        self.thread.start()

    def trickle(self) -> None:
        while not self.over.wait(1.0):
            for n, line in enumerate(self.lines):
                if n in self.ended:
                    continue
                try:
                    line.send(b"x")
                    line.settimeout(0.01)
                    self.ended[n] = (time.monotonic() - self.begun, line.recv(100))
                except TimeoutError:
                    continue
                except OSError:
                    self.ended[n] = (time.monotonic() - self.begun, b"")

    def end(self) -> None:
        self.over.set()
        self.thread.join()
        for line in self.lines:
            line.close()


def test_who_sends_a_byte_at_a_time_keeps_nobody_from_being_answered(served: Web, head: bytes) -> None:
    slow = Trickling(served.port, head, SLOW)
    try:
        time.sleep(1.5)  # all of them have begun
        for _n in range(20):
            assert ask(served.port, "GET", "/sign-in/", b"", {})[0] == 200
        assert slow.ended == {}, "they still hold their lines"
    finally:
        slow.end()


@pytest.mark.long
def test_who_sends_a_byte_at_a_time_is_let_go_within_a_minute(served: Web, head: bytes) -> None:
    slow = Trickling(served.port, head, SLOW)
    try:
        wait_for(lambda: len(slow.ended) == SLOW, seconds=CLOSED_WITHIN_S, why="slow lines stand open")
    finally:
        slow.end()
    print(f"let go after {min(slow.ended.values())[0]:.0f} to {max(slow.ended.values())[0]:.0f} s")
    assert {said[:12] for _when, said in slow.ended.values()} == {b"HTTP/1.1 408"}
