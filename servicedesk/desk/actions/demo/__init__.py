"""The demo business: plainly invented, made anew from a seed for the day on which it is loaded.

fixtures/demo/world.json holds people, sites, tanks, animals, methods, supplies, rules and words. world.py makes them;
calls.py owes and places the visits and says how far today has come; chores.py says what became of every task;
history.py runs each tank's water day by day as a mass balance (simulate.py, pumps.py) and writes what visits (methods
with bias and scatter) and instruments (devices.py) saw of it and did, as journal.py keeps it; papers.py asks for
the reports and keeps what clients answered. The same seed and the
same moment give the same rows with the same ids, but for the salt of the people's password.

Planted, for the trade's eye to find: a slowed dosing channel, an empty container, a wrongly mixed reagent, a silent
instrument, a tank in isolation under treatment, an overdue calibration, a death, a top-up that had failed. What is printed of them is
what was planted."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone

from servicedesk.desk.actions.demo import calibrating, calls, chores, history, papers, shelves, world
from servicedesk.desk.actions.demo.journal import Journal
from servicedesk.desk.actions.demo.stories import Reply
from servicedesk.desk.actions.demo.world import Planted, World
from servicedesk.instruments.actions import make_token
from servicedesk.instruments.models import Instrument
from servicedesk.instruments.models import Token as Pass
from servicedesk.rounds.models import SiteNote
from servicedesk.upkeep.models import Task
from servicedesk.water import actions as water

BATCH = 400


@dataclass(frozen=True)
class DemoResult:
    """What the demo prints: sign-ins as (role, name, address, password), one instrument's token, what is planted."""

    sign_ins: list[tuple[str, str, str, str]]
    token: str
    planted: list[Planted]


def _titrator(w: World, tank: str, *, every: int, tolerance: float, ml: float, bottle: float) -> Instrument:
    """A titrator for alkalinity: tests a day follow from its interval."""
    device = world.instrument(w, w.tanks[tank], f"Titrator, {tank}", every)
    world.measure(
        w, device, "alkalinity", "titrator", tolerance=tolerance, reagent=w.items["Titrator reagent"],
        ml_per_test=ml, tests_per_day=1440 / every, bottle_ml=bottle,
    )  # fmt: skip
    return device


def _instruments(w: World) -> list[Instrument]:
    """Four instruments, each a free combination of attributes."""
    reef = _titrator(w, "The long reef", every=360, tolerance=0.25, ml=4.0, bottle=500)
    wall = _titrator(w, "The wall of angels", every=720, tolerance=0.3, ml=7.0, bottle=500)
    study = _titrator(w, "The study reef", every=480, tolerance=0.25, ml=5.0, bottle=900)
    probes = world.instrument(w, w.tanks["The estuary"], "Probes, The estuary", 180)
    world.measure(w, probes, "temperature", "probe", tolerance=0.2)
    world.measure(w, probes, "ph", "probe", tolerance=0.1)
    chores.calibration_rule(w, reef, days_ahead=4, overdue=False)
    chores.calibration_rule(w, wall, days_ahead=11, overdue=False)
    chores.calibration_rule(w, study, days_ahead=-12, overdue=True)
    return [reef, wall, study, probes]


def _history(w: World) -> None:
    """Visits, tasks and water of all tanks, stored."""
    every, replies = calls.make(w), list[Reply]()
    journal, tasks, bands = Journal(w), list[Task](), history.bands_of(w)
    for call in every:
        if call.visit is not None:
            journal.arrive(call)
    for tank in w.tanks.values():
        mine = [call for call in every if tank in call.tanks]
        done = chores.make(w, tank, mine, tasks)
        told = history.TankHistory(w, tank, bands[tank.pk], mine, done, journal)
        told.run()
        told.photos()
        replies += [told.stories.reply] if told.stories.reply else []
        _last_contact(told)
    for call in every:
        if call.visit is not None:
            journal.close(call)
    Task.objects.bulk_create(tasks, batch_size=BATCH)
    journal.write()
    for tank in w.tanks.values():
        water.touch(tank=tank, at=w.start)
    papers.ask(w, every, replies)


def _last_contact(told: history.TankHistory) -> None:
    for device in told.devices:
        Instrument.objects.filter(pk=device.instrument.pk).update(last_contact_at=device.last_at)


def _notes(w: World) -> None:
    """Words for whoever comes next, and for the office."""
    for row in w.raw["notes"]:
        plan = next(p for p in w.plans if p.site.name == row["site"])
        at = w.midnight(world.DAYS - row["days_ago"]) + timedelta(hours=10)
        SiteNote.objects.create(
            origin=w.key(), site=plan.site, text=row["text"], for_office=row["for_office"], at=at,
            by=plan.technician or w.owner, received_at=at,
        )  # fmt: skip


def _token(w: World, device: Instrument) -> str:
    """An instrument's pass, from the seed like all else: it opens a demo only, whose passwords are printed anyway."""
    text = "trk_" + hashlib.sha256(w.key().bytes).hexdigest()[:43]
    row, _text = make_token(instrument=device, at=w.now, text=text)
    Pass.objects.filter(pk=row.pk).update(id=w.key())
    return text


@transaction.atomic
def load(
    *, now: datetime, seed: int = 1, say: Callable[[str], object] = print, raw: dict[str, Any] | None = None
) -> DemoResult:
    """Load the demo business into an empty database. `raw` is another world than the one in fixtures."""
    raw = raw or world.read()
    zone = ZoneInfo(raw["business"]["zone"])
    with timezone.override(zone):
        w = World(raw=raw, rng=Random(seed), now=now.astimezone(zone).replace(microsecond=0))
        world.people(w)
        world.methods(w)
        shelves.make(w)
        world.sites(w)
        devices = _instruments(w)
        _history(w)
        _notes(w)
        token = _token(w, devices[0])
        world.waters(w)
        world.candidates(w)
        calibrating.make(w, devices[-1])
    for planted in w.told:
        say(f"Planted: {planted.sentence}")
    return DemoResult(sign_ins=w.sign_ins, token=token, planted=w.told)
