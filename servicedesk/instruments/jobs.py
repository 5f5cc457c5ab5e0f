"""Every minute: files that devices or people put into the inbox are taken in."""

from typing import Any

from django.conf import settings
from django.utils import timezone

from servicedesk.dispatch.jobs import every, register
from servicedesk.dispatch.models import Job
from servicedesk.instruments.actions import empty_inbox


@register("inbox")
def inbox(job: Job) -> dict[str, Any]:
    return empty_inbox(folder=settings.INBOX, at=timezone.now())


every("inbox", minutes=1)
