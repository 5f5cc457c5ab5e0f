"""What must be ordered: everything whose predicted empty date falls before lead time plus time to the next visit."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from clients.models import Tank
from servicedesk.core.inventory.reorder import must_order_by, order_needed
from servicedesk.dosing.queries import Settings, channels_of
from servicedesk.instruments.queries import empty_day, loads_of, measures_of
from servicedesk.stock.models import Item
from servicedesk.stock.queries import balances

USUAL_GAP_DAYS = 14


@dataclass(frozen=True)
class Need:
    """One bottle or container that runs empty: what, where, when, and by when to order."""

    item: Item
    tank: Tank
    what: str
    empty_on: date
    order_by: date
    late: bool
    in_store: float
    why: str


def _days_to_visit(tank: Tank, next_visits: dict[UUID, date], today: date) -> int:
    upcoming = next_visits.get(tank.pk)
    return (upcoming - today).days if upcoming else USUAL_GAP_DAYS


def _need(item: Item, tank: Tank, what: str, empty: date, today: date, days: int, left: float) -> Need | None:
    if not order_needed(empty=empty, today=today, lead_days=item.lead_days, days_to_next_visit=days):
        return None
    order_by = must_order_by(empty=empty, lead_days=item.lead_days)
    why = f"Empty on {empty:%d %B}; {item.lead_days} days to come, {days} days to the next visit."
    return Need(item, tank, what, empty, order_by, order_by < today, left, why)


def needs(*, at: datetime, next_visits: dict[UUID, date]) -> list[Need]:
    """All needs, soonest empty first. `next_visits` is the next visit per tank."""
    tanks = list(Tank.objects.filter(retired_on__isnull=True).select_related("site"))
    today, stock, found = at.date(), balances(), []
    channels = channels_of(tanks)
    settings = Settings(channels, at)
    for channel in channels:
        days = settings.days_left(channel)
        if days is None:
            continue
        item, empty = channel.solution.item, today + timedelta(days=int(min(days, 3650)))
        gap = _days_to_visit(channel.tank, next_visits, today)
        found.append(
            _need(item, channel.tank, str(channel.equipment), empty, today, gap, stock.get(item.pk, 0.0))
        )
    measures = measures_of(tanks)
    loads = loads_of(measures, at)
    for measure in measures:
        load, item_ = loads.get(measure.pk), measure.reagent
        empty_ = empty_day(measure, load, at) if load else None
        if item_ is None or empty_ is None:
            continue
        tank = measure.instrument.tank
        gap = _days_to_visit(tank, next_visits, today)
        name = str(measure.instrument.equipment)
        found.append(_need(item_, tank, name, empty_, today, gap, stock.get(item_.pk, 0.0)))
    kept = [n for n in found if n is not None]
    return sorted(kept, key=lambda n: (n.empty_on, n.item.name, n.tank.name))
