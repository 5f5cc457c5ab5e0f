"""Booking supplies: what came, what is there, what goes from the store to a van; a technician's own van."""

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from servicedesk.staff.models import User
from servicedesk.staff.queries import business
from servicedesk.stock import actions, queries
from servicedesk.stock.forms import CountForm, MoveForm, ReceiptForm
from servicedesk.stock.models import Item


def _user(request: HttpRequest, *, office: bool = False) -> User:
    user = request.user
    if not isinstance(user, User) or (office and not user.is_office):
        raise Http404
    return user


def _home(user: User, item: Item) -> HttpResponse:
    return redirect("desk:item", item.pk) if user.is_office else redirect("stock:van")


def _page(
    request: HttpRequest, *, user: User, item: Item, form: object, title: str, note: str
) -> HttpResponse:
    context = {"form": form, "item": item, "title": title, "note": note, "office": user.is_office}
    return render(request, "stock/book.html", context)


@login_required
def receive(request: HttpRequest, key: UUID) -> HttpResponse:
    user = _user(request, office=True)
    item, places = queries.get_item_for(user, key), queries.places_for(user)
    form = ReceiptForm(
        request.POST or None, item=item, places=places, prices=user.is_owner, currency=business().currency
    )
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            actions.receive(
                item=item,
                place=said.get("place"),
                amount=form.amount(),
                code=said["code"].strip(),
                expires_on=said["expires_on"],
                price_per_pack=said.get("price"),
                at=timezone.now(),
                by=user,
                origin=said["entry"],
            )
        except actions.NothingMoved as wrong:
            form.add_error("expires_on" if isinstance(wrong, actions.OtherDate) else "quantity", str(wrong))
        else:
            messages.success(request, _("Booked in."))
            return _home(user, item)
    note = _("Book in what came, lot by lot.")
    if "place" not in form.fields:
        note += " " + _("There is no place yet: it goes to a new one called Store.")
    return _page(request, user=user, item=item, form=form, title=_("Something came"), note=note)


@login_required
def count(request: HttpRequest, key: UUID) -> HttpResponse:
    user = _user(request)
    item, places = queries.get_item_for(user, key), queries.places_for(user)
    form = CountForm(
        request.POST or None, item=item, places=places, initial={"place": request.GET.get("place", "")}
    )
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            row = actions.count(
                item=item,
                place=said["place"],
                lot=said["lot"],
                there=form.amount(),
                at=timezone.now(),
                by=user,
                origin=said["entry"],
            )
        except actions.NothingMoved as wrong:
            form.add_error("quantity", str(wrong))
        else:
            messages.success(request, _difference(row.amount, item))
            return _home(user, item)
    note = _("Type what is there. The difference to the book is booked, up or down.")
    return _page(request, user=user, item=item, form=form, title=_("Count"), note=note)


def _difference(amount: float, item: Item) -> str:
    if amount == 0:
        return _("The count agrees with the book.")
    words = _("more than the book said") if amount > 0 else _("less than the book said")
    return f"{item.name}: {abs(amount):g} {item.get_unit_display()} {words}."


@login_required
def move(request: HttpRequest, key: UUID) -> HttpResponse:
    user = _user(request, office=True)
    item, places = queries.get_item_for(user, key), queries.places_for(user)
    form = MoveForm(request.POST or None, item=item, places=places)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            actions.move(
                item=item,
                start=said["start"],
                end=said["end"],
                lot=said["lot"],
                amount=form.amount(),
                at=timezone.now(),
                by=user,
                origin=said["entry"],
            )
        except actions.NothingMoved as wrong:
            form.add_error(None, str(wrong))
        else:
            messages.success(request, _("Moved."))
            return _home(user, item)
    note = _("From the store into a van, or back.")
    return _page(request, user=user, item=item, form=form, title=_("Move to another place"), note=note)


@login_required
@require_GET
def van(request: HttpRequest) -> HttpResponse:
    """The vans a technician keeps, with what should be in them."""
    user = _user(request)
    if not user.is_technician:
        raise Http404
    items = list(Item.objects.filter(retired_on__isnull=True).order_by("shelf", "name", "pk"))
    vans = []
    for place in queries.places_for(user):
        left = queries.balances(place)
        vans.append((place, [(item, left.get(item.pk, 0.0)) for item in items]))
    return render(request, "stock/van.html", {"vans": vans})
