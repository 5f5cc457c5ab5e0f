"""The process tree of one machine: a parent that watches over web, jobs and beat.

A child that dies is started again; five deaths within a minute end the whole with a sentence. When the parent ends,
however it ends, the kernel ends the children (Linux: PR_SET_PDEATHSIG). Each child leads a process group of its own,
so that what it left behind goes with it."""

import ctypes
import os
import signal
import subprocess
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPException

PR_SET_PDEATHSIG = 1
WATCHED = {signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGCHLD}
DEATHS = 5
WITHIN_S = 60.0
PAUSE_S = 0.5
GRACE_S = 5.0
IDLE_AFTER_S = 1.0
MEMORY_EVERY_S = 5.0
LIBC = ctypes.CDLL(None, use_errno=True)


@dataclass
class Child:
    """One kind of child: its name, its command, how the kernel ends it with the parent, its memory limit in MB, and by how much it stands
    back (`nice`) where the processor does not suffice for all."""

    name: str
    command: list[str]
    on_parents_death: signal.Signals = signal.SIGTERM
    limit_mb: int = 0
    stands_back: int = 0
    process: subprocess.Popen[bytes] | None = None
    deaths: deque[float] = field(default_factory=lambda: deque(maxlen=DEATHS))
    due_at: float = 0.0
    sent_away_at: float = 0.0

    def start(self) -> None:
        parent = os.getpid()

        def settle() -> None:
            LIBC.prctl(PR_SET_PDEATHSIG, int(self.on_parents_death), 0, 0, 0)
            if os.getppid() != parent:
                os._exit(1)
            signal.pthread_sigmask(signal.SIG_UNBLOCK, WATCHED)
            os.nice(self.stands_back)

        self.sent_away_at = 0.0
        self.process = subprocess.Popen(
            self.command, stdin=subprocess.DEVNULL, preexec_fn=settle, process_group=0
        )

    def signal_group(self, number: signal.Signals) -> None:
        """To the child and all that came from it; nothing happens when nobody is left."""
        if self.process is not None:
            with suppress(ProcessLookupError):
                os.killpg(self.process.pid, number)

    def dies_too_often(self, now: float) -> bool:
        self.deaths.append(now)
        return len(self.deaths) == DEATHS and now - self.deaths[0] <= WITHIN_S


def resident_mb(pid: int) -> float:
    """Resident memory of a process in MB; 0 when it is gone."""
    try:
        with open(f"/proc/{pid}/status") as lines:
            kilobytes = next((line.split()[1] for line in lines if line.startswith("VmRSS:")), "0")
    except OSError:
        return 0.0
    return int(kilobytes) / 1024


def answers(port: int) -> bool:
    """Whether the web process answers anything at all."""
    connection = HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", "/")
        return connection.getresponse().status > 0
    except (OSError, HTTPException):
        return False
    finally:
        connection.close()


class Tree:
    """Starts the children and stays with them until told to end. `run` gives the exit code.

    `ready` is called once when the web answers; `busy` says at the end whether it is worth waiting for work."""

    def __init__(
        self,
        children: list[Child],
        *,
        port: int,
        say: Callable[[str], None],
        ready: Callable[[], None],
        busy: Callable[[], bool],
    ) -> None:
        self.children = children
        self.port = port
        self.say = say
        self.ready = ready
        self.busy = busy
        self.announced = False
        self.memory_seen_at = 0.0

    def run(self) -> int:
        signal.pthread_sigmask(signal.SIG_BLOCK, WATCHED)
        try:
            for child in self.children:
                child.start()
            return self._watch()
        finally:
            self._end()
            signal.pthread_sigmask(signal.SIG_UNBLOCK, WATCHED)

    def _watch(self) -> int:
        while True:
            told = signal.sigtimedwait(WATCHED, 1.0 if self.announced else 0.2)
            if told is not None and told.si_signo != signal.SIGCHLD:
                return 0
            now = time.monotonic()
            for child in self.children:
                if not self._keep_alive(child, now):
                    return 1
            if not self.announced and answers(self.port):
                self.announced = True
                self.ready()
            if now - self.memory_seen_at >= MEMORY_EVERY_S:
                self.memory_seen_at = now
                self._watch_memory(now)

    def _keep_alive(self, child: Child, now: float) -> bool:
        """Start it again when it died. False when it does so too often."""
        if child.process is not None:
            code = child.process.poll()
            if code is None:
                if child.sent_away_at and now - child.sent_away_at > GRACE_S:
                    child.signal_group(signal.SIGKILL)
                return True
            child.signal_group(signal.SIGKILL)
            child.process = None
            child.due_at = now + PAUSE_S
            if child.sent_away_at:
                return True
            if child.dies_too_often(now):
                self.say(
                    f"The {child.name} process ended {DEATHS} times within a minute, last with "
                    f"{how_it_ended(code)}. Tankround stops; the reason stands in the lines above."
                )
                return False
            self.say(f"The {child.name} process ended ({how_it_ended(code)}). It is started again.")
        if now >= child.due_at:
            child.start()
        return True

    def _watch_memory(self, now: float) -> None:
        for child in self.children:
            if not child.limit_mb or child.process is None or child.sent_away_at:
                continue
            used = resident_mb(child.process.pid)
            if used > child.limit_mb:
                self.say(f"The {child.name} process holds {used:.0f} MB. It is started anew.")
                child.sent_away_at = now
                child.process.send_signal(signal.SIGTERM)

    def _end(self) -> None:
        """Ask all to end, wait a little, then make sure. Work under way is waited for; a second Ctrl-C does not wait."""
        for child in self.children:
            if child.process is not None and child.process.poll() is None:
                child.process.terminate()
        began = time.monotonic()
        while self._running() and time.monotonic() - began < GRACE_S:
            told = signal.sigtimedwait(WATCHED, 0.2)
            if told is not None and told.si_signo == signal.SIGINT:
                break
            if time.monotonic() - began > IDLE_AFTER_S and not self.busy():
                break
        for child in self.children:
            child.signal_group(signal.SIGKILL)
            if child.process is not None:
                child.process.wait()

    def _running(self) -> bool:
        return any(child.process is not None and child.process.poll() is None for child in self.children)


def how_it_ended(code: int) -> str:
    """An exit code in words."""
    return f"signal {signal.Signals(-code).name}" if code < 0 else f"exit code {code}"
