"""Every minute or five: letters and files that devices or people put into the inbox are taken in, and instruments that do not send are asked."""

from typing import Any

from django.conf import settings
from django.utils import timezone

from servicedesk.dispatch.jobs import every, register
from servicedesk.dispatch.models import Job
from servicedesk.instruments.actions import NoMailbox, empty_inbox, empty_mailbox, mailbox_of, pull_due


@register("inbox")
def inbox(job: Job) -> dict[str, Any]:
    return empty_inbox(folder=settings.INBOX, at=timezone.now())


@register("pulls")
def pulls(job: Job) -> dict[str, Any]:
    """Ask the addresses whose time has come."""
    return pull_due(at=timezone.now())


@register("mailbox")
def mailbox(job: Job) -> dict[str, Any]:
    """Read the mailbox, where there is one. Why it could not be read is a result: the next look is another row, and the page of all
    instruments says it."""
    if not settings.IMAP:
        return {}
    try:
        return empty_mailbox(mailbox=mailbox_of(settings.IMAP), at=timezone.now())
    except NoMailbox as wrong:
        return {"failed": str(wrong)}


every("mailbox", minutes=5)
every("inbox", minutes=1)
every("pulls", minutes=1)
