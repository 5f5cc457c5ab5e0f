"""The map sketch of a round: numbered squares at their places, straight legs in the order they are driven, the driven
part thick, the store as two lines, and a scale bar. No tiles, no streets: which way, how far, what is near what.

Places are projected on a plane that touches at their middle: an equirectangular projection (Snyder 1987, USGS
Professional Paper 1395, p. 90), good to well under a per cent over a day's driving."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import cos, floor, log10, radians
from typing import Literal

from servicedesk.core.drawing.pen import Mode, Pen, number, points

KM_A_DEGREE = 111.195
"""One degree of a great circle on the mean sphere of 6371.0 km (IUGG)."""
_SQUARE, _INSET, _FOOT, _LEAST_KM = 24.0, 26.0, 34.0, 1.0

State = Literal["planned", "there", "done"]


@dataclass(frozen=True, slots=True)
class SketchStop:
    """A stop at its place, in degrees north and east."""

    number: int
    name: str
    lat: float
    lon: float
    state: State = "planned"


@dataclass(frozen=True, slots=True)
class Sketch:
    """The stops in the order they are driven; ``store`` is where the day begins and ends, where it is known."""

    title: str
    stops: Sequence[SketchStop] = field(default_factory=tuple)
    store: tuple[float, float] | None = None
    km: str = "{} km"
    store_word: str = "store"


def plane_km(places: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Degrees north and east as km east and south of the first place."""
    lat0, lon0 = places[0]
    middle = sum(lat for lat, _lon in places) / len(places)
    shrink = cos(radians(middle))
    return [
        (((lon - lon0 + 180) % 360 - 180) * KM_A_DEGREE * shrink, (lat0 - lat) * KM_A_DEGREE)
        for lat, lon in places
    ]


def sketch_svg(sketch: Sketch, *, width: float, height: float = 240.0, mode: Mode = "page") -> str:
    """The drawing, made for the width at which it is shown. Raises ValueError where there is no stop."""
    if not sketch.stops:
        raise ValueError("A sketch needs a stop.")
    pen, known = Pen(mode), [(stop.lat, stop.lon) for stop in sketch.stops]
    at = plane_km([*known, sketch.store] if sketch.store else known)
    px_a_km, spots = framed(at, width, height)
    squares = spread(spots[: len(known)])
    store = spots[-1] if sketch.store else None
    way = [*([store] if store else []), *squares, *([store] if store else [])]
    driven = _driven(sketch, store is not None)
    if len(way) > 1:
        pen.path("leg", points(way))
    if driven > 1:
        pen.path("thick", points(way[:driven]))
    if store:
        pen.line("mark", store[0] - 4, store[1] - 9, store[0] - 4, store[1] + 9)
        pen.line("mark", store[0] + 4, store[1] - 9, store[0] + 4, store[1] + 9)
        pen.text("text--soft", store[0], store[1] + 23, sketch.store_word, "middle")
    for stop, (x, y) in zip(sketch.stops, squares, strict=True):
        pen.rect("square past" if stop.state == "done" else "square", x - 12, y - 12, _SQUARE, _SQUARE)
        pen.text("text--bold", x, y + 4.5, str(stop.number), "middle")
    draw_scale(pen, sketch.km, px_a_km, height)
    return pen.svg(width=width, height=height, cls="sketch", box=(width, height), title=sketch.title)


def framed(
    at: list[tuple[float, float]], width: float, height: float
) -> tuple[float, list[tuple[float, float]]]:
    """Px for one km, and the places in px, in the middle of the frame and true in shape."""
    lefts, tops = [x for x, _y in at], [y for _x, y in at]
    wide, high = max(lefts) - min(lefts), max(tops) - min(tops)
    room_x, room_y = width - 2 * _INSET, height - _INSET - _FOOT
    scale = min(room_x / max(wide, _LEAST_KM), room_y / max(high, _LEAST_KM))
    x0 = _INSET + (room_x - wide * scale) / 2 - min(lefts) * scale
    y0 = _INSET + (room_y - high * scale) / 2 - min(tops) * scale
    return scale, [(x0 + x * scale, y0 + y * scale) for x, y in at]


def spread(spots: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Squares that would cover an earlier one step aside to the right of it, so that every number can be read."""
    placed: list[tuple[float, float]] = []
    for x, y in spots:
        while any(abs(x - px) < _SQUARE and abs(y - py) < _SQUARE for px, py in placed):
            x += _SQUARE + 2
        placed.append((x, y))
    return placed


def _driven(sketch: Sketch, from_store: bool) -> int:
    """How many places of the way are behind: up to the last stop that is done or under way, wherever it stands."""
    begun = [index for index, stop in enumerate(sketch.stops) if stop.state != "planned"]
    return max(begun) + 1 + from_store if begun else 0


def bar_km(px_a_km: float, most_px: float = 90.0) -> float:
    """The longest round distance (1, 2 or 5 times a power of ten km) whose bar is no longer than ``most_px``."""
    most = most_px / px_a_km
    power = 10.0 ** floor(log10(most))
    return max(power * factor for factor in (1, 2, 5) if power * factor <= most * 1.000001)


def draw_scale(pen: Pen, said: str, px_a_km: float, height: float) -> None:
    """The bar of km at the foot on the left; `said` takes the number."""
    km = bar_km(px_a_km)
    x1, y = _INSET + km * px_a_km, height - 10
    left, right = number(_INSET), number(x1)
    pen.path("axis", f"M{left} {number(y - 5)}V{number(y)}H{right}V{number(y - 5)}")
    pen.text("text--soft", x1 + 8, y + 2, said.format(f"{km:g}"))
