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
from django.contrib.auth.hashers import make_password

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
from servicedesk.dosing.models import Channel, Solution
from servicedesk.instruments.models import Candidate, Instrument, Measure
from servicedesk.staff import actions as staff
from servicedesk.staff.models import User
from servicedesk.stock.models import Item, Lot, Place
from servicedesk.upkeep.models import TaskRule
from servicedesk.water import actions as water
from servicedesk.water.models import ChangeWater, Method, TankTest

DAYS = 120
MARINE = ("reef_stony", "reef_mixed", "reef_soft", "marine_fish")
SUNDAY = 6
TWICE_DAYS = 3
"""Days between the two visits of a week, where it is twice a week."""
SIGNS = 2
"""Of so many clients the sign-in is printed."""
FULL_ML, SMALL_ML = 5000, 1000
"""What a container holds; one is too small, for the fault planted there."""


@dataclass(frozen=True)
class Planted:
    """A fault that lies in the demo: what kind, where, since (or on) which day, and the sentence that is printed."""

    kind: str
    tank: str
    on: date
    sentence: str


@dataclass
class World:
    """What was made, to be looked up while history is written. `now` is in the business's zone."""

    raw: dict[str, Any]
    rng: Random
    now: datetime
    owner: User = field(init=False)
    technicians: list[User] = field(default_factory=list)
    methods: dict[str, list[Method]] = field(default_factory=dict)
    items: dict[str, Item] = field(default_factory=dict)
    lots: dict[str, Lot] = field(default_factory=dict)
    solutions: dict[str, Solution] = field(default_factory=dict)
    tanks: dict[str, Tank] = field(default_factory=dict)
    plans: list[ServicePlan] = field(default_factory=list)
    plan_tanks: dict[uuid.UUID, list[Tank]] = field(default_factory=dict)
    states: dict[str, TankStateRow] = field(default_factory=dict)
    rules: dict[str, list[TaskRule]] = field(default_factory=dict)
    animals: dict[str, list[Livestock]] = field(default_factory=dict)
    tests: dict[str, list[TankTest]] = field(default_factory=dict)
    equipment: dict[str, list[Equipment]] = field(default_factory=dict)
    told: list[Planted] = field(default_factory=list)
    planted: dict[str, str] = field(default_factory=dict)
    channels: dict[str, list[Channel]] = field(default_factory=dict)
    measures: dict[str, list[Measure]] = field(default_factory=dict)
    sign_ins: list[tuple[str, str, str, str]] = field(default_factory=list)
    password: str = ""
    tell: set[uuid.UUID] = field(default_factory=set)
    shown: list[Site] = field(default_factory=list)
    vans: dict[str, Place] = field(default_factory=dict)
    weeks: dict[str, int] = field(default_factory=dict)

    def key(self) -> uuid.UUID:
        return uuid.UUID(int=self.rng.getrandbits(128), version=4)

    @property
    def today(self) -> date:
        return self.now.date()

    @property
    def start(self) -> datetime:
        """The first midnight of the history."""
        return self.midnight(0)

    def midnight(self, day: int) -> datetime:
        """When that day of the history begins, in the business's zone."""
        return datetime.combine(self.today + timedelta(days=day - DAYS), time(0), tzinfo=self.now.tzinfo)

    def plant(self, kind: str, tank: str, on: date, words: str) -> None:
        """Note what was really planted, for the printed list."""
        self.told.append(Planted(kind=kind, tank=tank, on=on, sentence=f"{tank}: {words}"))


def read() -> dict[str, Any]:
    text = (Path(settings.ROOT) / "fixtures" / "demo" / "world.json").read_text(encoding="utf-8")
    world: dict[str, Any] = json.loads(text)
    return world


def people(w: World) -> None:
    """The business and its people. They share one word, so that its slow hash is made once."""
    staff.save_business(**w.raw["business"])
    w.password = make_password(w.raw["password"])
    for person in w.raw["people"]:
        user = _person(w, person["name"], person["email"], person["role"])
        if person["role"] == "owner":
            w.owner = user
        else:
            w.technicians.append(user)
        w.sign_ins.append((person["role"], person["name"], person["email"], w.raw["password"]))


def _person(w: World, name: str, email: str, role: str) -> User:
    return User.objects.create(
        id=w.key(), name=name, email=email, role=role, password=w.password, zone=w.raw["business"]["zone"],
        joined_on=w.start.date(),
    )  # fmt: skip


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


def waters(w: World) -> None:
    """What goes in at a change; the simulation's own mix, and a blend of tap water and pure water."""
    tested = w.now.date() - timedelta(days=20)
    for row in w.raw["waters"]:
        ChangeWater.objects.create(id=w.key(), usual=True, tested_on=tested, **row)


def candidates(w: World) -> None:
    """Ways of testing that the owner thinks about: free combinations of attributes, nobody's product."""
    for row in w.raw["candidates"]:
        Candidate.objects.create(id=uuid.uuid5(uuid.NAMESPACE_OID, row["name"]), **row)


def sites(w: World) -> None:
    for row in w.raw["sites"]:
        client = Client.objects.create(
            id=w.key(), name=row["client"], since=w.start.date() - timedelta(days=400)
        )
        contact_name, address = row["contact"]
        user = _person(w, contact_name, address, "client")
        Contact.objects.create(id=w.key(), client=client, user=user, name=contact_name, email=address)
        if len(w.shown) < SIGNS:
            w.sign_ins.append(("client", f"{contact_name} ({row['client']})", address, w.raw["password"]))
        site = Site.objects.create(
            id=w.key(), client=client, name=row["site"], address=row["address"], town="Ottermarsh", lat=row["lat"],
            lon=row["lon"], way_in=row["way_in"], key_code=row["key"], cautions=["mains", "lifting"],
            water_and_drain="Tap and floor drain within reach of the tank.",
        )  # fmt: skip
        w.weeks[site.name] = row["weeks"]
        if len(w.shown) < SIGNS:
            w.shown.append(site)
        made = [_tank(w, site, spec, number) for number, spec in enumerate(row["tanks"], start=1)]
        _plans(w, site, made, row)


def _weekday(day: date) -> date:
    """That day, or the next one where it is a Sunday."""
    return day + timedelta(days=1) if day.weekday() == SUNDAY else day


def _plans(w: World, site: Site, made: list[Tank], row: dict[str, Any]) -> None:
    """The main plan falls on today (on a Sunday only where the client is open then, else on Monday); two of three
    sites have a short one between, never on a Sunday, some of them only every fourth week. One site is visited twice a week."""
    hour, minute = row["time"].split(":")
    weeks = row["weeks"]
    number = len({p.site_id for p in w.plans})
    main = w.today if row.get("sunday") else _weekday(w.today)
    specs = [("Regular service", main, weeks, row["minutes"], time(int(hour), int(minute)))]
    if number % 3 != 2:
        between = 2 + number % 3 if weeks == 1 else 6 + number % 3
        short = _weekday(w.today + timedelta(days=between))
        seldom = 4 if (weeks, number % 3) == (2, 1) else weeks
        specs.append(("Short check", short, seldom, 25, time(9, 30)))
    for name, day, every, minutes, wish in specs:
        first = day - timedelta(days=7 * every * (DAYS // (7 * every)))
        second = _weekday(first + timedelta(days=TWICE_DAYS)).weekday() if row.get("twice") else None
        plan = ServicePlan.objects.create(
            id=w.key(), site=site, name=name, every_weeks=every, weekday=first.weekday(), second_weekday=second, tolerance_days=1,
            minutes=minutes, preferred_time=wish, technician=w.technicians[row["tech"]], price=Decimal(35 + minutes),
            starts_on=first,
        )  # fmt: skip
        plan.tanks.set(made)
        w.plans.append(plan)
        w.plan_tanks[plan.pk] = made


def _tests(water_type: str, raw: dict[str, Any]) -> list[str]:
    if water_type == "marine_fish":
        return list(raw["tests"]["fish"])
    if water_type in MARINE:
        return list(raw["tests"]["marine"])
    return list(raw["tests"].get(water_type, raw["tests"]["fresh"]))


def _tank(w: World, site: Site, spec: dict[str, Any], order: int) -> Tank:
    key = w.key()
    picture = pictures.keep(pictures.draw(spec["water"], key), folder="tanks", key=key)
    tank = Tank.objects.create(
        id=key, site=site, name=spec["name"], place=spec["place"], water_type=spec["water"], gross_l=spec["gross"],
        net_l=spec["net"], net_l_u=spec["net"] * 0.03, photo=picture, order=order,
        since=w.start.date() - timedelta(days=300),
    )  # fmt: skip
    w.tanks[tank.name] = tank
    w.planted[tank.name] = spec.get("plan", "")
    water.set_default_bands(tank=tank)
    banded = set(tank.bands.values_list("parameter", flat=True))
    for parameter in _tests(tank.water_type, w.raw):
        if parameter in banded and parameter in w.methods:
            test = TankTest.objects.create(
                tank=tank,
                parameter=parameter,
                method=w.methods[parameter][0],
                order=units.parameter(parameter).order,
            )
            w.tests.setdefault(tank.name, []).append(test)
    w.tests[tank.name].sort(key=lambda t: (t.order, t.parameter))
    for name, number, sensitive in w.raw["animals"][tank.water_type]:
        animal = Livestock.objects.create(
            id=w.key(), tank=tank, name=name, sensitive_to=sensitive, since=tank.since
        )
        w.animals.setdefault(tank.name, []).append(animal)
        LivestockFact.objects.create(
            origin=w.key(), livestock=animal, change="added", number=number, at=w.start, by=w.owner,
            received_at=w.start,
        )  # fmt: skip
    if w.planted[tank.name] == "isolation":
        w.states[tank.name] = TankStateRow.objects.create(
            tank=tank, state="isolation", from_on=w.today - timedelta(days=16), until_on=w.today + timedelta(days=19),
            why="New stock: own tools, last stop of the day.",
        )  # fmt: skip
        w.plant("isolation", tank.name, w.states[tank.name].from_on, "in isolation, own tools, last stop.")
    _equipment(w, tank)
    _rules(w, tank)
    return tank


def _named(w: World, tank: Tank, name: str) -> str:
    """A thing's name; with its tank where the site has more than one."""
    here = next(row["tanks"] for row in w.raw["sites"] if row["site"] == tank.site.name)
    return name if len(here) == 1 else f"{name}, {tank.name}"


def _equipment(w: World, tank: Tank) -> None:
    group = "marine" if tank.water_type in MARINE else tank.water_type
    fitted_here = w.raw["equipment"].get(group, w.raw["equipment"]["fresh"])
    for kind, name in fitted_here:
        fitted = Equipment.objects.create(
            id=w.key(), site=tank.site, tank=tank, kind=kind, name=_named(w, tank, name),
            back_on_check=kind != "light",
        )  # fmt: skip
        w.equipment.setdefault(tank.name, []).append(fitted)
    if tank.water_type.startswith("reef"):
        _pump(w, tank)


def _pump(w: World, tank: Tank) -> None:
    pump = Equipment.objects.create(
        id=w.key(), site=tank.site, tank=tank, kind="dosing_pump", name=_named(w, tank, "Dosing pump"),
        back_on_check=True,
    )  # fmt: skip
    w.equipment[tank.name].append(pump)
    for number, parameter in enumerate(("alkalinity", "calcium"), start=1):
        channel = Channel.objects.create(
            id=w.key(),
            equipment=pump,
            tank=tank,
            number=number,
            solution=w.solutions[parameter],
            container_ml=SMALL_ML if (w.planted[tank.name], parameter) == ("empty", "calcium") else FULL_ML,
        )
        w.channels.setdefault(tank.name, []).append(channel)


def _rules(w: World, tank: Tank) -> None:
    """Rules reach back over the whole history; each falls due so many days after today, and before that in its own
    interval. What is done on every visit comes as often as the visits do."""
    group = "marine" if tank.water_type in MARINE else ("pond" if tank.water_type == "pond" else "fresh")
    for title, every, unit, shift, hazards, carry, amount in w.raw["rules"][group]:
        often = w.weeks[tank.site.name] if title in w.raw["rules"]["each_visit"] else every
        back = timedelta(days=7 * often * (DAYS // (7 * often)))
        rule = TaskRule.objects.create(
            id=w.key(), tank=tank, title=title, every=often, unit=unit, hazards=hazards, carry=w.items.get(carry),
            starts_on=w.today + timedelta(days=shift) - back, carry_amount=amount, minutes=6,
            before_days=2 if often < 4 else 7, after_days=3 if often < 4 else 10,
        )  # fmt: skip
        w.rules.setdefault(tank.name, []).append(rule)


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
