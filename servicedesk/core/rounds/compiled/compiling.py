"""Compiling the search on arrays: in the background, once, kept for the next process.

It takes one to two minutes of one core the first time and about one second from what was kept; meanwhile the caller plans
otherwise. What is kept lies in a folder of its own for each version of the sources, since the library does not see that another file has
changed; where nothing can be written it is compiled anew in each process. Folders of other versions go after a month. Arrays are borrowed by the compiled functions, which count
no references (`_nrt`): counting cost thirty times the work itself, and none of them makes an array."""

from __future__ import annotations

import hashlib
import importlib
import os
import shutil
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, TypeVar

F = TypeVar("F", bound=Callable[..., Any])
HERE = Path(__file__).parent
VAR = Path(os.environ.get("TANKROUND_VAR") or HERE.parents[3] / "var")
KEPT = Path(os.environ.get("TANKROUND_COMPILED") or VAR / "compiled")
WHOLE, LONG_S = "whole", 30 * 86_400
SOURCES = ("reading", "arrays", "clocked", "rounds", "moves", "doing", "placing", "filling", "turns")


def _folder() -> Path | None:
    """Where compiled functions are kept; None where nothing can be written."""
    texts = b"".join((HERE / f"{name}.py").read_bytes() for name in SOURCES)
    folder = KEPT / hashlib.sha256(texts).hexdigest()[:16]
    with suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        return folder if os.access(folder, os.W_OK) else None
    return None


def interpreted() -> bool:
    """Whether nothing is compiled here at all, as in most tests."""
    return os.environ.get("NUMBA_DISABLE_JIT") == "1"


def wanting() -> bool:
    """Whether this version could be kept and no process has yet compiled all of it."""
    folder = _folder()
    return folder is not None and not interpreted() and not (folder / WHOLE).exists()


def _kept() -> None:
    """Says for the next process that all of it is kept, and clears away what no version has used for long."""
    folder = _folder()
    if folder is None or interpreted():
        return
    (folder / WHOLE).touch()
    for other in KEPT.iterdir():
        if other != folder and time.time() - other.stat().st_mtime > LONG_S:
            shutil.rmtree(other, ignore_errors=True)


def _compiled(function: Any, **more: Any) -> Any:
    numba, folder = importlib.import_module("numba"), _folder()
    numba.config.CACHE_DIR = str(folder or "")
    options = {"nogil": True, "_nrt": False, "error_model": "numpy", **more}
    return numba.njit(cache=folder is not None, **options)(function)


def compiled(function: F) -> F:
    """A function on arrays, run without the interpreter's lock."""
    return _compiled(function)  # type: ignore[no-any-return]  # the library has no types


def inlined(function: F) -> F:
    """The same, put into whoever calls it: for small ones that are called millions of times."""
    return _compiled(function, forceinline=True)  # type: ignore[no-any-return]  # the library has no types


class Engine:
    """The compiled functions, once they are ready; asked from any thread."""

    def __init__(self) -> None:
        self.turns: Any = None
        self.ready, self.failed = threading.Event(), False
        self._lock, self._thread = threading.Lock(), threading.Thread()

    def wanted(self) -> threading.Event:
        """Begins to compile where nobody has; the event is set when that has ended."""
        with self._lock:
            if not self.ready.is_set() and not self._thread.is_alive():
                self._thread = threading.Thread(target=self._compile, daemon=True)
                self._thread.start()
        return self.ready

    def _compile(self) -> None:
        try:
            turns = importlib.import_module("servicedesk.core.rounds.compiled.turns")
            arrays = importlib.import_module("servicedesk.core.rounds.compiled.arrays")
            turns.begin(arrays.smallest())
            turns.take(arrays.smallest(), 1)
            self.turns = turns
            _kept()
        except (
            Exception
        ):  # without the library, or on a machine it does not know: the other search goes on being used
            self.failed = True
        self.ready.set()


ENGINE = Engine()
