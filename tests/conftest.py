"""What all tests share: no network but this machine, facts that a test database may empty, printed seeds."""

import gc
import os
import random
import shutil
import socket
from collections.abc import Iterator
from typing import Any

import coverage
import pytest
from django.db import connections

os.environ.setdefault("NUMBA_DISABLE_JIT", "1")
"""The search on arrays runs interpreted, so that its branches are counted; what is started by tests inherits it."""
LOCAL = ("127.0.0.1", "::1", "localhost", "", "0.0.0.0")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--long", action="store_true", help="also the long tests (kill matrices, large generated sets)"
    )
    parser.addoption(
        "--database",
        action="store_true",
        help="only tests that touch a database: for a second kind of database",
    )


NEEDS = {
    "browser": "chromium",
    "redis": "redis-server",
    "mosquitto": "mosquitto",
    "dovecot": "dovecot",
    "cluster": "pg_ctlcluster",
}
LEFT_OUT: dict[str, int] = {}
NO_DATABASE = "no_database"
ON_A_DATABASE = {"db", "transactional_db", "live_server", "django_db_setup"}
UNCOUNTED = (
    *("tests/access", "tests/browser", "tests/faults", "tests/journeys"),
    *(
        "tests/desk/test_demo",
        "tests/desk/test_start",
        "tests/reports/test_sheet",
        "tests/reports/test_render",
    ),
)
"""Tests that go through many doors, or draw for a long time: counting branches would double what they take, and what they reach
is held by the tests of the rooms."""


def _flushes(item: pytest.Item) -> bool:
    """Whether the database is emptied after a test: such tests stay behind all others."""
    mark = item.get_closest_marker("django_db")
    fixtures = {"transactional_db", "live_server"} & set(getattr(item, "fixturenames", ()))
    return bool(fixtures or (mark and mark.kwargs.get("transaction")))


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Long tests only when asked for. On a bare machine what needs a browser or a server is left out and named at
    the end; in CI it stays in and fails."""
    unwanted = set() if config.getoption("--long") else {"long"}
    if not os.environ.get("CI"):
        unwanted |= {mark for mark, program in NEEDS.items() if shutil.which(program) is None}
    if config.getoption("--database"):
        unwanted.add(NO_DATABASE)
        for item in items:
            if "django_db" not in item.keywords and not ON_A_DATABASE & set(
                getattr(item, "fixturenames", ())
            ):
                item.add_marker(NO_DATABASE)
    if (
        coverage.Coverage.current() is not None
    ):  # what is loaded, or kept, is then counted where it is counted at all
        items.sort(key=lambda item: (_flushes(item), item.nodeid.startswith(UNCOUNTED)))
    # by its marks, not by its keywords: those are also the names of the folders it lies in
    marks = {item: {mark.name for mark in item.iter_markers()} for item in items}
    left = [item for item in items if unwanted & marks[item]]
    for mark in unwanted:
        LEFT_OUT[mark] = sum(1 for item in left if mark in marks[item])
    if left:
        config.hook.pytest_deselected(items=left)
        items[:] = [item for item in items if item not in left]


def pytest_collection_finish() -> None:
    """What was loaded stays until the end: the collector need not look through it again and again (a tenth of the time)."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(100_000, 50, 50)


WHY_LEFT = {"long": "run them with --long", NO_DATABASE: "they touch none, and ran with the first kind"}


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """Where branches are counted, not in the tests that are UNCOUNTED."""
    counter = coverage.Coverage.current()
    paused = counter is not None and item.nodeid.startswith(UNCOUNTED)
    if counter is not None and paused:
        counter.stop()
    try:
        return (yield)
    finally:
        if counter is not None and paused:
            counter.start()


def pytest_terminal_summary(terminalreporter: Any) -> None:
    for mark, number in sorted(LEFT_OUT.items()):
        missing = f"{NEEDS[mark]} is not on this machine" if mark in NEEDS else WHY_LEFT[mark]
        if number:
            terminalreporter.write_line(f"Left out: {number} tests marked {mark} ({missing}).")
    if not os.environ.get("DATABASE_URL"):
        terminalreporter.write_line(
            "Ran on SQLite. With DATABASE_URL=postgresql://… the same tests run on PostgreSQL."
        )


@pytest.fixture
def seed(request: pytest.FixtureRequest) -> int:
    """A seed for a random test, printed so that a failure can be repeated (TANKROUND_SEED)."""
    value = int(os.environ.get("TANKROUND_SEED", random.randrange(2**31)))
    print(f"seed {value} (repeat with TANKROUND_SEED={value})")
    return value


@pytest.fixture(autouse=True, scope="session")
def _only_this_machine() -> Iterator[None]:
    real = socket.socket.connect

    def connect(self: socket.socket, address: Any) -> None:
        if self.family in (socket.AF_INET, socket.AF_INET6) and address[0] not in LOCAL:
            raise OSError(f"Tests reach only this machine, not {address[0]}.")
        return real(self, address)

    socket.socket.connect = connect  # type: ignore[method-assign, assignment]
    yield
    socket.socket.connect = real  # type: ignore[method-assign]


@pytest.fixture(autouse=True, scope="session")
def _facts_may_be_emptied() -> None:
    """The flush between transactional tests deletes rows; on SQLite the guards would refuse. It opens an erasure."""
    kind = type(
        connections["default"].ops
    )  # the class: a browser's event loop gives each context a connection
    flush = kind.sql_flush

    def sql_flush(self: Any, style: Any, tables: list[str], **options: Any) -> list[str]:
        statements = flush(self, style, tables, **options)
        if self.connection.vendor != "sqlite" or not statements:
            return statements
        last = [s for s in statements if "dispatch_erasure" in s]
        opened = "INSERT INTO dispatch_erasure (opened_at, why) VALUES ('2000-01-01', 'between tests')"
        return [opened, *(s for s in statements if s not in last), 'DELETE FROM "dispatch_erasure"']

    kind.sql_flush = sql_flush
