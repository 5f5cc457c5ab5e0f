"""What must be in the van: one's own, or for the office a technician's."""

from dataclasses import dataclass

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from servicedesk.rounds import queries
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries.load import LoadLine
from servicedesk.rounds.views.shown import driver_of, staff, today_of
from servicedesk.staff.queries import technicians
from servicedesk.stock.choices import PlaceKind
from servicedesk.stock.models import Place
from servicedesk.stock.queries import amount_words


@dataclass(frozen=True)
class Line:
    """A line of the load in words."""

    item: str
    amount: str
    kg: str
    stops: list[str]
    why: str


def stops_words(orders: set[int], names: dict[int, str]) -> list[str]:
    """For which stops: "1 Mill House", "3 The Anchor"."""
    return [f"{order} {names[order]}" for order in sorted(orders)]


def _line(line: LoadLine, names: dict[int, str]) -> Line:
    return Line(
        item=line.item.name,
        amount=amount_words(line.amount, line.item.unit),
        kg="" if line.kg is None else _("%(kg)s kg") % {"kg": number_format(line.kg, 1)},
        stops=stops_words(line.stops, names),
        why="; ".join(sorted(line.whys)),
    )


def _to_come(stops: list[Stop]) -> list[Stop]:
    return [s for s in stops if s.state in (StopState.PLANNED, StopState.UNDER_WAY)]


@login_required
@require_GET
def load(request: HttpRequest) -> HttpResponse:
    user = staff(request)
    driver, now, day = driver_of(request, user), timezone.now(), today_of(user)
    _row, stops = queries.round_of(driver, day)
    to_come = _to_come(stops)
    found = queries.load_of(to_come, day=day, at=now)
    names = {s.order: s.due_visit.site.name for s in to_come}
    context = {
        "load": found,
        "shelves": [{"name": s.name, "lines": [_line(li, names) for li in s.lines]} for s in found.shelves],
        "count": len(to_come),
        "takes": Place.objects.filter(kind=PlaceKind.VAN, keeper=driver)
        .values_list("boxes", flat=True)
        .first()
        if found.boxes
        else None,
        "driver": driver,
        "own": driver == user,
        "people": technicians() if user.is_office else [],
    }
    return render(request, "rounds/load.html", context)
