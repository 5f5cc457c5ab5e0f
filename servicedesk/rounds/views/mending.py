"""Today does not go as planned: what happened is said, up to three ways out stand side by side, the office chooses one."""

from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from servicedesk.core.rounds.problem import NotPlanned as NotSearched
from servicedesk.rounds import actions
from servicedesk.rounds.choices import OfferKind, TroubleKind
from servicedesk.rounds.forms import AwayForm, CallOutForm, CancelledForm, LateForm
from servicedesk.rounds.jobs import keep_way_out
from servicedesk.rounds.models import Move, Notice, Trouble
from servicedesk.rounds.queries.broken import OpenStop, drivers_of, open_stops
from servicedesk.rounds.queries.mending import said_of, sides_of, trouble_for, troubles_of
from servicedesk.rounds.queries.telling import tidings_for
from servicedesk.rounds.views.shown import staff, today_of
from servicedesk.staff.models import User


def _office(request: HttpRequest) -> User:
    user = staff(request)
    if not user.is_office:
        raise Http404
    return user


def _forms(stops: list[OpenStop], data: Any = None) -> dict[str, forms.Form]:
    """A small form for each thing that can happen; the one that was sent holds what was typed."""
    sent = data.get("kind") if data is not None else None
    drivers = drivers_of(stops)

    def given(kind: str) -> dict[str, Any]:
        return {"data": data if sent == kind else None, "prefix": kind}

    return {
        TroubleKind.CANCELLED: CancelledForm(stops=stops, **given(TroubleKind.CANCELLED)),
        TroubleKind.SICK: AwayForm(drivers=drivers, **given(TroubleKind.SICK)),
        TroubleKind.LATE: LateForm(drivers=drivers, **given(TroubleKind.LATE)),
        TroubleKind.CALL_OUT: CallOutForm(**given(TroubleKind.CALL_OUT)),
    }


def _said(kind: str, day: date, user: User, given: dict[str, Any]) -> Trouble:
    rest = {"day": day, "by": user, "at": timezone.now(), **given}
    if kind == TroubleKind.CALL_OUT:
        return actions.say_call_out(**rest)
    return actions.say_trouble(kind=kind, **rest)


def _smallest(row: Trouble) -> None:
    """The smallest change is there at once; what stops it stands on the page."""
    try:
        keep_way_out(row, OfferKind.SMALLEST)
    except NotSearched as wrong:
        actions.end_search(trouble=row, error=str(wrong), at=timezone.now())


@login_required
def today(request: HttpRequest) -> HttpResponse:
    """Say what happened."""
    user = _office(request)
    day = today_of(user)
    stops = open_stops(day)
    asked = _forms(stops, request.POST if request.method == "POST" else None)
    kind = request.POST.get("kind", "")
    form = asked.get(kind)
    if request.method == "POST" and form is not None and form.is_valid():
        try:
            row = _said(kind, day, user, form.cleaned_data)
        except actions.NotPlanned as wrong:
            form.add_error(None, str(wrong))
        else:
            _smallest(row)
            return redirect("rounds:trouble", row.pk)
    titles = {
        TroubleKind.CANCELLED: (_("A visit is cancelled"), _("It stays owed and leaves today.")),
        TroubleKind.SICK: (
            _("A technician is sick"),
            _("All their stops still to come today need somebody else; they are written down as away."),
        ),
        TroubleKind.LATE: (_("A technician runs late"), _("Counted from the time of their next stop.")),
        TroubleKind.CALL_OUT: (_("A call-out"), _("It is owed from now on, whatever you choose.")),
    }
    parts = [(name, *titles[TroubleKind(name)], form) for name, form in asked.items()]
    context = {"day": day, "parts": parts, "count": len(stops), "troubles": [(row, said_of(row)) for row in troubles_of(day)]}  # fmt: skip
    return render(request, "rounds/mend_today.html", context)


@login_required
@require_GET
def trouble(request: HttpRequest, key: UUID) -> HttpResponse:
    """What happened, and the ways out side by side."""
    row = trouble_for(_office(request), key)
    return render(request, "rounds/trouble.html", {"row": row, "s": sides_of(row)})


@login_required
@require_GET
def searching(request: HttpRequest, key: UUID) -> HttpResponse:
    """How far the search is; where to go when it has ended."""
    row = trouble_for(_office(request), key)
    there = sides_of(row)
    answer = render(request, "rounds/trouble_progress.html", {"s": there})
    if not there.awaited:
        answer["Location-When-Done"] = reverse("rounds:trouble", args=[row.pk])
    return answer


@login_required
@require_POST
def again(request: HttpRequest, key: UUID) -> HttpResponse:
    """Work it out from how the day is now."""
    user = _office(request)
    try:
        row = actions.say_again(
            trouble=trouble_for(user, key), by=user, day=today_of(user), at=timezone.now()
        )
    except actions.NotPlanned as wrong:
        messages.error(request, str(wrong))
        return redirect("rounds:trouble", key)
    _smallest(row)
    return redirect("rounds:trouble", row.pk)


@login_required
@require_POST
def drop(request: HttpRequest, key: UUID) -> HttpResponse:
    """Leave the day as it is."""
    user = _office(request)
    if actions.drop_trouble(trouble=trouble_for(user, key), by=user, at=timezone.now()):
        messages.success(request, _("Dropped. The day stays as it is."))
    return redirect("rounds:mend_today")


@login_required
@require_POST
def choose(request: HttpRequest, key: UUID, way: str) -> HttpResponse:
    """From now on the day goes this way."""
    user = _office(request)
    offer = trouble_for(user, key).offers.filter(kind=way).first()
    if offer is None:
        raise Http404
    try:
        moves = actions.choose(
            offer=offer, by=user, today=today_of(user), at=timezone.now(), later=request.POST.getlist("later")
        )
    except actions.NotPlanned as wrong:
        messages.error(request, str(wrong))
    else:
        messages.success(request, _chosen(moves))
    return redirect("rounds:trouble", key)


@login_required
@require_POST
def rung(request: HttpRequest, key: UUID) -> HttpResponse:
    """A client whose time moves was rung."""
    user = _office(request)
    row = tidings_for(user, key)
    actions.have_rung(tidings=row, by=user, at=timezone.now())
    if request.POST.get("from") == "week":
        return redirect(
            f"{reverse('rounds:week')}?from={(row.day or row.was_day or today_of(user)).isoformat()}"
        )
    trouble = row.proposal.trouble_id
    return redirect("rounds:trouble", trouble) if trouble else redirect("rounds:proposal", row.proposal_id)


def _chosen(moves: list[Move]) -> str:
    """What has come of it, in words."""
    if not moves:
        return _("In force: nothing had to move.")
    words = ngettext("In force: one visit moves.", "In force: %(n)s visits move.", len(moves))
    said = words % {"n": len(moves)}
    open_ = [move.pk for move in moves if move.applied_at is None]
    waits = Notice.objects.filter(move__in=open_, needed=True, accepted_at=None).order_by("person__name")
    names = list(dict.fromkeys(waits.values_list("person__name", flat=True)))
    if names:
        more = ngettext(
            "%(n)s waits for the word of %(who)s.", "%(n)s wait for the word of %(who)s.", len(open_)
        )
        said += " " + more % {"n": len(open_), "who": _(" and ").join(names)}
    return said
