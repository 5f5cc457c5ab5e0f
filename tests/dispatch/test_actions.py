"""The ledger: asked once, claimed by one, fenced by the attempt, given up after five."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.db import transaction

from servicedesk.dispatch import actions
from servicedesk.dispatch.choices import JobState, MessageState
from servicedesk.dispatch.models import Job, Message

pytestmark = pytest.mark.django_db

AT = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def asked(key: str = "one", not_before: datetime | None = None) -> Job:
    return actions.ask(kind="test", key=key, args={"n": 1}, at=AT, not_before=not_before)


def posted(key: str = "letter", *, held: bool = False, subject: str = "Your tank") -> Message:
    return actions.post(
        key=key, recipient="ada@example.org", subject=subject, text="It is well.", at=AT, held=held
    )


def claimed(job: Job, at: datetime = AT) -> Job:
    found = actions.claim(job_id=job.pk, at=at)
    assert found is not None
    return found


def taken(message: Message, at: datetime = AT) -> Message:
    found = actions.claim_message(message_id=message.pk, at=at)
    assert found is not None
    return found


def test_work_asked_for_twice_is_one_row() -> None:
    assert asked() == asked()
    assert Job.objects.count() == 1


def test_work_is_claimed_by_one_only() -> None:
    job = asked()
    assert claimed(job).attempt == 1
    assert actions.claim(job_id=job.pk, at=AT) is None


def test_work_that_must_wait_is_not_claimed_before_its_time() -> None:
    job = asked(not_before=AT + MINUTE)
    assert actions.claim(job_id=job.pk, at=AT) is None
    assert claimed(job, AT + MINUTE).state == JobState.RUNNING


def test_unknown_work_is_not_claimed() -> None:
    assert actions.claim(job_id=uuid.uuid4(), at=AT) is None


def test_who_lost_the_lease_can_neither_finish_nor_fail_nor_report_progress() -> None:
    job = asked()
    slow = claimed(job)
    quick = claimed(job, AT + actions.LEASE + MINUTE)
    assert quick.attempt == 2
    assert not actions.finish(job=slow, at=AT, result={"by": "slow"})
    assert not actions.progress(job=slow, done=1, total=2, note="", at=AT)
    actions.fail(job=slow, at=AT, error="late")
    job.refresh_from_db()
    assert (job.state, job.error, job.result) == ("running", "", {})
    assert actions.finish(job=quick, at=AT, result={"by": "quick"})
    job.refresh_from_db()
    assert (job.state, job.result) == ("done", {"by": "quick"})


def test_progress_keeps_the_lease() -> None:
    job = asked()
    mine = claimed(job)
    assert actions.progress(job=mine, done=1, total=4, note="Reading", at=AT + 2 * MINUTE - MINUTE / 60)
    assert actions.claim(job_id=job.pk, at=AT + 3 * MINUTE) is None


def test_failed_work_waits_longer_each_time_and_is_given_up_after_five() -> None:
    job, now, pauses = asked(), AT, []
    for _try in range(5):
        state = actions.fail(job=claimed(job, now), at=now, error="no paper")
        job.refresh_from_db()
        if state == JobState.QUEUED:
            assert job.not_before is not None
            pauses.append((job.not_before - now) / MINUTE)
            now = job.not_before
    assert pauses == [1, 5, 25, 125]
    assert (job.state, job.attempt, job.error, job.finished_at) == ("failed", 5, "no paper", now)
    assert actions.claim(job_id=job.pk, at=now + 1000 * MINUTE) is None


def test_work_that_cannot_succeed_is_failed_at_once() -> None:
    job = asked()
    assert actions.fail(job=claimed(job), at=AT, error="gone", again=False) == JobState.FAILED


def test_done_work_is_not_run_again_but_failed_work_is_from_the_first_try() -> None:
    job, other = asked(), asked("two")
    actions.finish(job=claimed(job), at=AT)
    actions.fail(job=claimed(other), at=AT, error="gone", again=False)
    assert not actions.run_again(job_id=job.pk, at=AT)
    assert actions.run_again(job_id=other.pk, at=AT)
    other.refresh_from_db()
    assert (other.state, other.attempt, other.finished_at) == ("queued", 0, None)


def test_the_sweep_rings_what_waits_and_what_lost_its_holder_and_fails_what_is_out_of_tries() -> None:
    waits, held, out, later = asked("waits"), asked("held"), asked("out"), asked("later", AT + 90 * MINUTE)
    claimed(held)
    Job.objects.filter(pk=out.pk).update(state="running", attempt=5, lease_until=AT)
    jobs, _messages = actions.sweep(at=AT + MINUTE)
    assert jobs == [waits.pk]
    out.refresh_from_db()
    assert (out.state, out.error) == ("failed", "It was begun five times and never ended.")
    assert actions.sweep(at=AT + MINUTE)[0] == []
    assert set(actions.sweep(at=AT + 10 * MINUTE)[0]) == {waits.pk, held.pk}
    assert later.pk in actions.sweep(at=AT + 100 * MINUTE)[0]


@pytest.mark.django_db(transaction=True)
def test_the_bell_rings_after_the_commit_only_and_a_broken_bell_leaves_the_row(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rung: list[tuple[str, uuid.UUID]] = []

    def bell(kind: str, key: uuid.UUID) -> None:
        rung.append((kind, key))
        raise ConnectionError("the queue is away")

    monkeypatch.setattr(actions._Bells, "ring", bell)
    with transaction.atomic():
        job = asked()
        assert rung == []
    assert rung == [("job", job.pk)]
    assert Job.objects.filter(pk=job.pk, state="queued").exists()
    with pytest.raises(KeyError), transaction.atomic():
        asked("undone")
        raise KeyError
    assert len(rung) == 1
    assert not Job.objects.filter(key="undone").exists()


@pytest.mark.parametrize("sign", ["\n", "\r", "\r\nBcc: all@example.org", "\x00", "\x7f"])
@pytest.mark.parametrize("where", ["recipient", "subject", "attachment_name"])
def test_a_line_break_in_a_header_is_refused(where: str, sign: str) -> None:
    given = {"recipient": "ada@example.org", "subject": "Your tank", "attachment_name": "report.pdf"}
    with pytest.raises(actions.NotPosted):
        actions.post(key="x", text="", at=AT, **{**given, where: f"{given[where]}{sign}"})
    assert not Message.objects.exists()


def test_a_message_posted_twice_is_one_row_with_one_message_id() -> None:
    assert posted().message_id == posted().message_id
    assert Message.objects.count() == 1


def test_a_held_message_goes_only_after_its_release() -> None:
    message = posted(held=True)
    assert actions.claim_message(message_id=message.pk, at=AT) is None
    assert actions.release(message=message, at=AT)
    assert not actions.release(message=message, at=AT)
    assert taken(message).state == MessageState.SENDING


def test_a_message_whose_sender_vanished_goes_again_under_the_same_id_and_says_so() -> None:
    message = posted()
    first = taken(message)
    assert actions.claim_message(message_id=message.pk, at=AT) is None
    second = taken(message, AT + actions.MESSAGE_LEASE + MINUTE)
    assert (second.state, second.message_id) == ("unsure", first.message_id)
    assert not actions.message_sent(message=first, at=AT)
    assert actions.message_sent(message=second, at=AT)
    message.refresh_from_db()
    assert message.state == MessageState.SENT
    assert "may have been sent twice" in message.error


def test_a_refused_message_waits_and_is_given_up_after_five() -> None:
    message, now = posted(), AT
    for _try in range(5):
        actions.message_refused(message=taken(message, now), at=now, error="450 busy", again=True)
        message.refresh_from_db()
        now = message.not_before or now
    assert (message.state, message.tries, message.error) == ("failed", 5, "450 busy")
    assert actions.send_again(message_id=message.pk, at=now)
    assert taken(message, now).tries == 1


def test_a_message_that_did_not_fail_is_not_sent_again() -> None:
    message = posted()
    assert not actions.send_again(message_id=message.pk, at=AT)
    assert not actions.send_again(message_id=uuid.uuid4(), at=AT)


@pytest.mark.django_db(transaction=True)
def test_without_a_bell_the_row_waits_for_the_sweep(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(actions._Bells, "ring", None)
    job = asked()
    assert actions.sweep(at=AT)[0] == [job.pk]


def test_work_that_somebody_else_does_is_not_asked_to_run_again() -> None:
    job = asked()
    claimed(job)
    assert not actions.run_again(job_id=job.pk, at=AT)


def test_a_lost_message_is_given_up_after_five_tries_and_not_taken_a_sixth_time() -> None:
    message, now = posted(), AT
    for _try in range(5):
        taken(message, now)
        now += actions.MESSAGE_LEASE + MINUTE
    assert actions.claim_message(message_id=message.pk, at=now) is None


def test_after_the_clock_was_set_back_an_hour_what_waits_is_rung_again_at_once() -> None:
    job = asked()
    assert actions.sweep(at=AT + 60 * MINUTE)[0] == [job.pk]
    assert actions.sweep(at=AT)[0] == [job.pk]
    assert actions.sweep(at=AT)[0] == []
