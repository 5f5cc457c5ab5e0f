"""Who may see which report and which paper."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Case, IntegerField, QuerySet, Value, When
from django.http import Http404

from reports.choices import ReportState
from reports.models import Paper, Report
from servicedesk.dispatch.models import Job, Message
from servicedesk.staff.models import User
from servicedesk.visits.choices import VisitState
from servicedesk.visits.models import Visit
from servicedesk.visits.queries import visits_for

KIND = "report"


def reports_for(user: User) -> QuerySet[Report]:
    """Owner and office: every report. A technician: those of the own visits. A contact: what was released of the
    client's own. Newest first."""
    rows = Report.objects.select_related(
        "visit", "visit__site", "visit__site__client", "visit__technician", "released_by"
    ).order_by("-made_at", "-version", "pk")
    if user.is_office:
        return rows
    mine = rows.filter(visit__in=visits_for(user).order_by().values("pk"))
    return mine.filter(state=ReportState.READY) if user.is_client else mine


def get_report_for(user: User, key: UUID) -> Report:
    found = reports_for(user).filter(pk=key).first()
    if found is None:
        raise Http404
    return found


def get_visit_for(user: User, key: UUID) -> Visit:
    """A closed visit whose report the person may ask about."""
    found = visits_for(user).filter(pk=key, state=VisitState.CLOSED).first()
    if found is None:
        raise Http404
    return found


def papers_for(user: User) -> QuerySet[Paper]:
    """House papers are for owner and office."""
    rows = Paper.objects.order_by("-day", "pk")
    return rows if user.is_office else rows.none()


def get_paper_for(user: User, key: UUID) -> Paper:
    found = papers_for(user).filter(pk=key).first()
    if found is None:
        raise Http404
    return found


def job_of(visit: Visit, version: int) -> Job | None:
    """The piece of work that makes this version."""
    return Job.objects.filter(key=f"{KIND}:{visit.pk}:{version}").first()


def messages_of(report: Report) -> list[Message]:
    """The mails of this report, each with its state."""
    return list(Message.objects.filter(key__startswith=f"{KIND}:{report.pk}:").order_by("recipient"))


def newest(rows: Iterable[Report]) -> list[Report]:
    """The newest version of each visit's report, order kept."""
    best: dict[UUID, Report] = {}
    for row in rows:
        kept = best.get(row.visit_id)
        if kept is None or row.version > kept.version:
            best[row.visit_id] = row
    return [row for row in rows if best[row.visit_id].pk == row.pk]


def by_need(rows: QuerySet[Report]) -> QuerySet[Report]:
    """What waits for somebody first: held, failed, under way, then what is done."""
    need = {
        ReportState.HELD: 0,
        ReportState.FAILED: 1,
        ReportState.WAITING: 2,
        ReportState.REPLACED: 2,
        ReportState.READY: 3,
    }
    order = Case(
        *(When(state=state, then=Value(place)) for state, place in need.items()),
        output_field=IntegerField(),
    )
    return rows.annotate(need=order).order_by("need", "-made_at", "-version", "pk")
