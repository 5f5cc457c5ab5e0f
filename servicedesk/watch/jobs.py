"""Every few minutes: judge what is new, notice silence."""

from typing import Any

from django.utils import timezone

from servicedesk.dispatch.jobs import every, register
from servicedesk.dispatch.models import Job
from servicedesk.watch import actions


@register("sweep")
def sweep(job: Job) -> dict[str, Any]:
    return actions.look(at=timezone.now())


every("sweep", minutes=2)
