"""What a client's tests and liquids cost a month: the owner's page."""

from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from clients.queries import get_client_for, tanks_for
from servicedesk.desk.queries.costs import costs_of
from servicedesk.desk.views.office import staff_of
from servicedesk.staff.queries import business


@login_required
@require_GET
def costs(request: HttpRequest, key: UUID) -> HttpResponse:
    user = staff_of(request)
    row = get_client_for(user, key)
    if not user.is_owner:  # prices are the owner's
        raise Http404
    now, zone = timezone.now(), ZoneInfo(user.zone)
    tanks = tanks_for(user, on=now.astimezone(zone).date()).filter(site__client=row, retired_on__isnull=True)
    found = costs_of(tanks, at=now)
    context = {
        "client": row,
        "costs": found,
        "month": sum((one.month for one in found), Decimal(0)),
        "unknown": sum(one.unknown for one in found),
        "minutes": sum(one.minutes for one in found),
        "currency": business().currency,
    }
    return render(request, "desk/costs.html", context)
