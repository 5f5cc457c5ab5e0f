"""Every minute: files that devices or people put into the inbox are taken in, and instruments that do not send are asked."""

from typing import Any

from django.conf import settings
from django.utils import timezone

from servicedesk.dispatch.jobs import every, register
from servicedesk.dispatch.models import Job
from servicedesk.instruments.actions import empty_inbox, pull_due


@register("inbox")
def inbox(job: Job) -> dict[str, Any]:
    return empty_inbox(folder=settings.INBOX, at=timezone.now())


@register("pulls")
def pulls(job: Job) -> dict[str, Any]:
    """Ask the addresses whose time has come."""
    return pull_due(at=timezone.now())


every("inbox", minutes=1)
every("pulls", minutes=1)
