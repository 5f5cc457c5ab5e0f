"""How long ways take, as far as is known without asking anybody: drives of one's own, what a road router said before, else the distance."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import lru_cache
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db.models import Q
from django.db.models.functions import Coalesce
from django.utils.formats import date_format, time_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.core.rounds.hours import Drive, Hours, LearnedWay, by_band, factors_of, learned_way
from servicedesk.core.rounds.later import np
from servicedesk.core.rounds.problem import NO_WAY_S, Travel
from servicedesk.core.rounds.router import FAR_M, Service, key_of, point_of
from servicedesk.core.rounds.travel import Band, great_circle_m, travel_between
from servicedesk.core.rounds.travel import Roads as Reckoned
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import DueVisit, Roads, Router, Way
from servicedesk.staff.models import Working
from servicedesk.staff.queries import business_zone
from servicedesk.stock.choices import PlaceKind
from servicedesk.stock.models import Place

Point = tuple[float, float]
LATE_FOR = timedelta(days=42)
UNKNOWN = -1


def roads() -> Roads:
    """The business's bands of distance; the starting ones while nobody set any."""
    return Roads.objects.first() or Roads()


def reckoned_by(row: Roads) -> Reckoned:
    """The same as the core takes them."""
    bands = (
        Band(row.near_km, row.near_factor, row.near_kmh),
        Band(row.middle_km, row.middle_factor, row.middle_kmh),
        Band(float("inf"), row.far_factor, row.far_kmh),
    )
    return Reckoned(bands, row.leg_minutes)


def service() -> Service | None:
    """The road router that this installation asks; None where it asks none."""
    if not settings.ROADS_URL:
        return None
    return Service(settings.ROADS_KIND, settings.ROADS_URL, settings.ROADS_PROFILE, settings.ROADS_DATA)


def router() -> Router | None:
    """Its row, once it was asked."""
    known = service()
    return Router.objects.filter(name=known.name[:400]).first() if known else None


def points_of(first: date, last: date) -> list[Point]:
    """Where ways between these days may begin or end: homes of technicians, the store, sites with a visit owed. Coordinates, and nothing else."""
    owed = DueVisit.objects.filter(
        called_off_at__isnull=True, earliest__lte=last, due__gte=first - LATE_FOR, site__lat__isnull=False
    ).exclude(Q(stop__state__in=(StopState.UNDER_WAY, StopState.CLOSED)))
    homes = Working.objects.filter(person__is_active=True, home_lat__isnull=False)
    stores = Place.objects.filter(kind=PlaceKind.STORE, lat__isnull=False, lon__isnull=False)
    found = [
        *owed.values_list("site__lat", "site__lon"),
        *homes.values_list("home_lat", "home_lon"),
        *stores.values_list("lat", "lon"),
    ]
    return sorted({(lat, lon) for lat, lon in found if lat is not None and lon is not None})


def missing_of(row: Router, points: Iterable[Point], *, old: Any) -> dict[int, frozenset[int]]:
    """Which ordered pairs of these places are to be asked: by start the ends of which nothing is known, or nothing since `old`. Places off the
    router's map, and what is too far to be driven between two stops, are left out."""
    keys = sorted({key_of(point) for point in points})
    unknown = great_circle_m([point_of(key) for key in keys]) <= FAR_M
    np.fill_diagonal(unknown, val=False)
    start, end, seconds, _metres = _said_by(row, keys, asked_at__gte=old)
    unknown[start, end] = False
    lost = start[(start == end) & (seconds == UNKNOWN)]
    unknown[lost], unknown[:, lost] = False, False
    return {key: frozenset(keys[b] for b in np.flatnonzero(unknown[a])) for a, key in enumerate(keys)}


def _said_by(row: Router, keys: Sequence[int], **more: Any) -> Any:
    """What a router said of ways between these places (keys in order): four columns, the numbers of start and end, seconds and metres (UNKNOWN where there
    is no way)."""
    rows = Way.objects.filter(router=row, start__in=keys, end__in=keys, **more)
    numbers = [Coalesce(name, UNKNOWN) for name in ("seconds", "metres")]
    told = list(rows.values_list("start", "end", *numbers).iterator(chunk_size=10_000))
    start, end, *rest = np.array(told, dtype=np.int64).reshape(-1, 4).T
    known = np.asarray(keys, dtype=np.int64)
    return [np.searchsorted(known, start), np.searchsorted(known, end), *rest]


@lru_cache(maxsize=2)
def _squares(row: Router, _taught: int, keys: tuple[int, ...]) -> tuple[Any, Any, tuple[int, ...]]:
    """What a router said of these places: seconds and metres by start and end (UNKNOWN where nothing), and numbers of those off its map. Kept by what
    it was taught, like all that is kept here."""
    start, end, told, long = _said_by(row, keys)
    seconds = np.full((len(keys), len(keys)), UNKNOWN, dtype=np.int64)
    metres = seconds.copy()
    seconds[start, end], metres[start, end] = np.where(told == UNKNOWN, NO_WAY_S, told), long
    lost = tuple(sorted(int(number) for number in start[start == end]))
    np.fill_diagonal(seconds, UNKNOWN)
    return seconds, metres, lost


@dataclass
class Ways:
    """Ways between places: `travel` as the search takes it, `hours` to time a round again, what has to be said of them, and what drives say beside what was
    reckoned (whole seconds) of pairs that were driven."""

    travel: Travel
    hours: Hours
    said: list[str] = field(default_factory=list)
    learned: dict[tuple[int, int], tuple[int, LearnedWay]] = field(default_factory=dict)


def ways_between(
    points: Sequence[Point | None],
    settled: Sequence[Point],
    names: Sequence[str],
    sites: dict[UUID, int],
    drives: dict[tuple[UUID, UUID], list[Drive]],
) -> Ways:
    """Ways between places: where the router said nothing, by distance; where somebody drove, as it took. `points` are where they are known
    to stand, `settled` where they are taken to stand, `sites` the number of each site's place. Raises the planner's NotPlanned."""
    travel = travel_between(list(settled), reckoned_by(roads()))
    seconds, metres = travel.seconds, travel.metres
    said = _as_the_router_says(points, names, seconds, metres, _driven(sites, drives))
    learned, pairs = dict[tuple[int, int], LearnedWay](), {}
    for (a, b), seen in drives.items():
        one, other = sites.get(a), sites.get(b)
        if one is not None and other is not None and 0 < seconds[one, other] < NO_WAY_S:
            learned[one, other] = learned_way(float(seconds[one, other]), seen)
    factors = factors_of(learned.values())
    beside = {pair: (int(seconds[pair]), way) for pair, way in learned.items()}
    for (one, other), way in learned.items():
        if way.kept:
            seconds[one, other] = round(way.value)
            pairs[one, other] = by_band(way, factors)
    hours = Hours(seconds.copy(), factors, pairs)
    seconds[:] = -(-seconds // 60) * 60  # rounds are written down in whole minutes: never too few
    return Ways(Travel(seconds, None, metres), hours, said, beside)


def _driven(sites: dict[UUID, int], drives: dict[tuple[UUID, UUID], list[Drive]]) -> set[tuple[int, int]]:
    return {(sites[a], sites[b]) for a, b in drives if a in sites and b in sites}


def _as_the_router_says(
    points: Sequence[Point | None],
    names: Sequence[str],
    seconds: Any,
    metres: Any,
    driven: set[tuple[int, int]],
) -> list[str]:
    """Puts what the router said over what was reckoned, both numbers of a pair together; a way that somebody drove is one. What has to be said of it."""
    known, row = service(), router()
    if known is None:
        return []
    keys = {n: key_of(point) for n, point in enumerate(points) if point is not None}
    whole = tuple(sorted(set(keys.values())))
    if row is None:
        return _said_of(row, len(whole) * (len(whole) - 1), [], [])
    square, lengths, lost = _squares(row, row.taught, whole)
    at, there = {key: number for number, key in enumerate(whole)}, list(keys)
    index = [at[keys[n]] for n in there]
    mine, asked = np.ix_(there, there), np.ix_(index, index)
    said, long = square[asked], lengths[asked]
    spot = {n: number for number, n in enumerate(there)}
    for a, b in driven:
        if a in spot and b in spot and said[spot[a], spot[b]] >= NO_WAY_S:
            said[spot[a], spot[b]] = UNKNOWN
    sure = (said >= 0) & (seconds[mine] > 0)
    seconds[mine] = np.where(sure, said, seconds[mine])
    metres[mine] = np.where(sure & (said < NO_WAY_S), long, metres[mine])
    none = [(names[there[a]], names[there[b]]) for a, b in np.argwhere(sure & (said >= NO_WAY_S))]
    off = [names[n] for n in there if at[keys[n]] in lost]
    return _said_of(row, _unknown(square, whole, lost), none, off)


def _unknown(square: Any, keys: Sequence[int], lost: Sequence[int]) -> int:
    """How many pairs the router is still to be asked for."""
    wanted = great_circle_m([point_of(key) for key in keys]) <= FAR_M
    np.fill_diagonal(wanted, val=False)
    wanted[list(lost)], wanted[:, list(lost)] = False, False
    return int((wanted & (square == UNKNOWN)).sum())


def _said_of(row: Router | None, unknown: int, none: list[tuple[str, str]], off: list[str]) -> list[str]:
    """What of the ways is not as the router would have it, and why, in sentences."""
    said = []
    if unknown > 0:
        said.append(_by_distance(row, unknown))
    if none:
        words = ngettext(
            "The road router knows no way from %(a)s to %(b)s: nobody is sent it.",
            "The road router knows no way between %(n)s pairs of places, as from %(a)s to %(b)s: nobody is sent them.",
            len(none),
        )
        said.append(words % {"n": len(none), "a": none[0][0], "b": none[0][1]})
    if off:
        words = ngettext(
            "The road router knows no road near %(name)s: ways there are reckoned by distance.",
            "The road router knows no road near %(n)s places, %(name)s among them: ways there are reckoned by distance.",
            len(off),
        )
        said.append(words % {"n": len(off), "name": off[0]})
    return said


def _by_distance(row: Router | None, unknown: int) -> str:
    ways = ngettext("One way is reckoned by distance", "%(n)s ways are reckoned by distance", unknown) % {
        "n": unknown
    }
    if row is None or row.failed_at is None:
        return _("%(ways)s: the road router was not asked for them yet.") % {"ways": ways}
    words = _("%(ways)s: the road router did not answer as it should at %(at)s on %(day)s. %(why)s")
    at = localtime(row.failed_at, business_zone())
    told = {"at": time_format(at, "H:i"), "day": date_format(at, "j F"), "why": row.error}
    return (words % {"ways": ways, **told}).strip()


__all__ = ["Ways", "missing_of", "points_of", "reckoned_by", "roads", "router", "service", "ways_between"]
