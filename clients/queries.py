"""Who may see what of clients, sites and tanks, and what lives there.

The `…_for` functions are the only way from a request to an object. Something foreign and something missing give
the same Http404."""

from collections.abc import Iterable
from datetime import date
from typing import TypeVar
from uuid import UUID

from django.db.models import Case, F, IntegerField, Q, QuerySet, Sum, Value, When
from django.db.models.functions import Coalesce
from django.http import Http404

from clients.choices import LivestockChange, TankState
from clients.models import Client, Contact, Equipment, Livestock, Site, Tank, TankStateRow
from servicedesk.dispatch.queries import withdrawn
from servicedesk.staff.models import User
from servicedesk.web.prepared import DAY, KEYS, Slot, prepared

Row = TypeVar("Row", Client, Site, Tank, Equipment)


def _one(rows: "QuerySet[Row]", key: UUID | str) -> Row:
    try:
        found = rows.filter(pk=UUID(str(key))).first()
    except ValueError:
        found = None
    if found is None:
        raise Http404
    return found


def contact_of(user: User) -> Contact | None:
    """The contact who signs in as this user, while the client is still served."""
    return Contact.objects.select_related("client").filter(user=user, client__retired_on__isnull=True).first()


def clients_for(user: User) -> QuerySet[Client]:
    """Owner and office: every client. A contact: the own one. Anybody else: none."""
    rows = Client.objects.order_by("name", "pk")
    if user.is_office:
        return rows
    if user.is_client:
        return rows.filter(contacts__user=user, retired_on__isnull=True)
    return rows.none()


def tanks_for(user: User, *, on: date) -> QuerySet[Tank]:
    """Owner and office: every tank. A technician: tanks in sight on that day. A contact: the client's own."""
    rows = Tank.objects.select_related("site", "site__client").order_by(
        "site__client__name", "site__name", "order", "pk"
    )
    if user.is_office:
        return rows
    if user.is_technician:
        seen = Tank.objects.filter(
            sights__user=user, sights__first_day__lte=on, sights__last_day__gte=on
        ).values("pk")
        return rows.filter(pk__in=seen)
    if user.is_client:
        return rows.filter(
            site__client__contacts__user=user, site__client__retired_on__isnull=True, retired_on__isnull=True
        )
    return rows.none()


def sites_for(user: User, *, on: date) -> QuerySet[Site]:
    """The sites of the tanks that the user may see; owner and office see those without tanks too."""
    rows = Site.objects.select_related("client").order_by("client__name", "name", "pk")
    if user.is_office:
        return rows
    return rows.filter(pk__in=tanks_for(user, on=on).order_by().values("site"))


def equipment_for(user: User, *, on: date) -> QuerySet[Equipment]:
    """Equipment on the sites that the user may see (never for a contact)."""
    rows = Equipment.objects.select_related("site", "tank").order_by("site__name", "name", "pk")
    if user.is_client:
        return rows.none()
    return rows.filter(site__in=sites_for(user, on=on).order_by().values("pk"))


def get_client_for(user: User, key: UUID | str) -> Client:
    return _one(clients_for(user), key)


def get_tank_for(user: User, key: UUID | str, *, on: date) -> Tank:
    return _one(tanks_for(user, on=on), key)


@prepared(tanks=KEYS, on=DAY)
def _states(tanks: Slot, on: Slot) -> QuerySet[TankStateRow]:
    rows = TankStateRow.objects.filter(tank__in=tanks, from_on__lte=on)
    return rows.filter(Q(until_on__isnull=True) | Q(until_on__gte=on)).order_by("from_on", "pk")


def states_of(tanks: Iterable[Tank], on: date) -> dict[UUID, TankStateRow]:
    """The state row in force on that day, per tank; a tank without one is normal."""
    return {row.tank_id: row for row in _states(tanks=[t.pk for t in tanks], on=on)}


def current_state(tank: Tank, on: date) -> str:
    """The state of one tank on that day (a choices.TankState value)."""
    row = states_of([tank], on).get(tank.pk)
    return row.state if row else TankState.NORMAL


@prepared(tanks=KEYS)
def _livestock(tanks: Slot) -> QuerySet[Livestock]:
    signed = Case(
        When(facts__change=LivestockChange.ADDED, then=F("facts__number")),
        default=Value(-1) * F("facts__number"),
        output_field=IntegerField(),
    )
    return (
        Livestock.objects.filter(tank__in=tanks)
        .annotate(
            number=Coalesce(Sum(signed, filter=Q(facts__isnull=False) & ~Q(withdrawn("facts__origin"))), 0)
        )
        .order_by("tank__order", "name", "pk")
    )


def livestock_of(tanks: Iterable[Tank]) -> list[Livestock]:
    """Animals with `number`: added less died less moved out, from the facts."""
    return _livestock(tanks=[t.pk for t in tanks])


def name_beside_tank(piece: Equipment) -> str:
    """The name of a piece of equipment where its tank is already named."""
    return piece.name.removesuffix(f", {piece.tank.name}") if piece.tank else piece.name
