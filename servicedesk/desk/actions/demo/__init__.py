"""The demo business: plainly invented, made anew from a seed for the day on which it is loaded.

fixtures/demo/world.json holds people, sites, tanks, animals, methods, supplies and rules. simulate.py runs each
tank's water day by day as a mass balance; history.py writes what visits (methods with bias and scatter) and
instruments saw of it. Planted, for the trade's eye to find: a slowed dosing channel, an empty container, a wrongly
mixed reagent, a silent instrument, a tank in isolation, an overdue calibration, a death."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone

from servicedesk.desk.actions.demo import history, world
from servicedesk.desk.actions.demo.world import DAYS, World
from servicedesk.dispatch.actions import ask
from servicedesk.instruments.actions import make_token
from servicedesk.instruments.models import Instrument, ReagentLoad
from servicedesk.rounds import actions as rounds
from servicedesk.rounds.models import Stop
from servicedesk.upkeep import actions as upkeep
from servicedesk.upkeep.models import TaskRule
from servicedesk.visits.models import Visit
from servicedesk.water import actions as water

PLANTED = (
    "The long reef: the alkalinity channel has slowed since about two weeks.",
    "The hall tank: the calcium container ran empty three days ago.",
    "The wall of angels: reagent of the titrator was mixed wrongly nine days ago, every result is a seventh too low.",
    "The estuary: the probes fell silent two days ago.",
    "The new-stock tank: in isolation, own tools, last.",
    "The study reef: the titrator's calibration is overdue.",
    "The goldfish trough: one goldfish died on the last visit; its report waits for the owner's word.",
)


@dataclass(frozen=True)
class DemoResult:
    """What the demo prints: sign-ins as (role, name, address, password), and one instrument's token."""

    sign_ins: list[tuple[str, str, str, str]]
    token: str


def _titrator(w: World, tank: str, *, every: int, tolerance: float, ml: float) -> Instrument:
    """A titrator for alkalinity: tests a day follow from its interval."""
    device = world.instrument(w, w.tanks[tank], f"Titrator, {tank}", every)
    reagent = w.items["Titrator reagent"]
    world.measure(
        w, device, "alkalinity", "titrator", tolerance=tolerance, reagent=reagent, ml_per_test=ml, tests_per_day=1440 / every
    )  # fmt: skip
    return device


def _instruments(w: World) -> Instrument:
    """Four instruments, each a free combination of attributes."""
    first = _titrator(w, "The long reef", every=360, tolerance=0.25, ml=4.0)
    _titrator(w, "The wall of angels", every=720, tolerance=0.3, ml=7.0)
    probes = world.instrument(w, w.tanks["The estuary"], "Probes, The estuary", 180)
    world.measure(w, probes, "temperature", "probe", tolerance=0.2)
    world.measure(w, probes, "ph", "probe", tolerance=0.1)
    last = _titrator(w, "The study reef", every=480, tolerance=0.25, ml=5.0)
    lot = w.lots["Titrator reagent"]
    for name, ml, ago in (
        ("The long reef", 400, 18),
        ("The wall of angels", 500, 9),
        ("The study reef", 900, 30),
    ):
        then, measure = w.now - timedelta(days=ago), w.measures[name][0]
        ReagentLoad.objects.create(
            origin=w.key(), measure=measure, at=then, ml=ml, lot=lot, by=w.owner, received_at=then
        )
    TaskRule.objects.create(
        id=w.key(), tank=last.tank, equipment=last.equipment, title="Calibrate the titrator's pumps", every=1,
        unit="months", starts_on=w.today - timedelta(days=12), before_days=3, after_days=3, minutes=20,
    )  # fmt: skip
    Instrument.objects.exclude(pk=probes.pk).update(last_contact_at=w.now - timedelta(hours=2))
    Instrument.objects.filter(pk=probes.pk).update(last_contact_at=w.now - timedelta(days=2))
    return first


def _history(w: World) -> None:
    rounds.owe_visits(first=w.start.date(), last=w.today + timedelta(days=35), at=w.now)
    rounds.plan_simply(first=w.start.date(), last=w.today + timedelta(days=35))
    rows = Stop.objects.select_related(
        "round", "round__technician", "due_visit", "due_visit__site", "due_visit__plan"
    )
    behind = list(
        rows.filter(round__day__lt=w.today)
        .order_by("round__day", "order")
        .prefetch_related("due_visit__tanks")
    )
    history.past_visits(w, behind)
    bulk = history.Bulk(w)
    for tank in w.tanks.values():
        mine = [s for s in behind if tank in s.due_visit.tanks.all()]
        history.run_tank(w, tank, mine, bulk)
    trough = w.tanks["The goldfish trough"]
    last = [s for s in behind if trough in s.due_visit.tanks.all()][-1]
    history.death(w, trough, last.due_visit.visit, bulk)
    bulk.write()
    for tank in w.tanks.values():
        water.touch(tank=tank, at=w.now)
    _reports(w, last.due_visit.visit)


def _reports(w: World, told: Visit) -> None:
    """Ask for the reports of the last visits; the worker makes them when the demo starts."""
    recent = list(Visit.objects.filter(closed_at__lt=w.now).order_by("-closed_at", "pk")[:4])
    for visit in {told.pk: told, **{v.pk: v for v in recent}}.values():
        Visit.objects.filter(pk=visit.pk).update(versions=1)
        ask(kind="report", key=f"report:{visit.pk}:1", args={"visit": str(visit.pk), "version": 1}, at=w.now)


@transaction.atomic
def load(*, now: datetime, seed: int = 1, say: Callable[[str], object] = print) -> DemoResult:
    """Load the demo business into an empty database."""
    raw = world.read()
    with timezone.override(ZoneInfo(raw["business"]["zone"])):
        start = timezone.localtime(now).replace(hour=0, minute=0, second=0, microsecond=0) - timedelta(
            days=DAYS
        )
        owner, drivers, signs = world.people(raw, now)
        w = World(
            raw=raw, rng=Random(seed), now=now, start=start, owner=owner, technicians=drivers, sign_ins=signs
        )
        world.methods(w)
        world.supplies(w)
        world.sites(w)
        first = _instruments(w)
        _history(w)
        upkeep.make_tasks(on=w.today, at=now)
        _row, token = make_token(instrument=first, at=now)
    for line in PLANTED:
        say(f"Planted: {line}")
    return DemoResult(sign_ins=w.sign_ins, token=token)
