"""How long it takes from place to place where no road router is asked: the great circle, times a road factor that falls with
distance, at a speed that rises with it, plus a fixed time for each leg.

Great circle: haversine on a sphere of 6371.0088 km (mean Earth radius, IUGG 1980). Road factors of 1.2 to 1.7 are published for
many countries (detour index: Boscoe, Henry & Zdeb 2012, Professional Geographer 64:188-196); bands, speeds and minutes a leg are
common practice and meant to be set."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from servicedesk.core.rounds.later import np
from servicedesk.core.rounds.problem import NO_WAY_S, NotPlanned, Travel

EARTH_M = 6_371_008.8


@dataclass(frozen=True)
class Band:
    """Up to `to_km` of straight line: the road is `factor` times as long and driven at `kmh`."""

    to_km: float
    factor: float
    kmh: float


@dataclass(frozen=True)
class Roads:
    """How straight lines become minutes. Bands rise; the last one holds for everything beyond."""

    bands: tuple[Band, ...] = (Band(3, 1.5, 25), Band(15, 1.35, 38), Band(float("inf"), 1.25, 55))
    leg_minutes: float = 2.0
    overrides: Mapping[tuple[int, int], int | None] | None = None
    """Seconds of single ordered pairs, None where there is no way: a ferry, a bridge that is closed."""


def _checked(roads: Roads) -> None:
    if not roads.bands or roads.leg_minutes < 0:
        raise NotPlanned("Travel needs at least one band of distance and minutes a leg of nought or more.")
    if any(band.kmh <= 0 or band.factor < 1 for band in roads.bands):
        raise NotPlanned("Each band of distance needs a speed above nought and a road factor of 1 or more.")
    if any(a.to_km >= b.to_km for a, b in zip(roads.bands, roads.bands[1:], strict=False)):
        raise NotPlanned("The bands of distance must rise.")


def _arc_m(lat: Any, lon: Any, to_lat: Any, to_lon: Any) -> Any:
    """Metres of great circle between points in radians."""
    half = np.sin((lat - to_lat) / 2) ** 2 + np.cos(lat) * np.cos(to_lat) * np.sin((lon - to_lon) / 2) ** 2
    return 2 * EARTH_M * np.arcsin(np.sqrt(np.clip(half, 0, 1)))


def _radians(points: Sequence[tuple[float, float]]) -> Any:
    """Latitudes and longitudes."""
    return np.radians(np.asarray(points, dtype=float).reshape(-1, 2)).T


def _bands(straight: Any, roads: Roads) -> Any:
    """Into which band each straight line falls, in metres."""
    return np.searchsorted(np.array([band.to_km * 1000 for band in roads.bands[:-1]]), straight, side="right")


def _by_road(straight: Any, roads: Roads) -> Any:
    """Metres by road of straight lines."""
    return straight * np.array([band.factor for band in roads.bands])[_bands(straight, roads)]


def great_circle_m(points: Sequence[tuple[float, float]]) -> Any:
    """Metres between all pairs of (latitude, longitude) in degrees, as a square array."""
    lat, lon = _radians(points)
    return _arc_m(lat[:, None], lon[:, None], lat, lon)


def travel_between(points: Sequence[tuple[float, float]], roads: Roads | None = None) -> Travel:
    """Seconds and metres of each ordered pair. Two places at one point are no leg: nought. Raises NotPlanned."""
    roads = roads or Roads()
    _checked(roads)
    for number, (lat, lon) in enumerate(points):
        if not (-90 <= lat <= 90 and -180 <= lon <= 180):
            raise NotPlanned(
                f"Place {number + 1} lies at latitude {lat:g}, longitude {lon:g}: there is no such point."
            )
    straight = great_circle_m(points)
    metres, speeds = _by_road(straight, roads), np.array([band.kmh / 3.6 for band in roads.bands])
    seconds = metres / speeds[_bands(straight, roads)] + roads.leg_minutes * 60
    seconds = np.where(straight < 1, 0, np.rint(seconds)).astype(np.int64)
    for (a, b), known in (roads.overrides or {}).items():
        seconds[a, b] = NO_WAY_S if known is None else known
    return Travel(seconds, None, np.rint(metres).astype(np.int64))


def road_m(
    starts: Sequence[tuple[float, float]], ends: Sequence[tuple[float, float]], roads: Roads | None = None
) -> Any:
    """Metres by road of each leg from a start to the end beside it, (latitude, longitude) in degrees, by the bands alone."""
    roads = roads or Roads()
    _checked(roads)
    return _by_road(_arc_m(*_radians(starts), *_radians(ends)), roads)


def swapped(points: Sequence[tuple[float, float]], far_km: float = 300) -> tuple[int, ...]:
    """Numbers of places that lie far from the middle of all others, but near it once latitude and longitude change places:
    most likely they were typed the wrong way round."""
    if len(points) < 3:
        return ()
    found = []
    for number, (lat, lon) in enumerate(points):
        others = np.median(np.asarray([p for n, p in enumerate(points) if n != number], dtype=float), axis=0)
        as_is, turned = great_circle_m([tuple(others), (lat, lon), (lon, lat)])[0][1:]
        if as_is > far_km * 1000 and turned < min(far_km * 1000, as_is / 3):
            found.append(number)
    return tuple(found)
