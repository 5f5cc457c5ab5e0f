"""Behind the scenes: work that was given up, mail that did not go out or may have gone twice, and doing them again."""

from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as later
from django.views.decorators.http import require_GET, require_POST

from servicedesk.desk.views.office import staff_of
from servicedesk.dispatch import actions, queries
from servicedesk.dispatch.choices import MessageState
from servicedesk.dispatch.models import Job, Message

LATE = timedelta(minutes=10)
WORDS: dict[str, str | Promise] = {
    "report": later("A client's report"),
    "overdue": later("The morning's list of overdue work"),
    "reorder": later("The daily mail of what to order"),
    "sweep": later("Looking over all tanks for what needs somebody"),
    "make_tasks": later("Making the tasks of the calendar"),
    "owe_visits": later("Working out which visits are owed"),
}


@dataclass(frozen=True)
class Trouble:
    """Something that did not work: what, why, and whether it can be done again from here."""

    key: UUID
    subject: str
    why: str
    at: object
    again: bool
    raw: str = ""
    """What the server itself said."""


def _work(job: Job) -> Trouble:
    subject = str(WORDS.get(job.kind, job.kind.replace("_", " ")))
    return Trouble(job.pk, subject, job.error, job.finished_at, True)


def _mail(message: Message) -> Trouble:
    twice = message.state == MessageState.UNSURE
    why = _("It may have been sent twice: the connection broke after the letter was handed over.")
    subject = _("“%(subject)s” to %(to)s") % {
        "subject": message.subject,
        "to": message.recipient or message.gateway,
    }
    words = why if twice else queries.refusal_words(message.error)
    raw = "" if twice else message.error
    return Trouble(message.pk, subject, words, message.made_at, not twice, raw)


@login_required
@require_GET
def ledger(request: HttpRequest) -> HttpResponse:
    staff_of(request)
    now = timezone.now()
    waiting = queries.oldest_waiting(now)
    context = {
        "work": [_work(job) for job in queries.failed_jobs()],
        "mail": [_mail(message) for message in queries.messages_in_trouble()],
        "stuck_since": waiting if waiting is not None and now - waiting > LATE else None,
    }
    return render(request, "desk/ledger.html", context)


def _said(request: HttpRequest, done: bool) -> HttpResponse:
    if done:
        messages.success(request, _("It is tried again now."))
    else:
        messages.error(request, _("It does not wait to be tried again: somebody was quicker."))
    return redirect("desk:ledger")


@login_required
@require_POST
def work_again(request: HttpRequest, key: UUID) -> HttpResponse:
    staff_of(request)
    return _said(request, actions.run_again(job_id=key, at=timezone.now()))


@login_required
@require_POST
def mail_again(request: HttpRequest, key: UUID) -> HttpResponse:
    staff_of(request)
    return _said(request, actions.send_again(message_id=key, at=timezone.now()))
