"""Territories: every site as a small mark in its technician's shape, with a line round all of theirs (the convex hull, Andrew's monotone
chain 1979), north up, and a bar of km. No tiles and no streets. Whose a mark is shows in its shape and the pattern of the line, in tone
only besides; the name stands where it covers neither a mark nor a line, or not at all, and all of it in words below."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import dist, hypot, inf

from servicedesk.core.drawing.map import FILLS, LINES, SHAPES, Box, Place, crosses, overlap, text_px
from servicedesk.core.drawing.pen import Mode, Pen, points
from servicedesk.core.drawing.sketch import draw_scale, framed, plane_km

HEIGHT_TO_WIDTH, LEAST_PX, MOST_PX, FOOT = 0.62, 240.0, 520.0, 34.0
_HALF = 4.5
_ROOM, _LETTERS, _BELOW = 7.0, 15.0, 4.0
"""Room round the middle of a mark, the height of a name, and how much of that hangs below its foot, in px."""


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
    groups: list[tuple[str, list[Place]]] = []
    edges: list[list[Place]] = []
    begun = 0
    for index, territory in enumerate(shown.territories):
        mine = spots[begun : begun + len(territory.sites)]
        begun += len(mine)
        edge = hull(mine)
        if len(edge) > 1:
            pen.path(LINES[index % len(LINES)], points(edge) + ("Z" if len(edge) > 2 else ""))
        for x, y in mine:
            _draw_mark(pen, index, x, y)
        groups.append((territory.name, list(mine)))
        edges.append([*edge, *edge[:1]] if len(edge) > 2 else edge)
    for name, (x, y) in named(groups, edges, (width, height)):
        pen.text("text--bold", x, y, name, "middle")
    draw_scale(pen, shown.km, px_a_km, height)
    _draw_north(pen, shown.north_word, width, height)
    return pen.svg(width=width, height=height, cls="sketch", box=(width, height), title=shown.title)


def named(
    groups: Sequence[tuple[str, Sequence[Place]]], edges: Sequence[Sequence[Place]], size: Place
) -> list[tuple[str, Place]]:
    """Where the middle of each name's foot stands: beside one of its own marks, the nearer to their middle the better, in the frame, on no mark, no
    line and no other name, and nearer to its own marks than to others. A name for which there is no such place is left out."""
    marks = [(spot, index) for index, (_name, spots) in enumerate(groups) for spot in spots]
    lines = [leg for edge in edges for leg in pairwise(edge)]
    taken = [_box(x, y, 2 * _ROOM, 2 * _ROOM) for (x, y), _index in marks]
    found = []
    for index, (name, spots) in enumerate(groups):
        for box in _places(spots, text_px(name)):
            free = _inside(box, size) and not any(overlap(box, other) for other in taken)
            if free and _its_own(box, index, marks) and not any(crosses(*leg, box) for leg in lines):
                taken.append(box)
                found.append((name, ((box[0] + box[2]) / 2, box[3] - _BELOW)))
                break
    return found


_SIDES = ((0, -1), (0, 1), (1, 0), (-1, 0), (1, -1), (-1, -1), (1, 1), (-1, 1))


def _places(spots: Sequence[Place], wide: float) -> Iterator[Box]:
    """Above, below, right, left and at the corners of each mark, from the one in the middle outwards."""
    if not spots:
        return
    heart = min(spots, key=lambda spot: sum(dist(spot, other) for other in spots))
    across, up = _ROOM + 1 + wide / 2, _ROOM + 1 + _LETTERS / 2
    for x, y in sorted(spots, key=lambda spot: dist(spot, heart)):
        for right, down in _SIDES:
            yield _box(x + right * across, y + down * up, wide, _LETTERS)


def _box(x: float, y: float, wide: float, high: float) -> Box:
    return x - wide / 2, y - high / 2, x + wide / 2, y + high / 2


def _inside(box: Box, size: Place) -> bool:
    return box[0] >= 2 and box[1] >= 2 and box[2] <= size[0] - 2 and box[3] <= size[1] - FOOT + _ROOM


def _its_own(box: Box, index: int, marks: Sequence[tuple[Place, int]]) -> bool:
    """Whether no other's mark is nearer to the name than its own nearest, but for the breadth of a mark."""
    away: dict[bool, float] = {True: inf, False: inf}
    for (x, y), whose in marks:
        beyond = hypot(max(box[0] - x, 0, x - box[2]), max(box[1] - y, 0, y - box[3]))
        away[whose == index] = min(away[whose == index], beyond)
    return away[True] <= away[False] + _HALF


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
