"""The bell's end: Celery's tasks carry only an id, the ledger says what to do.

A room registers its kinds of work in its own jobs.py:

    @register("report")
    def make(job: Job) -> dict | None: …       # runs with the claimed row; raises GiveUp when trying again is no use
    @daily("overdue", at=time(6, 0))           # one row per local day of the business, however many schedulers tick
"""

import logging
import smtplib
from collections.abc import Callable
from datetime import datetime, time, timedelta
from email.utils import formataddr
from pathlib import Path
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from celery.signals import worker_ready
from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.utils import timezone

from servicedesk.celery import app
from servicedesk.dispatch import actions
from servicedesk.dispatch.choices import Channel
from servicedesk.dispatch.models import Job, Message
from servicedesk.web import posting, pushing
from servicedesk.web.connections import fresh_connection
from servicedesk.web.faults import fault_point
from servicedesk.web.fetching import NotFetched, hand_over, pushed

log = logging.getLogger(__name__)

Work = Callable[[Job], dict[str, Any] | None]
KINDS: dict[str, Work] = {}
QUEUES: dict[str, str] = {}
DAILY: dict[str, time] = {}
EVERY: dict[str, int] = {}
TICK_SECONDS = 30
CATCH_UP = timedelta(hours=20)


class GiveUp(Exception):
    """The work cannot succeed by being tried again; the sentence says why."""


def register(kind: str, *, queue: str = "") -> Callable[[Work], Work]:
    """Say which function does this kind of work. One kind, one function. What takes long has a queue of its own, with workers of its own, so that
    alarms and mail never wait for it."""

    def keep(work: Work) -> Work:
        if queue:
            QUEUES[kind] = queue
        if KINDS.setdefault(kind, work) is not work:
            raise ValueError(f"Two functions do “{kind}”.")
        return work

    return keep


def daily(kind: str, at: time) -> None:
    """Ask for this kind of work once a day at a local time. After a pause only the latest day is caught up."""
    DAILY[kind] = at


def every(kind: str, minutes: int) -> None:
    """Ask for this kind of work every so many minutes (slots counted in UTC from midnight). Pauses are not caught up."""
    EVERY[kind] = minutes


def _bell(kind: str, key: UUID) -> None:
    if kind == "job":
        work = Job.objects.filter(pk=key).values_list("kind", flat=True).first()
        run.apply_async(args=[str(key)], retry=False, queue=QUEUES.get(work or ""))
    else:
        deliver.apply_async(args=[str(key)], retry=False)


actions.ring_with(_bell)


@app.task(name="dispatch.run", ignore_result=True)
def run(job_id: str) -> None:
    """Claim a piece of work and do it."""
    fresh_connection()
    job = actions.claim(job_id=UUID(job_id), at=timezone.now())
    if job is None:
        return
    work = KINDS.get(job.kind)
    if work is None:
        actions.fail(job=job, at=timezone.now(), error=f"Nobody does “{job.kind}”.", again=False)
        return
    try:
        fault_point("before_work")
        with timezone.override(actions.days_of[-1]()):
            result = work(job)
    except GiveUp as reason:
        actions.fail(job=job, at=timezone.now(), error=str(reason), again=False)
    except Exception as error:  # noqa: BLE001  whatever it was is kept on the row and shown
        log.warning("job %s failed: %s", job.kind, type(error).__name__, exc_info=True)
        actions.fail(job=job, at=timezone.now(), error=f"{type(error).__name__}: {error}"[:2000])
    else:
        actions.finish(job=job, at=timezone.now(), result=result)
        fault_point("after_commit")
    finally:
        fresh_connection()


def letter_of(message: Message) -> EmailMultiAlternatives:
    """The mail of a message row: one recipient, the row's Message-ID, the PDF from the papers root."""
    letter = EmailMultiAlternatives(
        subject=message.subject,
        body=message.text,
        from_email=formataddr((settings.MAIL_NAME, settings.DEFAULT_FROM_EMAIL)),
        to=[message.recipient],
        headers={"Message-ID": message.message_id},
    )
    if message.html:
        letter.attach_alternative(message.html, "text/html")
    if message.attachment:
        path = Path(settings.PAPERS_ROOT) / message.attachment
        letter.attach(message.attachment_name or path.name, path.read_bytes(), "application/pdf")
    return letter


def hand_to_gateway(message: Message, *, at: datetime) -> None:
    """Send a message to its gateway, signed where it has a key. Raises NotFetched."""
    row = message.gateway
    assert row is not None  # by the table's own law
    words = {"to": message.recipient, "subject": message.subject, "text": message.text, "id": str(message.pk)}
    body = posting.filled(row.template, row.body, words)
    marks = posting.signed(
        key=posting.key_of(row.signing_key), message=str(message.pk), seconds=int(at.timestamp()), body=body
    )
    hand_over(row.url, body, headers={"Content-Type": row.body, **posting.header_of(row.header), **marks})


def hand_to_browser(message: Message, *, at: datetime) -> None:
    """Send a message to a browser by its push service, sealed and signed. Raises NotFetched or NotUsable."""
    row = message.subscription
    assert row is not None  # by the table's own law
    if row.gone_at is not None:
        raise NotFetched("This browser is turned off.", status=GONE)
    left = pushing.TTL[message.urgent] - (at - message.made_at)
    if left <= timedelta(0):
        raise NotFetched("It came too late to be shown.")
    plain = pushing.words_of(
        title=message.subject, line=message.text, link=message.link, message=message.pk, urgent=message.urgent
    )
    body = pushing.sealed(plain, p256dh=row.p256dh, auth=row.auth)
    key = pushing.key_of(settings.PUSH_KEY)
    word = pushing.signed_word(row.endpoint, key=key, contact=settings.PUSH_CONTACT, at=at)
    marks = pushing.headers_of(message=message.pk, urgent=message.urgent, left=left)
    hand_over(row.endpoint, body, headers={**marks, "Authorization": word}, where=pushed())


def send_letter(message: Message, *, at: datetime) -> None:
    letter_of(message).send()


WAYS: dict[str, Callable[..., None]] = {
    Channel.MAIL: send_letter,
    Channel.GATEWAY: hand_to_gateway,
    Channel.PUSH: hand_to_browser,
}
NOT_FOUND, GONE = 404, 410


@app.task(name="dispatch.deliver", ignore_result=True)
def deliver(message_id: str) -> None:
    """Claim a message and send it."""
    fresh_connection()
    message = actions.claim_message(message_id=UUID(message_id), at=timezone.now())
    if message is None:
        return
    try:
        WAYS[message.channel](message, at=timezone.now())
    except NotFetched as answer:
        _not_taken(message, answer, at=timezone.now())
    except posting.NotUsable as wrong:
        _refused(message, f"{_head(message)} -: {wrong}", False)
    except smtplib.SMTPResponseException as answer:
        again = 400 <= answer.smtp_code < 500
        _refused(message, f"{answer.smtp_code} {answer.smtp_error!r}", again)
    except smtplib.SMTPRecipientsRefused as answer:
        codes = [code for code, _text in answer.recipients.values()]
        _refused(message, str(answer), all(400 <= code < 500 for code in codes))
    except (OSError, smtplib.SMTPException, ValueError) as error:
        _refused(message, f"{type(error).__name__}: {error}", True)
    else:
        fault_point("after_250")
        actions.message_sent(message=message, at=timezone.now())
    finally:
        fresh_connection()


def _head(message: Message) -> str:
    """By which line it was refused: the first word of what is kept."""
    return "PUSH" if message.channel == Channel.PUSH else "HTTP"


def _not_taken(message: Message, answer: NotFetched, *, at: datetime) -> None:
    error = f"{_head(message)} {answer.status or '-'}: {answer}"
    if message.channel == Channel.PUSH and answer.status in (NOT_FOUND, GONE):
        actions.message_gone(message=message, at=at, error=error)
        return
    wait = pushing.wait_of(answer.headers, at=at)
    actions.message_refused(message=message, at=at, error=error[:1000], again=answer.passing, wait=wait)


def _refused(message: Message, error: str, again: bool) -> None:
    actions.message_refused(message=message, at=timezone.now(), error=error[:1000], again=again)


@register("tidy")
def tidy(job: Job) -> dict[str, Any]:
    """What is asked for every few minutes and went well is not kept for ever."""
    return {"removed": actions.tidy(kinds=EVERY, at=timezone.now())}


daily("tidy", at=time(3, 15))


def slots(*, at: datetime, zone: ZoneInfo) -> list[tuple[str, str]]:
    """Kind and key of all periodic work that should have been asked for by now: the latest slot of each."""
    local = at.astimezone(zone)
    found = []
    for kind, when in sorted(DAILY.items()):
        day = local.date() if local.time().replace(tzinfo=None) >= when else local.date() - timedelta(days=1)
        due = datetime.combine(day, when, tzinfo=zone)
        if at - due <= CATCH_UP:
            found.append((kind, f"{kind}:{day.isoformat()}"))
    for kind, minutes in sorted(EVERY.items()):
        slot = int(at.timestamp()) // (60 * minutes)
        found.append((kind, f"{kind}:{slot}"))
    return found


def tick_once(*, at: datetime) -> None:
    """Ask for what the calendar asks for, then ring for all that waits."""
    for kind, key in slots(at=at, zone=actions.days_of[-1]()):
        actions.ask(kind=kind, key=key, args={"slot": key.partition(":")[2]}, at=at)
    jobs, messages = actions.sweep(at=at)
    for job_id in jobs:
        _bell("job", job_id)
    for message_id in messages:
        _bell("message", message_id)


@app.task(name="dispatch.tick", ignore_result=True)
def tick() -> None:
    """The scheduler's beat."""
    fresh_connection()
    tick_once(at=timezone.now())
    fresh_connection()


@worker_ready.connect
def _at_once(**_given: Any) -> None:
    """A worker that comes up asks at once for what is due, instead of waiting for the first beat."""
    tick.apply_async(retry=False, expires=TICK_SECONDS)


app.conf.beat_schedule = {
    "tick": {"task": "dispatch.tick", "schedule": TICK_SECONDS, "options": {"expires": TICK_SECONDS}}
}
