"""How far the rounds of two weeks go by road: from where each day begins over its stops to where it ends."""

from __future__ import annotations

from datetime import date
from functools import lru_cache
from itertools import groupby
from typing import Any

from django.db.models import QuerySet

from servicedesk.core.rounds.travel import Roads, road_m
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries.ways import Point, reckoned_by, roads
from servicedesk.staff.choices import StartsAt
from servicedesk.stock.choices import PlaceKind
from servicedesk.stock.models import Place
from servicedesk.web.prepared import DAY, Raw, Slot, prepared


@prepared(first=DAY, last=DAY)
def _stops(first: Slot, last: Slot) -> QuerySet[Stop, Any]:
    rows = Stop.objects.filter(round__day__gte=first, round__day__lte=last).exclude(
        state=StopState.CALLED_OFF
    )
    working = "round__technician__working__"
    return rows.order_by("round__day", "round", "order", "pk").values_list(
        "round__day", "round", "due_visit__site__lat", "due_visit__site__lon",
        f"{working}begins_at", f"{working}ends_at", f"{working}home_lat", f"{working}home_lon",
    )  # fmt: skip


def metres_by_day(first: date, last: date) -> dict[date, int]:
    """Metres by road of all rounds of each day, as the bands of distance reckon them (the same for every week, whoever was asked when it was
    planned). Legs to and from a place whose coordinates nobody knows count for nothing. The database is asked every time; what was reckoned is kept by
    what it says."""
    store = Place.objects.filter(kind=PlaceKind.STORE, lat__isnull=False, lon__isnull=False).order_by("name")
    point = store.values_list("lat", "lon").first()
    return dict(_reckoned(_stops.raw(first=first, last=last), point, reckoned_by(roads())))


@lru_cache(maxsize=16)
def _reckoned(raw: Raw, store: Point | None, by: Roads) -> dict[date, int]:
    legs, days = list[tuple[Point, Point]](), list[date]()
    for (day, _round), stops in groupby(_stops.read(raw), key=lambda row: row[:2]):
        rows = list(stops)
        _day, _key, _lat, _lon, begins, ends, home_lat, home_lon = rows[0]
        home = store if home_lat is None or home_lon is None else (home_lat, home_lon)
        there = [(lat, lon) for _d, _r, lat, lon, *_rest in rows if lat is not None and lon is not None]
        way = [home if begins == StartsAt.HOME else store, *there, home if ends == StartsAt.HOME else store]
        known = [point for point in way if point is not None]
        legs += zip(known, known[1:], strict=False)
        days += [day] * (len(known) - 1)
    found = dict[date, int]()
    for day, metres in zip(days, road_m([a for a, _b in legs], [b for _a, b in legs], by), strict=True):
        found[day] = found.get(day, 0) + round(float(metres))
    return found
