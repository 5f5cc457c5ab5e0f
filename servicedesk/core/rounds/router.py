"""What is asked of a road router, and how its answers are read: tables of OSRM and of Valhalla. Nothing is sent here.

OSRM: HTTP API 5.x, service `table` with `annotations=duration,distance` (longitude first; seconds and metres; null: no way; by
default at most 100 x 100 pairs: src/engine/plugins/table.cpp). Valhalla: `sources_to_targets` (latitude and longitude by name; seconds and, as
asked, kilometres; null: no way; by default at most 2,500 pairs: scripts/valhalla_build_config). A place is its coordinates rounded to five
decimals (about a metre), and nothing else of it is asked with."""

from __future__ import annotations

import json
import math
from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from servicedesk.core.rounds.problem import NO_WAY_S
from servicedesk.core.rounds.travel import EARTH_M

Point = tuple[float, float]
OSRM, VALHALLA = "osrm", "valhalla"
KINDS = (OSRM, VALHALLA)
PROFILES = {OSRM: "driving", VALHALLA: "auto"}
LARGEST = {OSRM: 100, VALHALLA: 50}
"""So many places to either side of one request: what both answer as they come."""
LOST_M = 2000
"""A place whose nearest road is farther away lies off the router's map (common practice)."""
FAR_M = 300_000
"""Nobody drives farther between two stops: such pairs are not asked (common practice; Valhalla refuses beyond 400 km)."""
FASTEST_M_S = 60
NO_ROADS = "It finds no road near any place: its map is of another region, or it takes latitude and longitude the wrong way round."
_E5, _ACROSS = 100_000, 36_000_001


class NotUnderstood(ValueError):
    """An answer that cannot be one to what was asked; the sentence says why."""


class Refused(ValueError):
    """The router does not answer a request of this size ("big"), one that holds a place far from any road ("lost"), or places that no road joins
    ("apart")."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


@dataclass(frozen=True)
class Service:
    """A road router as the installation names it; `data` says from when its map is, so that a new one is asked anew."""

    kind: str
    url: str
    profile: str = ""
    data: str = ""

    @property
    def name(self) -> str:
        return " ".join(part for part in (self.kind, self.profile, self.url, self.data) if part)


@dataclass(frozen=True)
class Block:
    """Every way from each of `starts` to each of `ends`, places as keys."""

    starts: tuple[int, ...]
    ends: tuple[int, ...]


@dataclass(frozen=True)
class Request:
    """What follows the address, and the body of a POST (none: a GET)."""

    path: str
    body: bytes | None = None


@dataclass(frozen=True)
class Leg:
    """A way: whole seconds and metres, both from the same answer."""

    seconds: int
    metres: int


@dataclass(frozen=True)
class Table:
    """What an answer says of ordered pairs (None: no way), and places that it found no road near. Pairs it says nothing of are not there."""

    legs: Mapping[tuple[int, int], Leg | None]
    lost: frozenset[int] = frozenset()


def key_of(point: Point) -> int:
    """One whole number for a place: its latitude and longitude in degrees, rounded to five decimals."""
    lat, lon = (round(value * _E5) for value in point)
    return (lat + 90 * _E5) * _ACROSS + lon + 180 * _E5


def point_of(key: int) -> Point:
    """Latitude and longitude of a key, in degrees."""
    lat, lon = divmod(key, _ACROSS)
    return (lat - 90 * _E5) / _E5, (lon - 180 * _E5) / _E5


def straight_m(a: int, b: int) -> float:
    """Metres of the great circle between two keys (haversine)."""
    (lat, lon), (lat_b, lon_b) = (tuple(map(math.radians, point_of(key))) for key in (a, b))
    half = (
        math.sin((lat_b - lat) / 2) ** 2 + math.cos(lat) * math.cos(lat_b) * math.sin((lon_b - lon) / 2) ** 2
    )
    return 2 * EARTH_M * math.asin(min(1.0, math.sqrt(half)))


def blocks_of(missing: Mapping[int, Collection[int]], size: int) -> list[Block]:
    """Blocks that hold every missing pair (from each start to its ends) and hardly another. Starts that miss the same are asked together, be
    it with their way to themselves: all pairs of many places are squares, a new place is one row and one column."""
    plain = {start: frozenset(ends) - {start} for start, ends in missing.items()}
    plain = {start: ends for start, ends in plain.items() if ends}
    alike = Counter(plain.values())
    alike.update(ends | {start} for start, ends in plain.items())
    groups: dict[frozenset[int], list[int]] = defaultdict(list)
    for start in sorted(plain):
        ends = plain[start]
        groups[max(ends, ends | {start}, key=alike.__getitem__)].append(start)
    found = []
    for whole, starts in groups.items():
        for some in _chunks(starts, size):
            found += [
                Block(some, part) for part in _chunks(sorted(whole), size) if part != some or len(some) > 1
            ]
    return found


def _chunks(keys: Sequence[int], size: int) -> Iterator[tuple[int, ...]]:
    for first in range(0, len(keys), size):
        yield tuple(keys[first : first + size])


def halves(block: Block) -> tuple[Block, Block]:
    """The same ways in two requests, for a block of more than one pair."""
    starts, ends = block.starts, block.ends
    if len(starts) >= len(ends):
        middle = len(starts) // 2
        return Block(starts[:middle], ends), Block(starts[middle:], ends)
    middle = len(ends) // 2
    return Block(starts, ends[:middle]), Block(starts, ends[middle:])


def request_of(service: Service, block: Block) -> Request:
    """What to ask of a router for a block."""
    profile = service.profile or PROFILES[service.kind]
    return _ask_osrm(block, profile) if service.kind == OSRM else _ask_valhalla(block, profile)


def _ask_osrm(block: Block, profile: str) -> Request:
    keys = list(dict.fromkeys((*block.starts, *block.ends)))
    at = {key: str(number) for number, key in enumerate(keys)}
    places = ";".join(f"{lon:.5f},{lat:.5f}" for lat, lon in map(point_of, keys))
    starts, ends = (";".join(at[key] for key in some) for some in (block.starts, block.ends))
    asked = f"annotations=duration,distance&generate_hints=false&sources={starts}&destinations={ends}"
    return Request(f"/table/v1/{profile}/{places}?{asked}")


def _ask_valhalla(block: Block, costing: str) -> Request:
    starts, ends = (
        [{"lat": lat, "lon": lon, "search_cutoff": LOST_M} for lat, lon in map(point_of, keys)]
        for keys in (block.starts, block.ends)
    )
    asked = {"sources": starts, "targets": ends, "costing": costing, "units": "km"}
    return Request("/sources_to_targets", json.dumps(asked).encode())


def refusal_of(service: Service, body: bytes) -> str:
    """Why a router refused: "big", "lost", "apart", or nothing that is known here. OSRM: codes TooBig, NoSegment; Valhalla: error codes 150 and 154 (too many, too
    far), 170 (not connected), 171 (no road near)."""
    said = _json(body, dict)
    codes = {"TooBig": "big", "NoSegment": "lost", 150: "big", 154: "big", 170: "apart", 171: "lost"}
    code = said.get("code") if service.kind == OSRM else said.get("error_code")
    return codes.get(code, "") if isinstance(code, str | int) else ""


def _json(body: bytes, kind: type) -> Any:
    """The body as JSON of that kind; an empty one where it is none."""
    try:
        said = json.loads(body)
    except (ValueError, RecursionError):
        return kind()
    return said if isinstance(said, kind) else kind()


def answer_of(service: Service, block: Block, body: bytes) -> Table:
    """What an answer says of the block. Raises NotUnderstood; Refused where it says so with a fine status."""
    said = _json(body, dict)
    why = refusal_of(service, body)
    if why:
        raise Refused(why)
    return _osrm(block, said) if service.kind == OSRM else _valhalla(block, said)


def _osrm(block: Block, said: dict[str, Any]) -> Table:
    if said.get("code") != "Ok":
        raise NotUnderstood("It did not answer with a table.")
    seconds, metres = (_square(said.get(name), block) for name in ("durations", "distances"))
    lost = {
        key
        for name, keys in (("sources", block.starts), ("destinations", block.ends))
        for key, snapped in zip(keys, _snapped(said.get(name), keys), strict=True)
        if straight_m(key, snapped) > LOST_M
    }
    if lost == {*block.starts, *block.ends}:
        raise NotUnderstood(NO_ROADS)
    legs: dict[tuple[int, int], Leg | None] = {}
    for row, start in enumerate(block.starts):
        for column, end in enumerate(block.ends):
            _put(legs, start, end, seconds[row][column], metres[row][column])
    return _without(legs, lost)


def _square(rows: Any, block: Block) -> list[list[Any]]:
    """As many rows and columns as were asked for."""
    fits = isinstance(rows, list) and len(rows) == len(block.starts)
    if not fits or not all(isinstance(row, list) and len(row) == len(block.ends) for row in rows):
        raise NotUnderstood("Its table has not the rows and columns that were asked for.")
    found: list[list[Any]] = rows
    return found


def _snapped(waypoints: Any, keys: Sequence[int]) -> list[int]:
    """Where the router put each place on its roads; longitude first."""
    try:
        places = [(float(point["location"][1]), float(point["location"][0])) for point in waypoints]
        sound = all(-90 <= lat <= 90 and -180 <= lon <= 180 for lat, lon in places)
    except (TypeError, ValueError, KeyError, IndexError):
        raise NotUnderstood("It does not say where on its roads the places lie.") from None
    if len(places) != len(keys) or not sound:
        raise NotUnderstood("It does not say where on its roads the places lie.")
    return [key_of(place) for place in places]


def _valhalla(block: Block, said: dict[str, Any]) -> Table:
    unit = {"kilometers": 1000.0, "km": 1000.0, "miles": 1609.344, "mi": 1609.344}
    metre = unit.get(str(said.get("units", "kilometers")))
    rows = said.get("sources_to_targets")
    if metre is None:
        raise NotUnderstood("It measures in a unit that is not known here.")
    legs: dict[tuple[int, int], Leg | None] = {}
    if isinstance(rows, dict):  # its short form: two tables
        seconds, lengths = (_square(rows.get(name), block) for name in ("durations", "distances"))
        pairs = [[{"time": t, "distance": d} for t, d in zip(*two, strict=True)] for two in zip(seconds, lengths, strict=True)]  # fmt: skip
    else:
        pairs = _square(rows, block)
    for row, some in enumerate(pairs):
        for column, pair in enumerate(some):
            start, end = _which(block, pair, row, column)
            _put(legs, start, end, pair.get("time"), pair.get("distance"), metre)
    return _without(legs, set())


def _which(block: Block, pair: Any, row: int, column: int) -> tuple[int, int]:
    """Which pair this is, as it says itself."""
    try:
        start, end = pair.get("from_index", row), pair.get("to_index", column)
        if min(start, end) < 0:
            raise IndexError
        return block.starts[start], block.ends[end]
    except (AttributeError, TypeError, IndexError):
        raise NotUnderstood("It speaks of places that were not asked for.") from None


def _put(
    legs: dict[tuple[int, int], Leg | None],
    start: int,
    end: int,
    seconds: Any,
    length: Any,
    metre: float = 1.0,
) -> None:
    """One pair. Where only one of its two numbers is there, nothing is known of it."""
    if seconds is None and length is None:
        legs[start, end] = None
        return
    if seconds is None or length is None:
        return
    if not all(
        isinstance(v, int | float) and not isinstance(v, bool) and 0 <= v < NO_WAY_S
        for v in (seconds, length)
    ):
        raise NotUnderstood("It answered with what is no time or no length.")
    metres, straight = length * metre, straight_m(start, end)
    if metres < 0.9 * straight - 2 * LOST_M:
        raise NotUnderstood(
            f"It says {metres / 1000:.1f} km where the straight line has {straight / 1000:.1f} km: another unit, or latitude and longitude the wrong way round."
        )
    if metres > LOST_M and metres > seconds * FASTEST_M_S:
        raise NotUnderstood(f"It says {metres / 1000:.1f} km in {seconds:.0f} s: another unit.")
    legs[start, end] = Leg(round(seconds), round(metres))


def _without(legs: dict[tuple[int, int], Leg | None], lost: set[int]) -> Table:
    """Of places off the map nothing is known, and of a way to oneself nothing needs to be."""
    kept = {pair: leg for pair, leg in legs.items() if pair[0] != pair[1] and not lost & set(pair)}
    return Table(kept, frozenset(lost))
