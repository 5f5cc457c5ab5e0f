"""A stop on a technician's round of today, with a tank to test."""

import datetime as clock
import uuid

from django.utils import timezone

from clients.models import Tank
from servicedesk.rounds import actions as rounds
from servicedesk.rounds.models import DueVisit
from servicedesk.staff.models import User
from servicedesk.water.models import Method
from tests.factories.tanks import make_band, make_equipment, make_method, make_tank, make_tank_test


def make_stop(technician: User, *tanks: Tank, order: int = 1, day: clock.date | None = None) -> DueVisit:
    """A visit owed today and put on the technician's round."""
    now = timezone.now()
    day = day or now.date()
    visit = DueVisit.objects.create(
        key=str(uuid.uuid4()),
        cause="plan",
        site=tanks[0].site,
        earliest=day,
        due=day,
        latest=day,
        made_at=now,
    )
    visit.tanks.set(tanks)
    rounds.put_on_round(
        due_visit=visit, day=day, technician=technician, order=order, planned_at=clock.time(9, 0)
    )
    return visit


def _way_of(parameter: str) -> Method:
    found = Method.objects.filter(parameter=parameter, name=f"way of {parameter}").first()
    return found or make_method(parameter, name=f"way of {parameter}")


def make_reef_to_test(site=None) -> Tank:
    """A reef with three tests and equipment that must run again."""
    tank = make_tank(site, name="The test reef", place="by the window")
    for order, (parameter, unit, low, goal, high) in enumerate(
        [
            ("temperature", "C", 24.5, 25.5, 26.5),
            ("salinity", "PSS-78", 34, 35, 36),
            ("alkalinity", "dKH", 7.2, 8, 9),
        ],
        start=1,
    ):
        limits = {"alkalinity": (6.3, 11), "salinity": (32.5, 37), "temperature": (23, 28)}[parameter]
        make_band(
            tank,
            parameter,
            unit=unit,
            low=low,
            target=goal,
            high=high,
            alarm_low=limits[0],
            alarm_high=limits[1],
        )
        make_tank_test(tank, parameter, order=order, method=_way_of(parameter))
    make_equipment(tank, kind="heater", name="Heater", back_on_check=True)
    return tank


def entry(visit: DueVisit, kind: str, key: uuid.UUID | None = None, **payload: object) -> dict[str, object]:
    """An entry in wire form."""
    return {
        "id": str(key or uuid.uuid4()),
        "visit": str(visit.pk),
        "kind": kind,
        "payload": payload,
        "tablet": "test",
        "seq": 0,
        "tablet_time": timezone.now().isoformat(),
        "zone": "Europe/London",
    }
