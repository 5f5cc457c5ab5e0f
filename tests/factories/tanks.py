"""Clients, sites, tanks, bands, methods, instruments."""

import uuid
from datetime import UTC, datetime
from itertools import count

from clients.models import Client, Contact, Equipment, Livestock, ServicePlan, Site, Tank
from servicedesk.dosing.models import Channel, Solution
from servicedesk.instruments.models import Instrument, Measure
from servicedesk.stock.models import Item, Lot, Place
from servicedesk.water import actions as water
from servicedesk.water.models import Band, HeldReading, Method, Reading, TankTest

NUMBER = count(1)
NOON = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)


def make_client(**given: object) -> Client:
    return Client.objects.create(**{"name": f"Client {next(NUMBER)}", **given})


def make_contact(client: Client, **given: object) -> Contact:
    number = next(NUMBER)
    return Contact.objects.create(
        **{"client": client, "name": f"Contact {number}", "email": f"contact{number}@example.org", **given}
    )


def make_site(client: Client | None = None, **given: object) -> Site:
    number = next(NUMBER)
    rest = {"name": f"Site {number}", "address": f"{number} Quay Lane", "town": "Lower Marsh", **given}
    return Site.objects.create(client=client or make_client(), **rest)


def make_tank(site: Site | None = None, **given: object) -> Tank:
    number = next(NUMBER)
    rest = {
        "name": f"Tank {number}",
        "place": "left of the door",
        "water_type": "reef_stony",
        "gross_l": 600,
        "net_l": 500,
        "net_l_u": 15,
        **given,
    }
    return Tank.objects.create(site=site or make_site(), **rest)


def make_band(tank: Tank, parameter: str = "alkalinity", **given: object) -> Band:
    rest = {
        "unit": "dKH",
        "low": 7.2,
        "target": 8.0,
        "high": 9.0,
        "alarm_low": 6.3,
        "alarm_high": 11.0,
        "max_rise_per_day": 0.5,
        "max_fall_per_day": 0.8,
        **given,
    }
    return Band.objects.create(tank=tank, parameter=parameter, **rest)


def make_method(parameter: str = "alkalinity", **given: object) -> Method:
    rest = {
        "name": f"method {next(NUMBER)}",
        "kind": "photometer",
        "tolerance_rel": 0.05,
        "resolution": 0.1,
        **given,
    }
    return Method.objects.create(parameter=parameter, **rest)


def make_tank_test(tank: Tank, parameter: str = "alkalinity", **given: object) -> TankTest:
    rest = {"method": given.pop("method", None) or make_method(parameter), "order": next(NUMBER), **given}
    return TankTest.objects.create(tank=tank, parameter=parameter, **rest)


def make_reading(
    tank: Tank, value: str, *, parameter: str = "alkalinity", **given: object
) -> Reading | HeldReading:
    at = given.pop("at", NOON)
    rest = {
        "method": given.pop("method", None) or make_method(parameter),
        "source": water.by_hand(),
        "unit": "dKH",
        "by": None,
        "origin": uuid.uuid4(),
        "received_at": at,
        **given,
    }
    return water.record_reading(tank=tank, parameter=parameter, at=at, entered=value, **rest)


def make_equipment(tank: Tank, **given: object) -> Equipment:
    rest = {"name": f"device {next(NUMBER)}", "kind": "instrument", **given}
    return Equipment.objects.create(site=tank.site, tank=tank, **rest)


def make_instrument(tank: Tank | None = None, **given: object) -> Instrument:
    tank = tank or make_tank()
    return Instrument.objects.create(equipment=make_equipment(tank), tank=tank, **given)


def make_measure(instrument: Instrument, parameter: str = "alkalinity", **given: object) -> Measure:
    rest = {"sent_name": parameter, "unit": "dKH", **given}
    method = rest.pop("method", None) or make_method(parameter, kind="titrator")
    return Measure.objects.create(instrument=instrument, parameter=parameter, method=method, **rest)


def make_item(**given: object) -> Item:
    return Item.objects.create(
        **{"name": f"item {next(NUMBER)}", "kind": "reagent", "pack_size": 500, **given}
    )


def make_lot(item: Item, **given: object) -> Lot:
    return Lot.objects.create(**{"item": item, "code": f"L{next(NUMBER)}", **given})


def make_place(**given: object) -> Place:
    return Place.objects.create(**{"name": f"place {next(NUMBER)}", "kind": "store", **given})


def make_solution(parameter: str = "alkalinity", **given: object) -> Solution:
    item = make_item(kind="solution")
    return Solution.objects.create(**{"item": item, "parameter": parameter, "per_ml": 0.5, **given})


def make_channel(tank: Tank, **given: object) -> Channel:
    solution = given.pop("solution", None) or make_solution()
    equipment = make_equipment(tank, kind="dosing_pump")
    return Channel.objects.create(equipment=equipment, tank=tank, solution=solution, **given)


def make_livestock(tank: Tank, **given: object) -> Livestock:
    return Livestock.objects.create(**{"tank": tank, "name": f"animal {next(NUMBER)}", **given})


def make_plan(site: Site, *tanks: Tank, **given: object) -> ServicePlan:
    plan = ServicePlan.objects.create(
        **{"site": site, "name": f"plan {next(NUMBER)}", "starts_on": NOON.date(), **given}
    )
    plan.tanks.set(tanks)
    return plan
