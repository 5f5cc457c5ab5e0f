"""A task whose being done was taken back is open again, unless it was done another time."""

import uuid
from datetime import date

import pytest

from servicedesk.dispatch.actions import withdraw
from servicedesk.upkeep import actions
from tests.factories.tanks import NOON, make_tank

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 3)
FACT = {"at": NOON, "by": None, "received_at": NOON}


@pytest.mark.parametrize(("times", "state"), [(1, "open"), (2, "done")])
def test_it_opens_only_when_no_other_time_stands(times, state):
    window = {"earliest": DAY, "due": DAY, "latest": DAY}
    task = actions.raise_task(tank=make_tank(), key="rinse", title="Rinse", why="", at=NOON, **window)
    origins = [uuid.uuid4() for _time in range(times)]
    for origin in origins:
        actions.finish_task(task=task, origin=origin, **FACT)
    withdraw(withdrawn=origins[0], why="not_done", at=NOON, origin=uuid.uuid4(), received_at=NOON)
    actions.reopen_task(task=task)
    task.refresh_from_db()

    assert task.state == state
