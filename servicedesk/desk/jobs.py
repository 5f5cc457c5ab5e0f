"""Jobs that span rooms: the daily reorder reminder needs stock, settings and the next visits."""

from datetime import time
from typing import Any

from django.utils import timezone

from servicedesk.dispatch.jobs import daily, register
from servicedesk.dispatch.models import Job
from servicedesk.rounds.queries import next_visits_of
from servicedesk.staff.queries import day_of
from servicedesk.supply import actions
from servicedesk.supply.queries import needs


@register("reorder")
def reorder(job: Job) -> dict[str, Any]:
    now = timezone.now()
    today = day_of(now)
    found = needs(at=now, next_visits=next_visits_of(None, after=today))
    return {"needs": len(found), "new": actions.remind(needs=found, day=today, at=now)}


daily("reorder", at=time(6, 30))
