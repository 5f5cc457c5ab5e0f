"""The bell's end: what becomes of work that ends well, badly or not at all; slots; letters."""

import smtplib
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.utils import timezone

from servicedesk.dispatch import actions, jobs
from servicedesk.dispatch.models import Job, Message
from tests.factories.people import make_business

BELL = jobs._bell

pytestmark = pytest.mark.django_db

AT = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture(autouse=True)
def _own_registry(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "KINDS", {})
    monkeypatch.setattr(jobs, "DAILY", {})
    monkeypatch.setattr(jobs, "EVERY", {})
    monkeypatch.setattr(jobs, "_bell", lambda kind, key: None)


def ran(work: Callable[[Job], dict[str, Any] | None] | None) -> Job:
    if work is not None:
        jobs.register("test")(work)
    job = actions.ask(kind="test", key="one", args={}, at=AT)
    jobs.run(str(job.pk))
    job.refresh_from_db()
    return job


def test_one_kind_has_one_function() -> None:
    jobs.register("test")(lambda job: None)
    with pytest.raises(ValueError, match="Two functions"):
        jobs.register("test")(lambda job: None)


def test_work_nobody_does_is_failed_with_its_reason() -> None:
    job = ran(None)
    assert (job.state, job.attempt, job.error) == ("failed", 1, "Nobody does “test”.")


def test_work_that_raises_waits_for_its_next_try_and_says_why() -> None:
    def broken(job: Job) -> None:
        raise ZeroDivisionError("by nought")

    job = ran(broken)
    assert (job.state, job.error) == ("queued", "ZeroDivisionError: by nought")


def test_work_that_gives_up_is_failed_at_once() -> None:
    def gone(job: Job) -> None:
        raise jobs.GiveUp("The visit is gone.")

    job = ran(gone)
    assert (job.state, job.attempt, job.error) == ("failed", 1, "The visit is gone.")


def test_work_that_ends_well_keeps_its_result_and_is_not_done_twice() -> None:
    done: list[int] = []
    job = ran(lambda job: {"times": len(done.append(1) or done)})  # type: ignore[func-returns-value]
    jobs.run(str(job.pk))
    assert (job.state, job.result, done) == ("done", {"times": 1}, [1])


def sent(monkeypatch: pytest.MonkeyPatch, error: Exception | None = None) -> Message:
    def send(self: EmailBackend, letters: list[Any]) -> int:
        if error:
            raise error
        mail.outbox.extend(letters)
        return len(letters)

    monkeypatch.setattr(EmailBackend, "send_messages", send)
    row = actions.post(
        key="letter",
        recipient="ada@example.org",
        subject="Your tank",
        text="Well.",
        html="<p>Well.</p>",
        at=AT,
    )
    jobs.deliver(str(row.pk))
    row.refresh_from_db()
    return row


def test_a_letter_goes_to_one_recipient_under_the_rows_id(monkeypatch: pytest.MonkeyPatch) -> None:
    row = sent(monkeypatch)
    assert (row.state, row.tries, row.error) == ("sent", 1, "")
    assert [letter.to for letter in mail.outbox] == [["ada@example.org"]]
    assert mail.outbox[0].message()["Message-ID"] == row.message_id
    jobs.deliver(str(row.pk))
    assert len(mail.outbox) == 1


@pytest.mark.parametrize(
    ("error", "state"),
    [
        (smtplib.SMTPDataError(450, b"busy"), "queued"),
        (smtplib.SMTPDataError(550, b"no such person"), "failed"),
        (smtplib.SMTPSenderRefused(421, b"closing", "a@example.org"), "queued"),
        (smtplib.SMTPRecipientsRefused({"ada@example.org": (550, b"unknown")}), "failed"),
        (smtplib.SMTPRecipientsRefused({"ada@example.org": (451, b"later")}), "queued"),
        (smtplib.SMTPServerDisconnected("gone"), "queued"),
        (TimeoutError("no answer"), "queued"),
    ],
)
def test_what_may_pass_is_tried_again_and_what_may_not_is_failed(
    monkeypatch: pytest.MonkeyPatch, error: Exception, state: str
) -> None:
    row = sent(monkeypatch, error)
    assert row.state == state
    assert row.error
    assert mail.outbox == []


def test_a_letter_whose_paper_is_gone_is_refused_not_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    row = actions.post(
        key="p", recipient="a@example.org", subject="s", text="t", at=AT, attachment="reports/none.pdf"
    )
    jobs.deliver(str(row.pk))
    row.refresh_from_db()
    assert (row.state, "FileNotFoundError" in row.error) == ("queued", True)


def test_the_day_of_a_slot_is_the_business_day_across_the_change_of_clocks() -> None:
    jobs.daily("list", time(6, 0))
    zone = ZoneInfo("Europe/London")

    def key(*when: int) -> list[tuple[str, str]]:
        return jobs.slots(at=datetime(*when, tzinfo=UTC), zone=zone)  # type: ignore[misc, arg-type]

    assert key(2026, 10, 24, 0, 59) == [("list", "list:2026-10-23")]
    assert key(2026, 10, 24, 4, 59) == []
    assert key(2026, 10, 24, 5, 0) == [("list", "list:2026-10-24")]
    assert key(2026, 10, 25, 5, 59) == []
    assert key(2026, 10, 25, 6, 0) == [("list", "list:2026-10-25")]


def test_a_thousand_ticks_with_the_clock_put_to_and_fro_make_one_row_a_day() -> None:
    jobs.daily("list", time(6, 0))
    for n in range(1000):
        back = timedelta(hours=(n % 3) - 1)
        jobs.tick_once(at=AT + n * HOUR / 2 + back)
    days = [key.partition(":")[2] for key in Job.objects.order_by("key").values_list("key", flat=True)]
    first = datetime(2026, 11, 25).date()
    assert days == [(first + timedelta(days=n)).isoformat() for n in range(21)]


def test_after_a_pause_only_the_latest_day_is_caught_up() -> None:
    jobs.daily("list", time(6, 0))
    jobs.tick_once(at=AT)
    jobs.tick_once(at=AT + 9 * 24 * HOUR)
    assert set(Job.objects.values_list("key", flat=True)) == {"list:2026-11-25", "list:2026-12-04"}


def test_daily_work_follows_the_zone_of_the_business_and_runs_with_it_switched_on() -> None:
    make_business(zone="Pacific/Auckland")
    seen: list[str] = []
    jobs.register("morning")(lambda job: seen.append(timezone.get_current_timezone_name()))
    jobs.daily("morning", at=time(6, 0))

    jobs.tick_once(at=datetime(2026, 11, 24, 17, 30, tzinfo=UTC))  # 06:30 on the 25th in Auckland

    row = Job.objects.get(kind="morning")
    jobs.run(str(row.pk))
    assert row.key == "morning:2026-11-25"
    assert seen == ["Pacific/Auckland"]


def test_periodic_work_that_went_well_is_tidied_away_after_a_week_and_nothing_else():
    now = timezone.now()
    old, young = now - timedelta(days=8), now - timedelta(days=6)
    rows = [
        ("counted", "done", old),
        ("counted", "done", young),
        ("counted", "failed", old),
        ("kept", "done", old),
    ]
    for number, (kind, state, at) in enumerate(rows):
        Job.objects.create(kind=kind, key=f"{kind}:{number}", state=state, made_at=at, finished_at=at)

    assert actions.tidy(kinds=["counted"], at=now) == 1
    assert sorted(Job.objects.values_list("kind", "state")) == [
        ("counted", "done"),
        ("counted", "failed"),
        ("kept", "done"),
    ]
    assert jobs.tidy(None) == {"removed": 0}


@pytest.mark.django_db
def test_what_takes_long_rings_a_queue_of_its_own_and_nothing_else_does(monkeypatch):
    rung = []
    for task in (jobs.run, jobs.deliver):
        monkeypatch.setattr(task, "apply_async", lambda **given: rung.append(given.get("queue")))
    monkeypatch.setattr(jobs, "QUEUES", {})
    for kind, queue in (("long", "plans"), ("short", "")):
        jobs.register(kind, queue=queue)(lambda job: None)
    rows = [Job.objects.create(kind=kind, key=kind, made_at=timezone.now()) for kind in ("long", "short")]

    for row in rows:
        BELL("job", row.pk)
    BELL("job", uuid.uuid4())
    BELL("message", uuid.uuid4())

    assert rung == ["plans", None, None, None]
