"""The demo's business, people, sites, tanks and supplies, from fixtures/demo/world.json: all invented."""

import json
import uuid
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from random import Random
from typing import Any

from django.conf import settings

from clients.models import (
    Client,
    Contact,
    Equipment,
    Livestock,
    LivestockFact,
    ServicePlan,
    Site,
    Tank,
    TankStateRow,
)
from servicedesk.core import units
from servicedesk.desk.actions.demo import pictures
from servicedesk.dosing.models import Channel, RateChange, Refill, Solution
from servicedesk.instruments.models import Instrument, Measure
from servicedesk.staff import actions as staff
from servicedesk.staff.models import User
from servicedesk.stock.models import Item, Lot, Movement, Place
from servicedesk.upkeep.models import TaskRule
from servicedesk.water import actions as water
from servicedesk.water.models import Method, TankTest

DAYS = 120
MARINE = ("reef_stony", "reef_mixed", "reef_soft", "marine_fish")
PER_ML = {"alkalinity": 150.0, "calcium": 38.0, "magnesium": 32.0}


@dataclass
class World:
    """What was made, to be looked up while history is written."""

    raw: dict[str, Any]
    rng: Random
    now: datetime
    start: datetime
    owner: User
    technicians: list[User]
    methods: dict[str, list[Method]] = field(default_factory=dict)
    items: dict[str, Item] = field(default_factory=dict)
    lots: dict[str, Lot] = field(default_factory=dict)
    solutions: dict[str, Solution] = field(default_factory=dict)
    tanks: dict[str, Tank] = field(default_factory=dict)
    plans: dict[str, list[ServicePlan]] = field(default_factory=dict)
    planted: dict[str, str] = field(default_factory=dict)
    channels: dict[str, list[Channel]] = field(default_factory=dict)
    measures: dict[str, list[Measure]] = field(default_factory=dict)
    sign_ins: list[tuple[str, str, str, str]] = field(default_factory=list)

    def key(self) -> uuid.UUID:
        return uuid.UUID(int=self.rng.getrandbits(128), version=4)

    @property
    def today(self) -> date:
        return self.now.date()


def read() -> dict[str, Any]:
    text = (Path(settings.ROOT) / "fixtures" / "demo" / "world.json").read_text(encoding="utf-8")
    world: dict[str, Any] = json.loads(text)
    return world


def people(raw: dict[str, Any], now: datetime) -> tuple[User, list[User], list[tuple[str, str, str, str]]]:
    first, *others = raw["people"]
    word = raw["password"]
    owner = staff.set_up(
        business=raw["business"], name=first["name"], email=first["email"], password=word, on=now.date()
    )
    drivers = [
        staff.hire(name=p["name"], email=p["email"], role=p["role"], password=word, on=now.date())
        for p in others
    ]
    signs = [(p["role"], p["name"], p["email"], word) for p in raw["people"]]
    return owner, drivers, signs


def methods(w: World) -> None:
    for parameter, name, kind, tol_abs, tol_rel, step in w.raw["methods"]:
        row = Method.objects.create(
            id=w.key(),
            parameter=parameter,
            name=name,
            kind=kind,
            tolerance_abs=tol_abs,
            tolerance_rel=tol_rel,
            resolution=step,
        )
        w.methods.setdefault(parameter, []).append(row)


def supplies(w: World) -> None:
    store = Place.objects.create(id=w.key(), name="Store at Tanner's Wharf", kind="store")
    for name, kind, unit, pack, price, lead, shelf, left in w.raw["supplies"]:
        item = Item.objects.create(
            id=w.key(),
            name=name,
            kind=kind,
            unit=unit,
            pack_size=pack,
            price_per_pack=Decimal(price),
            lead_days=lead,
            supplier="Wharfside Supplies",
            shelf=shelf,
            hazards=["acid"] if kind in ("reagent", "solution") else [],
        )
        lot = Lot.objects.create(id=w.key(), item=item, code=f"S{w.rng.randint(100, 999)}")
        w.items[name], w.lots[name] = item, lot
        if left:
            Movement.objects.create(
                origin=w.key(), item=item, lot=lot, place=store, amount=left, reason="received",
                at=w.start, by=w.owner, received_at=w.start,
            )  # fmt: skip
    for parameter, name in (
        ("alkalinity", "Carbonate solution"),
        ("calcium", "Calcium solution"),
        ("magnesium", "Magnesium solution"),
    ):
        per_ml = PER_ML[parameter]
        w.solutions[parameter] = Solution.objects.create(
            id=w.key(),
            item=w.items[name],
            parameter=parameter,
            per_ml=per_ml if parameter != "alkalinity" else 1.06,
        )


def sites(w: World) -> None:
    for row in w.raw["sites"]:
        client = Client.objects.create(
            id=w.key(), name=row["client"], since=w.start.date() - timedelta(days=400)
        )
        contact_name, address = row["contact"]
        user = staff.hire(
            name=contact_name, email=address, role="client", password=w.raw["password"], on=w.today
        )
        Contact.objects.create(id=w.key(), client=client, user=user, name=contact_name, email=address)
        if len([s for s in w.sign_ins if s[0] == "client"]) < 2:
            w.sign_ins.append(("client", f"{contact_name} ({row['client']})", address, w.raw["password"]))
        site = Site.objects.create(
            id=w.key(), client=client, name=row["site"], address=row["address"], town="Nether Wick", lat=row["lat"],
            lon=row["lon"], way_in=row["way_in"], key_code=row["key"], cautions=["mains", "lifting"],
            water_and_drain="Tap and floor drain within reach of the tank.",
        )  # fmt: skip
        made = [_tank(w, site, spec, number) for number, spec in enumerate(row["tanks"], start=1)]
        w.plans[row["site"]] = _plans(w, site, made, row)


def _plans(w: World, site: Site, made: list[Tank], row: dict[str, Any]) -> list[ServicePlan]:
    """The main plan falls on today; every second site has a short one some days away."""
    hour, minute = row["time"].split(":")
    weeks = row["weeks"]
    turns = DAYS // (7 * weeks)
    specs = [("Regular service", 0, weeks, row["minutes"], time(int(hour), int(minute)))]
    if len(w.plans) % 2 == 0:
        specs.append(("Short check", 2 + len(w.plans) // 2 % 3, weeks, 25, time(9, 30)))
    plans = []
    for name, shift, every, minutes, wish in specs:
        first = w.today - timedelta(days=7 * every * turns) + timedelta(days=shift)
        plan = ServicePlan.objects.create(
            id=w.key(), site=site, name=name, every_weeks=every, weekday=first.weekday(), tolerance_days=1,
            minutes=minutes, preferred_time=wish, technician=w.technicians[row["tech"]], price=Decimal(35 + minutes),
            starts_on=first,
        )  # fmt: skip
        plan.tanks.set(made)
        plans.append(plan)
    return plans


def _tests(water_type: str, raw: dict[str, Any]) -> list[str]:
    if water_type == "marine_fish":
        return list(raw["tests"]["fish"])
    if water_type in MARINE:
        return list(raw["tests"]["marine"])
    return list(raw["tests"]["brackish" if water_type == "brackish" else "fresh"])


def _tank(w: World, site: Site, spec: dict[str, Any], order: int) -> Tank:
    tank = Tank.objects.create(
        id=w.key(), site=site, name=spec["name"], place=spec["place"], water_type=spec["water"], gross_l=spec["gross"],
        net_l=spec["net"], net_l_u=spec["net"] * 0.03, photo=pictures.keep(spec["water"], w.rng), order=order,
        since=w.start.date() - timedelta(days=300),
    )  # fmt: skip
    w.tanks[tank.name] = tank
    w.planted[tank.name] = spec.get("plan", "")
    water.set_default_bands(tank=tank)
    banded = set(tank.bands.values_list("parameter", flat=True))
    for parameter in _tests(tank.water_type, w.raw):
        if parameter in banded and parameter in w.methods:
            TankTest.objects.create(
                tank=tank,
                parameter=parameter,
                method=w.methods[parameter][0],
                order=units.parameter(parameter).order,
            )
    for name, number, sensitive in w.raw["animals"][tank.water_type]:
        animal = Livestock.objects.create(
            id=w.key(), tank=tank, name=name, sensitive_to=sensitive, since=tank.since
        )
        LivestockFact.objects.create(
            origin=w.key(),
            livestock=animal,
            change="added",
            number=number,
            at=w.start,
            by=w.owner,
            received_at=w.start,
        )
    if w.planted[tank.name] == "isolation":
        TankStateRow.objects.create(
            tank=tank, state="isolation", from_on=w.today - timedelta(days=9), until_on=w.today + timedelta(days=19),
            why="New stock: own tools, last stop of the day.",
        )  # fmt: skip
    _equipment(w, tank)
    _rules(w, tank)
    return tank


def _equipment(w: World, tank: Tank) -> None:
    kinds = [("return_pump", "Return pump"), ("heater", "Heater"), ("light", "Light")]
    kinds += (
        [("skimmer", "Skimmer"), ("top_up", "Top-up")]
        if tank.water_type in MARINE
        else [("filter", "Filter")]
    )
    for kind, name in kinds:
        Equipment.objects.create(
            id=w.key(),
            site=tank.site,
            tank=tank,
            kind=kind,
            name=f"{name}, {tank.name}",
            back_on_check=kind != "light",
        )
    if tank.water_type.startswith("reef"):
        _pump(w, tank)


def _pump(w: World, tank: Tank) -> None:
    pump = Equipment.objects.create(
        id=w.key(),
        site=tank.site,
        tank=tank,
        kind="dosing_pump",
        name=f"Dosing pump, {tank.name}",
        back_on_check=True,
    )
    for number, parameter in enumerate(("alkalinity", "calcium"), start=1):
        channel = Channel.objects.create(
            id=w.key(),
            equipment=pump,
            tank=tank,
            number=number,
            solution=w.solutions[parameter],
            container_ml=5000,
        )
        w.channels.setdefault(tank.name, []).append(channel)


def fill_channel(w: World, channel: Channel, *, ml_per_day: float, ml_now: float, days_ago: float) -> None:
    """The rate set at the start and the last refill of a channel."""
    RateChange.objects.create(
        origin=w.key(), channel=channel, at=w.start, ml_per_day=round(ml_per_day, 1), why="From uptake.",
        by=w.owner, received_at=w.start,
    )  # fmt: skip
    then = w.now - timedelta(days=days_ago)
    Refill.objects.create(
        origin=w.key(), channel=channel, at=then, ml_now=ml_now, by=w.owner, received_at=then
    )


def _rules(w: World, tank: Tank) -> None:
    group = "marine" if tank.water_type in MARINE else ("pond" if tank.water_type == "pond" else "fresh")
    for title, every, unit, shift, hazards, carry, amount in [*w.raw["rules"]["all"], *w.raw["rules"][group]]:
        TaskRule.objects.create(
            id=w.key(), tank=tank, title=title, every=every, unit=unit, starts_on=w.today + timedelta(days=shift),
            hazards=hazards, carry=w.items.get(carry), carry_amount=amount, before_days=2, after_days=3, minutes=6,
        )  # fmt: skip


def instrument(w: World, tank: Tank, name: str, every_minutes: int) -> Instrument:
    row = Equipment.objects.create(
        id=w.key(), site=tank.site, tank=tank, kind="instrument", name=name, fitted_on=w.start.date()
    )
    return Instrument.objects.create(id=w.key(), equipment=row, tank=tank, interval_minutes=every_minutes)


def measure(w: World, device: Instrument, parameter: str, kind: str, **more: Any) -> Measure:
    """What an instrument measures, by a method of its own."""
    known = units.parameter(parameter)
    tolerance = {"tolerance_abs": more.pop("tolerance", 0.2), "resolution": more.pop("resolution", 0.01)}
    method = Method.objects.create(
        id=w.key(),
        parameter=parameter,
        name=f"{device.equipment.name}: {known.name.lower()}",
        kind=kind,
        **tolerance,
    )
    row = Measure.objects.create(
        id=w.key(),
        instrument=device,
        parameter=parameter,
        sent_name=parameter,
        unit=known.unit,
        method=method,
        **more,
    )
    w.measures.setdefault(device.tank.name, []).append(row)
    return row
