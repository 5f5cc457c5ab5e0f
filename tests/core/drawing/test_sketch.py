"""The map sketch: true in shape, in the order driven, every number to be read, with a bar that tells the truth."""

from dataclasses import replace
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.drawing.sketch import Sketch, SketchStop, bar_km, plane_km, sketch_svg, spread

SVG = "{http://www.w3.org/2000/svg}"
NORTH = SketchStop(1, "Mill", 52.05, 0.5)
EAST = SketchStop(2, "Weir", 52.0, 0.55)


def drawn(sketch: Sketch, width: float = 600) -> ElementTree.Element:
    return ElementTree.fromstring(sketch_svg(sketch, width=width))


def places(root: ElementTree.Element, cls: str, *names: str) -> list[tuple[str | None, ...]]:
    return [tuple(found.get(name) for name in names) for found in root.findall(f".//*[@class='{cls}']")]


def test_a_sketch_without_a_stop_is_refused():
    with pytest.raises(ValueError, match="stop"):
        sketch_svg(Sketch(title=""), width=340)


def test_north_is_up_and_east_is_right():
    root = drawn(Sketch("Two.", (NORTH, EAST)))
    (x1, y1), (x2, y2) = [(float(x or 0), float(y or 0)) for x, y in places(root, "d-square", "x", "y")]

    assert x1 < x2
    assert y1 < y2


def test_a_degree_north_is_its_published_length_and_one_east_shrinks_with_the_cosine():
    assert plane_km([(60.0, 0.0), (61.0, 0.0)])[1][1] == pytest.approx(-111.195)
    assert plane_km([(60.0, 0.0), (60.0, 1.0)])[1][0] == pytest.approx(111.195 * 0.5)


def test_places_either_side_of_the_date_line_are_neighbours():
    (_zero, other) = plane_km([(0.0, 179.9), (0.0, -179.9)])

    assert other[0] == pytest.approx(0.2 * 111.195)


def test_the_driven_part_is_thick_as_far_as_the_last_stop_begun():
    done = replace(NORTH, state="done")
    ((whole,),) = places(drawn(Sketch("Two.", (done, EAST), store=(52.0, 0.45))), "d-leg", "d")
    ((thick,),) = places(drawn(Sketch("Two.", (done, EAST), store=(52.0, 0.45))), "d-thick", "d")

    assert (whole or "").count("L") == 3
    assert (thick or "").count("L") == 1
    assert (whole or "").startswith(thick or "-")


def test_a_day_not_begun_has_nothing_thick():
    assert places(drawn(Sketch("Two.", (NORTH, EAST))), "d-thick", "d") == []


def test_one_stop_alone_has_no_leg():
    root = drawn(Sketch("One.", (NORTH,)))

    assert places(root, "d-leg", "d") == []
    assert len(places(root, "d-square", "x")) == 1


def test_stops_at_one_site_stand_beside_each_other_and_all_numbers_are_read():
    root = drawn(Sketch("Three.", (NORTH, replace(NORTH, number=2), replace(NORTH, number=3))))

    assert [t.text for t in root.findall(f"{SVG}text")][:3] == ["1", "2", "3"]
    assert len(set(places(root, "d-square", "x", "y"))) == 3


@given(st.lists(st.tuples(st.floats(0, 60), st.floats(0, 60)), max_size=12))
def test_no_square_covers_another(spots):
    placed = spread(spots)

    assert not any(
        abs(x - px) < 24 and abs(y - py) < 24
        for number, (x, y) in enumerate(placed)
        for px, py in placed[:number]
    )


@pytest.mark.parametrize(("px_a_km", "km"), [(90, 1), (45, 2), (40, 2), (18, 5), (9, 10), (300, 0.2)])
def test_the_bar_is_the_longest_round_distance_that_fits(px_a_km, km):
    assert bar_km(px_a_km) == pytest.approx(km)


def test_the_bar_is_as_long_as_it_says():
    root = drawn(Sketch("Two.", (replace(NORTH, lat=52.0, lon=0.5), replace(EAST, lat=52.0, lon=0.6))))
    (x1,), (x2,) = places(root, "d-square", "x")
    ((bar,),) = places(root, "d-axis", "d")
    km = float(next(t.text for t in root.findall(f"{SVG}text") if "km" in (t.text or "")).split()[0])
    left, right = float(bar[1:].split()[0]), float(bar.split("H")[1].split("V")[0])
    apart = plane_km([(52.0, 0.5), (52.0, 0.6)])[1][0]

    assert (right - left) / km == pytest.approx((float(x2) - float(x1)) / apart, rel=0.001)
