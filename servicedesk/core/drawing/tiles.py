"""Pictures of the ground beneath the map of the rounds, from a tile source of the business's own. Tiles are numbered as in the tile matrix set
WebMercatorQuad (OGC Two Dimensional Tile Matrix Set 2.0, annex D): 2^z by 2^z of them from the north-west, spherical Mercator (Snyder 1987, USGS
Professional Paper 1395, p. 41). Each is stretched between where its own edges lie on the drawing's plane; at the scale of a day's driving what is
inside is off by less than a pixel."""

from __future__ import annotations

from dataclasses import dataclass
from math import asinh, atan, cos, degrees, floor, log2, pi, radians, sinh, tan

from servicedesk.core.drawing.sketch import KM_A_DEGREE

TILE_PX, MOST_ZOOM, MOST_TILES = 256.0, 19, 60
NORTHMOST = degrees(atan(sinh(pi)))
"""Where the square of all tiles ends, in degrees."""


@dataclass(frozen=True, slots=True)
class Ground:
    """How a drawing's px lie on the ground: a place (degrees north and east) and where it is drawn, px for a km, and how far a degree of longitude is
    shrunk there."""

    place: tuple[float, float]
    px: tuple[float, float]
    px_a_km: float
    shrink: float

    def x(self, lon: float) -> float:
        return self.px[0] + (lon - self.place[1]) * KM_A_DEGREE * self.shrink * self.px_a_km

    def y(self, lat: float) -> float:
        return self.px[1] - (lat - self.place[0]) * KM_A_DEGREE * self.px_a_km

    def lon(self, x: float) -> float:
        return self.place[1] + (x - self.px[0]) / (KM_A_DEGREE * self.shrink * self.px_a_km)

    def lat(self, y: float) -> float:
        return self.place[0] - (y - self.px[1]) / (KM_A_DEGREE * self.px_a_km)


@dataclass(frozen=True, slots=True)
class Tile:
    """One picture and where it stands, in px."""

    address: str
    x: float
    y: float
    width: float
    height: float


def column(lon: float, zoom: int) -> float:
    """Tiles from the date line to a longitude."""
    return float((lon + 180) / 360 * 2**zoom)


def row(lat: float, zoom: int) -> float:
    """Tiles from the northern edge to a latitude."""
    held = min(max(lat, -NORTHMOST), NORTHMOST)
    return float((1 - asinh(tan(radians(held))) / pi) / 2 * 2**zoom)


def edge(number: int, zoom: int) -> float:
    """The latitude of a tile's northern edge."""
    return degrees(atan(sinh(pi * (1 - 2 * number / 2**zoom))))


def tiles_of(template: str, ground: Ground, width: float, height: float) -> list[Tile]:
    """The tiles that cover a drawing, of the size nearest to their own; none where there would be too many. `template` has {z}, {x} and {y}."""
    around = 360 * KM_A_DEGREE * ground.shrink * ground.px_a_km
    zoom = min(max(0, round(log2(max(around, TILE_PX) / TILE_PX))), MOST_ZOOM)
    most = 2**zoom
    left, right = (floor(column(ground.lon(x), zoom)) for x in (0, width))
    top, foot = (min(max(0, floor(row(ground.lat(y), zoom))), most - 1) for y in (0, height))
    if (right - left + 1) * (foot - top + 1) > MOST_TILES:
        return []
    found = []
    for at in range(top, foot + 1):
        y0, y1 = ground.y(edge(at, zoom)), ground.y(edge(at + 1, zoom))
        for number in range(left, right + 1):
            x0, x1 = (ground.x(n / most * 360 - 180) for n in (number, number + 1))
            address = (
                template.replace("{z}", str(zoom)).replace("{x}", str(number % most)).replace("{y}", str(at))
            )
            found.append(Tile(address, x0, y0, x1 - x0, y1 - y0))
    return found


def shrink_at(lats: list[float]) -> float:
    """How far the drawing's plane shrinks a degree of longitude (`sketch.plane_km`)."""
    return cos(radians(sum(lats) / len(lats)))
