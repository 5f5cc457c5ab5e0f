"""The demo's reports, asked for and drawn by the worker when the demo runs, and what clients answered to them.

Asked for are the reports of today's closed visits, of the last regular one to each site before, of one more for the
clients whose sign-in is printed, of the visit that tells of a death, and of those whose recommendation a client
answered. Where an animal died, no earlier visit is told now, as if that had been known then. Visits before those were
closed before the demo began: they have none. Each row is as old as its visit; the worker fills it in."""

from collections.abc import Iterable
from datetime import datetime, time, timedelta
from uuid import UUID

from clients.models import Contact
from reports.actions import next_number
from reports.models import Answer, Report
from servicedesk.desk.actions.demo.calls import Call
from servicedesk.desk.actions.demo.stories import Reply
from servicedesk.desk.actions.demo.world import World
from servicedesk.dispatch.models import Job
from servicedesk.visits.models import Visit

EVENING = time(19, 20)


def _wanted(w: World, every: Iterable[Call], replies: list[Reply]) -> dict[UUID, Call]:
    done = [c for c in every if c.done]
    mourning = {c.plan.site_id for c in done if c.due.pk in w.tell}
    before = [c for c in done if c.regular and c.day < w.today and c.plan.site_id not in mourning]
    last = {(c.plan.site_id, c.due.isolated): c for c in before}
    earlier = {c.plan.site_id: c for c in before if c not in last.values() and c.plan.site in w.shown}
    now = [c for c in done if c.day == w.today or c.due.pk in w.tell]
    answered = [reply.call for reply in replies]
    return {c.due.pk: c for c in [*earlier.values(), *last.values(), *now, *answered]}


def ask(w: World, every: Iterable[Call], replies: list[Reply]) -> None:
    """Ask for the reports, oldest first, and keep the answers."""
    wanted = _wanted(w, every, replies)
    calls = sorted(wanted.values(), key=lambda call: (call.moment(1), call.due.key))
    Visit.objects.filter(pk__in=wanted).update(versions=1)
    jobs = [_job(w, call, len(calls) - number) for number, call in enumerate(calls)]
    Job.objects.bulk_create(jobs)
    rows = {c.due.pk: _row(w, c, job) for c, job in zip(calls, jobs, strict=True)}
    Report.objects.bulk_create(rows.values())
    Answer.objects.bulk_create(_answer(w, reply, rows[reply.call.due.pk]) for reply in replies)


def _job(w: World, call: Call, behind: int) -> Job:
    """Asked for now, in the order of the visits: work that waits since weeks would look like a worker that is down."""
    args = {"visit": str(call.due.pk), "version": 1}
    at = w.now - timedelta(milliseconds=behind)
    return Job(id=w.key(), kind="report", key=f"report:{call.due.pk}:1", args=args, made_at=at)


def _row(w: World, call: Call, job: Job) -> Report:
    return Report(
        id=w.key(), visit=call.visit, version=1, number=next_number(call.day.year), job=job.pk,
        made_at=call.moment(1),
    )  # fmt: skip


def _answer(w: World, reply: Reply, report: Report) -> Answer:
    """A word given at home, some evenings after the visit."""
    evening = datetime.combine(
        reply.call.day + timedelta(days=reply.after_days), EVENING, tzinfo=w.now.tzinfo
    )
    at = min(w.now, evening)
    contact = Contact.objects.filter(client=reply.call.plan.site.client_id, user__isnull=False).order_by("pk")
    return Answer(
        id=w.key(), origin=w.key(), report=report, question=reply.question.pk, yes=reply.yes,
        by=contact.select_related("user")[0].user, at=at, received_at=at,
    )  # fmt: skip
