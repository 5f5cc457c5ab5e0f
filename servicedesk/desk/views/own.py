"""The business's own data: lists, one form for each kind, retirement."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from clients.models import Client, Contact, Livestock, Site, Tank, TankStateRow
from clients.queries import get_client_for, get_tank_for, livestock_of, tanks_for
from reports.queries.pages import last_of
from servicedesk.core import units
from servicedesk.desk.actions import own
from servicedesk.desk.forms import KINDS, Kind, form_of
from servicedesk.desk.queries import board
from servicedesk.desk.queries.costs import cost_words
from servicedesk.desk.views.office import staff_of
from servicedesk.dispatch.models import Gateway
from servicedesk.dosing.models import Channel, Solution
from servicedesk.instruments.models import Candidate, Instrument, Measure, SentDose, SentSign
from servicedesk.staff.actions import NotChanged, NotHired, send_link
from servicedesk.staff.forms import PasswordOrLinkForm
from servicedesk.staff.models import Skill, Working
from servicedesk.staff.queries import business
from servicedesk.stock.choices import ItemKind
from servicedesk.stock.models import Item
from servicedesk.upkeep.choices import Every
from servicedesk.upkeep.models import TaskRule
from servicedesk.watch.models import Away, Duty, Reach
from servicedesk.water.models import Band, ChangeWater, Method, TankChangeWater, TankTest
from servicedesk.web.zones import day_of


def _kind(name: str) -> Kind:
    if name not in KINDS:
        raise Http404
    return KINDS[name]


def _row(model: type[Model], key: str) -> Model:
    try:
        found = model._default_manager.filter(pk=key).first()
    except (ValidationError, ValueError):
        found = None
    if found is None:
        raise Http404
    return found


def _parent(kind: Kind, request: HttpRequest, row: Model | None) -> Model | None:
    if not kind.parent:
        return None
    if row is not None:
        parent: Model = getattr(row, kind.parent)
        return parent
    field: Any = kind.model._meta.get_field(kind.parent)
    return _row(field.related_model, request.GET.get("in", ""))


def _home(row: Model | None) -> str:
    """Where one looks at it afterwards."""
    if isinstance(row, Client):
        return f"/clients/{row.pk}/"
    if isinstance(row, Contact | Site):
        return f"/clients/{row.client_id}/"
    if isinstance(row, Tank):
        return f"/tanks/{row.pk}/own/"
    if isinstance(row, Item):
        return f"/supplies/{row.pk}/"
    if isinstance(row, Solution):
        return f"/supplies/{row.item_id}/"
    if isinstance(row, Working | Skill):
        return reverse("staff:people")
    if isinstance(row, Duty | Away | Gateway | Reach):
        return "/rota/"
    if isinstance(row, Instrument | Measure | SentSign | SentDose):
        return f"/instruments/{row.pk if isinstance(row, Instrument) else row.instrument_id}/"
    for name in ("tank", "site", "item"):
        parent = getattr(row, name, None)
        if isinstance(parent, Item):
            return f"/supplies/{parent.pk}/"
        if isinstance(parent, Model):
            return f"/clients/{parent.client_id}/" if isinstance(parent, Site) else _home(parent)
    return "/methods/" if isinstance(row, Method | ChangeWater) else "/supplies/"


def _next(kept: Model, *, new: bool) -> str:
    """After a new dosing solution is there as a supply, its strength is asked for."""
    if new and isinstance(kept, Item) and kept.kind == ItemKind.SOLUTION:
        return reverse("desk:own_new", args=["solution"]) + f"?in={kept.pk}"
    return _home(kept)


HANDED_ON = ("title", "how", "every", "unit", "starts_on")


def _edit(request: HttpRequest, kind: Kind, row: Model | None) -> HttpResponse:
    user = staff_of(request)
    parent = _parent(kind, request, row)
    form: Any = form_of(kind, parent=parent, row=row, prices=user.is_owner, posted=request.POST or None)
    if row is None and kind.model is Item and request.GET.get("kind") in ItemKind.values:
        form.initial["kind"] = request.GET["kind"]
    if (
        row is None and kind.model is TaskRule
    ):  # as a worksheet hands it on: what stands there can still be changed
        form.initial |= {name: request.GET[name][:200] for name in HANDED_ON if name in request.GET}
    if request.method == "POST" and form.is_valid():
        fresh = row or kind.model(**({kind.parent: parent} if parent is not None else {}))
        try:
            kept = own.keep(row=fresh, values=form.cleaned_data, at=timezone.now(), by=user)
        except own.NotKept as wrong:
            form.add_error(None, str(wrong))
        else:
            messages.success(request, _("Kept."))
            return redirect(_next(kept, new=row is None))
    title = str(row) if row is not None else _("New: %(kind)s") % {"kind": str(kind.title).lower()}
    back = (
        _home(row if row is not None else parent) if (row is not None or parent is not None) else "/clients/"
    )
    context = {"form": form, "title": title, "kind": kind, "row": row, "parent": parent, "back": back}
    context["retires"] = row is not None and bool(own.end_column(row))
    return render(request, "desk/own_form.html", context)


@login_required
def new(request: HttpRequest, kind: str) -> HttpResponse:
    staff_of(request)
    return _edit(request, _kind(kind), None)


@login_required
def edit(request: HttpRequest, kind: str, key: str) -> HttpResponse:
    staff_of(request)
    known = _kind(kind)
    return _edit(request, known, _row(known.model, key))


@login_required
@require_POST
def retire(request: HttpRequest, kind: str, key: str) -> HttpResponse:
    user, now = staff_of(request), timezone.now()
    row = _row(_kind(kind).model, key)
    if not own.retire(row=row, at=now, by=user):
        raise Http404
    messages.success(request, _("Kept."))
    return redirect(_home(row))


@login_required
@require_GET
def clients(request: HttpRequest) -> HttpResponse:
    user = staff_of(request)
    now, zone = timezone.now(), ZoneInfo(user.zone)
    tanks = list(tanks_for(user, on=now.astimezone(zone).date()).filter(retired_on__isnull=True))
    lines: dict[UUID, list[board.Line]] = {}
    for line in board.lines_of(tanks, user, now=now, zone=zone):
        lines.setdefault(line.tank.site.client_id, []).append(line)
    rows = [
        {"client": row, "lines": lines.get(row.pk, [])}
        for row in Client.objects.order_by("retired_on", "name", "pk")
    ]
    return render(request, "desk/clients.html", {"clients": rows})


@login_required
@require_GET
def client(request: HttpRequest, key: str) -> HttpResponse:
    user = staff_of(request)
    row = get_client_for(user, key)
    now, zone = timezone.now(), ZoneInfo(user.zone)
    tanks = list(tanks_for(user, on=now.astimezone(zone).date()).filter(site__client=row))
    lines = board.lines_of([tank for tank in tanks if tank.retired_on is None], user, now=now, zone=zone)
    sites = [
        {
            "site": site,
            "lines": [line for line in lines if line.tank.site_id == site.pk],
            "old": [tank for tank in tanks if tank.site_id == site.pk and tank.retired_on],
            "hours": [row for row in site.hours.all() if row.retired_on is None],
            "closed": [row for row in site.closed_days.all() if row.until_on >= day_of(now)],
        }
        for site in row.sites.order_by("name").prefetch_related("equipment", "plans", "hours", "closed_days")
    ]
    context = {
        "client": row,
        "sites": sites,
        "lines": lines,
        "contacts": row.contacts.select_related("user").order_by("name"),
        "reports": last_of(user, row),
    }
    return render(request, "desk/client.html", context)


@dataclass(frozen=True)
class Line:
    """One thing of a tank, in words."""

    pk: Any
    words: str
    note: str = ""
    url: str = ""


def between(band: Band) -> str:
    """A band in words, in its unit: from, up to, or both."""
    edges = (("low", band.low), ("high", band.high))
    said = {name: units.show(band.parameter, edge, band.unit) for name, edge in edges if edge is not None}
    if not said:
        return _("no band is set")
    words = _("from %(low)s") if "high" not in said else _("up to %(high)s")
    if len(said) == 2:
        words = _("%(low)s to %(high)s")
    return f"{words % said} {units.unit_word(band.unit)}".strip()


def _line(row: Model) -> Line:
    if isinstance(row, Band):
        note = between(row)
        return Line(row.pk, units.parameter(row.parameter).name, note)
    if isinstance(row, TankStateRow):
        until = (
            _("until %(day)s") % {"day": date_format(row.until_on)} if row.until_on else _("no end is set")
        )
        return Line(row.pk, row.get_state_display(), f"{date_format(row.from_on)}, {until}")
    if isinstance(row, TaskRule):
        once = {Every.DAYS: _("every day"), Every.WEEKS: _("every week"), Every.MONTHS: _("every month")}
        often = _("every %(n)s %(unit)s") % {"n": row.every, "unit": row.get_unit_display()}
        every = once[Every(row.unit)] if row.every == 1 else often
        return Line(row.pk, row.title, _("out of use") if row.retired_on else every)
    if isinstance(row, Channel):
        return Line(row.pk, str(row), str(row.solution))
    if isinstance(row, TankChangeWater):
        return Line(row.pk, str(row.water))
    if isinstance(row, TankTest):
        return Line(row.pk, units.parameter(row.parameter).name, row.method.name)
    if isinstance(row, Instrument):
        return Line(row.pk, row.equipment.name, "", reverse("desk:instrument", args=[row.pk]))
    if isinstance(row, Livestock):
        bears = ", ".join(row.sensitive_to)
        note = _("sensitive to %(what)s") % {"what": bears} if bears else ""
        number: int = row.number  # type: ignore[attr-defined]  # an annotation of livestock_of
        return Line(row.pk, f"{row.name}: {number}", note, reverse("desk:animals", args=[row.pk]))
    return Line(row.pk, str(row))


@login_required
@require_GET
def tank(request: HttpRequest, key: str) -> HttpResponse:
    user = staff_of(request)
    row = get_tank_for(user, key, on=day_of(timezone.now()))
    parts = [
        ("band", _("Bands"), row.bands.order_by("parameter")),
        ("test", _("Tests on each visit"), row.tests.select_related("method").order_by("order")),
        ("rule", _("Recurring tasks"), row.task_rules.order_by("title")),
        ("animals", _("Animals"), livestock_of([row])),
        ("state", _("States"), row.states.order_by("-from_on")),
        (
            "channel",
            _("Dosing channels"),
            row.channels.select_related("equipment", "solution__item").order_by("number", "pk"),
        ),
        (
            "tank_water",
            _("Water for changes, where not the usual"),
            TankChangeWater.objects.filter(tank=row).select_related("water"),
        ),
        ("instrument", _("Instruments"), row.instruments.select_related("equipment").order_by("pk")),
    ]
    shown = [(name, title, [_line(r) for r in rows]) for name, title, rows in parts]
    return render(request, "desk/own_tank.html", {"tank": row, "parts": shown})


@login_required
@require_GET
def methods(request: HttpRequest) -> HttpResponse:
    user, currency = staff_of(request), business().currency
    found = Method.objects.select_related("reagent").order_by("name", "pk")
    known = [(units.parameter(m.parameter), m) for m in found]
    rows = [
        {
            "method": method,
            "parameter": parameter.name,
            "cost": cost_words(method, currency) if user.is_owner else "",
        }
        for parameter, method in sorted(known, key=lambda pair: pair[0].order)
    ]
    waters = ChangeWater.objects.order_by("retired_on", "kind", "-usual", "name")
    ways = Candidate.objects.order_by("retired_on", "name", "pk")
    return render(request, "desk/methods.html", {"methods": rows, "waters": waters, "ways": ways})


@login_required
def contact_door(request: HttpRequest, key: str) -> HttpResponse:
    """A password for a contact's sign-in at the client's door."""
    staff_of(request)
    row = _row(Contact, key)
    assert isinstance(row, Contact)
    form = PasswordOrLinkForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            now, password = timezone.now(), form.cleaned_data["password"] or None
            own.let_sign_in(contact=row, password=password, on=day_of(now), at=now)
        except (own.NotKept, NotHired) as wrong:
            form.add_error(None, str(wrong))
        else:
            return redirect(_home(row))
    context = {"form": form, "title": _("Sign-in for %(name)s") % {"name": row.name}, "back": _home(row)}
    return render(request, "desk/own_form.html", context)


@login_required
@require_POST
def contact_link(request: HttpRequest, key: str) -> HttpResponse:
    """Send a contact who signs in a link to a new password."""
    staff_of(request)
    row = _row(Contact, key)
    assert isinstance(row, Contact)
    if row.user is None:
        raise Http404
    try:
        send_link(person=row.user, at=timezone.now())
    except NotChanged as wrong:
        messages.error(request, str(wrong))
    else:
        messages.success(request, _("A link is on its way to %(email)s.") % {"email": row.email})
    return redirect(_home(row))


@login_required
@require_POST
def contact_shut(request: HttpRequest, key: str) -> HttpResponse:
    """A contact's sign-in ends at once."""
    staff_of(request)
    row = _row(Contact, key)
    assert isinstance(row, Contact)
    own.shut_out(contact=row)
    return redirect(_home(row))
