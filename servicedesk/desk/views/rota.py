"""Who answers alarms, and who is away."""

from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from servicedesk.desk.forms.own import WEEKDAYS
from servicedesk.desk.views.office import staff_of
from servicedesk.staff.queries import business_zone
from servicedesk.watch.models import Away, Duty
from servicedesk.watch.queries.alarms import on_duty


def _when(row: Duty) -> str:
    """Days and hours of a line, in words."""
    names = [str(name) for number, name in WEEKDAYS if number in row.weekdays]
    days = _("every day") if len(names) == len(WEEKDAYS) else ", ".join(names) or _("on no day")
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
    }
    return render(request, "desk/rota.html", context)
