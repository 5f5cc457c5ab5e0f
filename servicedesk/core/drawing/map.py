"""The map of a day's rounds: every technician's stops as numbered marks, joined in the order they are driven, with the store, the homes where a
day begins, names where there is room for them, north up, and a bar of km. No tiles and no streets, so nothing is fetched and nobody is told where
we work, unless the business names a tile source of its own.

Whose a way is shows in the shape of its marks and the pattern of its line, in tone only besides. Places are projected on a plane that touches at
their middle: the equirectangular projection (Snyder 1987, Map Projections: A Working Manual, USGS Professional Paper 1395, p. 90), true in
shape and area to well under a per cent over a day's driving. Distances in words are great circles on the sphere of 6371.0088 km (IUGG)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from math import asin, atan2, ceil, cos, degrees, dist, radians, sin, sqrt
from typing import Literal

from servicedesk.core.drawing.pen import Mode, Pen, points
from servicedesk.core.drawing.sketch import draw_scale, framed, plane_km
from servicedesk.core.drawing.tiles import Ground, shrink_at, tiles_of

EARTH_KM = 6371.0088
LINES = ("leg", "curve dash", "tail dotted", "fine waiting")
FILLS = ("square", "open", "square", "open", "open")
SHAPES = ("square", "round", "diamond", "six-sided", "shield")
"""Four patterns of line and five shapes: twenty technicians before a pair comes twice."""
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
LEAST_PX, STEP, FOOT = 260.0, 28.0, 34.0
_HALF, _MARGIN, _LINE, _MOST_LETTERS, _MOST_CROSSED = 14.0, 3.0, 15.0, 22, 1

Place = tuple[float, float]
Box = tuple[float, float, float, float]
Anchor = Literal["start", "middle", "end"]
_ANCHORS: dict[int, Anchor] = {1: "start", 0: "middle", -1: "end"}


@dataclass(frozen=True, slots=True)
class MapStop:
    """A stop: its number in the order of its round, its name, degrees north and east where somebody wrote them down."""

    number: int
    name: str
    lat: float | None
    lon: float | None

    @property
    def place(self) -> Place | None:
        return None if self.lat is None or self.lon is None else (self.lat, self.lon)


@dataclass(frozen=True, slots=True)
class Way:
    """One technician's day: its stops in order, and where it begins and ends where that is known."""

    name: str
    stops: tuple[MapStop, ...]
    begins: Place | None = None
    ends: Place | None = None

    @property
    def placed(self) -> list[MapStop]:
        return [stop for stop in self.stops if stop.place is not None]


@dataclass(frozen=True, slots=True)
class RoundsMap:
    """What is drawn; words as the reader's language has them. Sites that nobody placed are in `unplaced`, not on the drawing."""

    title: str
    ways: tuple[Way, ...]
    store: Place | None = None
    homes: tuple[Place, ...] = ()
    km: str = "{} km"
    store_word: str = "store"
    home_word: str = "home"
    north_word: str = "N"

    @property
    def placed(self) -> bool:
        return any(way.placed for way in self.ways)

    @property
    def unplaced(self) -> list[tuple[str, MapStop]]:
        return [(way.name, stop) for way in self.ways for stop in way.stops if stop.place is None]


@dataclass(frozen=True, slots=True)
class Leg:
    """A stop in words: how far it is from where one comes, in km as the crow flies, and which way; None for the first where the day begins nowhere."""

    way: str
    stop: MapStop
    km: float | None = None
    towards: str = ""


def great_circle_km(a: Place, b: Place) -> float:
    """The distance of two places in degrees north and east, by the haversine formula (Sinnott 1984, as commonly printed)."""
    lat_a, lat_b = radians(a[0]), radians(b[0])
    across = sin(radians(b[1] - a[1]) / 2) ** 2 * cos(lat_a) * cos(lat_b)
    return 2 * EARTH_KM * asin(min(1.0, sqrt(sin((lat_b - lat_a) / 2) ** 2 + across)))


def towards(a: Place, b: Place) -> str:
    """Which of eight points of the compass b lies from a, on the plane of the drawing."""
    (_here, (east, south)) = plane_km([a, b])
    return COMPASS[round(degrees(atan2(east, -south)) / 45) % 8]


def legs_of(shown: RoundsMap) -> list[Leg]:
    """Every stop on the map, technician by technician in the order driven, for those who listen."""
    found = []
    for way in shown.ways:
        before = way.begins
        for stop in way.placed:
            place: Place = stop.place  # type: ignore[assignment]  # placed has those with one
            if before is None:
                found.append(Leg(way.name, stop))
            else:
                found.append(Leg(way.name, stop, great_circle_km(before, place), towards(before, place)))
            before = place
    return found


def height_of(shown: RoundsMap, width: float) -> float:
    """The height in px in which every mark finds a place of its own: each covers four cells of a grid at the most."""
    marks = sum(len(way.placed) for way in shown.ways) + len(shown.homes) + 1
    across = int((width - 2 * _HALF) // STEP) + 1
    return max(LEAST_PX, _HALF + FOOT + STEP * ceil(4 * marks / across))


def text_px(words: str) -> float:
    """Room for words lettered at 13 px, in px: never less than they take."""
    return sum(_letter_px(letter) for letter in words)


def _letter_px(letter: str) -> float:
    if letter in "MWmw@%—…ÆæŒœ©®¼½¾" or ord(letter) > 0x2E7F:
        return 13.2
    return 10.5 if letter.isupper() or letter in "&+=<>~#" else 8.5


def clipped(name: str) -> str:
    """A name as the map has room for it."""
    return name if len(name) <= _MOST_LETTERS else name[: _MOST_LETTERS - 1].rstrip() + "…"


def around(x: float, y: float) -> Box:
    """What a mark covers."""
    return x - _HALF, y - _HALF, x + _HALF, y + _HALF


def overlap(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def apart(places: Sequence[Place], width: float, height: float) -> list[Place]:
    """Marks in px that would cover an earlier one step to the nearest free cell of a grid."""
    across = int((width - 2 * _HALF) // STEP) + 1
    down = int((height - _HALF - FOOT) // STEP) + 1
    grid = [(_HALF + STEP * col, _HALF + STEP * row) for col, row in product(range(across), range(down))]
    found: list[Place] = []
    for x, y in places:
        steps = [(x, y), *sorted(grid, key=lambda cell: (cell[0] - x) ** 2 + (cell[1] - y) ** 2)]
        free = (s for s in steps if not any(overlap(around(*s), around(*other)) for other in found))
        found.append(next(free, (x, y)))
    return found


def crosses(a: Place, b: Place, box: Box) -> bool:
    """Whether the straight line from a to b runs through a box (clipped as by Liang and Barsky 1984)."""
    enters, leaves = 0.0, 1.0
    for at, by, low, high in ((a[0], b[0] - a[0], box[0], box[2]), (a[1], b[1] - a[1], box[1], box[3])):
        if by == 0:
            if not low < at < high:
                return False
            continue
        near, far = sorted(((low - at) / by, (high - at) / by))
        enters, leaves = max(enters, near), min(leaves, far)
    return enters < leaves


def _beside(x: float, y: float, wide: float) -> Iterator[tuple[Box, Anchor]]:
    """Where a name may stand: right, left, above, below, and at the corners of its mark."""
    gap, high = _HALF + 2, _LINE / 2
    for dx, dy in ((1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (1, 1), (-1, -1), (-1, 1)):
        left = x - wide / 2 if dx == 0 else x + gap if dx > 0 else x - gap - wide
        middle = y + dy * (gap + high if dx == 0 else gap - 2)
        yield (left, middle - high, left + wide, middle + high), _ANCHORS[dx]


@dataclass(frozen=True, slots=True)
class Label:
    """A name, what it covers in px, from where it is lettered, and whose mark it stands beside."""

    text: str
    box: Box
    anchor: Anchor
    mark: Place


def labels_of(
    named: Sequence[tuple[str, Place]], marks: Sequence[Place], ways: Sequence[Sequence[Place]], size: Place
) -> list[Label]:
    """Names beside their marks: inside the frame, on no mark and no other name, on one line at the most. What has no room
    keeps its number alone; a name that already stands beside a neighbour of its mark is not written there again."""
    taken = [around(*mark) for mark in marks]
    legs = [leg for way in ways for leg in pairwise(way)]
    found: list[Label] = []
    for name, mark in named:
        text = clipped(name)
        if any(label.text == text and dist(label.mark, mark) < 2 * STEP for label in found):
            continue
        free = [
            (sum(crosses(*leg, box) for leg in legs), place, box, anchor)
            for place, (box, anchor) in enumerate(_beside(*mark, text_px(text)))
            if _inside(box, size) and not any(overlap(box, other) for other in taken)
        ]
        crossed, _place, box, anchor = min(free, default=(_MOST_CROSSED + 1, 0, around(*mark), "start"))
        if crossed <= _MOST_CROSSED:
            taken.append(box)
            found.append(Label(text, box, anchor, mark))
    return found


def _inside(box: Box, size: Place) -> bool:
    return (
        box[0] >= _MARGIN
        and box[1] >= _MARGIN
        and box[2] <= size[0] - _MARGIN
        and box[3] <= size[1] - FOOT + _HALF
    )


@dataclass(frozen=True, slots=True)
class Laid:
    """A map with every place in px: the bases (store and homes), the marks of each way, where they truly are, and the lines."""

    height: float
    px_a_km: float
    bases: list[tuple[str, Place]]
    marks: list[list[Place]]
    true: list[list[Place]]
    lines: list[list[Place]]
    labels: list[Label]
    ground: Ground


def laid(shown: RoundsMap, width: float) -> Laid:
    """Where everything stands at a width in px. Raises ValueError where no stop has a place."""
    if not shown.placed:
        raise ValueError("A map needs a stop whose place is known.")
    height = height_of(shown, width)
    bases = [(shown.store_word, shown.store)] if shown.store else []
    bases += [(shown.home_word, home) for home in shown.homes]
    stops = [[stop.place for stop in way.placed] for way in shown.ways]
    known = [*(place for _word, place in bases), *(place for way in stops for place in way if place)]
    ends = [end for way in shown.ways for end in (way.begins, way.ends) if end]
    px_a_km, spots = framed(plane_km([*known, *ends]), width, height)
    put = dict(zip([*known, *ends], spots, strict=True))
    marks = apart(spots[: len(known)], width, height)
    at, by_way = len(bases), []
    for way in stops:
        by_way.append(marks[at : at + len(way)])
        at += len(way)
    base_at = {place: mark for (_word, place), mark in zip(bases, marks, strict=False)}
    lines = [
        [*_end(way.begins, put, base_at), *mine, *_end(way.ends, put, base_at)] if mine else []
        for way, mine in zip(shown.ways, by_way, strict=True)
    ]
    named = [(stop.name, at) for way, mine in zip(shown.ways, by_way, strict=True) for stop, at in zip(way.placed, mine, strict=True)]  # fmt: skip
    based = [(word, mark) for (word, _place), mark in zip(bases, marks, strict=False)]
    return Laid(
        height=height,
        px_a_km=px_a_km,
        bases=based,
        marks=by_way,
        true=[[put[place] for place in way if place] for way in stops],
        lines=lines,
        labels=labels_of([*based, *named], marks, lines, (width, height)),
        ground=Ground(
            [*known, *ends][0], spots[0], px_a_km, shrink_at([lat for lat, _lon in [*known, *ends]])
        ),
    )


def _end(place: Place | None, put: dict[Place, Place], base_at: dict[Place, Place]) -> list[Place]:
    """Where a way begins or ends: at the mark of its base, where it has one."""
    return [] if place is None else [base_at.get(place, put[place])]


def map_svg(shown: RoundsMap, *, width: float, mode: Mode = "page", tiles: str = "") -> str:
    """The drawing, made for the width in px at which it is shown; `tiles` is where its ground is fetched from, if anywhere. Raises ValueError where
    no stop has a place."""
    pen, at = Pen(mode), laid(shown, width)
    if tiles:
        pen.open_window(width, at.height - FOOT + _HALF)
        for tile in tiles_of(tiles, at.ground, width, at.height - FOOT + _HALF):
            pen.picture(tile.address, tile.x, tile.y, tile.width, tile.height)
        pen.close()
    for index, line in enumerate(at.lines):
        if len(line) > 1:
            pen.path(LINES[index % len(LINES)], points(line))
    for mine, true in zip(at.marks, at.true, strict=True):
        for mark, place in zip(mine, true, strict=True):
            if mark != place:
                pen.path("thin", points([place, mark]))
                pen.circle("ink", *place, 2.5)
    homes = len(at.bases) - len(shown.homes)
    for index, (_word, (x, y)) in enumerate(at.bases):
        _draw_base(pen, x, y, home=index >= homes)
    for index, (way, mine) in enumerate(zip(shown.ways, at.marks, strict=True)):
        for stop, (x, y) in zip(way.placed, mine, strict=True):
            _draw_shape(pen, index, x, y)
            pen.text("text--bold", x, y + 4.5, str(stop.number), "middle")
    for label in at.labels:
        left, _top, right, foot = label.box
        x = {"start": left, "middle": (left + right) / 2, "end": right}[label.anchor]
        pen.text("", x, foot - 3.5, label.text, label.anchor)
    draw_scale(pen, shown.km, at.px_a_km, at.height)
    _draw_north(pen, shown.north_word, width, at.height)
    return pen.svg(width=width, height=at.height, cls="sketch", box=(width, at.height), title=shown.title)


def key_svg(index: int, *, mode: Mode = "page") -> str:
    """The line and the mark of the technician at this place of the list, for the key beneath."""
    pen = Pen(mode)
    pen.path(LINES[index % len(LINES)], points([(1, 16), (79, 16)]))
    _draw_shape(pen, index, 40, 16)
    return pen.svg(width=80, height=32, cls="map-key", box=(80, 32))


def _draw_shape(pen: Pen, index: int, x: float, y: float) -> None:
    shape, style = SHAPES[index % len(SHAPES)], FILLS[index % len(FILLS)]
    if shape == "square":
        pen.rect(style, x - 12, y - 12, 24, 24)
    elif shape == "round":
        pen.circle(style, x, y, 12.5)
    else:
        pen.path(style, points([(x + dx, y + dy) for dx, dy in _CORNERS[shape]]) + "Z")


_CORNERS: dict[str, list[Place]] = {
    "diamond": [(0, -14), (14, 0), (0, 14), (-14, 0)],
    "six-sided": [(-7, -12), (7, -12), (14, 0), (7, 12), (-7, 12), (-14, 0)],
    "shield": [(-12, -12), (12, -12), (12, 4), (0, 14), (-12, 4)],
}


def _draw_base(pen: Pen, x: float, y: float, *, home: bool) -> None:
    """The store as two lines, a home as a roof."""
    if home:
        roof = [(x - 9, y + 8), (x - 9, y - 1), (x, y - 9), (x + 9, y - 1), (x + 9, y + 8)]
        pen.path("open", points(roof) + "Z")
        return
    pen.line("mark", x - 4, y - 9, x - 4, y + 9)
    pen.line("mark", x + 4, y - 9, x + 4, y + 9)


def _draw_north(pen: Pen, word: str, width: float, height: float) -> None:
    x, y = width - 14, height - 4
    pen.path("axis", points([(x, y), (x, y - 14)]))
    pen.path("ink", points([(x - 4, y - 10), (x, y - 17), (x + 4, y - 10)]) + "Z")
    pen.text("text--soft", x - 8, y - 2, word, "end")
