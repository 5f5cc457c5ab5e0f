"""What must be ordered: everything whose predicted empty date falls before lead time plus time to the next visit."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from clients.models import Tank
from servicedesk.core.inventory.reorder import must_order_by, order_needed
from servicedesk.dosing.queries import Settings, channels_of
from servicedesk.instruments.queries import empty_day, loads_of, measures_of
from servicedesk.staff.queries import business_zone
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
    why = _("Empty on %(day)s; %(lead)s days to come, %(days)s days to the next visit.") % {
        "day": date_format(empty, "j F"),
        "lead": item.lead_days,
        "days": days,
    }
    return Need(item, tank, what, empty, order_by, order_by < today, left, why)


def needs(*, at: datetime, next_visits: dict[UUID, date]) -> list[Need]:
    """All needs, soonest empty first. `next_visits` is the next visit per tank."""
    tanks = list(Tank.objects.filter(retired_on__isnull=True).select_related("site"))
    at = at.astimezone(business_zone())
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


@dataclass(frozen=True)
class RunsOut:
    """A container or bottle that is empty before somebody comes again: what to bring, how many mL."""

    tank: Tank
    item: Item
    ml: float
    empty_on: date


def run_out_before(
    tanks: list[Tank], *, at: datetime, day: date, next_visits: dict[UUID, date]
) -> list[RunsOut]:
    """What at these tanks is empty by the visit after that day's: dosing containers with what fills them up, reagent
    bottles with a new one. A tank whose next visit nobody knows is given the usual gap."""
    at, found = at.astimezone(business_zone()), []
    until = {t.pk: next_visits.get(t.pk) or day + timedelta(days=USUAL_GAP_DAYS) for t in tanks}
    channels = channels_of(tanks)
    settings = Settings(channels, at)
    for channel in channels:
        days, left = settings.days_left(channel), settings.left_ml(channel)
        if days is None or left is None:
            continue
        empty = at.date() + timedelta(days=int(min(days, 3650)))
        ml = max(0.0, channel.container_ml - left)
        if empty <= until[channel.tank_id] and ml > 0:
            found.append(RunsOut(channel.tank, channel.solution.item, ml, empty))
    measures = measures_of(tanks)
    loads = loads_of(measures, at)
    for measure in measures:
        load, reagent = loads.get(measure.pk), measure.reagent
        empty_ = empty_day(measure, load, at) if load else None
        if reagent is None or empty_ is None or empty_ > until[measure.instrument.tank_id]:
            continue
        ml = measure.bottle_ml or (reagent.pack_size if reagent.unit == "mL" else 0.0)
        found.append(RunsOut(measure.instrument.tank, reagent, ml, empty_))
    return sorted(found, key=lambda r: (r.item.name, str(r.tank.pk)))
