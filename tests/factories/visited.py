"""A visit carried out: its stop, its journal, and what was there before."""

import uuid
from datetime import datetime, timedelta
from itertools import count
from typing import Any

from clients.models import Tank
from servicedesk.rounds.models import DueVisit, Round, Stop
from servicedesk.staff.models import User
from servicedesk.visits.actions import take_entries
from servicedesk.visits.models import Visit

NUMBER = count(1)


def make_due(*tanks: Tank, technician: User, at: datetime) -> DueVisit:
    """A due visit to these tanks (of one site) on a technician's round of that day."""
    day = at.date()
    due = DueVisit.objects.create(
        key=f"due {next(NUMBER)}",
        cause="plan",
        site=tanks[0].site,
        earliest=day,
        due=day,
        latest=day,
        made_at=at,
    )
    due.tanks.set(tanks)
    rounds, _made = Round.objects.get_or_create(day=day, technician=technician)
    Stop.objects.create(round=rounds, due_visit=due, order=next(NUMBER), planned_at=at.time())
    return due


class Journey:
    """Writes a visit's entries one after the other, a minute apart, and hands them in."""

    def __init__(self, *tanks: Tank, technician: User, at: datetime) -> None:
        self.tanks, self.technician, self.at = tanks, technician, at
        self.due = make_due(*tanks, technician=technician, at=at)
        self.entries: list[dict[str, Any]] = []
        self.write("arrive")

    def write(self, kind: str, **payload: Any) -> str:
        """Write one entry down; returns its id."""
        key = str(uuid.uuid4())
        at = self.at + timedelta(minutes=len(self.entries))
        self.entries.append(
            {
                "id": key,
                "visit": str(self.due.pk),
                "kind": kind,
                "payload": payload,
                "tablet": "test",
                "seq": len(self.entries),
                "tablet_time": at.isoformat(),
                "zone": "Europe/London",
            }
        )
        return key

    def read(self, tank: Tank, parameter: str, value: str, **more: Any) -> str:
        """Write a reading by the tank's usual method, in the unit of its band."""
        test = tank.tests.get(parameter=parameter)
        band = tank.bands.filter(parameter=parameter).first()
        unit = more.pop("unit", band.unit if band else "")
        return self.write(
            "reading",
            tank=str(tank.pk),
            parameter=parameter,
            method=str(test.method_id),
            value=value,
            unit=unit,
            seq=more.pop("seq", 0),
        )

    def hand_in(self) -> Visit:
        """Hand in what was written; every entry must be taken."""
        late = self.at + timedelta(minutes=len(self.entries) + 1)
        receipts = take_entries(entries=self.entries, by=self.technician, at=late)
        refused = [r for r in receipts if r["receipt"] == "refused"]
        assert not refused, refused
        return Visit.objects.select_related("site", "site__client", "technician", "due_visit").get(
            pk=self.due.pk
        )

    def close(self) -> Visit:
        self.write("close")
        return self.hand_in()
