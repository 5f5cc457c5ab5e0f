"""Every few minutes: work out what runs empty when."""

from typing import Any

from django.utils import timezone

from servicedesk.dispatch.jobs import every, register
from servicedesk.dispatch.models import Job
from servicedesk.supply import actions


@register("run_outs")
def run_outs(job: Job) -> dict[str, Any]:
    return {"known": actions.work_out(at=timezone.now())}


every("run_outs", minutes=2)
