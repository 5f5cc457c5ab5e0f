"""Each night: make the tasks that calendar rules ask for."""

from datetime import time
from typing import Any

from django.utils import timezone

from servicedesk.dispatch.jobs import daily, register
from servicedesk.dispatch.models import Job
from servicedesk.staff.queries import day_of
from servicedesk.upkeep import actions


@register("make_tasks")
def make_tasks(job: Job) -> dict[str, Any]:
    now = timezone.now()
    return {"made": actions.make_tasks(on=day_of(now), at=now)}


daily("make_tasks", at=time(0, 30))
