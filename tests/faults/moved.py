"""The house's queue under a clock that a test moves: `celery -A tests.faults.moved …`.

TANKROUND_CLOCK names a file that holds a moment; from the writing of the file on, time goes its usual pace from that
moment. Both the scheduler's and the house's clock read it. Each beat that a worker takes leaves a line in `ticks`."""

import os
import time
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import django

django.setup()

from django.conf import settings  # noqa: E402  after the set-up
from django.utils import timezone  # noqa: E402

from servicedesk.celery import app  # noqa: E402
from servicedesk.dispatch import jobs  # noqa: E402
from tests.faults import kinds  # noqa: E402

CLOCK = os.environ["TANKROUND_CLOCK"]
HOURLY, DAILY = "hourly", "counted"


def moved_now() -> datetime:
    """The moment in the file and what has gone by since it was written."""
    with open(CLOCK) as file:
        written = os.fstat(file.fileno()).st_mtime
        return datetime.fromisoformat(file.read()) + timedelta(seconds=time.time() - written)


def leave_a_line(name: str, line: str) -> None:
    file = os.open(Path(settings.VAR) / name, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.write(file, f"{line}\n".encode())
    os.close(file)


def counted_tick(*, at: datetime, tick: Any = jobs.tick_once) -> None:
    tick(at=at)
    leave_a_line("ticks", at.isoformat())


timezone.now = moved_now  # type: ignore[assignment]
app.now = moved_now
app.conf.beat_max_loop_interval = 0.1
jobs.tick_once = counted_tick
jobs.register(HOURLY)(kinds.counted)
jobs.daily(DAILY, datetime(2000, 1, 1, 6, 0).time())
jobs.every(HOURLY, minutes=60)
