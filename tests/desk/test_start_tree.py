"""The process tree: whoever dies is started again, and nobody is left when it ends.

Small stand-ins for web, jobs and beat in most tests; one test runs the real thing."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.conf import settings

from servicedesk.desk.management import tree

ROOT = Path(settings.ROOT)
# the stand-in parent: two children, each with a grandchild that ignores being asked to end
STANDS_IN = """
import sys, pathlib
from servicedesk.desk.management.tree import Child, Tree
child = "import subprocess, sys, signal, time; signal.signal(signal.SIGTERM, signal.SIG_DFL);"
stubborn = "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); time.sleep(600)"
stays = child + f"subprocess.Popen([sys.executable, '-c', {stubborn!r}]); time.sleep(600)"
leaves = child + "sys.exit(3)"
first = {"stays": stays, "leaves": leaves}[sys.argv[1]]
kinds = [Child("web", [sys.executable, "-c", first]), Child("jobs", [sys.executable, "-c", stays])]
said = lambda sentence: print(sentence, flush=True)
sys.exit(Tree(kinds, port=1, say=said, ready=lambda: None, busy=lambda: False).run())
"""


def descendants(pid: int) -> list[int]:
    """All processes below this one."""
    below: list[int] = []
    for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
        below += [int(child), *descendants(int(child))]
    return below


def alive(pids: list[int]) -> list[int]:
    """Those of them that still run; one that only waits to be reaped does not."""
    found = []
    for pid in pids:
        try:
            state = re.search(r"^State:\s+(\S)", Path(f"/proc/{pid}/status").read_text(), re.MULTILINE)
        except OSError:
            continue
        if state and state[1] != "Z":
            found.append(pid)
    return found


def wait_for(condition: Callable[[], bool], seconds: float = 20) -> bool:
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if condition():
            return True
        time.sleep(0.05)
    return False


@pytest.fixture
def stand_in() -> Iterator[Callable[[str], subprocess.Popen[str]]]:
    """Starts a parent of stand-ins and sees to it that it is gone afterwards."""
    started = []

    def start(kind: str) -> subprocess.Popen[str]:
        command = [sys.executable, "-c", STANDS_IN, kind]
        started.append(subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True))
        return started[-1]

    yield start
    for parent in started:
        if parent.poll() is None:
            parent.terminate()
        parent.communicate(timeout=20)


@pytest.mark.faults
def test_tree_whose_child_dies_at_once_gives_up_after_five_deaths(
    stand_in: Callable[[str], subprocess.Popen[str]],
) -> None:
    parent = stand_in("leaves")
    assert wait_for(lambda: len(descendants(parent.pid)) >= 2)
    below = descendants(parent.pid)

    said, _ = parent.communicate(timeout=30)

    again = "The web process ended (exit code 3). It is started again.\n"
    end = (
        "The web process ended 5 times within a minute, last with exit code 3. Tankround stops; "
        "the reason stands in the lines above.\n"
    )
    assert (parent.returncode, said) == (1, again * 4 + end)
    assert alive(below) == []


@pytest.mark.faults
def test_child_that_is_killed_is_started_again_without_what_it_left_behind(
    stand_in: Callable[[str], subprocess.Popen[str]],
) -> None:
    parent = stand_in("stays")
    assert wait_for(lambda: len(descendants(parent.pid)) == 4)
    first = descendants(parent.pid)

    os.kill(first[0], signal.SIGKILL)

    assert wait_for(lambda: alive(first[:2]) == [] and len(alive(descendants(parent.pid))) == 4)
    assert len(set(first) & set(descendants(parent.pid))) == 2


@pytest.mark.faults
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_tree_told_to_end_leaves_nobody_and_exit_code_0(
    stand_in: Callable[[str], subprocess.Popen[str]], number: signal.Signals
) -> None:
    parent = stand_in("stays")
    assert wait_for(lambda: len(descendants(parent.pid)) == 4)
    below = descendants(parent.pid)

    parent.send_signal(number)

    assert parent.wait(timeout=10) == 0
    assert alive(below) == []


@pytest.mark.faults
def test_child_over_its_memory_is_started_anew_and_that_is_no_death(monkeypatch: pytest.MonkeyPatch) -> None:
    said: list[str] = []
    child = tree.Child("jobs", [sys.executable, "-c", "import time; time.sleep(600)"], limit_mb=1)
    watched = tree.Tree([child], port=1, say=said.append, ready=lambda: None, busy=lambda: False)
    child.start()
    first = child.process
    assert first is not None
    assert wait_for(lambda: tree.resident_mb(first.pid) > 1)

    watched._watch_memory(time.monotonic())
    assert wait_for(lambda: first.poll() is not None)
    watched._keep_alive(child, time.monotonic())
    watched._keep_alive(child, time.monotonic() + 1)
    second = child.process
    watched._end()

    assert second is not None and second.pid != first.pid
    assert [re.sub(r"\d+ MB", "n MB", line) for line in said] == [
        "The jobs process holds n MB. It is started anew."
    ]
    assert list(child.deaths) == []


@pytest.fixture
def free_port() -> int:
    """A port that nobody has."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


def serving(folder: Path, port: int) -> subprocess.Popen[str]:
    """`manage.py start` on a folder of its own, which goes its own way."""
    surroundings = {
        name: value for name, value in os.environ.items() if not name.startswith("DJANGO_SETTINGS")
    }
    surroundings |= {"TANKROUND_VAR": str(folder), "TANKROUND_NO_BOOTSTRAP": "1"}
    for server in ("DATABASE_URL", "CELERY_BROKER_URL"):
        surroundings.pop(server, None)
    return subprocess.Popen(
        [sys.executable, "manage.py", "start", "--port", str(port)],
        cwd=ROOT,
        env=surroundings,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


# slow: the real web, jobs, plans and beat
@pytest.mark.slow
@pytest.mark.faults
def test_start_serves_refuses_a_second_one_survives_killings_and_leaves_nobody(
    tmp_path: Path, free_port: int
) -> None:
    parent = serving(tmp_path, free_port)
    assert parent.stdout is not None
    assert wait_for(lambda: tree.answers(free_port), 60)
    web, jobs, plans, beat = (
        int(n) for n in Path(f"/proc/{parent.pid}/task/{parent.pid}/children").read_text().split()
    )
    second = serving(tmp_path, free_port)
    second_said, _ = second.communicate(timeout=60)

    for pid in (web, jobs, plans, beat):
        os.kill(pid, signal.SIGKILL)
    came_back = wait_for(lambda: alive([web, jobs, plans, beat]) == [] and tree.answers(free_port), 30)
    below = descendants(parent.pid)
    parent.kill()
    nobody = wait_for(lambda: alive(below) == [], 15)
    said, _ = parent.communicate(timeout=10)

    assert second.returncode == 1
    assert second_said == (
        f"Tankround already runs on the data folder {tmp_path} (process {parent.pid}, at http://127.0.0.1:{free_port}).\n"
    )
    assert (came_back, nobody) == (True, True)
    assert f"Tankround is at http://127.0.0.1:{free_port}  (Ctrl-C ends it)" in said
    assert f"Open http://127.0.0.1:{free_port}/set-up/ to make the owner's account." in said
