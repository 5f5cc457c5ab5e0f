"""Looking at the ledger: which work is open, which failed."""

from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from servicedesk.dispatch.choices import JobState, MessageState
from servicedesk.dispatch.models import Job, Message, Withdrawal

Rows = TypeVar("Rows", bound=QuerySet[Any])

IN_TROUBLE = [MessageState.FAILED, MessageState.UNSURE]


def job(job_id: UUID) -> Job | None:
    return Job.objects.filter(pk=job_id).first()


def failed_jobs() -> list[Job]:
    """Work that was given up and waits for a person, newest first."""
    return list(Job.objects.filter(state=JobState.FAILED).order_by("-finished_at", "pk")[:50])


def messages_in_trouble() -> list[Message]:
    """Messages that failed or may have gone out twice, newest first."""
    return list(Message.objects.filter(state__in=IN_TROUBLE).order_by("-made_at", "pk")[:50])


def trouble() -> dict[str, int]:
    """How much work was given up, beside reports (they tell it themselves), and how many letters are in trouble."""
    work = Job.objects.filter(state=JobState.FAILED).exclude(kind="report").count()
    return {"work": work, "mail": Message.objects.filter(state__in=IN_TROUBLE).count()}


def oldest_waiting(at: datetime) -> datetime | None:
    """When the oldest piece of work that could run was asked for."""
    row = Job.objects.filter(state=JobState.QUEUED).exclude(not_before__gt=at).order_by("made_at").first()
    return row.made_at if row else None


def last_done(kind: str) -> datetime | None:
    """When this kind of work was last done to its end; None where it never was."""
    rows = Job.objects.filter(kind=kind, state=JobState.DONE, finished_at__isnull=False)
    return rows.order_by("-finished_at").values_list("finished_at", flat=True).first()


def withdrawn(origin: str) -> Exists:
    """Whether the news named by that column (a path to it) was taken back."""
    return Exists(Withdrawal.objects.filter(withdrawn=OuterRef(origin)))


def standing(rows: Rows, origin: str = "origin") -> Rows:
    """Only the facts whose news was not taken back."""
    found: Rows = rows.filter(~withdrawn(origin))
    return found
