"""Looking at the ledger: which work is open, which failed."""

import re
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from servicedesk.dispatch.choices import JobState, MessageState
from servicedesk.dispatch.models import Job, Message, Withdrawal
from servicedesk.web.prepared import WORD, Slot, prepared

Rows = TypeVar("Rows", bound=QuerySet[Any])

IN_TROUBLE = [MessageState.FAILED, MessageState.UNSURE]


def job(job_id: UUID) -> Job | None:
    return Job.objects.filter(pk=job_id).first()


def failed_jobs() -> list[Job]:
    """Work that was given up and waits for a person, newest first."""
    return list(Job.objects.filter(state=JobState.FAILED).order_by("-finished_at", "pk")[:50])


def _in_trouble() -> QuerySet[Message]:
    """What failed or may have gone twice; but not what was for a browser that takes no more: its owner is told, and the mail went out."""
    return Message.objects.filter(state__in=IN_TROUBLE).exclude(subscription__gone_at__isnull=False)


def messages_in_trouble() -> list[Message]:
    """Messages that failed or may have gone out twice, newest first."""
    rows = _in_trouble().select_related("gateway")
    return list(rows.order_by("-made_at", "pk")[:50])


def trouble() -> dict[str, int]:
    """How much work was given up, beside reports (they tell it themselves), and how many letters are in trouble."""
    work = Job.objects.filter(state=JobState.FAILED).exclude(kind="report").count()
    return {"work": work, "mail": _in_trouble().count()}


def oldest_waiting(at: datetime) -> datetime | None:
    """When the oldest piece of work that could run was asked for."""
    row = Job.objects.filter(state=JobState.QUEUED).exclude(not_before__gt=at).order_by("made_at").first()
    return row.made_at if row else None


@prepared(kind=WORD)
def _done(kind: Slot) -> QuerySet[Job, datetime | None]:
    rows = Job.objects.filter(kind=kind, state=JobState.DONE, finished_at__isnull=False)
    return rows.order_by("-finished_at").values_list("finished_at", flat=True)[:1]


def last_done(kind: str) -> datetime | None:
    """When this kind of work was last done to its end; None where it never was."""
    return _done.first(kind=kind)


def last_result(kind: str) -> dict[str, Any]:
    """What came of this kind of work when it was last done; empty where it never was."""
    rows = Job.objects.filter(kind=kind, state=JobState.DONE, finished_at__isnull=False)
    return rows.order_by("-finished_at").values_list("result", flat=True).first() or {}


def withdrawn(origin: str) -> Exists:
    """Whether the news named by that column (a path to it) was taken back."""
    return Exists(Withdrawal.objects.filter(withdrawn=OuterRef(origin)))


def standing(rows: Rows, origin: str = "origin") -> Rows:
    """Only the facts whose news was not taken back."""
    found: Rows = rows.filter(~withdrawn(origin))
    return found


# What a mail server's answer says (RFC 5321 reply codes, RFC 3463 status codes) or the line to it: the first that fits.
REFUSALS: tuple[tuple[str, Any], ...] = (
    (r"^PUSH 4(04|10)\b", _("This browser takes no more messages. Its owner is told by mail, as of the alarm itself.")),
    (r"^PUSH 40[013]\b", _("The push service refused our key. Turn alarms off and on again in that browser; where that does not help, ask who looks after the server.")),
    (r"^PUSH 413\b", _("The push service found it too long. The mail says it all.")),
    (r"^PUSH (4(08|25|29)|5\d\d)\b", _("The push service asked to wait, or had trouble of its own. It is tried again.")),
    (r"^PUSH -: .*(may be asked|private address|not an address|begins with|cannot have)", _("Nothing is sent to this browser: the host of its push service is not among those that are allowed. Ask who looks after the server.")),
    (r"^PUSH -: It came too late", _("The push service was away for so long that it would have come too late. The mail went out.")),
    (r"^PUSH -: .*(no address|did not answer)", _("The push service was not reached. It is tried again.")),
    (r"^PUSH", _("The push service did not take it. Turn alarms off and on again in that browser.")),
    (r"^HTTP 40[13]\b", _("The gateway refused our sign-in. Look at the line it wants, on its page.")),
    (r"^HTTP 4(08|25|29)\b|^HTTP 5\d\d\b", _("The gateway asked to wait, or had trouble of its own. It is tried again.")),
    (r"^HTTP -: .*(may be asked|private address|not an address|begins with|cannot have)", _("Nothing is sent to this address: its host is not among those that are allowed. Ask who looks after the server.")),
    (r"^HTTP -", _("The gateway was not reached. Look at its address and the line; it is tried again.")),
    (r"^HTTP", _("The gateway did not take it. Look at its address and its template.")),
    (r"certificate|CERTIFICATE", _("The mail server's certificate is not sound: nothing was sent over a line that may be listened to. Ask who looks after the server.")),
    (r"\b(535|534|530)\b|\b5\.7\.[089]\b|Authentication", _("The mail server refused our sign-in. Look at the user and the password of the mail settings.")),
    (r"\b5\.3\.4\b|\b523\b|too (big|large)|exceeds", _("The letter is too big for the mailbox. Send it from the report's page by hand, or ask for another address.")),
    (r"\b[45]\.2\.2\b|\b552\b|\b452\b|[Mm]ailbox (is )?full|quota", _("The mailbox is full. Ring the client; it can be sent again afterwards.")),
    (r"\b5\.1\.[0-9]\b|\b(550|551|553)\b|RecipientsRefused", _("The address was refused. Look whether it is written rightly.")),
    (r"\b5\.7\.1\b|\b554\b|spam|policy", _("The mail server took it for unwanted mail. Ask who looks after our mail.")),
    (r"imed out|Timeout", _("The mail server did not answer in time. It is tried again.")),
    (r"ConnectionRefused|gaierror|unreachable|Disconnected|ConnectionReset|No route|Name or service", _("The mail server was not reached. Look at the line and the mail settings; it is tried again.")),
    (r"^4\d\d\b", _("The mail server asked to wait. It is tried again.")),
)  # fmt: skip


def refusal_words(error: str) -> str:
    """Why a letter did not go out, in a sentence and with what to do; what the server said stands behind it."""
    found = next((str(words) for pattern, words in REFUSALS if re.search(pattern, error)), "")
    return found or (gettext("The mail server did not take it.") if error else "")
