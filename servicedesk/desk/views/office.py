"""The owner's pages that look across rooms: Today, Tanks, one tank, Upkeep, Stores."""

from datetime import timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from clients.queries import get_tank_for, livestock_of, states_of, tanks_for
from reports.models import Paper
from reports.queries.answers import answers_for
from servicedesk.core import units
from servicedesk.desk.queries import board, follows
from servicedesk.desk.queries import tank as one
from servicedesk.desk.queries import today as page
from servicedesk.desk.queries.worksheets import problems
from servicedesk.dispatch.queries import trouble
from servicedesk.dosing.queries import treatments_of
from servicedesk.instruments.queries import standings_of
from servicedesk.instruments.queries.mixing import minutes_since_dose
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.queries import next_visits_of
from servicedesk.rounds.views import day_strip
from servicedesk.staff.models import User
from servicedesk.staff.queries import is_empty
from servicedesk.stock.queries import short
from servicedesk.supply.queries import kept, needs
from servicedesk.upkeep.queries import overdue
from servicedesk.watch.queries import charts, looked, of_seen_tank
from servicedesk.water.models import Band
from servicedesk.water.queries import ReadingValue, bands_of, latest_of_series

USUAL_DAYS = 28
TOLD_AFTER = timedelta(days=28)
"""A treatment is told for four weeks after its end (common practice)."""


def staff_of(request: HttpRequest, *, office: bool = True) -> User:
    """The person of ours who asks; a client's contact (or, where asked for, a technician) meets nothing here."""
    user = request.user
    if not isinstance(user, User) or not (user.is_office or (user.is_technician and not office)):
        raise Http404
    return user


def home(request: HttpRequest) -> HttpResponse:
    """Everybody's own first page."""
    if is_empty():
        return redirect("desk:setup")
    user = request.user
    if not isinstance(user, User):
        return redirect("staff:sign_in")
    if user.is_office:
        return redirect("desk:today")
    return redirect("rounds:today" if user.is_technician else "desk:door")


@login_required
@require_GET
def today(request: HttpRequest) -> HttpResponse:
    user = staff_of(request)
    now, zone = timezone.now(), ZoneInfo(user.zone)
    day = now.astimezone(zone).date()
    reports, waiting = page.report_needs(zone=zone)
    rows = [*page.attention_needs(user, now=now), *reports]
    seen = looked(now=now)
    bold, rest = page.lead_words(rows, seen, zone=zone)
    days = page.days_on(day)
    late, late_count = page.late_tasks(user, on=day)
    stops = [stop for mine in days for stop in mine.stops]
    context = {
        "rows": rows,
        "bold": bold,
        "rest": rest,
        "stale": seen.stale,
        "days": [(mine, day_strip(mine.round, mine.stops, user.zone, now)) for mine in days],
        "needs": needs(at=now, next_visits=next_visits_of(None, after=day), empties=kept(at=now))[:6],
        "late": late,
        "late_count": late_count,
        "waiting": waiting,
        "answers": answers_for(user, at=now),
        "trouble": trouble(),
        "closed_today": sum(1 for stop in stops if stop.state == StopState.CLOSED),
        "stop_count": len(stops),
    }
    return render(request, "desk/today.html", context)


@login_required
@require_GET
def tank(request: HttpRequest, key: UUID) -> HttpResponse:
    user = staff_of(request, office=False)
    now, zone = timezone.now(), ZoneInfo(user.zone)
    day = now.astimezone(zone).date()
    row = get_tank_for(user, key, on=day)
    bands, standings = bands_of(row), standings_of([row])
    newest = latest_of_series([row])
    latest = {value.parameter: value for value in newest}
    chosen, days = _chosen(request, bands, latest)
    unmixed = minutes_since_dose(row, newest, standings)
    levels = one.level_rows(bands, latest, standings, zone=zone, unmixed=unmixed)
    attention = of_seen_tank(row)
    context = {
        "tank": row,
        "lead": one.lead_of(levels, attention[0].sentence if attention else ""),
        "levels": levels,
        "chart": charts.chart_of(row, bands[chosen], standings, days=days, now=now, zone=zone)
        if chosen
        else None,
        "chosen": chosen,
        "days": days,
        "table_url": f"?parameter={chosen}&days={days}&table=1#table",
        "spans": one.SPANS,
        "opened": "table" in request.GET,
        "overlays": one.overlays_of(row, bands, standings, now=now, zone=zone),
        "attention": attention,
        "problems": problems(levels, bands),
        "follows": follows.lines_of(row, newest, standings),
        "treatments": treatments_of(row, since=day - TOLD_AFTER),
        "state": states_of([row], day).get(row.pk),
        "cautions": one.cautions_at(row.site),
        "animals": livestock_of([row]),
        "fitted": one.fitted_at(row, standings),
        "dosed": one.dosed_at(row, now=now),
        "next_visit": one.next_visit(row, now=now, zone=zone),
        "visits": one.last_visits(row),
    }
    return render(request, "desk/tank.html", context)


def _chosen(request: HttpRequest, bands: dict[str, Band], latest: dict[str, ReadingValue]) -> tuple[str, int]:
    """The parameter and the days that the chart shows: as asked for, else alkalinity or the first measured."""
    wanted, span = request.GET.get("parameter", ""), request.GET.get("days", "")
    measured = [p for p in sorted(bands, key=lambda p: units.parameter(p).order) if p in latest]
    usual = "alkalinity" if "alkalinity" in measured else next(iter(measured), "")
    days = int(span) if span in {str(known) for known in one.SPANS} else USUAL_DAYS
    return (wanted if wanted in bands else usual), days


@login_required
@require_GET
def tanks(request: HttpRequest) -> HttpResponse:
    user = staff_of(request)
    now, zone = timezone.now(), ZoneInfo(user.zone)
    rows = list(tanks_for(user, on=now.astimezone(zone).date()).filter(retired_on__isnull=True))
    lines = board.lines_of(rows, user, now=now, zone=zone)
    seen = looked(now=now)
    context = {
        "lines": lines,
        "count": len(lines),
        "wanting": sum(1 for line in lines if line.told),
        "unknown": sum(1 for line in lines if line.glyph == "none"),
        "unjudged": page.unjudged_words(seen, zone=zone) if seen.stale else None,
    }
    return render(request, "desk/tanks.html", context)


@login_required
@require_GET
def upkeep(request: HttpRequest) -> HttpResponse:
    user = staff_of(request)
    day = timezone.now().astimezone(ZoneInfo(user.zone)).date()
    late = [{"task": t, "days": (day - t.latest).days} for t in overdue(user, on=day)]
    paper = Paper.objects.order_by("-day").first()
    return render(request, "upkeep/overdue.html", {"late": late, "paper": paper})


@login_required
@require_GET
def stores(request: HttpRequest) -> HttpResponse:
    user = staff_of(request)
    now = timezone.now()
    day = now.astimezone(ZoneInfo(user.zone)).date()
    found = needs(at=now, next_visits=next_visits_of(None, after=day))
    return render(request, "supply/stores.html", {"needs": found, "short": short()})
