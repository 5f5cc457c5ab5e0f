"""What the fault tests stand on: an own Redis, a mail sink, the house's processes in a folder of their own."""

import contextlib
import json
import os
import shutil
import signal
import socket
import socketserver
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from email import message_from_bytes
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
QUIET = ["--without-gossip", "--without-mingle", "--without-heartbeat", "-l", "ERROR"]


def free_port() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


def wait_for(what: Callable[[], Any], *, seconds: float = 40, why: str = "") -> Any:
    """The first true answer of `what`; fails with `why` when there is none in time."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        found = what()
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError(f"waited {seconds} s in vain: {why}")


class Sink(socketserver.ThreadingTCPServer):
    """Takes mail and remembers it once it has said 250. `at_data` is called with a letter not yet answered; when it
    says True the connection is dropped without an answer."""

    allow_reuse_address = True
    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Talk)
        self.letters: list[str] = []
        self.at_data: Callable[[], bool] | None = None

    @property
    def port(self) -> int:
        return int(self.server_address[1])


class Talk(socketserver.StreamRequestHandler):
    server: Sink

    def handle(self) -> None:
        with contextlib.suppress(ConnectionError):
            self._talk()

    def _talk(self) -> None:
        self.wfile.write(b"220 sink\r\n")
        while line := self.rfile.readline():
            word = line[:4].upper().strip()
            if word == b"DATA":
                self.wfile.write(b"354 go on\r\n")
                if not self._take():
                    return
            elif word == b"QUIT":
                self.wfile.write(b"221 bye\r\n")
                return
            else:
                self.wfile.write(b"250 sink\r\n")

    def _take(self) -> bool:
        lines = []
        while (line := self.rfile.readline()) != b".\r\n":
            if not line:
                return False
            lines.append(line)
        if self.server.at_data and self.server.at_data():
            return False
        self.server.letters.append(str(message_from_bytes(b"".join(lines))["Message-ID"]))
        self.wfile.write(b"250 taken\r\n")
        return True


class House:
    """The house's processes over one data folder."""

    complaints: Path | None = None

    def __init__(self, var: Path, redis_port: int, sink: Sink) -> None:
        self.var, self.sink = var, sink
        self.env = {
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "servicedesk.settings.prod",
            "TANKROUND_VAR": str(var),
            "CELERY_BROKER_URL": f"redis://127.0.0.1:{redis_port}/0",
            "TANKROUND_SMTP_HOST": "127.0.0.1",
            "TANKROUND_SMTP_PORT": str(sink.port),
            "TANKROUND_SECRET_KEY": "only for tests",
            "C_FORCE_ROOT": "1",
            "TANKROUND_DEVICE_A_MINUTE": "1000000",  # one token stands for many devices here
            "TANKROUND_DEVICE_AT_ONCE": "1000",
        }
        self.env.pop("DATABASE_URL", None)
        self.env.pop("TANKROUND_FAULT", None)
        self.started: list[subprocess.Popen[str]] = []
        self.stage = self.start(["-m", "tests.faults.stage"], piped=True)
        self.order("setup")

    @property
    def database(self) -> Path:
        return self.var / "tankround.sqlite3"

    def start(self, words: list[str], *, piped: bool = False, fault: str = "") -> subprocess.Popen[str]:
        """A process of the house, leader of its own group. What it complains of goes to `complaints`."""
        complaints = subprocess.DEVNULL if self.complaints is None else self.complaints.open("a")
        process = subprocess.Popen(
            [sys.executable, *words],
            cwd=ROOT,
            env={**self.env, "TANKROUND_FAULT": fault} if fault else self.env,
            stdin=subprocess.PIPE if piped else subprocess.DEVNULL,
            stdout=subprocess.PIPE if piped else subprocess.DEVNULL,
            stderr=None if piped and self.complaints is None else complaints,
            text=True,
            start_new_session=True,
        )
        self.started.append(process)
        return process

    def worker(self, pool: str, *, number: int = 1, fault: str = "") -> subprocess.Popen[str]:
        words = ["-m", "celery", "-q", "--skip-checks", "-A", "servicedesk.celery", "worker", "-P", pool]
        return self.start([*words, "-c", str(number), "-I", "tests.faults.kinds", *QUIET], fault=fault)

    def order(self, *words: Any) -> Any:
        """Have the stage do something and give its answer."""
        assert self.stage.stdin and self.stage.stdout
        self.stage.stdin.write(json.dumps(words) + "\n")
        self.stage.stdin.flush()
        answer = self.stage.stdout.readline()
        assert answer, f"the stage ended at {words}"
        return json.loads(answer)

    def stop(self, process: subprocess.Popen[str]) -> None:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()

    def end(self) -> None:
        for process in self.started:
            self.stop(process)


def pool_children(worker: subprocess.Popen[str]) -> list[int]:
    """The forked processes of a prefork worker."""
    with contextlib.suppress(OSError):
        listed = Path(f"/proc/{worker.pid}/task/{worker.pid}/children").read_text()
        return [int(pid) for pid in listed.split()]
    return []


@pytest.fixture(scope="module")
def redis_port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    program = shutil.which("redis-server")
    if program is None:
        if os.environ.get("CI"):
            pytest.fail("redis-server is not installed, and these tests must not be left out here.")
        pytest.skip("redis-server is not installed: jobs through a real Redis were left out.")
    port = free_port()
    server = subprocess.Popen(
        [program, "--port", str(port), "--bind", "127.0.0.1", "--appendonly", "yes", "--save", ""],
        cwd=tmp_path_factory.mktemp("redis"),
        stdout=subprocess.DEVNULL,
    )

    def answers() -> bool:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1) as line:
            line.sendall(b"PING\r\n")
            return line.recv(7) == b"+PONG\r\n"
        return False

    wait_for(answers, seconds=10, why="Redis does not answer")
    yield port
    server.kill()
    server.wait()


@pytest.fixture(scope="module")
def sink() -> Iterator[Sink]:
    made = Sink()
    threading.Thread(target=made.serve_forever, daemon=True).start()
    yield made
    made.shutdown()
    made.server_close()


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory, redis_port: int, sink: Sink) -> Iterator[House]:
    made = House(tmp_path_factory.mktemp("house"), redis_port, sink)
    yield made
    made.end()
