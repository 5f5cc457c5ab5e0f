"""Who answers alarms, who is away, and how people are reached beside mail."""

from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from servicedesk.desk.views.office import staff_of
from servicedesk.dispatch.actions import post
from servicedesk.dispatch.models import Gateway
from servicedesk.staff.queries import business_zone
from servicedesk.watch.models import Away, Duty, Reach
from servicedesk.watch.queries.alarms import on_duty
from servicedesk.watch.queries.browsers import browsers_in_use
from servicedesk.web.zones import days_in_words


def _when(row: Duty) -> str:
    """Days and hours of a line, in words."""
    days = days_in_words(row.weekdays)
    if row.begins == row.ends:
        return _("%(days)s, all day") % {"days": days}
    hours = {"days": days, "a": f"{row.begins:%H:%M}", "b": f"{row.ends:%H:%M}"}
    return _("%(days)s, %(a)s to %(b)s") % hours


@login_required
@require_GET
def rota(request: HttpRequest) -> HttpResponse:
    user, now = staff_of(request), timezone.now()
    today = now.astimezone(ZoneInfo(user.zone)).date()
    lines = (
        Duty.objects.filter(retired_on__isnull=True)
        .select_related("person")
        .order_by("order", "person__name", "pk")
    )
    away = Away.objects.filter(retired_on__isnull=True, until_on__gte=today).select_related("person")
    context = {
        "lines": [{"row": row, "when": _when(row)} for row in lines],
        "away": away.order_by("from_on", "pk"),
        "duty": on_duty(at=now, zone=business_zone()),
        "reaches": _reaches(),
        "shown": browsers_in_use(),
        "gateways": Gateway.objects.filter(retired_on__isnull=True).order_by("name", "pk"),
    }
    return render(request, "desk/rota.html", context)


def _reaches() -> QuerySet[Reach]:
    rows = Reach.objects.filter(retired_on__isnull=True, gateway__retired_on__isnull=True)
    return rows.select_related("person", "gateway").order_by("person__name", "pk")


@login_required
@require_POST
def trial(request: HttpRequest, key: UUID) -> HttpResponse:
    """Send a trial message by a way to reach somebody: whether it comes is seen before it is needed."""
    user, now = staff_of(request), timezone.now()
    row = get_object_or_404(_reaches(), pk=key)
    words = {"person": row.person.name, "by": user.name}
    post(
        key=f"trial:{uuid4()}",
        recipient=row.reached_at,
        subject=_("A trial for %(person)s") % words,
        text=_("This is a trial, asked for by %(by)s. Nothing is wrong.") % words,
        at=now,
        gateway=row.gateway,
    )
    messages.success(request, _("On its way. If it is refused, that is said under work and letters."))
    return redirect("desk:rota")
