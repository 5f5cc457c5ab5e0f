"""Animals of a tank as the office keeps them: how many, and what came, died or left. Facts are added, not altered."""

from datetime import date, datetime, time
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from clients.actions import NotSound, record_livestock
from clients.forms import AnimalsChangeForm
from clients.models import Livestock
from clients.queries import get_tank_for, livestock_of
from servicedesk.desk.views.office import staff_of
from servicedesk.web.zones import day_of


def _moment(on: date, *, now: datetime) -> datetime:
    """Now for today; noon of the business's day for a day that is past."""
    if on == day_of(now):
        return now
    return datetime.combine(on, time(12), tzinfo=timezone.get_current_timezone())


@login_required
def animals(request: HttpRequest, key: UUID) -> HttpResponse:
    user, now = staff_of(request), timezone.now()
    found = Livestock.objects.select_related("tank", "tank__site").filter(pk=key).first()
    if found is None:
        raise Http404
    tank = get_tank_for(user, found.tank_id, on=day_of(now))
    form = AnimalsChangeForm(request.POST or None, today=day_of(now))
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            record_livestock(
                livestock=found,
                change=said["change"],
                number=said["number"],
                cause=said["cause"],
                at=_moment(said["on"], now=now),
                by=user,
                origin=said["entry"],
                received_at=now,
            )
        except NotSound as wrong:
            form.add_error("number", str(wrong))
        else:
            messages.success(request, _("Written down."))
            return redirect("desk:animals", found.pk)
    row = next(row for row in livestock_of([tank]) if row.pk == found.pk)
    facts = found.facts.select_related("by").order_by("-at", "-pk")
    return render(
        request, "desk/own_animals.html", {"animals": row, "tank": tank, "facts": facts, "form": form}
    )
