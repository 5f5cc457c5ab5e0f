"""What an entry says, read with care: texts, numbers and keys, each of which may be anything at first."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from django.utils.translation import gettext as _

from clients.models import Tank
from servicedesk.core import units
from servicedesk.dosing.models import Channel
from servicedesk.instruments.models import Measure
from servicedesk.staff.models import User
from servicedesk.stock.models import Lot
from servicedesk.upkeep.models import Task
from servicedesk.visits.actions.wire import Refused, Wire, key_of
from servicedesk.visits.models import Visit

Row = TypeVar("Row")
LONGEST = 2000
STANDARD_HPA = 1013.25
MOST_PRICE = 1_000_000
FIELDS = ("summary", "changed", "staff_do", "staff_dont")


@dataclass(frozen=True)
class Making:
    """One entry being made into facts."""

    visit: Visit
    wire: Wire
    by: User
    received_at: datetime

    @property
    def fact(self) -> dict[str, Any]:
        """What every fact made from this entry carries."""
        return {"at": self.wire.at, "by": self.by, "origin": self.wire.id, "received_at": self.received_at}

    def text(self, name: str, *, needed: bool = False, longest: int = LONGEST) -> str:
        value = self.wire.payload.get(name, "")
        if not isinstance(value, str) or len(value) > longest:
            raise Refused(_("“%(name)s” is not a text of sensible length.") % {"name": name})
        if needed and not value.strip():
            raise Refused(_("“%(name)s” is empty. Say it in a few words.") % {"name": name})
        return value.strip()

    def flag(self, name: str) -> bool:
        value = self.wire.payload.get(name, False)
        if not isinstance(value, bool):
            raise Refused(_("“%(name)s” is yes or no.") % {"name": name})
        return value

    def number(self, name: str) -> float:
        value = self.wire.payload.get(name)
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise Refused(_("“%(name)s” is missing. Type a number.") % {"name": name})
        return units.parse_typed(str(value))

    def number_or_none(self, name: str) -> float | None:
        return None if self.wire.payload.get(name) in (None, "") else self.number(name)

    def key(self, name: str) -> UUID:
        return key_of(self.wire.payload.get(name), name)

    def tank(self) -> Tank:
        return self._found(Tank.objects.filter(pk=self.key("tank"), site=self.visit.site).first(), "tank")

    def tank_or_none(self) -> Tank | None:
        return None if self.wire.payload.get("tank") in (None, "") else self.tank()

    def lot_or_none(self) -> Lot | None:
        if self.wire.payload.get("lot") in (None, ""):
            return None
        return self._found(Lot.objects.filter(pk=self.key("lot")).first(), "lot")

    def channel(self) -> Channel:
        rows = Channel.objects.select_related("tank", "solution__item").filter(
            pk=self.key("channel"), tank__site=self.visit.site
        )
        return self._found(rows.first(), "channel")

    def measure(self) -> Measure:
        rows = Measure.objects.select_related("instrument", "instrument__tank", "reagent")
        found = rows.filter(pk=self.key("measure"), instrument__tank__site=self.visit.site).first()
        return self._found(found, "measure")

    def task(self) -> Task:
        return self._found(
            Task.objects.filter(pk=self.key("task"), tank__site=self.visit.site).first(), "task"
        )

    @staticmethod
    def _found(row: Row | None, name: str) -> Row:
        if row is None:
            raise Refused(_("This %(name)s is not at this site.") % {"name": name})
        return row
