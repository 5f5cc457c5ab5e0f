"""Territories and weeks of a master round, drawn."""

import re
from itertools import pairwise
from math import dist
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.drawing.map import crosses, overlap, text_px
from servicedesk.core.drawing.territories import (
    SHAPES,
    Territories,
    Territory,
    height_of,
    hull,
    mark_svg,
    territories_svg,
)
from servicedesk.core.drawing.weeks import WeekBar, Weeks, weeks_svg

SPOT = st.tuples(st.integers(-50, 50).map(float), st.integers(-50, 50).map(float))


def turns(a, b, c):
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


@given(st.lists(SPOT, max_size=30))
def test_a_hull_holds_every_spot(spots):
    edge = hull(spots)

    assert set(edge) <= set(spots)
    if len(edge) > 2:
        pairs = list(zip(edge, [*edge[1:], edge[0]], strict=True))
        assert all(turns(a, b, spot) >= 0 for a, b in pairs for spot in spots)


def test_a_hull_of_a_square_has_its_corners_and_nothing_inside():
    square = [(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)]

    assert set(hull([*square, (1.0, 1.0), (1.0, 0.0)])) == set(square)
    assert hull([(1.0, 1.0), (1.0, 1.0)]) == [(1.0, 1.0)] and hull([]) == []


def test_territories_are_drawn_with_marks_lines_names_and_in_a_frame():
    many = tuple(
        Territory(f"Person {n}", tuple((50 + n / 10 + k / 50, 10 + (k % 3) / 20) for k in range(4)))
        for n in range(6)
    )
    shown = Territories(
        "Whose sites lie where", (*many, Territory("Nobody", ()), Territory("Lone", ((50.0, 10.0),)))
    )

    svg = territories_svg(shown, width=600)

    assert 'aria-label="Whose sites lie where"' in svg or "Whose sites lie where" in svg
    assert (
        all(f">Person {n}</text>" in svg for n in range(6))
        and ">Lone</text>" in svg
        and ">Nobody<" not in svg
    )
    assert "km</text>" in svg and ">N</text>" in svg
    assert [height_of(width) for width in (340, 600, 840)] == [240.0, 372.0, 520.0]
    assert len({mark_svg(n) for n in range(len(SHAPES))}) == len(SHAPES)


def boxes_of(svg):
    """What names, marks and lines of a drawing cover, read from the drawing: the middle and the width of names, marks, legs of lines."""
    names = [
        (name, float(x), float(y))
        for x, y, name in re.findall(
            r'<text class="d-text d-text--bold" x="([\d.-]+)" y="([\d.-]+)"[^>]*>([^<]+)<', svg
        )
    ]
    boxes = [(x - text_px(n) / 2, y - 11, x + text_px(n) / 2, y + 4) for n, x, y in names]
    paths = [
        [tuple(map(float, spot.split())) for spot in path.split("L")]
        for path in re.findall(r' d="M([\d. L-]+)Z?"', svg)
    ]
    large = [
        path + path[:1] for path in paths if hull(path) and max(dist(path[0], spot) for spot in path) > 20
    ]
    marks = [
        (float(x) + 4.5, float(y) + 4.5)
        for x, y in re.findall(r'<rect[^>]* x="([\d.-]+)" y="([\d.-]+)" width="9"', svg)
    ]
    marks += [(float(x), float(y)) for x, y in re.findall(r'<circle[^>]* cx="([\d.-]+)" cy="([\d.-]+)"', svg)]
    return [name for name, _x, _y in names], boxes, marks, [leg for path in large for leg in pairwise(path)]


@pytest.mark.parametrize("width", [340, 600, 840])
@pytest.mark.parametrize("seed", range(6))
def test_names_stand_on_no_mark_no_line_and_no_other_name(seed, width):
    chance = Random(seed)
    people = tuple(
        Territory(
            f"Person {n}", tuple((50 + n % 2 / 9 + chance.random() / 8, 10 + n // 2 / 6 + chance.random() / 5) for _ in range(12 + n))
        )
        for n in range(2 + seed)
    )  # fmt: skip
    names, boxes, marks, legs = boxes_of(territories_svg(Territories("t", people), width=width))

    assert (
        names and marks and legs and (width < 840 or seed > 3 or len(names) == len(people))
    )  # with room, all have their name
    for number, box in enumerate(boxes):
        assert box[0] >= 0 and box[2] <= width and box[1] >= 0 and box[3] <= height_of(width)
        assert not any(overlap(box, other) for other in boxes[:number])
        assert not any(overlap(box, (x - 6, y - 6, x + 6, y + 6)) for x, y in marks)
        assert not any(crosses(*leg, box) for leg in legs)


def test_a_name_without_a_free_place_is_left_out():
    near = tuple(Territory(f"Name {n}", ((50.0, 10.0 + n / 10_000), (50.2, 10.3))) for n in range(9))
    names, boxes, _marks, _legs = boxes_of(territories_svg(Territories("t", near), width=340))

    assert 2 <= len(names) < 9
    assert not any(overlap(box, other) for number, box in enumerate(boxes) for other in boxes[:number])


def test_nothing_placed_is_refused():
    with pytest.raises(ValueError, match="place is known"):
        territories_svg(Territories("t", (Territory("Nobody", ()),)), width=340)


def test_weeks_have_work_wheel_what_is_paid_and_todays_mark():
    bars = (WeekBar(36_000, 3600, 40_000), WeekBar(0, 0, None), WeekBar(50_000, 9000, 30_000))
    svg = weeks_svg(Weeks(bars, paid=45_000, longest=60_000))

    assert svg.count("d-stop") == 2 and svg.count("d-past") == 2
    assert svg.count("d-open") == 2 and svg.count("d-over") == 1 and svg.count("d-shift") == 1
    assert 'width="300"' in svg or "300" in svg
