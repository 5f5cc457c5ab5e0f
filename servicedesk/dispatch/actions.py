"""Asking for work, claiming it, finishing it; posting messages and claiming them.

Every effect is claimed by one conditional UPDATE, which works alike on both databases. The attempt number is the
fence: who lost the lease cannot finish a newer attempt."""

import logging
import uuid
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.db.models import F, Q
from django.utils.translation import gettext as _

from servicedesk.dispatch.choices import Channel, JobState, MessageState
from servicedesk.dispatch.models import Gateway, Job, Message, Subscription, Withdrawal
from servicedesk.web import fetching, posting, pushing

log = logging.getLogger(__name__)

LEASE = timedelta(seconds=120)
MESSAGE_LEASE = timedelta(seconds=90)
PAUSES = (timedelta(minutes=1), timedelta(minutes=5), timedelta(minutes=25), timedelta(minutes=125))
LONGEST_PAUSE = PAUSES[-1]
"""A receiver that asks to wait is waited for no longer."""
MOST_TRIES = 5
RING_AGAIN = timedelta(seconds=60)
LONGEST_ENDPOINT = 1000
CONTROL = {chr(n) for n in range(32)} | {"\x7f"}

Bell = Callable[[str, uuid.UUID], None]


class NotPosted(Exception):
    """A message that cannot be sent; the sentence says why."""


class _Bells:
    """How the queue is rung: set by dispatch.jobs, so that actions need not know the queue."""

    ring: Bell | None = None


days_of: list[Callable[[], ZoneInfo]] = [lambda: ZoneInfo(settings.BUSINESS_ZONE)]
"""Who knows the zone in which the business counts its days: the settings, until the room that keeps it says so."""


def count_days_by(zone: Callable[[], ZoneInfo]) -> None:
    """Say who knows the business's zone. Daily work follows it, and jobs run with it switched on."""
    days_of[:] = [*days_of[:1], zone]


def ring_with(bell: Bell) -> None:
    """Say how the queue is rung: bell("job" or "message", id)."""
    _Bells.ring = bell


def _ring(kind: str, key: uuid.UUID) -> None:
    """Ring after the commit; a queue that is away is no error: the sweep finds the row."""

    def later() -> None:
        if _Bells.ring is not None:
            _Bells.ring(kind, key)

    transaction.on_commit(later, robust=True)


@transaction.atomic
def ask(
    *, kind: str, key: str, args: dict[str, Any], at: datetime, not_before: datetime | None = None
) -> Job:
    """Ask for a piece of work, once per key. Returns the row, new or old."""
    made = Job.objects.bulk_create(
        [Job(kind=kind, key=key, args=args, made_at=at, not_before=not_before)], ignore_conflicts=True
    )
    row = Job.objects.get(key=key)
    if row.pk == made[0].pk and (not_before is None or not_before <= at):
        _ring("job", row.pk)
    return row


def claim(*, job_id: uuid.UUID, at: datetime, lease: timedelta = LEASE) -> Job | None:
    """Take a piece of work if it may run now and nobody holds it; None when somebody else has it or it is over."""
    free = Q(state=JobState.QUEUED) | Q(state=JobState.RUNNING, lease_until__lt=at)
    due = Q(not_before__isnull=True) | Q(not_before__lte=at)
    won = Job.objects.filter(free, due, pk=job_id, attempt__lt=MOST_TRIES).update(
        state=JobState.RUNNING, lease_until=at + lease, attempt=F("attempt") + 1, error=""
    )
    return Job.objects.get(pk=job_id) if won else None


def _mine(job: Job) -> Any:
    return Job.objects.filter(pk=job.pk, state=JobState.RUNNING, attempt=job.attempt)


def progress(*, job: Job, done: int, total: int, note: str, at: datetime, lease: timedelta = LEASE) -> bool:
    """Say how far it is and keep the lease; False when the work was taken over by a newer attempt."""
    return bool(
        _mine(job).update(
            progress_done=done, progress_total=total, progress_note=note[:200], lease_until=at + lease
        )
    )


def finish(*, job: Job, at: datetime, result: dict[str, Any] | None = None) -> bool:
    """End the work well. Call it in the transaction of its effect: False means that the fence was lost and the
    effect must not stand."""
    return bool(
        _mine(job).update(
            state=JobState.DONE, lease_until=None, finished_at=at, result=result or {}, error=""
        )
    )


def fail(*, job: Job, at: datetime, error: str, again: bool = True) -> str:
    """End the attempt badly: waits 1, 5, 25, 125 minutes for the next, after five (or when trying again is no use)
    it is failed and shown. Returns the new state."""
    if again and job.attempt < MOST_TRIES:
        pause = PAUSES[min(job.attempt, len(PAUSES)) - 1]
        _mine(job).update(state=JobState.QUEUED, lease_until=None, not_before=at + pause, error=error)
        return str(JobState.QUEUED)
    _mine(job).update(state=JobState.FAILED, lease_until=None, finished_at=at, error=error)
    return str(JobState.FAILED)


@transaction.atomic
def run_again(*, job_id: uuid.UUID, at: datetime) -> bool:
    """A person asks to run failed (or waiting) work again now, from the first try."""
    won = Job.objects.filter(pk=job_id, state__in=[JobState.FAILED, JobState.QUEUED]).update(
        state=JobState.QUEUED, attempt=0, not_before=None, finished_at=None, lease_until=None, made_at=at
    )
    if won:
        _ring("job", job_id)
    return bool(won)


def _plain(text: str, what: str) -> str:
    if CONTROL & set(text):
        raise NotPosted(f"{what} holds a line break or a control sign.")
    return text


def _way(gateway: Gateway | None, subscription: Subscription | None) -> dict[str, Any]:
    """By which line: a browser's, a gateway's, or mail."""
    channel = Channel.MAIL if gateway is None else Channel.GATEWAY
    channel = channel if subscription is None else Channel.PUSH
    return {"channel": channel, "gateway": gateway, "subscription": subscription}


@transaction.atomic
def post(
    *,
    key: str,
    recipient: str,
    subject: str,
    text: str,
    at: datetime,
    html: str = "",
    attachment: str = "",
    attachment_name: str = "",
    job: Job | None = None,
    held: bool = False,
    gateway: Gateway | None = None,
    subscription: Subscription | None = None,
    link: str = "",
    urgent: bool = False,
) -> Message:
    """Post one message to one recipient, once per key: by mail, by a gateway, or to a browser (which shows subject, text and `link`);
    `attachment` is a path under the papers root."""
    new = Message(
        key=key,
        job=job,
        **_way(gateway, subscription),
        link=_plain(link, "The page"),
        urgent=urgent,
        recipient=_plain(recipient, "The address"),
        message_id=f"<{uuid.uuid4()}@tankround.invalid>",
        subject=_plain(subject[:200], "The subject"),
        text=text,
        html=html,
        attachment=attachment,
        attachment_name=_plain(attachment_name, "The file name"),
        state=MessageState.HELD if held else MessageState.QUEUED,
        made_at=at,
    )
    Message.objects.bulk_create([new], ignore_conflicts=True)
    row = Message.objects.get(key=key)
    if row.pk == new.pk and not held:
        _ring("message", row.pk)
    return row


@transaction.atomic
def release(*, message: Message, at: datetime) -> bool:
    """Let a held message go."""
    won = Message.objects.filter(pk=message.pk, state=MessageState.HELD).update(
        state=MessageState.QUEUED, not_before=at
    )
    if won:
        _ring("message", message.pk)
    return bool(won)


def claim_message(*, message_id: uuid.UUID, at: datetime) -> Message | None:
    """Take a message to send it. One whose sender vanished while sending is taken again as unsure: the repeat has
    the same Message-ID and the row says that it may have gone out twice."""
    due = Q(not_before__isnull=True) | Q(not_before__lte=at)
    fresh = Message.objects.filter(due, pk=message_id, state=MessageState.QUEUED)
    lost = Message.objects.filter(
        pk=message_id,
        state__in=[MessageState.SENDING, MessageState.UNSURE],
        lease_until__lt=at,
        tries__lt=MOST_TRIES,
    )
    lease = at + MESSAGE_LEASE
    if fresh.update(state=MessageState.SENDING, lease_until=lease, tries=F("tries") + 1):
        return Message.objects.get(pk=message_id)
    unsure = "The sender vanished while sending: it may have been sent twice."
    if lost.update(state=MessageState.UNSURE, lease_until=lease, tries=F("tries") + 1, error=unsure):
        return Message.objects.get(pk=message_id)
    return None


def _claimed(message: Message) -> Any:
    return Message.objects.filter(pk=message.pk, tries=message.tries, state=message.state)


@transaction.atomic
def message_sent(*, message: Message, at: datetime) -> bool:
    """It went out, and a browser that took it works. An unsure one keeps its remark."""
    error = message.error if message.state == MessageState.UNSURE else ""
    won = _claimed(message).update(lease_until=None, state=MessageState.SENT, sent_at=at, error=error)
    if won and message.subscription_id is not None:
        Subscription.objects.filter(pk=message.subscription_id).update(last_ok_at=at)
    return bool(won)


def message_refused(
    *, message: Message, at: datetime, error: str, again: bool, wait: timedelta | None = None
) -> None:
    """It was not taken: wait and try again (not before the receiver asked for, two hours at most), or give up and show it."""
    if again and message.tries < MOST_TRIES:
        pause = PAUSES[min(message.tries, len(PAUSES)) - 1]
        pause = max(pause, min(wait or pause, LONGEST_PAUSE))
        _claimed(message).update(
            state=MessageState.QUEUED, lease_until=None, not_before=at + pause, error=error
        )
    else:
        _claimed(message).update(state=MessageState.FAILED, lease_until=None, error=error)


class NotSubscribed(Exception):
    """A browser cannot be sent to; the sentence says why."""


@transaction.atomic
def subscribe(*, endpoint: str, p256dh: str, auth: str, at: datetime) -> Subscription:
    """Take a browser's address and keys, as it gave them. One that had this address before is gone. Raises NotSubscribed."""
    try:
        if len(endpoint) > LONGEST_ENDPOINT:
            raise NotSubscribed(_("This browser's address is too long to be kept."))
        fetching.allowed(endpoint, fetching.pushed())
        pushing.point_of(p256dh)
        pushing.bytes_of(auth, pushing.AUTH)
    except (fetching.NotFetched, posting.NotUsable) as wrong:
        raise NotSubscribed(_("This browser cannot be sent to: %(why)s") % {"why": str(wrong)}) from None
    for before in Subscription.objects.select_for_update().filter(endpoint=endpoint, gone_at__isnull=True):
        end_subscription(subscription_id=before.pk, at=at)
    return Subscription.objects.create(endpoint=endpoint, p256dh=p256dh, auth=auth, made_at=at)


def end_subscription(*, subscription_id: uuid.UUID, at: datetime) -> bool:
    """A browser takes no more: its address and keys are forgotten. False where that was so before."""
    rows = Subscription.objects.filter(pk=subscription_id, gone_at__isnull=True)
    return bool(rows.update(gone_at=at, endpoint="", p256dh="", auth=""))


@transaction.atomic
def message_gone(*, message: Message, at: datetime, error: str) -> None:
    """The browser that it was for takes no more (RFC 8030, 7.3: 404; 410 likewise): neither this message nor another is sent there."""
    assert message.subscription_id is not None  # only a browser takes no more
    message_refused(message=message, at=at, error=error, again=False)
    end_subscription(subscription_id=message.subscription_id, at=at)


@transaction.atomic
def send_again(*, message_id: uuid.UUID, at: datetime) -> bool:
    """A person asks to send a failed message again."""
    won = Message.objects.filter(pk=message_id, state=MessageState.FAILED).update(
        state=MessageState.QUEUED, tries=0, not_before=None
    )
    if won:
        _ring("message", message_id)
    return bool(won)


def sweep(*, at: datetime) -> tuple[list[uuid.UUID], list[uuid.UUID]]:
    """What must be rung again: work and messages that wait or whose holder vanished. Work out of tries is failed."""
    gone = Job.objects.filter(state=JobState.RUNNING, lease_until__lt=at, attempt__gte=MOST_TRIES)
    gone.update(
        state=JobState.FAILED,
        lease_until=None,
        finished_at=at,
        error="It was begun five times and never ended.",
    )
    ahead = Q(rung_at__gt=at + RING_AGAIN)  # the clock was set back since
    quiet = Q(rung_at__isnull=True) | Q(rung_at__lt=at - RING_AGAIN) | ahead
    due = Q(not_before__isnull=True) | Q(not_before__lte=at)
    waiting = Q(state=JobState.QUEUED) & due | Q(state=JobState.RUNNING, lease_until__lt=at)
    jobs = list(
        Job.objects.filter(waiting, quiet).order_by("made_at", "pk").values_list("pk", flat=True)[:500]
    )
    Job.objects.filter(pk__in=jobs).update(rung_at=at)
    lost = Q(state__in=[MessageState.SENDING, MessageState.UNSURE], lease_until__lt=at)
    open_messages = Message.objects.filter(Q(state=MessageState.QUEUED) & due | lost)
    messages = list(open_messages.order_by("made_at", "pk").values_list("pk", flat=True)[:500])
    return jobs, messages


KEPT_DAYS = timedelta(days=7)


def tidy(*, kinds: Iterable[str], at: datetime) -> int:
    """Remove the rows of periodic work of these kinds that went well more than a week ago; how many. What failed, and what letters came
    of, stays."""
    rows = Job.objects.filter(
        kind__in=list(kinds), state=JobState.DONE, finished_at__lt=at - KEPT_DAYS, messages__isnull=True
    )
    return rows.delete()[0]


@transaction.atomic
def withdraw(
    *, withdrawn: uuid.UUID, why: str, at: datetime, origin: uuid.UUID, received_at: datetime
) -> bool:
    """Take back what was made from one piece of news; False where that was done before."""
    _row, made = Withdrawal.objects.get_or_create(
        withdrawn=withdrawn, defaults={"why": why, "at": at, "origin": origin, "received_at": received_at}
    )
    return made
