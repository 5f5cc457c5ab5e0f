"""The owner's pages that look across rooms: Today, Tanks, one tank, Upkeep, Stores."""

from datetime import timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from clients.models import Tank
from clients.queries import get_tank_for, livestock_of, states_of, tanks_for
from reports.choices import ReportState
from reports.models import Paper, Report
from servicedesk.core import units
from servicedesk.core.drawing.chart import Chart, ChartEvent, ChartSeries, Marker
from servicedesk.core.drawing.levels import LevelRow
from servicedesk.desk.queries import today as page
from servicedesk.dispatch.queries import failed_jobs
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.queries import next_visits_of
from servicedesk.rounds.views import day_strip
from servicedesk.staff.models import User
from servicedesk.staff.queries import is_empty
from servicedesk.supply.queries import needs
from servicedesk.upkeep.queries import overdue
from servicedesk.watch.models import Attention
from servicedesk.watch.queries import of_tank, open_for
from servicedesk.water.queries import ReadingValue, bands_of, latest_values, readings_of, water_changes_of

MARKERS: dict[str, Marker] = {
    "photometer": "photometer",
    "kit": "titration",
    "probe": "probe",
    "titrator": "titrator",
    "strip": "strip",
    "laboratory": "laboratory",
}


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
    rows = [*page.attention_needs(user, now=now), *page.report_needs(zone=zone)]
    bold, rest = page.lead_words(rows)
    days = page.days_on(day)
    tanks = Tank.objects.filter(retired_on__isnull=True)
    late, late_count = page.late_tasks(user, on=day)
    stops = [stop for mine in days for stop in mine.stops]
    context = {
        "rows": rows,
        "bold": bold,
        "rest": rest,
        "days": [(mine, day_strip(mine.round, mine.stops, user.zone, now)) for mine in days],
        "needs": needs(at=now, next_visits=next_visits_of(tanks, after=day))[:6],
        "late": late,
        "late_count": late_count,
        "waiting": Report.objects.filter(state=ReportState.WAITING).count(),
        "failed": failed_jobs(),
        "closed_today": sum(1 for stop in stops if stop.state == StopState.CLOSED),
        "stop_count": len(stops),
    }
    return render(request, "desk/today.html", context)


def _level(parameter: str, value: ReadingValue | None, band: Any) -> LevelRow:
    known, unit = units.parameter(parameter), band.unit

    def moved(number: float | None) -> float | None:
        return None if number is None else units.from_canonical(parameter=parameter, value=number, unit=unit)

    word, state = "", "none"
    if value is not None:
        edges = (
            ("over", band.alarm_high, 1), ("under", band.alarm_low, -1), ("high", band.high, 1), ("low", band.low, -1),
        )  # fmt: skip
        shown = float(units.show(parameter, value.value, unit))
        state = next(
            (s for s, edge, side in edges if edge is not None and side * shown > side * (moved(edge) or 0)),
            "in",
        )
    return LevelRow(
        label=known.name,
        method=f"{value.method_name}, {timezone.localtime(value.at):%d.%m. %H:%M}" if value else "",
        value_text=units.show(parameter, value.value, unit) if value else "",
        unit=units.unit_word(unit),
        value=moved(value.value) if value else None,
        low=moved(band.low),
        high=moved(band.high),
        alarm_low=moved(band.alarm_low),
        alarm_high=moved(band.alarm_high),
        kind="measured" if value else "not_tested",
        state=state,
        word=word,
        url=f"?parameter={parameter}",
    )


Groups = dict[tuple[str, Marker], list[tuple[Any, float]]]


def _chart_title(parameter: str, unit: str, groups: Groups, zone: ZoneInfo) -> str:
    """The chart's answer as a sentence."""
    name = units.parameter(parameter).name
    last = max(((at, v) for points in groups.values() for at, v in points), default=None)
    if last is None:
        return _("%(name)s has not been measured in this time.") % {"name": name}
    digits = units.decimals_in(parameter=parameter, unit=unit)
    shown = f"{last[1]:.{digits}f} {units.unit_word(unit)}".strip()
    when = date_format(last[0].astimezone(zone), "j F, H:i")
    return _("%(name)s stood at %(value)s on %(when)s.") % {"name": name, "value": shown, "when": when}


def _chart(tank: Tank, parameter: str, band: Any, days: int, zone: ZoneInfo) -> Chart:
    now = timezone.now()
    since = now - timedelta(days=days)
    unit = band.unit
    groups: Groups = {}
    for row in readings_of(tank, parameter=parameter, since=since):
        value = units.from_canonical(parameter=parameter, value=row.value, unit=unit)
        groups.setdefault((row.method_name, MARKERS.get(row.kind, "probe")), []).append((row.at, value))

    def moved(number: float | None) -> float | None:
        return None if number is None else units.from_canonical(parameter=parameter, value=number, unit=unit)

    title = _chart_title(parameter, unit, groups, zone)
    events = [
        ChartEvent(at=c.at, kind="change", text=f"{c.litres:g} L") for c in water_changes_of(tank, since)
    ]
    return Chart(
        title=title,
        unit=units.unit_word(unit),
        series=[
            ChartSeries(
                label=label,
                marker=marker,
                points=points,
                gap=timedelta(days=9 if marker != "titrator" else 2),
            )
            for (label, marker), points in sorted(groups.items())[:3]
        ],
        low=moved(band.low),
        high=moved(band.high),
        limit_low=moved(band.alarm_low),
        limit_high=moved(band.alarm_high),
        events=events,
        now=now,
        start=since,
        end=now + timedelta(days=max(1, days // 20)),
        zone=zone,
    )


@login_required
@require_GET
def tank(request: HttpRequest, key: UUID) -> HttpResponse:
    user = staff_of(request, office=False)
    zone = ZoneInfo(user.zone)
    day = timezone.now().astimezone(zone).date()
    row = get_tank_for(user, key, on=day)
    bands, latest = bands_of(row), latest_values([row])
    ordered = sorted(bands.values(), key=lambda b: units.parameter(b.parameter).order)
    levels = [_level(b.parameter, latest.get((row.pk, b.parameter)), b) for b in ordered]
    measured = [b.parameter for b in ordered if (row.pk, b.parameter) in latest]
    favourite = "alkalinity" if "alkalinity" in measured else (measured[0] if measured else "")
    wanted = request.GET.get("parameter", "")
    chosen = wanted if wanted in bands else favourite
    days = int(request.GET["days"]) if request.GET.get("days") in ("7", "28", "84") else 84
    state = states_of([row], day).get(row.pk)
    context = {
        "tank": row,
        "levels": levels,
        "chart": _chart(row, chosen, bands[chosen], days, zone) if chosen else None,
        "chosen": chosen,
        "days": days,
        "spans": ["7", "28", "84"],
        "attention": of_tank(user, row.pk, on=day),
        "state": state,
        "animals": livestock_of([row]),
        "next_day": next_visits_of([row], after=day - timedelta(days=1)).get(row.pk),
        "equipment": row.equipment.filter(retired_on__isnull=True).order_by("kind", "name"),
    }
    return render(request, "desk/tank.html", context)


@login_required
@require_GET
def tanks(request: HttpRequest) -> HttpResponse:
    user = staff_of(request)
    day = timezone.now().astimezone(ZoneInfo(user.zone)).date()
    rows = list(tanks_for(user, on=day).filter(retired_on__isnull=True))
    wanting: dict[UUID, list[Attention]] = {}
    for item in open_for(user):
        if item.tank_id:
            wanting.setdefault(item.tank_id, []).append(item)
    states = states_of(rows, day)
    lines = [{"tank": t, "attention": wanting.get(t.pk, []), "state": states.get(t.pk)} for t in rows]
    return render(request, "desk/tanks.html", {"lines": lines, "count": len(rows), "wanting": len(wanting)})


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
    found = needs(at=now, next_visits=next_visits_of(Tank.objects.filter(retired_on__isnull=True), after=day))
    return render(request, "supply/stores.html", {"needs": found})
