"""A killing at every step between a closed visit and its mail: every report arrives, and once.

One window is left by the mail protocol itself: the sender dies after the other side took the letter and before that
is written down. Then the letter goes again under the same Message-ID, and the row says so."""

import os
import signal
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from tests.faults.conftest import House, pool_children, wait_for

pytestmark = [
    pytest.mark.faults,
    pytest.mark.redis,
    pytest.mark.slow,
]  # real processes are started and killed

PLACES = ["before_render", "in_render", "after_render", "in_data", "after_250", "after_commit"]
POOLS = ["solo", "prefork"]
"""solo: the whole worker dies; prefork: the forked process that does the work dies."""
DAY = count(1)


def check(place: str, row: dict[str, Any], letters: list[str]) -> None:
    """What must be true of one report after its killing. `letters` are the Message-IDs that the sink took."""
    assert (row["state"], row["reports"], len(row["letters"])) == ("done", 1, 1), row
    letter = row["letters"][0]
    assert letter["state"] == "sent", row
    mine = [taken for taken in letters if taken == letter["id"]]
    assert len(mine) == (2 if place == "after_250" else 1), (place, mine, row)
    assert ("may have been sent twice" in letter["error"]) == (place in ("in_data", "after_250")), row


def killed_once(house: House, pool: str, place: str, flag: Path) -> None:
    before = len(house.sink.letters)
    flag.touch()
    fault = "" if place == "in_data" else f"{place}:{flag}"
    worker = house.worker(pool, fault=fault)

    def at_data() -> bool:
        if not flag.exists():
            return False
        for pid in pool_children(worker) if pool == "prefork" else [worker.pid]:
            os.kill(pid, signal.SIGKILL)
        flag.unlink()
        return True

    house.sink.at_data = at_data if place == "in_data" else None
    job = house.order("close", next(DAY))["job"]
    wait_for(lambda: not flag.exists(), why=f"nobody came to {place}")
    if pool == "solo" and place != "in_render_child":
        assert worker.wait(timeout=10) == -signal.SIGKILL
        house.stop(worker)
        worker = house.worker(pool)
    else:
        assert worker.poll() is None
    house.order("heal")

    def over() -> dict[str, Any] | None:
        house.order("tick")
        row = house.order("look", job)
        return row if row["state"] == "done" and all(m["state"] == "sent" for m in row["letters"]) else None

    row = wait_for(over, why=f"{pool} {place}: {house.order('look', job)}")
    house.stop(worker)
    check(place, row, house.sink.letters[before:])


@pytest.fixture
def flag(tmp_path: Path) -> Iterator[Path]:
    yield tmp_path / "die"


@pytest.mark.parametrize("pool", POOLS)
@pytest.mark.parametrize("place", [*PLACES, "in_render_child"])
def test_a_killing_loses_no_report_and_doubles_none(house: House, pool: str, place: str, flag: Path) -> None:
    killed_once(house, pool, place, flag)


@pytest.mark.long
@pytest.mark.parametrize("turn", range(9))
@pytest.mark.parametrize("pool", POOLS)
@pytest.mark.parametrize("place", [*PLACES, "in_render_child"])
def test_nine_more_killings_at_each_place(house: House, pool: str, place: str, turn: int, flag: Path) -> None:
    killed_once(house, pool, place, flag)


GOOD = {
    "state": "done",
    "reports": 1,
    "letters": [{"id": "<a@x>", "state": "sent", "tries": 1, "error": ""}],
}
TWICE = {
    **GOOD,
    "letters": [{"id": "<a@x>", "state": "sent", "tries": 2, "error": "may have been sent twice"}],
}


@pytest.mark.parametrize(
    ("place", "row", "letters"),
    [
        ("in_render", GOOD, []),
        ("in_render", GOOD, ["<a@x>", "<a@x>"]),
        ("in_render", TWICE, ["<a@x>"]),
        ("after_250", GOOD, ["<a@x>", "<a@x>"]),
        ("after_250", TWICE, ["<a@x>", "<b@x>"]),
        ("in_render", {**GOOD, "state": "failed"}, ["<a@x>"]),
        ("in_render", {**GOOD, "reports": 2}, ["<a@x>"]),
    ],
)
def test_the_check_sees_a_lost_and_a_doubled_mail(
    place: str, row: dict[str, Any], letters: list[str]
) -> None:
    check("in_render", GOOD, ["<a@x>"])
    check("after_250", TWICE, ["<a@x>", "<a@x>"])
    with pytest.raises(AssertionError):
        check(place, row, letters)
