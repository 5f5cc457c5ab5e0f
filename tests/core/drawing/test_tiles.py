"""Tiles beneath the map: numbered as the published scheme says, each under the places it shows, from the one source that is named."""

import re
from math import hypot

import pytest

from servicedesk.core.drawing.map import MapStop, RoundsMap, Way, laid, map_svg
from servicedesk.core.drawing.tiles import (
    MOST_TILES,
    NORTHMOST,
    Ground,
    column,
    edge,
    row,
    shrink_at,
    tiles_of,
)

SOURCE = "https://tiles.yours.example/{z}/{x}/{y}.png"
STOPS = tuple(MapStop(n, f"Stop {n}", 52.0 + n / 60, 0.4 + n * n / 200) for n in range(1, 6))
MAP = RoundsMap("A map", (Way("Ida", STOPS),), store=(52.01, 0.5))


def test_the_square_of_all_tiles_ends_where_the_scheme_says():
    """WebMercatorQuad: 85.0511287798 degrees (OGC 17-083r4, annex D: +-20037508.3427892 m)."""
    assert pytest.approx(85.0511287798, abs=1e-9) == NORTHMOST
    assert (row(NORTHMOST, 3), row(-NORTHMOST, 3), row(90, 3)) == pytest.approx((0, 8, 0), abs=1e-9)
    assert (column(-180, 4), column(0, 4), row(0, 4)) == (0, 8, 8)
    for number in range(17):
        assert row(edge(number, 4), 4) == pytest.approx(number, abs=1e-9)


@pytest.mark.parametrize("width", [340.0, 600.0, 840.0])
def test_each_stop_stands_on_its_tile_where_the_tile_has_it(width):
    at = laid(MAP, width)
    tiles = tiles_of(SOURCE, at.ground, width, at.height)
    told = [(*map(int, re.findall(r"\d+", tile.address)), tile) for tile in tiles]
    for stop, px in zip(STOPS, at.true[0], strict=True):
        assert (at.ground.x(stop.lon), at.ground.y(stop.lat)) == pytest.approx(px, abs=0.01)
        zoom = told[0][0]
        col, line = column(stop.lon, zoom), row(stop.lat, zoom)
        tile = next(t for _z, x, y, t in told if (x, y) == (int(col), int(line)))
        there = (tile.x + col % 1 * tile.width, tile.y + line % 1 * tile.height)
        assert hypot(there[0] - px[0], there[1] - px[1]) < 1
    assert 1 <= len(tiles) <= MOST_TILES


def test_tiles_cover_the_whole_drawing_without_a_gap():
    at = laid(MAP, 600.0)
    tiles = tiles_of(SOURCE, at.ground, 600.0, at.height)
    assert min(t.x for t in tiles) <= 0 and max(t.x + t.width for t in tiles) >= 600
    assert min(t.y for t in tiles) <= 0 and max(t.y + t.height for t in tiles) >= at.height
    assert sum(t.width * t.height for t in tiles) == pytest.approx(
        (max(t.x + t.width for t in tiles) - min(t.x for t in tiles))
        * (max(t.y + t.height for t in tiles) - min(t.y for t in tiles)),
        rel=1e-6,
    )


def test_without_a_source_nothing_is_fetched_and_with_one_only_from_there():
    assert "<image" not in map_svg(MAP, width=600)
    found = re.findall(r'<image href="([^"]+)"', map_svg(MAP, width=600, tiles=SOURCE))
    assert found and all(re.fullmatch(r"https://tiles\.yours\.example/\d+/\d+/\d+\.png", a) for a in found)


def test_across_the_date_line_tiles_go_round_and_too_many_are_none():
    ground = Ground((0.0, 180.0), (300.0, 150.0), 0.01, shrink_at([0.0, 0.0]))
    columns = {int(re.findall(r"\d+", tile.address)[1]) for tile in tiles_of(SOURCE, ground, 600, 300)}
    assert all(number >= 0 for number in columns)
    fine = Ground((52.0, 0.5), (0.0, 0.0), 1e7, shrink_at([52.0]))
    assert tiles_of(SOURCE, fine, 6_000_000, 6_000_000) == []
