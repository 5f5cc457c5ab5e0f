"""Values held apart that wait for a person, together where the same thing is wrong with them."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.db.models import Count, Max, Min, Q, QuerySet

from clients.models import Equipment, Tank
from clients.queries import tanks_for
from servicedesk.core import units
from servicedesk.instruments.models import Instrument, Measure
from servicedesk.staff.models import User
from servicedesk.water.models import HeldReading, Method

MOST_SHOWN = 50


@dataclass(frozen=True)
class Group:
    """What is wrong with some values of one device at one tank: how many, from when until when."""

    tank: Tank
    equipment: Equipment | None
    parameter: str
    unit: str
    reason: str
    number: int
    first: datetime | None
    last: datetime | None

    @property
    def query(self) -> str:
        """What names the group in an address."""
        named = {"tank": self.tank.pk, "parameter": self.parameter, "unit": self.unit, "reason": self.reason}
        if self.equipment:
            named["equipment"] = self.equipment.pk
        return urlencode(named)


def waiting_for(user: User, *, on: Any) -> QuerySet[HeldReading]:
    """Values that wait, of the tanks this person sees."""
    return HeldReading.objects.filter(decided_at__isnull=True, tank__in=tanks_for(user, on=on).order_by())


def groups_for(user: User, *, on: Any) -> list[Group]:
    """All groups, the newest first."""
    rows = (
        waiting_for(user, on=on)
        .values("tank", "equipment", "parameter", "entered_unit", "reason")
        .annotate(number=Count("pk"), first=Min("at"), last=Max("at"), came=Max("received_at"))
        .order_by("-came", "reason")
    )
    found = list(rows)
    tanks = Tank.objects.select_related("site").in_bulk({row["tank"] for row in found})
    devices = Equipment.objects.in_bulk({row["equipment"] for row in found if row["equipment"]})
    return [
        Group(
            tanks[row["tank"]],
            devices.get(row["equipment"]),
            row["parameter"],
            row["entered_unit"],
            row["reason"],
            row["number"],
            row["first"],
            row["last"],
        )
        for row in found
    ]


def of_group(
    user: User, *, on: Any, tank: UUID, equipment: UUID | None, parameter: str, unit: str, reason: str
) -> QuerySet[HeldReading]:
    """The values of one group, newest first."""
    rows = waiting_for(user, on=on).filter(
        tank=tank, equipment=equipment, parameter=parameter, entered_unit=unit, reason=reason
    )
    return rows.select_related("tank", "equipment").order_by("-at", "-received_at", "pk")


@dataclass(frozen=True)
class Way:
    """By which method a value may be taken in, and of whom, where a relay sent it for another."""

    key: str
    method: Method
    of: Instrument | None = None

    @property
    def words(self) -> str:
        """As it is chosen: what it is and by what, whose where that is another's."""
        words = f"{units.parameter(self.method.parameter).name}, {self.method.name}"
        return f"{self.of.equipment.name}: {words}" if self.of else words


def ways_to_take(equipment: Equipment | None, tank: Tank) -> list[Way]:
    """By which methods a value may be taken in: those of the instrument and of those that come through it, or what the tank is tested by."""
    if equipment is None:
        tests = tank.tests.select_related("method").order_by("order", "pk")
        return [Way(str(test.method_id), test.method) for test in tests]
    mine = Q(instrument__equipment=equipment) | Q(instrument__through__equipment=equipment)
    rows = Measure.objects.filter(mine).select_related("method", "instrument__equipment", "instrument__tank")
    own, relayed = list[Way](), list[Way]()
    for measure in rows.order_by("instrument__relay_name", "parameter", "pk"):
        if measure.instrument.equipment_id == equipment.pk:
            own.append(Way(str(measure.method_id), measure.method))
        else:
            relayed.append(Way(str(measure.pk), measure.method, measure.instrument))
    return own + relayed
