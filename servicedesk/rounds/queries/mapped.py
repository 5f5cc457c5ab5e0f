"""A day's rounds as a map: who drives where in which order, and where each day begins and ends."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from servicedesk.core.drawing.map import MapStop, Place, RoundsMap, Way
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries.week import Day
from servicedesk.staff.choices import StartsAt
from servicedesk.staff.models import Working
from servicedesk.stock.choices import PlaceKind
from servicedesk.stock.models import Place as StockPlace
from servicedesk.web.prepared import KEYS, Slot, prepared


@prepared()
def _stores() -> QuerySet[StockPlace]:
    rows = StockPlace.objects.filter(kind=PlaceKind.STORE, lat__isnull=False).order_by("name", "pk")
    return rows.only("lat", "lon")


@prepared(people=KEYS)
def _working(people: Slot) -> QuerySet[Working]:
    rows = Working.objects.filter(person__in=people)
    return rows.only("person", "begins_at", "ends_at", "home_lat", "home_lon")


def _store() -> Place | None:
    row = _stores.first()
    return None if row is None or row.lat is None or row.lon is None else (row.lat, row.lon)


def _home(row: Working | None) -> Place | None:
    return (
        None if row is None or row.home_lat is None or row.home_lon is None else (row.home_lat, row.home_lon)
    )


def _stop(stop: Stop) -> MapStop:
    site = stop.due_visit.site
    return MapStop(stop.order, site.name, site.lat, site.lon)


def map_of(stops: Iterable[Stop], *, homes: bool = True) -> RoundsMap | None:
    """The map of these stops of one day, a way for each technician; None where there is none. Stops that were called off are not
    driven to. Without `homes` a day that begins or ends at somebody's home begins or ends on the map at its first or last stop."""
    drivers: dict[UUID, tuple[str, list[MapStop]]] = {}
    for stop in stops:
        if stop.state != StopState.CALLED_OFF:
            driver = stop.round.technician
            drivers.setdefault(driver.pk, (driver.name, []))[1].append(_stop(stop))
    return _map_of(drivers, homes=homes)


def map_of_days(days: Iterable[Day]) -> RoundsMap | None:
    """The same of rounds of one day that were judged."""
    drivers = {
        day.round.technician: (day.round.name, [MapStop(t.stop.order, t.name, t.stop.lat, t.stop.lon) for t in day.stops])
        for day in days
        if day.stops
    }  # fmt: skip
    return _map_of(drivers, homes=True)


def _map_of(drivers: dict[UUID, tuple[str, list[MapStop]]], *, homes: bool) -> RoundsMap | None:
    if not drivers:
        return None
    store, working = _store(), {row.person_id: row for row in _working(people=list(drivers))}
    shown: list[Place] = []

    def base(row: Working | None, where: str) -> Place | None:
        home = _home(row) if where == StartsAt.HOME else None
        if home is None:
            return store
        if homes and home not in shown:
            shown.append(home)
        return home if homes else None

    ways = []
    for key, (name, mine) in drivers.items():
        row = working.get(key)
        begins, ends = (row.begins_at, row.ends_at) if row else (StartsAt.STORE, StartsAt.STORE)
        placed = tuple(sorted(mine, key=lambda stop: stop.number))
        ways.append(Way(name, placed, begins=base(row, begins), ends=base(row, ends)))
    names = _(", ").join(way.name for way in ways)
    title = _("Map of the rounds of %(names)s, north up. The stops stand in words below it.") % {
        "names": names
    }
    return RoundsMap(title, tuple(ways), store=store, homes=tuple(shown))
