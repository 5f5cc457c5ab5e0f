"""Every few minutes: judge what is new, notice silence."""

from typing import Any

from django.utils import timezone

from servicedesk.dispatch.jobs import every, register
from servicedesk.dispatch.models import Job
from servicedesk.watch import actions


@register("sweep")
def sweep(job: Job) -> dict[str, Any]:
    now = timezone.now()
    return {"judged": actions.sweep(at=now), "silent": len(actions.watch_silence(at=now))}


every("sweep", minutes=2)
