"""The work of this room: a client's report when a visit is closed, the overdue list every morning."""

from datetime import date, time
from typing import Any
from uuid import UUID

from django.utils import timezone
from django.utils.translation import gettext as _

from reports import actions
from reports.actions import STEPS
from reports.models import Report
from reports.render import RenderFailed
from servicedesk.dispatch import actions as dispatch
from servicedesk.dispatch.jobs import GiveUp, daily, register
from servicedesk.dispatch.models import Job
from servicedesk.staff.models import User
from servicedesk.upkeep.queries import overdue
from servicedesk.visits.models import Visit


@register("report")
def make(job: Job) -> dict[str, Any] | None:
    """Make one version of a visit's report. A version that a later one overtook before it was begun is not drawn: its
    row says so, and the later one tells it all."""
    visit = Visit.objects.select_related("site", "site__client", "technician", "due_visit").filter(
        pk=UUID(job.args["visit"])
    )
    found, version = visit.first(), int(job.args["version"])
    if found is None:
        raise GiveUp(_("The visit of this report is not there any more."))
    begun = Report.objects.filter(visit=found, version=version).exists()
    if found.versions > version and not begun:
        actions.overtake(visit=found, version=version, job=job, at=timezone.now())
        return {"overtaken_by": found.versions}
    report = actions.begin_report(visit=found, version=version, job=job, at=timezone.now())

    def say(done: int, note: str) -> None:
        if not dispatch.progress(job=job, done=done, total=STEPS, note=note, at=timezone.now()):
            raise actions.LeaseLost

    try:
        actions.make_report(report=report, job=job, at=timezone.now(), say=say)
    except actions.LeaseLost:
        return None
    except Exception as error:
        said = str(error) if isinstance(error, RenderFailed) else f"{type(error).__name__}: {error}"
        actions.report_failed(report=report, error=said)
        raise
    return {"report": str(report.pk)}


@register("overdue")
def make_overdue(job: Job) -> dict[str, Any] | None:
    """The morning's list of overdue maintenance, from the owner's view of all tanks."""
    day = date.fromisoformat(job.args["slot"])
    owner = User.objects.filter(role="owner", is_active=True).order_by("joined_on", "pk").first()
    if owner is None:
        return {"left": "nobody owns this business yet"}
    paper = actions.make_overdue(key=job.pk, tasks=overdue(owner, on=day), day=day, at=timezone.now())
    return {"paper": str(paper.pk)}


daily("overdue", time(6, 0))
