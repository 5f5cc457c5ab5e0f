"""Worksheets: a problem with the tank's numbers filled in, worked at once, by a link that can be kept and printed."""

from urllib.parse import urlencode
from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from clients.models import Tank
from clients.queries import get_tank_for
from servicedesk.core import units
from servicedesk.core.tables import read_json
from servicedesk.core.worksheets import Result, Worksheet
from servicedesk.desk.forms import WorksheetForm
from servicedesk.desk.queries.worksheets import filled, sheets_for
from servicedesk.desk.views.office import staff_of
from servicedesk.staff.models import User
from servicedesk.web.zones import day_of


def _tank(user: User, key: UUID | None) -> Tank | None:
    return None if key is None else get_tank_for(user, key, on=day_of(timezone.now()))


@login_required
@require_GET
def worksheets(request: HttpRequest) -> HttpResponse:
    """All worksheets, empty."""
    staff_of(request, office=False)
    return render(request, "desk/worksheets.html", {"sheets": sheets_for(None).values(), "tank": None})


@login_required
@require_GET
def of_tank(request: HttpRequest, key: UUID) -> HttpResponse:
    """All worksheets, to be filled in from one tank."""
    tank = _tank(staff_of(request, office=False), key)
    return render(request, "desk/worksheets.html", {"sheets": sheets_for(tank).values(), "tank": tank})


def cautions(sheet: Worksheet, result: Result | None) -> list[dict[str, object]]:
    """Hazards of the worksheet and of what came out."""
    wanted = {*sheet.hazards, *(result.hazards if result else ())}
    return [hazard for hazard in read_json("hazards.json")["hazards"] if hazard["id"] in wanted]


def _rule(request: HttpRequest, tank: Tank | None, result: Result | None) -> str:
    """The address at which the longest harmless silence becomes a recurring task of the tank."""
    every = result.values.get("test_every_days") if result else None
    if tank is None or every is None:
        return ""
    parameter = request.GET.get("for", "")
    name = units.PARAMETERS[parameter].name if parameter in units.PARAMETERS else _("what is dosed")
    asked = {
        "in": str(tank.pk),
        "title": _("Test %(name)s by hand") % {"name": name},
        "how": _("Before a pump that stops, or gives too much, could do harm."),
        "every": f"{every:.0f}",
        "unit": "days",
        "starts_on": day_of(timezone.now()).isoformat(),
    }
    return f"{reverse('desk:own_new', args=['rule'])}?{urlencode(asked)}"


@login_required
@require_GET
def worksheet(request: HttpRequest, sheet: str, key: UUID | None = None) -> HttpResponse:
    """One worksheet: as it is filled in from the tank, or as it was typed (the address holds everything)."""
    user = staff_of(request, office=False)
    tank = _tank(user, key)
    page = sheets_for(tank).get(sheet)
    if page is None:
        raise Http404
    start = filled(page, tank, parameter=request.GET.get("for", ""), at=timezone.now())
    typed = {ask.key: request.GET[ask.key] for ask in page.asks if ask.key in request.GET}
    form = WorksheetForm(page, {**start, **typed})
    result = form.worked()
    if result is None and not typed and not form.non_field_errors():  # an empty field is no fault yet
        form = WorksheetForm(page, None, initial=start)
    context = {
        "sheet": page,
        "tank": tank,
        "form": form,
        "result": result,
        "cautions": cautions(page, result),
        "rule": _rule(request, tank, result) if user.is_office else "",
    }
    return render(request, "desk/worksheet.html", context)
