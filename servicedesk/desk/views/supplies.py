"""Supplies as the office looks at them: the list, one supply with its lots and where they are, the places."""

from typing import Any
from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from servicedesk.core import units
from servicedesk.desk.views.office import staff_of
from servicedesk.dosing.models import Solution
from servicedesk.staff.queries import business
from servicedesk.stock.choices import ItemKind
from servicedesk.stock.models import Item
from servicedesk.stock.queries import balances, get_item_for, lots_of, movements_of, places_for
from servicedesk.water.models import Method
from servicedesk.web.zones import day_of


@login_required
@require_GET
def items(request: HttpRequest) -> HttpResponse:
    user = staff_of(request)
    stock = balances()
    rows = [
        {"item": i, "left": stock.get(i.pk, 0.0), "below": stock.get(i.pk, 0.0) < 0}
        for i in Item.objects.order_by("retired_on", "name", "pk")
    ]
    below = sum(1 for row in rows if row["below"])
    context = {"rows": rows, "below": below, "places": places_for(user), "solutions": _solutions()}
    return render(request, "desk/items.html", context)


def _solutions() -> list[dict[str, Any]]:
    """Supplies that are dosed, each with what it raises and how strong it is, or that this is still to be said."""
    found = Item.objects.filter(kind=ItemKind.SOLUTION, retired_on__isnull=True).select_related("solution")
    return [
        {"item": i, "says": _strength(getattr(i, "solution", None))} for i in found.order_by("name", "pk")
    ]


def _strength(solution: Solution | None) -> str:
    if solution is None:
        return ""
    known = units.parameter(solution.parameter)
    words = {"what": known.name, "n": f"{solution.per_ml:.4g}", "unit": units.unit_word(known.unit)}
    return _("%(what)s: 1 mL raises 1 L by %(n)s %(unit)s") % words


@login_required
@require_GET
def item(request: HttpRequest, key: UUID) -> HttpResponse:
    user = staff_of(request)
    row = get_item_for(user, key)
    today = day_of(timezone.now())
    lots = [
        {"lot": left, "past": bool(left.lot and left.lot.expires_on and left.lot.expires_on < today)}
        for left in lots_of(row)
    ]
    context = {
        "item": row,
        "lots": lots,
        "total": sum(entry["lot"].amount for entry in lots),  # type: ignore[attr-defined]
        "movements": movements_of(row),
        "prices": user.is_owner,
        "currency": business().currency,
        "dosed": row.kind == ItemKind.SOLUTION,
        "solution": Solution.objects.filter(item=row).first(),
        "methods": Method.objects.filter(reagent=row).order_by("name", "pk"),
    }
    return render(request, "desk/item.html", context)
