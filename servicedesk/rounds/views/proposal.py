"""A week that is proposed: asked for, watched while it is searched, looked at beside the week in force, put in force or dropped."""

from datetime import date, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET, require_POST

from servicedesk.dispatch.models import Job
from servicedesk.rounds import actions
from servicedesk.rounds.choices import ProposalState
from servicedesk.rounds.models import Proposal
from servicedesk.rounds.queries.proposed import beside, proposal_for
from servicedesk.rounds.queries.telling import calls_of, tidings_of
from servicedesk.rounds.views.shown import staff, today_of
from servicedesk.staff.models import User

SEARCHES = (
    (10, gettext_lazy("ten seconds")),
    (30, gettext_lazy("half a minute")),
    (60, gettext_lazy("a minute")),
    (180, gettext_lazy("three minutes")),
)


class AskForm(forms.Form):
    first = forms.DateField()
    seconds = forms.TypedChoiceField(
        label=gettext_lazy("Search for"), choices=SEARCHES, coerce=int, initial=30
    )


def _office(request: HttpRequest) -> User:
    user = staff(request)
    if not user.is_office:
        raise Http404
    return user


def _week_of(day: date) -> str:
    return f"{reverse('rounds:week')}?from={day.isoformat()}"


@login_required
@require_POST
def ask(request: HttpRequest) -> HttpResponse:
    """Have a week planned, from tomorrow where it has begun."""
    user = _office(request)
    form, today = AskForm(request.POST), today_of(user)
    if not form.is_valid():
        messages.error(request, _("Choose a week and how long to search."))
        return redirect("rounds:week")
    day = form.cleaned_data["first"]
    try:
        monday = day - timedelta(days=day.weekday())
        row = actions.ask_proposal(
            first=max(monday, today + timedelta(days=1)),
            last=monday + timedelta(days=6),
            by=user,
            today=today,
            at=timezone.now(),
            seconds=form.cleaned_data["seconds"],
        )
    except (actions.NotPlanned, OverflowError) as wrong:
        messages.error(
            request, str(wrong) if isinstance(wrong, actions.NotPlanned) else _("That week is too far.")
        )
        return redirect(_week_of(today))
    return redirect("rounds:proposal", row.pk)


def _job_of(row: Proposal) -> Job | None:
    return Job.objects.filter(key=f"plan_week:{row.pk}").first()


@login_required
@require_GET
def proposal(request: HttpRequest, key: UUID) -> HttpResponse:
    """A proposed week."""
    user = _office(request)
    row = proposal_for(user, key)
    context = {"row": row, "back": _week_of(row.first)}
    if row.state == ProposalState.ASKED:
        return render(request, "rounds/proposal_search.html", {**context, "job": _job_of(row)})
    at = request.GET.get("at", "")
    there = beside(row, zone=ZoneInfo(user.zone), at=at, day=request.GET.get("day", ""))
    return render(
        request,
        "rounds/proposal.html",
        {
            **context,
            "b": there,
            "searches": SEARCHES,
            "calls": calls_of(tidings_of(row), today_of(user)),
            "at": at,
        },
    )


@login_required
@require_GET
def searching(request: HttpRequest, key: UUID) -> HttpResponse:
    """How far the search is; where to go when it has ended."""
    row = proposal_for(_office(request), key)
    answer = render(request, "rounds/proposal_progress.html", {"row": row, "job": _job_of(row)})
    if row.state != ProposalState.ASKED:
        answer["Location-When-Done"] = reverse("rounds:proposal", args=[row.pk])
    return answer


@login_required
@require_POST
def stop(request: HttpRequest, key: UUID) -> HttpResponse:
    """End the search with what it has."""
    row = proposal_for(_office(request), key)
    if actions.stop_search(row=row, at=timezone.now()):
        messages.success(request, _("The search ends with what it has found."))
    return redirect("rounds:proposal", row.pk)


@login_required
@require_POST
def drop(request: HttpRequest, key: UUID) -> HttpResponse:
    """Not wanted: the week in force stays."""
    user = _office(request)
    row = proposal_for(user, key)
    if actions.drop_search(row=row, by=user, at=timezone.now()):
        messages.success(request, _("Dropped. The week in force stays as it is."))
    return redirect(_week_of(row.first))


@login_required
@require_POST
def put_in_force(request: HttpRequest, key: UUID) -> HttpResponse:
    """From now on the rounds are these."""
    user = _office(request)
    row = proposal_for(user, key)
    seen = request.POST.get("moves", "")
    moves = int(seen) if seen.isascii() and seen.isdigit() else None
    try:
        moved = actions.put_in_force(
            proposal=row, by=user, today=today_of(user), at=timezone.now(), moves=moves
        )
    except actions.NotPlanned as wrong:
        messages.error(request, str(wrong))
        return redirect("rounds:proposal", row.pk)
    words = ngettext("In force: one visit moved.", "In force: %(n)s visits moved.", moved)
    messages.success(request, words % {"n": moved} if moved else _("In force: nothing had to move."))
    return redirect(_week_of(row.first))
