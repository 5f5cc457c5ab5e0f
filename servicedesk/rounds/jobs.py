"""Each night: owe the visits of the coming weeks and put them on rounds."""

from datetime import time, timedelta
from typing import Any

from django.utils import timezone

from servicedesk.dispatch.jobs import daily, register
from servicedesk.dispatch.models import Job
from servicedesk.rounds import actions
from servicedesk.staff.queries import day_of

AHEAD = timedelta(days=35)


@register("owe_visits")
def owe_visits(job: Job) -> dict[str, Any]:
    now = timezone.now()
    today = day_of(now)
    made = actions.owe_visits(first=today, last=today + AHEAD, at=now)
    placed = actions.plan_simply(first=today, last=today + AHEAD)
    return {"owed": len(made), "placed": placed}


daily("owe_visits", at=time(1, 0))
