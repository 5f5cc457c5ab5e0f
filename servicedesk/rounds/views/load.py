"""What must be in the van."""

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from servicedesk.rounds import queries
from servicedesk.rounds.views.shown import staff, today_of


@login_required
@require_GET
def load(request: HttpRequest) -> HttpResponse:
    user = staff(request)
    day = today_of(user)
    _row, stops = queries.round_of(user, day)
    return render(request, "rounds/load.html", {"lines": queries.load_list(stops, day), "stops": len(stops)})
