"""Hand over: what the next person must know of a technician's day, and a note for whoever comes next at a site."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _

from clients.queries import sites_for
from reports.choices import ReportState
from reports.models import Report
from servicedesk.desk.views.office import staff_of
from servicedesk.dispatch.queries import standing
from servicedesk.rounds import actions, queries
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.forms import NoteForm
from servicedesk.rounds.models import SiteNote, Stop
from servicedesk.rounds.views.shown import driver_of, today_of
from servicedesk.staff.models import User
from servicedesk.staff.queries import technicians
from servicedesk.upkeep.choices import reason_words
from servicedesk.upkeep.queries import last_left, open_tasks_of
from servicedesk.visits.choices import EntryKind
from servicedesk.visits.models import Entry

OFFICE_NOTES = timedelta(days=7)


@dataclass(frozen=True)
class Line:
    """Something handed over: its subject, why it is so, where and when."""

    subject: str
    why: str
    where: str = ""
    visit: Any = None


def _stops_left(stops: list[Stop]) -> list[Line]:
    words = []
    for stop in stops:
        at = time_format(stop.planned_at, "H:i")
        if stop.state == StopState.PLANNED:
            why = _("not begun, planned for %(at)s") % {"at": at}
        elif stop.state == StopState.UNDER_WAY and stop.arrived_at is not None:
            since = time_format(timezone.localtime(stop.arrived_at).time(), "H:i")
            why = _("under way since %(at)s, not closed") % {"at": since}
        elif stop.state == StopState.CALLED_OFF:
            why = _("called off today, still owed")
        else:
            continue
        words.append(Line(stop.due_visit.site.name, why, visit=stop.due_visit_id))
    return words


def _findings(stops: list[Stop]) -> list[Line]:
    """What was found on these visits."""
    visits = [s.due_visit_id for s in stops]
    rows = standing(Entry.objects.filter(visit__in=visits, kind=EntryKind.FINDING), "pk")
    return [
        Line(str(e.payload.get("text", "")), _at(e.at), e.visit.site.name, e.visit_id)
        for e in rows.select_related("visit__site").order_by("at", "seq", "pk")
    ]


def _at(at: datetime) -> str:
    return date_format(timezone.localtime(at), "j F, H:i")


def _tasks_left(stops: list[Stop], day: date) -> list[Line]:
    tanks = {t.pk: s for s in stops for t in s.tanks}
    tasks = open_tasks_of([t for s in stops for t in s.tanks], until=day)
    left = last_left(tasks)
    return [
        Line(
            task.title,
            _("left because: %(why)s") % {"why": reason_words(left[task.pk].reason)},
            f"{tanks[task.tank_id].due_visit.site.name}, {task.tank.name}",
            tanks[task.tank_id].due_visit_id,
        )
        for task in tasks
        if task.pk in left
    ]


def _waiting(stops: list[Stop]) -> list[Line]:
    """Reports of these visits that have not gone out, and why."""
    rows = Report.objects.filter(visit__in=[s.due_visit_id for s in stops]).exclude(state=ReportState.READY)
    return [
        Line(_("Report %(number)s") % {"number": row.number}, row.get_state_display(), row.visit.site.name)
        for row in rows.select_related("visit__site").order_by("made_at", "pk")
    ]


def _note(form: NoteForm, user: User) -> SiteNote | None:
    """Keep the note; None when the form is refused."""
    if not form.is_valid():
        return None
    given = form.cleaned_data
    try:
        return actions.write_note(
            site=given["site"],
            text=given["text"],
            for_office=given["for_office"],
            origin=given["entry"],
            by=user,
            at=timezone.now(),
        )
    except actions.NotNoted as wrong:
        form.add_error("text", str(wrong))
        return None


@login_required
def hand_over(request: HttpRequest) -> HttpResponse:
    user = staff_of(request, office=False)
    day, driver = today_of(user), driver_of(request, user)
    sites = sites_for(user, on=day).filter(retired_on__isnull=True)
    form = NoteForm(request.POST or None, sites=sites, initial={"entry": uuid4()})
    if request.method == "POST" and _note(form, user) is not None:
        messages.success(request, _("The note is kept."))
        return redirect("desk:hand_over")
    _row, stops = queries.round_of(driver, day)
    parts = [
        (_("Found today"), _findings(stops), _("Nothing was written down as a finding.")),
        (_("Work left"), _tasks_left(stops, day), _("No work was left.")),
        (_("Not sent yet"), _waiting(stops), _("No report of today waits.")),
    ]
    notes = queries.notes_for_office(user, since=timezone.now() - OFFICE_NOTES)
    context = {
        "left": _stops_left(stops),
        "parts": [(title, lines) for title, lines, _none in parts if lines],
        "quiet": [none for _title, lines, none in parts if not lines],
        "notes": notes,
        "form": form,
        "driver": driver,
        "own": driver == user,
        "people": technicians() if user.is_office else [],
    }
    return render(request, "desk/hand_over.html", context)
