"""What must be in the van for a round: by shelf, each thing once, with the stops it is for, in litres, cans and kilograms."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from clients.choices import WaterType
from clients.models import Tank
from servicedesk.core.chemistry.salinity import density
from servicedesk.dispatch.queries import standing
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries.stops import next_visits_of
from servicedesk.stock.models import Item
from servicedesk.supply.queries import run_out_before
from servicedesk.upkeep.models import Task
from servicedesk.upkeep.queries import open_tasks_of
from servicedesk.water.models import WaterChange

MIXED = {
    WaterType.REEF_SOFT,
    WaterType.REEF_MIXED,
    WaterType.REEF_STONY,
    WaterType.MARINE_FISH,
    WaterType.BRACKISH,
}
SALINITY, STORE_C = 35.0, 20.0
"""Of mixed water whose salinity or temperature nobody wrote down: ocean water in a store (common practice)."""
LOOK_BACK = timedelta(days=60)


def weight_of(item: Item, amount: float) -> float | None:
    """Kilograms; liquids counted as 1 kg a litre (common practice), pieces not weighed."""
    return None if item.unit == "pcs" else amount / 1000


def boxes_of(amounts: Mapping[Item, float]) -> int:
    """Boxes of a van that the things of one stop fill: whole packs are carried, and each stop's things travel in boxes of their own (common
    practice). What is not written down to go in boxes fills none."""
    filled = sum(
        math.ceil(round(amount / item.pack_size, 6)) / item.packs_per_box
        for item, amount in amounts.items()
        if item.packs_per_box
    )
    return math.ceil(round(filled, 6))


@dataclass
class LoadLine:
    """One thing to carry: how much altogether and at each stop, why, and for which stops."""

    item: Item
    amount: float = 0.0
    at: dict[int, float] = field(default_factory=lambda: defaultdict(float))
    stops: set[int] = field(default_factory=set)
    whys: set[str] = field(default_factory=set)

    @property
    def kg(self) -> float | None:
        """Its weight; pieces are not weighed."""
        return weight_of(self.item, self.amount)


@dataclass(frozen=True)
class WaterLine:
    """Mixed water for one stop: litres as at the last change of each tank, weighed by its salinity."""

    stop: int
    site: str
    litres: float
    kg: float
    why: str


@dataclass(frozen=True)
class Shelf:
    name: str
    lines: list[LoadLine]


@dataclass(frozen=True)
class Load:
    """All that a round needs. `kg` leaves out pieces and empty cans; `boxes` are those of a van, each stop's of its own."""

    shelves: list[Shelf]
    water: list[WaterLine]
    litres: float
    cans: int
    can_litres: float
    kg: float
    boxes: int = 0

    @property
    def lines(self) -> list[LoadLine]:
        return [line for shelf in self.shelves for line in shelf.lines]


def carried(tasks: Iterable[Task]) -> dict[Item, float]:
    """What these tasks need, each thing once."""
    sums: dict[Item, float] = defaultdict(float)
    for task in tasks:
        if task.rule is not None and task.rule.carry is not None:
            sums[task.rule.carry] += task.rule.carry_amount
    return dict(sums)


def _lines(stops: list[Stop], tanks: list[Tank], day: date, at: datetime) -> list[LoadLine]:
    place = {tank.pk: stop.order for stop in stops for tank in stop.tanks}
    found: dict[UUID, LoadLine] = {}

    def add(item: Item, amount: float, tank: UUID, why: str) -> None:
        line = found.setdefault(item.pk, LoadLine(item))
        line.amount += amount
        line.at[place[tank]] += amount
        line.stops.add(place[tank])
        line.whys.add(why)

    for task in open_tasks_of(tanks, until=day):
        for item, amount in carried([task]).items():
            add(item, amount, task.tank_id, task.title)
    ahead = next_visits_of(tanks, after=day)
    for out in run_out_before(tanks, at=at, day=day, next_visits=ahead):
        why = _("empty on %(day)s, before the next visit") % {"day": date_format(out.empty_on, "j M")}
        add(out.item, out.ml, out.tank.pk, why)
    return list(found.values())


def _last_changes(tanks: list[Tank], at: datetime) -> dict[UUID, WaterChange]:
    mixed = [t.pk for t in tanks if t.water_type in MIXED]
    rows = standing(WaterChange.objects.filter(tank__in=mixed, at__gte=at - LOOK_BACK, at__lte=at))
    return {row.tank_id: row for row in rows.order_by("at", "pk")}


def _weight(change: WaterChange) -> float:
    salinity = SALINITY if change.salinity is None else change.salinity
    warm = STORE_C if change.temperature_c is None else change.temperature_c
    try:
        return change.litres * density(salinity=salinity, temperature_c=warm) / 1000
    except ValueError:
        return change.litres * density(salinity=SALINITY, temperature_c=STORE_C) / 1000


def water_of(tanks: Iterable[Tank], *, at: datetime) -> dict[UUID, tuple[float, float]]:
    """Litres and kilograms of mixed water for each tank that got some at its last change, as then."""
    return {key: (change.litres, _weight(change)) for key, change in _last_changes(list(tanks), at).items()}


def _water(stops: list[Stop], tanks: list[Tank], at: datetime) -> list[WaterLine]:
    last, lines = _last_changes(tanks, at), []
    for stop in stops:
        changes = [last[t.pk] for t in stop.tanks if t.pk in last]
        if not changes:
            continue
        newest = max(change.at for change in changes)
        lines.append(
            WaterLine(
                stop=stop.order,
                site=stop.due_visit.site.name,
                litres=sum(change.litres for change in changes),
                kg=sum(_weight(change) for change in changes),
                why=_("as at the last change, %(day)s") % {"day": date_format(newest, "j M")},
            )
        )
    return lines


def load_of(stops: list[Stop], *, day: date, at: datetime) -> Load:
    """The load of these stops: tasks' things, what runs out before the next visit, and mixed water as last time."""
    tanks = [tank for stop in stops for tank in stop.tanks]
    lines = sorted(
        _lines(stops, tanks, day, at), key=lambda li: (li.item.kind, li.item.name, str(li.item.pk))
    )
    shelves: dict[str, list[LoadLine]] = defaultdict(list)
    for line in lines:
        shelves[line.item.shelf].append(line)
    water = _water(stops, tanks, at)
    each: dict[int, dict[Item, float]] = defaultdict(dict)
    for line in lines:
        for stop, amount in line.at.items():
            each[stop][line.item] = amount
    litres, can = sum(w.litres for w in water), float(settings.CAN_LITRES)
    return Load(
        shelves=[Shelf(name, shelves[name]) for name in sorted(shelves, key=lambda n: (not n, n))],
        water=water,
        litres=litres,
        cans=math.ceil(round(litres / can, 6)),
        can_litres=can,
        kg=sum(w.kg for w in water) + sum(line.kg or 0.0 for line in lines),
        boxes=sum(boxes_of(amounts) for amounts in each.values()),
    )
