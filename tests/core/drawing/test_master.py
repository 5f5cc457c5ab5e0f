"""Territories and weeks of a master round, drawn."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

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


def test_names_stand_on_no_other():
    near = tuple(Territory(f"Name {n}", ((50.0, 10.0 + n / 10_000), (50.2, 10.3))) for n in range(3))
    svg = territories_svg(Territories("t", near), width=340)

    heights = [float(y) for y in re.findall(r'y="([\d.-]+)"[^>]*>Name', svg)]
    assert len(heights) == 3 and min(abs(a - b) for i, a in enumerate(heights) for b in heights[:i]) >= 15


def test_nothing_placed_is_refused():
    with pytest.raises(ValueError, match="place is known"):
        territories_svg(Territories("t", (Territory("Nobody", ()),)), width=340)


def test_weeks_have_work_wheel_what_is_paid_and_todays_mark():
    bars = (WeekBar(36_000, 3600, 40_000), WeekBar(0, 0, None), WeekBar(50_000, 9000, 30_000))
    svg = weeks_svg(Weeks(bars, paid=45_000, longest=60_000))

    assert svg.count("d-stop") == 2 and svg.count("d-past") == 2
    assert svg.count("d-open") == 2 and svg.count("d-over") == 1 and svg.count("d-shift") == 1
    assert 'width="300"' in svg or "300" in svg
