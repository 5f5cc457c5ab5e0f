"""The first start: the business and its owner; afterwards the guide to what is missing next."""

from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.contrib.auth import login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients.models import Client, ServicePlan, Site, Tank
from servicedesk.staff import actions, queries
from servicedesk.staff.forms import BusinessForm, OwnerForm
from servicedesk.staff.models import User
from servicedesk.stock.models import Item
from servicedesk.water.models import ChangeWater, Method, TankTest


@dataclass(frozen=True)
class Step:
    """One thing that a business needs before it can drive a round."""

    title: str
    why: str
    done: bool
    url: str


def _address(name: str) -> str:
    return reverse(name)


def steps() -> list[Step]:
    """What is there and what is missing, in the order in which it is needed."""
    business = queries.business()
    return [
        Step(_("The business"), _("Name and emergency number stand on every report."), bool(business.emergency_phone), reverse("desk:setup") + "?business=1"),
        Step(_("A technician"), _("Somebody drives the rounds."), bool(queries.technicians()), _address("staff:person_new")),
        Step(_("Ways of testing"), _("Every value stands with its method and tolerance."), Method.objects.exists(), reverse("desk:own_new", args=["method"])),
        Step(_("Water for changes"), _("What your salt mix and your tap water hold: advice reckons with it."), ChangeWater.objects.exists(), reverse("desk:own_new", args=["water"])),
        Step(_("A client"), _("Whose tanks you look after."), Client.objects.exists(), reverse("desk:own_new", args=["client"])),
        Step(_("A site"), _("Where the tanks stand and how one gets in."), Site.objects.exists(), _address("desk:clients")),
        Step(_("A tank"), _("Its bands come from its water type and can be changed."), Tank.objects.exists(), _address("desk:clients")),
        Step(_("Tests of a tank"), _("What is tested on each visit."), TankTest.objects.exists(), _address("desk:clients")),
        Step(_("Supplies"), _("So that nothing runs out."), Item.objects.exists(), _address("desk:items")),
        Step(_("A service plan"), _("It makes the visits, and the visits make the week."), ServicePlan.objects.exists(), _address("desk:clients")),
    ]  # fmt: skip


def _first(request: HttpRequest) -> HttpResponse:
    business, owner = BusinessForm(request.POST or None), OwnerForm(request.POST or None, prefix="me")
    if request.method == "POST" and business.is_valid() and owner.is_valid():
        said = owner.cleaned_data
        try:
            user = actions.set_up(
                business=business.cleaned_data,
                name=said["owner_name"],
                email=said["owner_email"],
                password=said["password"],
                on=timezone.now().astimezone(ZoneInfo(business.cleaned_data["zone"])).date(),
            )
        except actions.NotHired as wrong:
            messages.error(request, str(wrong))
            return redirect("staff:sign_in")
        login(request, user, backend="django.contrib.auth.backends.ModelBackend")
        return redirect("desk:setup")
    return render(request, "desk/setup_first.html", {"business": business, "owner": owner})


def _business(request: HttpRequest) -> HttpResponse:
    row = queries.business()
    start: dict[str, Any] = {f: getattr(row, f) for f in BusinessForm.base_fields}
    form = BusinessForm(request.POST or None, initial=start)
    if request.method == "POST" and form.is_valid():
        actions.save_business(**form.cleaned_data)
        return redirect("desk:setup")
    return render(request, "desk/setup_business.html", {"form": form})


def setup(request: HttpRequest) -> HttpResponse:
    if queries.is_empty():
        return _first(request)
    user = request.user
    if not isinstance(user, User):
        return redirect("staff:sign_in")
    if not user.is_owner:
        raise Http404
    if request.GET.get("business"):
        return _business(request)
    found = steps()
    missing = [s for s in found if not s.done]
    lead = _("Everything is there to drive a round.")
    if missing:
        lead = ngettext("One thing is missing:", "%(n)s things are missing, first:", len(missing)) % {
            "n": len(missing)
        }
        lead += f" {missing[0].title.lower()}."
    return render(
        request, "desk/setup.html", {"steps": found, "lead": lead, "next": missing[0] if missing else None}
    )
