"""A stop of a proposed week is held where it stands, let go, or put elsewhere; what that costs is said at once."""

from datetime import timedelta
from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from servicedesk.rounds import actions
from servicedesk.rounds.choices import ProposalState
from servicedesk.rounds.forms import ElsewhereForm
from servicedesk.rounds.models import Pin, Proposal, Proposed
from servicedesk.rounds.queries.moving import moves_of
from servicedesk.rounds.queries.proposed import proposal_for
from servicedesk.rounds.views.shown import staff, today_of
from servicedesk.staff.models import User


class HoldForm(forms.Form):
    at = forms.TimeField(required=False)


def _line_for(user: User, key: UUID, visit: str) -> Proposed:
    """A stop of a proposed week, for the office only."""
    row = proposal_for(user, key)
    try:
        found = row.visits.select_related("due_visit__site", "technician", "moved_by").filter(
            due_visit=UUID(visit)
        )
    except ValueError:
        raise Http404
    line = found.first()
    if line is None:
        raise Http404
    line.proposal = row
    return line


def _days(row: Proposal) -> list[tuple[str, str]]:
    days = [row.first + timedelta(days=n) for n in range((row.last - row.first).days + 1)]
    return [(day.isoformat(), date_format(day, "l j F")) for day in days]


def _back(line: Proposed) -> HttpResponseRedirect:
    """The page again, at this stop."""
    page, stop = reverse("rounds:proposal", args=[line.proposal_id]), line.due_visit_id
    return redirect(f"{page}?at={stop}#stop-{stop}")


def _span(seconds: int) -> str:
    minutes = round(abs(seconds) / 60)
    if minutes < 60:
        return _("%(m)s min") % {"m": minutes}
    return _("%(h)s h %(m)s min") % {"h": minutes // 60, "m": minutes % 60}


def cost_words(driving: int, overtime: int) -> str:
    """What a move costs, in seconds more (less than nought: fewer), as a sentence."""
    if abs(driving) < 30 and abs(overtime) < 30:
        return _("That changes neither the time at the wheel nor overtime.")
    wheel = _("as long at the wheel")
    if abs(driving) >= 30:
        wheel = _("%(span)s more at the wheel") if driving > 0 else _("%(span)s less at the wheel")
    over = _("overtime as before")
    if abs(overtime) >= 30:
        over = _("%(span)s more overtime") if overtime > 0 else _("%(span)s less overtime")
    words = {"wheel": wheel % {"span": _span(driving)}, "over": over % {"span": _span(overtime)}}
    return _("That is %(wheel)s, %(over)s.") % words


def _tell(request: HttpRequest, told: actions.Moved) -> None:
    line = told.line
    assert line.technician is not None and line.day is not None and line.planned_at is not None
    names = {
        "name": line.due_visit.site.name,
        "who": line.technician.name,
        "day": date_format(line.day, "l j F"),
        "at": time_format(line.planned_at, "H:i"),
    }
    if not told.anew:
        messages.info(request, _("%(name)s stands there already: %(who)s, %(day)s at %(at)s.") % names)
        return
    words = _("%(name)s: %(who)s, %(day)s at %(at)s. %(cost)s")
    messages.success(request, words % {**names, "cost": cost_words(told.driving, told.overtime)})
    if told.broken:
        messages.error(
            request, _("Broken there: %(rules)s It may stay so.") % {"rules": " ".join(told.broken)}
        )


@login_required
def move(request: HttpRequest, key: UUID) -> HttpResponse:
    """Put a stop elsewhere. A button sends the stop and its place on its own round as one word."""
    user = staff(request)
    asked, typed = (request.POST if request.method == "POST" else request.GET), request.POST.copy()
    visit, _colon, order = asked.get("put", "").partition(":")
    line = _line_for(user, key, visit or asked.get("visit", ""))
    if visit and line.technician_id and line.day:
        typed.update({"order": order, "technician": str(line.technician_id), "day": line.day.isoformat()})
    held = Pin.objects.filter(due_visit=line.due_visit).first()
    begin = {"technician": line.technician_id, "day": line.day and line.day.isoformat(), "order": line.order or None, "moves": moves_of(line.proposal.after)}  # fmt: skip
    form = ElsewhereForm(
        typed if request.method == "POST" else None, initial=begin, days=_days(line.proposal)
    )
    if request.method == "POST" and form.is_valid():
        try:
            told = actions.move_in_proposal(
                proposal=line.proposal, due_visit=line.due_visit, by=user, today=today_of(user), at=timezone.now(), **form.cleaned_data
            )  # fmt: skip
        except actions.NotPlanned as wrong:
            form.add_error(None, str(wrong))
            typed["moves"] = str(begin["moves"])
        else:
            _tell(request, told)
            return _back(line)
    return render(request, "rounds/proposal_move.html", {"form": form, "line": line, "held": held})


@login_required
@require_POST
def hold(request: HttpRequest, key: UUID) -> HttpResponse:
    """Hold a stop where it stands, so that planning again keeps it there; or leave it to planning."""
    user = staff(request)
    line = _line_for(user, key, request.POST.get("visit", "") or request.POST.get("off", ""))
    name = {"name": line.due_visit.site.name}
    if request.POST.get("off"):
        if actions.unpin(due_visit=line.due_visit):
            messages.success(request, _("%(name)s is left to planning again.") % name)
        return _back(line)
    form = HoldForm(request.POST)
    if line.proposal.state != ProposalState.READY or line.technician is None or line.day is None:
        messages.error(request, _("It stands nowhere in an open week, so it cannot be held there."))
    elif not form.is_valid():
        messages.error(request, _("Type a time such as 9:30, or leave it empty."))
    else:
        _hold(request, line, user, form)
    return _back(line)


def _hold(request: HttpRequest, line: Proposed, user: User, form: HoldForm) -> None:
    """An overdue visit has no day of its own any more: it is held to its technician."""
    owed, late = line.due_visit, line.day is not None and line.day > line.due_visit.latest
    begins = None if late else form.cleaned_data["at"]
    try:
        actions.pin(due_visit=owed, technician=line.technician, day=None if late else line.day, begins=begins, by=user, at=timezone.now())  # fmt: skip
    except actions.NotPlanned as wrong:
        messages.error(request, str(wrong))
        return
    assert line.technician is not None and line.day is not None
    words = _("%(name)s is held: %(who)s, %(day)s.")
    if late:
        words = _("%(name)s is held to %(who)s; its last day is past, so that the day stays open.")
    elif begins:
        words = _("%(name)s is held: %(who)s, %(day)s at %(at)s.")
    messages.success(
        request,
        words
        % {
            "name": owed.site.name,
            "who": line.technician.name,
            "day": date_format(line.day, "l j F"),
            "at": time_format(begins, "H:i") if begins else "",
        },
    )
