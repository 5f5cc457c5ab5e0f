"""Territories: every site as a small mark in its technician's shape, with a line round all of theirs (the convex hull, Andrew's monotone
chain 1979), north up, and a bar of km. No tiles and no streets. Whose a mark is shows in its shape and the pattern of the line, in tone
only besides; the name stands in the middle, and all of it in words below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import dist

from servicedesk.core.drawing.map import FILLS, LINES, SHAPES, Place
from servicedesk.core.drawing.pen import Mode, Pen, points
from servicedesk.core.drawing.sketch import draw_scale, framed, plane_km

HEIGHT_TO_WIDTH, LEAST_PX, MOST_PX, FOOT = 0.62, 240.0, 520.0, 34.0
_HALF = 4.5


@dataclass(frozen=True, slots=True)
class Territory:
    """A technician's sites, in degrees north and east."""

    name: str
    sites: tuple[Place, ...]


@dataclass(frozen=True, slots=True)
class Territories:
    """What is drawn; words as the reader's language has them."""

    title: str
    territories: tuple[Territory, ...]
    km: str = "{} km"
    north_word: str = "N"

    @property
    def placed(self) -> bool:
        return any(territory.sites for territory in self.territories)


def hull(spots: Sequence[Place]) -> list[Place]:
    """The corners of the smallest convex figure that holds all of these, in order round it."""
    ordered = sorted(set(spots))
    if len(ordered) < 3:
        return ordered
    return [*_chain(ordered)[:-1], *_chain(ordered[::-1])[:-1]]


def _chain(ordered: Sequence[Place]) -> list[Place]:
    found: list[Place] = []
    for spot in ordered:
        while len(found) > 1 and _turns(found[-2], found[-1], spot) <= 0:
            found.pop()
        found.append(spot)
    return found


def _turns(a: Place, b: Place, c: Place) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def height_of(width: float) -> float:
    """The height in px at a width."""
    return min(MOST_PX, max(LEAST_PX, width * HEIGHT_TO_WIDTH))


def territories_svg(shown: Territories, *, width: float, mode: Mode = "page") -> str:
    """The drawing, made for the width in px at which it is shown. Raises ValueError where no site has a place."""
    if not shown.placed:
        raise ValueError("A drawing of territories needs a site whose place is known.")
    pen, height = Pen(mode), height_of(width)
    all_sites = [site for territory in shown.territories for site in territory.sites]
    px_a_km, spots = framed(plane_km(all_sites), width, height)
    names = []
    begun = 0
    for index, territory in enumerate(shown.territories):
        mine = spots[begun : begun + len(territory.sites)]
        begun += len(mine)
        edge = hull(mine)
        if len(edge) > 1:
            pen.path(LINES[index % len(LINES)], points(edge) + ("Z" if len(edge) > 2 else ""))
        for x, y in mine:
            _draw_mark(pen, index, x, y)
        if mine:
            names.append(
                (territory.name, min(mine, key=lambda spot: sum(dist(spot, other) for other in mine)))
            )
    for name, (x, y) in _clear(names):
        pen.text("text--bold", min(max(x, 24.0), width - 24.0), y, name, "middle")
    draw_scale(pen, shown.km, px_a_km, height)
    _draw_north(pen, shown.north_word, width, height)
    return pen.svg(width=width, height=height, cls="sketch", box=(width, height), title=shown.title)


def _clear(names: Sequence[tuple[str, Place]]) -> list[tuple[str, Place]]:
    """Names above their middle, each stepped down until it stands on no other."""
    found: list[tuple[str, Place]] = []
    for name, (x, y) in names:
        y -= 9.0
        while any(
            abs(y - other[1]) < 15 and abs(x - other[0]) < 4.5 * (len(name) + len(n)) for n, other in found
        ):
            y += 15.0
        found.append((name, (x, y)))
    return found


def mark_svg(index: int, *, mode: Mode = "page") -> str:
    """The line and the mark of the technician at this place of the list, for the key beneath."""
    pen = Pen(mode)
    pen.path(LINES[index % len(LINES)], points([(1, 16), (79, 16)]))
    _draw_mark(pen, index, 40, 16)
    return pen.svg(width=80, height=32, cls="map-key", box=(80, 32))


def _draw_mark(pen: Pen, index: int, x: float, y: float) -> None:
    shape, style = SHAPES[index % len(SHAPES)], FILLS[index % len(FILLS)]
    if shape == "square":
        pen.rect(style, x - _HALF, y - _HALF, 2 * _HALF, 2 * _HALF)
    elif shape == "round":
        pen.circle(style, x, y, _HALF)
    else:
        pen.path(style, points([(x + dx, y + dy) for dx, dy in _CORNERS[shape]]) + "Z")


_CORNERS: dict[str, list[Place]] = {
    "diamond": [(0, -6), (6, 0), (0, 6), (-6, 0)],
    "six-sided": [(-3, -5), (3, -5), (6, 0), (3, 5), (-3, 5), (-6, 0)],
    "shield": [(-5, -5), (5, -5), (5, 2), (0, 6), (-5, 2)],
}


def _draw_north(pen: Pen, word: str, width: float, height: float) -> None:
    x, y = width - 14, height - 4
    pen.path("axis", points([(x, y), (x, y - 14)]))
    pen.path("ink", points([(x - 4, y - 10), (x, y - 17), (x + 4, y - 10)]) + "Z")
    pen.text("text--soft", x - 8, y - 2, word, "end")
