"""How long ways take: the bands of distance, the road router, and what drives say."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.rounds import actions
from servicedesk.rounds.forms import RoadsForm
from servicedesk.rounds.queries.roads import asked_router, driven_ways
from servicedesk.rounds.queries.ways import roads as set_roads
from servicedesk.rounds.views.shown import staff


@login_required
def roads(request: HttpRequest) -> HttpResponse:
    """Owners set how straight lines become minutes; the next plan reckons with it."""
    if not staff(request).is_owner:
        raise Http404
    row = set_roads()
    start: dict[str, Any] = {name: getattr(row, name) for name in RoadsForm.base_fields}
    form = RoadsForm(request.POST or None, initial=start)
    if request.method == "POST" and form.is_valid():
        actions.save_roads(**form.cleaned_data)
        messages.success(request, _("Kept. The next plan reckons with it."))
        return redirect("rounds:roads")
    context = {"form": form, "router": asked_router(), "driven": driven_ways(timezone.now())}
    return render(request, "rounds/roads.html", context)
