"""Every few minutes: judge what is new, notice silence. Every day: learn what is usual."""

from datetime import time
from typing import Any

from django.db import connection
from django.utils import timezone

from servicedesk.dispatch.jobs import daily, every, register
from servicedesk.dispatch.models import Job
from servicedesk.watch import actions

ONE_WRITER_S = 0.015
"""About as long as judging one tank takes: others get every second turn (common practice)."""


@register("sweep")
def sweep(job: Job) -> dict[str, Any]:
    """Judge, then tell: what is seen now is told now."""
    now = timezone.now()
    actions.wake(at=now)
    found = actions.look(at=now, pause_s=ONE_WRITER_S if connection.vendor == "sqlite" else 0.0)
    return {**found, "told": actions.tell(at=now), "browsers_gone": actions.tell_of_gone(at=now)}


@register("habits")
def habits(job: Job) -> dict[str, Any]:
    """How long each instrument is usually silent, learned anew every day."""
    return {"changed": actions.learn_habits(at=timezone.now())}


every("sweep", minutes=1)
daily("habits", at=time(3, 45))
