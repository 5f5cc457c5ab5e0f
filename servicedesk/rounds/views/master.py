"""The master round: asked for, watched while it is searched, looked at beside today's habits, adopted client by client. For the owner."""

from datetime import date, timedelta
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.dispatch.models import Job
from servicedesk.rounds import actions
from servicedesk.rounds.choices import ProposalState
from servicedesk.rounds.forms import MasterForm
from servicedesk.rounds.models import MasterLine, MasterRound
from servicedesk.rounds.queries.master_shown import line_for, master_for, masters_for, shown
from servicedesk.rounds.views.shown import staff, today_of
from servicedesk.staff.models import User


def _owner(request: HttpRequest) -> User:
    user = staff(request)
    if not user.is_owner:
        raise Http404
    return user


def _next_monday(today: date) -> date:
    return today + timedelta(days=7 - today.weekday())


@login_required
@require_http_methods(["GET", "POST"])
def masters(request: HttpRequest) -> HttpResponse:
    """Have a master round worked out; the newest ones."""
    user = _owner(request)
    today = today_of(user)
    form = MasterForm(request.POST or None, first=_next_monday(today))
    if request.method == "POST" and form.is_valid():
        try:
            row = actions.ask_master(by=user, today=today, at=timezone.now(), **form.cleaned_data)
        except actions.NotPlanned as wrong:
            form.add_error("first", str(wrong))
        else:
            return redirect("rounds:master_round", row.pk)
    return render(request, "rounds/masters.html", {"form": form, "rows": masters_for(user)})


def _job_of(row: MasterRound) -> Job | None:
    return Job.objects.filter(key=f"plan_master:{row.pk}").first()


@login_required
@require_GET
def master_round(request: HttpRequest, key: UUID) -> HttpResponse:
    """One master round."""
    row = master_for(_owner(request), key)
    last = row.first + timedelta(days=7 * row.weeks - 1)
    if row.state == ProposalState.ASKED:
        return render(request, "rounds/master_search.html", {"row": row, "last": last, "job": _job_of(row)})
    return render(request, "rounds/master.html", {"row": row, "last": last, "m": shown(row)})


@login_required
@require_GET
def searching(request: HttpRequest, key: UUID) -> HttpResponse:
    """How far the search is; where to go when it has ended."""
    row = master_for(_owner(request), key)
    answer = render(request, "rounds/proposal_progress.html", {"row": row, "job": _job_of(row)})
    if row.state != ProposalState.ASKED:
        answer["Location-When-Done"] = reverse("rounds:master_round", args=[row.pk])
    return answer


@login_required
@require_POST
def stop(request: HttpRequest, key: UUID) -> HttpResponse:
    """End the search with what it has."""
    row = master_for(_owner(request), key)
    if actions.stop_search(row=row, at=timezone.now()):
        messages.success(request, _("The search ends with what it has found."))
    return redirect("rounds:master_round", row.pk)


@login_required
@require_POST
def drop(request: HttpRequest, key: UUID) -> HttpResponse:
    """Not wanted: what was not adopted stays as it is."""
    user = _owner(request)
    row = master_for(user, key)
    if actions.drop_search(row=row, by=user, at=timezone.now()):
        messages.success(request, _("Dropped. What was adopted stays adopted, all else stays as it is."))
    return redirect("rounds:masters")


@login_required
@require_POST
def decide(request: HttpRequest, key: UUID) -> HttpResponse:
    """One client: as proposed, as it is, or as it was before."""
    user = _owner(request)
    verb, number = next(
        ((v, request.POST[v]) for v in ("adopt", "keep", "back") if v in request.POST), ("", "")
    )
    line = line_for(user, key, number)
    try:
        messages.success(request, _decided(verb, line, user))
    except actions.NotPlanned as wrong:
        messages.error(request, str(wrong))
    return redirect(f"{reverse('rounds:master_round', args=[key])}#line-{line.pk}")


def _decided(verb: str, line: MasterLine, user: User) -> str:
    """Does what was pressed and says it. Raises NotPlanned."""
    name, now, today = line.plan.site.name, timezone.now(), today_of(user)
    if verb == "keep":
        actions.keep_as_it_is(line=line, by=user, at=now)
        return _("%(name)s stays as it is.") % {"name": name}
    done = actions.adopt if verb == "adopt" else actions.take_back
    change = done(line=line, by=user, today=today, at=now)
    words = (
        _("%(name)s: as proposed from %(day)s on.")
        if verb == "adopt"
        else _("%(name)s: as before from %(day)s on.")
    )
    return words % {"name": name, "day": date_format(change.from_on, "l j F")}
