"""Making a client's report, letting it go, and making papers for the house. A report's files are written once."""

import contextlib
import hashlib
import os
from collections.abc import Callable, Iterator
from datetime import date, datetime
from pathlib import Path
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.db.models import F
from django.utils.formats import date_format
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients.models import Contact
from reports.choices import PaperKind, ReportState
from reports.models import Answer, Paper, Report, Running
from reports.queries import ReportContent, as_json, changes_between, content_of, from_json
from reports.queries.access import messages_of
from reports.queries.answers import last_answers, question_of
from reports.queries.fit import PAGES, plans
from reports.queries.mail import letter_of
from reports.queries.paper import overdue_html
from reports.queries.sheet import report_html
from reports.render import render_pdf, render_to_fit
from servicedesk.dispatch import actions as dispatch
from servicedesk.dispatch.models import Job, Message
from servicedesk.staff.models import User
from servicedesk.staff.queries import business
from servicedesk.upkeep.models import Task
from servicedesk.visits.models import Visit
from servicedesk.web.faults import fault_point
from servicedesk.web.one_moment import one_moment

Say = Callable[[int, str], None]
STEPS = 4


class NotReleased(Exception):
    """A report that cannot go out; the sentence says why."""


class NotAnswered(Exception):
    """An answer that cannot be kept; the sentence says why."""


class LeaseLost(Exception):
    """Somebody else took this work over; what was made here must not stand."""


@transaction.atomic
def next_number(year: int) -> str:
    """The next running number of the year; the row's lock makes each number one report's."""
    Running.objects.get_or_create(year=year)
    Running.objects.filter(year=year).update(last=F("last") + 1)
    return str(Running.objects.get(year=year))


@transaction.atomic
def begin_report(*, visit: Visit, version: int, job: Job, at: datetime) -> Report:
    """The row of this version, made once; all versions of a visit carry one number."""
    Visit.objects.select_for_update().get(pk=visit.pk)
    row = Report.objects.filter(visit=visit, version=version).first()
    if row is not None:
        if row.state == ReportState.FAILED:
            Report.objects.filter(pk=row.pk).update(state=ReportState.WAITING, error="")
            row.refresh_from_db()
        return row
    earlier = Report.objects.filter(visit=visit).order_by("version").first()
    year = visit.arrived_at.astimezone(ZoneInfo(business().zone)).year
    number = earlier.number if earlier else next_number(year)
    return Report.objects.create(visit=visit, version=version, number=number, job=job.pk, made_at=at)


def overtake(*, visit: Visit, version: int, job: Job, at: datetime) -> Report:
    """The row of a version that a later one overtook before it was begun: it keeps its number and says so."""
    row = begin_report(visit=visit, version=version, job=job, at=at)
    Report.objects.filter(pk=row.pk, state=ReportState.WAITING).update(state=ReportState.REPLACED)
    row.refresh_from_db()
    return row


def take_snapshot(*, report: Report, at: datetime) -> Report:
    """Fill in what the report says, from one moment of the data. A second try keeps what the first one took."""
    if report.content:
        return report
    with one_moment():
        content = content_of(report.visit, at=at)
        before = (
            Report.objects.filter(visit=report.visit, version__lt=report.version)
            .exclude(content={})
            .order_by("-version")
            .first()
        )
        report.changes = changes_between(from_json(before.content), content) if before else []
        report.content = as_json(content)
        report.verdict, report.sentence = content.verdict, content.sentence[:400]
        report.hold_reasons, report.data_at = content.reasons, at
        report.save(update_fields=["changes", "content", "verdict", "sentence", "hold_reasons", "data_at"])
    return report


def write_once(*, name: str, make: Callable[[], bytes]) -> tuple[str, str]:
    """Keep a paper under the papers root: made only if it is not there yet, whole or not at all.

    Returns its name below the root and its SHA-256."""
    path = Path(settings.PAPERS_ROOT) / name
    if not path.is_file():
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        data = make()
        draft = path.with_name(f".{path.name}.{os.getpid()}")
        try:
            with open(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            fault_point("before_rename")
            os.replace(draft, path)
        finally:
            with contextlib.suppress(FileNotFoundError):
                draft.unlink()
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    return name, hashlib.sha256(path.read_bytes()).hexdigest()


def make_report(*, report: Report, job: Job, at: datetime, say: Say) -> Report:
    """Snapshot, drawing, file, and the end of the work with its mails in one transaction."""
    say(1, _("Reading the visit"))
    report = take_snapshot(report=report, at=at)
    content = from_json(report.content)
    say(2, _("Drawing two pages"))

    def draw() -> bytes:
        return render_to_fit(papers_of(report=report, content=content), pages=PAGES)

    name, digest = write_once(name=f"reports/{report.pk}-{report.version}.pdf", make=draw)
    fault_point("after_file")
    say(3, _("Writing the mails"))
    return end_report(report=report, job=job, file=name, sha256=digest, at=at)


def papers_of(*, report: Report, content: ReportContent) -> Iterator[str]:
    """The report as finished HTML, laid out by one plan after the other."""
    zone = ZoneInfo(business().zone)
    for plan in plans(content, report.changes):
        yield report_html(
            content,
            number=report.number,
            version=report.version,
            changes=report.changes,
            zone=zone,
            plan=plan,
            link=link_of(report),
        )


def link_of(report: Report) -> str:
    """Where the report is read behind a sign-in."""
    return f"{settings.BASE_URL}/reports/{report.pk}/"


@transaction.atomic
def end_report(*, report: Report, job: Job, file: str, sha256: str, at: datetime) -> Report:
    """The report is there: its state, its mails and the end of the work, together. What comes after a later version
    is kept and mails nobody; what is still open of earlier ones is overtaken. Raises LeaseLost."""
    Visit.objects.select_for_update().get(pk=report.visit_id)
    others = Report.objects.filter(visit=report.visit_id)
    late = others.filter(version__gt=report.version).exclude(file="").exists()
    held = bool(report.hold_reasons)
    state = ReportState.REPLACED if late else ReportState.HELD if held else ReportState.READY
    released_at = at if state == ReportState.READY else None
    Report.objects.filter(pk=report.pk).update(
        file=file, sha256=sha256, error="", state=state, released_at=released_at
    )
    others.filter(version__lt=report.version).exclude(state=ReportState.READY).update(
        state=ReportState.REPLACED
    )
    report.refresh_from_db()
    for contact in [] if late else readers_of(report.visit):
        post_report(report=report, contact=contact, job=job, held=held, at=at)
    fault_point("before_commit")
    if not dispatch.finish(job=job, at=at, result={"report": str(report.pk)}):
        raise LeaseLost
    return report


def readers_of(visit: Visit) -> list[Contact]:
    """The contacts who get this visit's report."""
    rows = Contact.objects.filter(
        client=visit.site.client, gets_reports=True, client__retired_on__isnull=True
    )
    return list(rows.order_by("email"))


def post_report(*, report: Report, contact: Contact, job: Job, held: bool, at: datetime) -> Message:
    """The mail to one contact, once."""
    letter = letter_of(
        from_json(report.content),
        link=link_of(report),
        changes=report.changes,
        version=report.version,
    )
    return dispatch.post(
        key=f"report:{report.pk}:{contact.pk}",
        recipient=contact.email,
        subject=letter.subject,
        text=letter.text,
        html=letter.html,
        attachment=report.file,
        attachment_name=file_name(report),
        job=job,
        at=at,
        held=held,
    )


def file_name(report: Report) -> str:
    """What the PDF is called when it is kept by its reader."""
    return f"{report.number}-{slugify(report.visit.site.name) or 'report'}-v{report.version}.pdf"


@transaction.atomic
def report_failed(*, report: Report, error: str) -> None:
    """It could not be made; the page shows why."""
    Report.objects.filter(pk=report.pk, state=ReportState.WAITING).update(
        state=ReportState.FAILED, error=error[:2000]
    )


@transaction.atomic
def release(*, report: Report, by: User, at: datetime) -> Report:
    """The owner lets a held report go: the client sees it and its mails are sent. Raises NotReleased."""
    Visit.objects.select_for_update().get(pk=report.visit_id)
    if not by.is_owner:
        raise NotReleased(_("Only the owner lets a report go."))
    if Report.objects.filter(visit=report.visit_id, version__gt=report.version).exclude(file="").exists():
        raise NotReleased(_("A newer version is there. Read that one and let it go."))
    won = Report.objects.filter(pk=report.pk, state=ReportState.HELD).update(
        state=ReportState.READY, released_at=at, released_by=by
    )
    if not won:
        raise NotReleased(_("This report does not wait any more."))
    for message in messages_of(report):
        dispatch.release(message=message, at=at)
    report.refresh_from_db()
    return report


@transaction.atomic
def answer(*, report: Report, question: UUID, yes: bool, by: User, at: datetime) -> Answer:
    """Keep a yes or a no to what this report recommends: the client's own, or what the office was told. The same word
    again by the same person adds nothing. Raises NotAnswered."""
    Report.objects.select_for_update().get(pk=report.pk)
    if not (by.is_client or by.is_office):
        raise NotAnswered(_("The client answers, or the office for the client."))
    if report.state != ReportState.READY:
        raise NotAnswered(_("This report is not out yet."))
    newest = (
        Report.objects.filter(visit=report.visit_id, state=ReportState.READY).order_by("-version").first()
    )
    if question_of(report, question) is None or newest is None or question_of(newest, question) is None:
        raise NotAnswered(_("This question is not asked any more."))
    last = last_answers([question]).get(question)
    if last is not None and (last.yes, last.by_id) == (yes, by.pk):
        return last
    return Answer.objects.create(report=report, question=question, yes=yes, by=by, at=at, received_at=at)


def run_again(*, job_id: UUID, at: datetime) -> bool:
    """Make a report again that failed."""
    return dispatch.run_again(job_id=job_id, at=at)


def make_overdue(*, key: UUID, tasks: list[Task], day: date, at: datetime) -> Paper:
    """The overdue list of a day as a paper, made once. `key` names the file: that of the work that makes it."""
    lateness = {}
    for task in tasks:
        days = (day - task.latest).days
        lateness[task.pk] = ngettext("%(n)s day", "%(n)s days", days) % {"n": days}

    def draw() -> bytes:
        said = date_format(day, "l j F Y")
        return render_pdf(overdue_html(tasks, business=business().name, day=said, lateness=lateness))

    name, _digest = write_once(name=f"papers/{key}.pdf", make=draw)
    row, _made = Paper.objects.get_or_create(
        kind=PaperKind.OVERDUE, day=day, defaults={"file": name, "made_at": at}
    )
    return row
