"""What must be ordered: everything whose predicted empty date falls before lead time plus time to the next visit."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db.models import QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients.models import Tank
from servicedesk.core.inventory.reorder import must_order_by, order_needed
from servicedesk.dosing.queries import Settings, channels_in_use, channels_of
from servicedesk.instruments.queries import empty_day, loads_of, measures_of, measures_with_reagent
from servicedesk.staff.queries import business_zone
from servicedesk.stock.models import Item
from servicedesk.stock.queries import balances
from servicedesk.supply.models import RunOut
from servicedesk.web.prepared import prepared

USUAL_GAP_DAYS = 14
KEPT_FOR = timedelta(minutes=10)


@dataclass(frozen=True)
class Need:
    """One bottle or container that runs empty: what, where, when, and by when to order. `fill` is what fills it again;
    `at_hand` says that the store holds that much, so that it needs bringing and no order; `gone` that it is empty by now."""

    item: Item
    tank: Tank
    what: str
    empty_on: date
    order_by: date
    late: bool
    in_store: float
    why: str
    fill: float = 0.0
    at_hand: bool = False
    gone: bool = False

    @property
    def where(self) -> str:
        """Device, site and tank; the tank once where the device is called after it."""
        site = self.tank.site.name
        return (
            f"{self.what} · {site}"
            if self.tank.name in self.what
            else f"{self.what} · {site}, {self.tank.name}"
        )


def _days_to_visit(tank: Tank, next_visits: dict[UUID, date], today: date) -> int:
    upcoming = next_visits.get(tank.pk)
    return (upcoming - today).days if upcoming else USUAL_GAP_DAYS


def _why(item: Item, empty: date, days: int, *, today: date) -> str:
    takes = ngettext("An order takes one day", "An order takes %(n)s days", item.lead_days) % {
        "n": item.lead_days
    }
    comes = ngettext("the next visit is in one day", "the next visit is in %(n)s days", days) % {"n": days}
    said = (
        _("Empty by now. %(takes)s, %(comes)s.")
        if empty <= today
        else _("Empty on %(day)s. %(takes)s, %(comes)s.")
    )
    return said % {
        "day": date_format(empty, "j F"),
        "takes": takes,
        "comes": comes,
    }


def _shared(found: list[Need]) -> list[Need]:
    """What the store holds goes to what is empty first; each knows whether there is enough left for it."""
    left = {need.item.pk: need.in_store for need in found}
    shared = []
    for need in found:
        at_hand = left[need.item.pk] >= need.fill > 0
        left[need.item.pk] -= need.fill
        shared.append(replace(need, at_hand=at_hand, late=need.late and not at_hand))
    return shared


@dataclass(frozen=True)
class Empties:
    """A container or bottle at a tank and the day on which it runs empty; `fill` mL fill it again."""

    key: UUID
    tank: Tank
    item: Item
    what: str
    empty_on: date
    fill: float


def predicted(*, at: datetime) -> list[Empties]:
    """Every container and bottle in use whose end can be told, worked out from its last filling and its use."""
    at, found = at.astimezone(business_zone()), []
    channels = channels_in_use()
    settings = Settings(channels, at)
    for channel in channels:
        days_left, left_ml = settings.days_left(channel), settings.left_ml(channel)
        if days_left is None or left_ml is None:
            continue
        empty = at.date() + timedelta(days=int(min(days_left, 3650)))
        fill, item = max(0.0, channel.container_ml - left_ml), channel.solution.item
        found.append(Empties(channel.pk, channel.tank, item, str(channel.equipment), empty, fill))
    measures = measures_with_reagent()
    loads = loads_of(measures, at)
    for measure in measures:
        load, reagent = loads.get(measure.pk), measure.reagent
        empty_ = empty_day(measure, load, at) if load else None
        if reagent is None or empty_ is None:
            continue
        device, fill = measure.instrument, measure.bottle_ml or reagent.pack_size
        found.append(Empties(measure.pk, device.tank, reagent, str(device.equipment), empty_, fill))
    return found


@prepared()
def _kept() -> QuerySet[RunOut]:
    item = (f"item__{name}" for name in ("name", "unit", "lead_days"))
    names = ("what", "empty_on", "fill", "worked_at", "tank__name", "tank__site__name", *item)
    return RunOut.objects.select_related("tank__site", "item").only(*names)


def kept(*, at: datetime) -> list[Empties]:
    """What `predicted` gave a few minutes ago, for a page that is read often; worked out now where nobody did of late."""
    found = _kept()
    if not found or at - min(row.worked_at for row in found) > KEPT_FOR:
        return predicted(at=at)
    return [Empties(row.pk, row.tank, row.item, row.what, row.empty_on, row.fill) for row in found]


def needs(*, at: datetime, next_visits: dict[UUID, date], empties: list[Empties] | None = None) -> list[Need]:
    """All needs, soonest empty first. `next_visits` is the next visit per tank; `empties` what runs empty when, worked
    out now where it is not given."""
    at = at.astimezone(business_zone())
    today, stock, found = at.date(), balances(), []
    for e in predicted(at=at) if empties is None else empties:
        days = _days_to_visit(e.tank, next_visits, today)
        if not order_needed(
            empty=e.empty_on, today=today, lead_days=e.item.lead_days, days_to_next_visit=days
        ):
            continue
        order_by = must_order_by(empty=e.empty_on, lead_days=e.item.lead_days)
        found.append(
            Need(
                item=e.item,
                tank=e.tank,
                what=e.what,
                empty_on=e.empty_on,
                order_by=order_by,
                late=order_by < today,
                in_store=stock.get(e.item.pk, 0.0),
                why=_why(e.item, e.empty_on, days, today=today),
                fill=e.fill,
                gone=e.empty_on <= today,
            )
        )
    return _shared(sorted(found, key=lambda n: (n.empty_on, n.item.name, n.tank.name)))


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
