"""The search for rounds is compiled before anybody plans."""

import os
import subprocess
import sys
import time
from types import SimpleNamespace

import pytest

from servicedesk.core.rounds.compiled import compiling
from servicedesk.rounds import jobs
from servicedesk.rounds.adapters import warm


@pytest.fixture
def kept(monkeypatch, tmp_path):
    monkeypatch.setattr(compiling, "KEPT", tmp_path)
    monkeypatch.delenv("NUMBA_DISABLE_JIT", raising=False)
    return tmp_path


def test_it_is_compiled_once_and_said_so(kept, monkeypatch):
    begun = []
    monkeypatch.setattr(subprocess, "Popen", lambda words, **_more: begun.append(words) or "running")

    assert warm.warm() == "running"
    compiling._kept()
    assert warm.warm() is None

    assert begun == [[sys.executable, "-c", warm.CODE]]


def test_where_nothing_can_be_kept_or_is_compiled_nothing_begins(kept, monkeypatch):
    assert compiling.wanting()
    monkeypatch.setenv("NUMBA_DISABLE_JIT", "1")
    compiling._kept()
    assert not compiling.wanting() and not list(kept.glob("*/whole"))

    monkeypatch.delenv("NUMBA_DISABLE_JIT")
    (kept / "file").write_text("no folder")
    monkeypatch.setattr(compiling, "KEPT", kept / "file")
    compiling._kept()
    assert not compiling.wanting()


def test_what_other_versions_kept_goes_after_a_month(kept):
    old, young = kept / "old", kept / "young"
    for folder in (old, young):
        folder.mkdir()
    long_ago = time.time() - compiling.LONG_S - 60
    os.utime(old, (long_ago, long_ago))

    compiling._kept()

    assert {path.name for path in kept.iterdir()} == {"young", compiling._folder().name}


def test_the_process_does_what_it_is_for():
    """Interpreted, so that it takes no time; it has to end well."""
    done = subprocess.run([sys.executable, "-c", warm.CODE], cwd=warm.settings.ROOT, env={**os.environ, "NUMBA_DISABLE_JIT": "1"}, capture_output=True, check=True)  # fmt: skip
    assert done.stderr == b""


@pytest.mark.parametrize(("queues", "asked"), [(["plans"], 1), (["celery"], 0)])
def test_only_a_worker_for_plans_has_it_compiled(queues, asked, monkeypatch):
    begun = []
    monkeypatch.setattr(jobs, "warm", lambda: begun.append(1))
    consumer = SimpleNamespace(queues=[SimpleNamespace(name=name) for name in queues])

    jobs.ready_to_plan(SimpleNamespace(task_consumer=consumer))

    assert len(begun) == asked
