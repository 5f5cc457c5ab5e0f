"""The map of the rounds: true in shape, every number and name to be read, whose way is whose without colour, a bar that tells the truth."""

import io
import re
from dataclasses import replace
from itertools import combinations
from math import cos, radians
from pathlib import Path
from xml.etree import ElementTree

import pytest
from fontTools.ttLib import TTFont
from hypothesis import example, given
from hypothesis import strategies as st

from servicedesk.core.drawing.map import (
    FILLS,
    FOOT,
    LINES,
    SHAPES,
    MapStop,
    RoundsMap,
    Way,
    apart,
    around,
    clipped,
    crosses,
    great_circle_km,
    key_svg,
    labels_of,
    laid,
    legs_of,
    map_svg,
    overlap,
    text_px,
    towards,
)

SVG = "{http://www.w3.org/2000/svg}"
FONT = Path("servicedesk/static/fonts/atkinson-hyperlegible-next-latin-400-normal.woff2")
STORE, HOME = (52.0, 0.5), (52.06, 0.56)
IDA = Way(
    "Ida",
    (MapStop(1, "Mill House", 52.02, 0.53), MapStop(2, "The Anchor", 52.05, 0.51)),
    begins=STORE,
    ends=STORE,
)
BOB = Way("Bob", (MapStop(1, "Quay Surgery", 52.03, 0.44),), begins=HOME)
DAY = RoundsMap("Two rounds.", (IDA, BOB), store=STORE, homes=(HOME,))

places = st.tuples(st.floats(51.9, 52.1), st.floats(0.3, 0.6))
names = st.text(st.characters(codec="latin-1", categories=["L", "N", "Zs", "P"]), min_size=1, max_size=40)
ways = st.lists(st.lists(st.tuples(names, places), min_size=1, max_size=9), min_size=1, max_size=4)


def map_of(drawn, **given):
    made = tuple(
        Way(f"T{n}", tuple(MapStop(i, name, *place) for i, (name, place) in enumerate(stops, 1)), **given)
        for n, stops in enumerate(drawn)
    )
    return RoundsMap("Rounds.", made, store=STORE)


def read(shown, width=600.0, **given):
    return ElementTree.fromstring(map_svg(shown, width=width, **given))


def within(boxes, width, height):
    least = 1e-9  # px, the rounding of sums
    return all(min(b) >= -least and b[2] <= width + least and b[3] <= height + least for b in boxes)


def attributes(root, cls, *wanted):
    return [tuple(found.get(name) for name in wanted) for found in root.findall(f".//*[@class='{cls}']")]


def test_a_map_without_a_placed_stop_is_refused():
    nowhere = RoundsMap(
        "None.",
        (
            Way(
                "Ida",
                (MapStop(1, "Weir", None, 0.5), MapStop(2, "Lock", 52.0, None)),
            ),
        ),
    )

    with pytest.raises(ValueError, match="place is known"):
        map_svg(nowhere, width=340)
    assert (nowhere.placed, [s.name for _who, s in nowhere.unplaced]) == (False, ["Weir", "Lock"])


def test_a_stop_without_a_place_is_named_beside_and_the_rest_is_drawn():
    lost = replace(IDA, stops=(*IDA.stops, MapStop(3, "Weir", None, None)))
    shown = RoundsMap("One round.", (lost,))

    assert [(who, stop.number) for who, stop in shown.unplaced] == [("Ida", 3)]
    assert attributes(read(shown), "d-text d-text--bold") == [(), ()]


def test_north_is_up_east_is_right_and_numbers_stand_in_the_order_driven():
    root = read(RoundsMap("One.", (IDA,)))
    numbers = [t.text for t in root.findall(f"{SVG}text[@class='d-text d-text--bold']")]
    (x1, y1), (x2, y2) = [tuple(map(float, at)) for at in attributes(root, "d-square", "x", "y")]

    assert numbers == ["1", "2"]
    assert x2 < x1 and y2 < y1  # the second stands north-west of the first


@given(ways, st.sampled_from([340.0, 600.0, 840.0]))
@example([[("A", (52.0, 0.5))] * 9] * 4, 340.0)
def test_every_mark_is_free_of_the_others_and_inside_the_frame(drawn, width):
    at = laid(map_of(drawn), width)
    marks = [around(*mark) for mark in [*(m for _w, m in at.bases), *(m for way in at.marks for m in way)]]

    assert len(marks) == 1 + sum(map(len, drawn))
    assert not any(overlap(a, b) for a, b in combinations(marks, 2))
    assert within(marks, width, at.height - FOOT + 14)


@given(ways, st.sampled_from([340.0, 600.0]))
def test_no_name_covers_a_name_or_a_mark_and_all_stand_inside_the_frame(drawn, width):
    at = laid(map_of(drawn, begins=STORE), width)
    marks = [around(*mark) for mark in [*(m for _w, m in at.bases), *(m for way in at.marks for m in way)]]
    boxes = [label.box for label in at.labels]

    assert not any(overlap(a, b) for a, b in combinations(boxes, 2))
    assert not any(overlap(box, mark) for box in boxes for mark in marks)
    assert within(boxes, width, at.height - FOOT + 14)


def test_where_all_stops_lie_apart_each_has_its_name():
    assert [label.text for label in laid(DAY, 600).labels] == [
        "store",
        "home",
        "Mill House",
        "The Anchor",
        "Quay Surgery",
    ]


def test_a_crowd_keeps_its_numbers_and_gives_up_names():
    crowd = map_of([[(f"The very long name {n}", (52.0, 0.5)) for n in range(9)]] * 3)
    at = laid(crowd, 340)

    assert sum(map(len, at.marks)) == 27
    assert 0 < len(at.labels) < 27


def test_a_site_that_two_visit_is_named_once():
    both = map_of([[("Mill", (52.02, 0.53))], [("Mill", (52.02, 0.53))]])

    assert [label.text for label in laid(both, 600).labels] == ["store", "Mill"]


def test_a_mark_that_stepped_aside_points_to_where_it_truly_is():
    both = replace(map_of([[("Mill", (52.02, 0.53)), ("Weir", (52.02, 0.53))]]), store=None)

    assert len(attributes(read(both), "d-thin", "d")) == 1
    assert attributes(read(DAY), "d-thin", "d") == []


def test_a_name_avoids_lines_where_it_can():
    """East of the mark, where a name stands first, runs the line."""
    alone = laid(RoundsMap("One.", (Way("Ida", IDA.stops[:1]),)), 600)
    at = laid(RoundsMap("One.", (Way("Ida", IDA.stops[:1], begins=(52.02, 0.6)),)), 600)

    assert alone.labels[0].box[0] > alone.marks[0][0][0] and alone.labels[0].box[1] < alone.marks[0][0][1]
    assert not crosses(*at.lines[0], at.labels[0].box)


def test_a_name_that_would_stand_on_two_lines_is_left_out():
    """Lines leave the mark on every side, so that each place for a name has some of them in it."""
    star = [[(x, y), (60.0 * i, 60.0 * j)] for i in range(11) for j in range(6) for x, y in [(300.0, 150.0)]]

    assert labels_of([("A name", (300.0, 150.0))], [(300.0, 150.0)], star, (600.0, 300.0)) == []
    assert len(labels_of([("A name", (300.0, 150.0))], [(300.0, 150.0)], star[:1], (600.0, 300.0))) == 1


@pytest.mark.parametrize(
    ("a", "b", "met"),
    [
        ((0, 5), (20, 5), True),
        ((0, 5), (4, 5), False),
        ((0, 20), (20, 20), False),
        ((7, 0), (7, 20), True),
        ((20, 0), (20, 20), False),
        ((0, 0), (12, 12), True),
        ((0, 12), (4, 20), False),
    ],
)
def test_lines_through_a_box(a, b, met):
    assert crosses(a, b, (5, 3, 10, 8)) is met


def test_what_has_no_free_cell_stays_where_it_is():
    assert apart([(14.0, 14.0)] * 2, 28.0, 48.0) == [(14.0, 14.0)] * 2


def test_each_way_has_a_line_and_a_shape_of_its_own_without_colour():
    pairs = {(LINES[n % len(LINES)], SHAPES[n % len(SHAPES)]) for n in range(20)}
    plain = {re.sub(r' (class|stroke|fill)="[^"]*"', "", key_svg(n)) for n in range(5)}
    dashes = {tuple(re.findall(r'stroke-dasharray="([^"]*)"', key_svg(n, mode="paper"))) for n in range(4)}

    assert len(pairs) == 20
    assert len(plain) == len(SHAPES) == len(FILLS)
    assert len(dashes) == 4


def test_a_way_begins_and_ends_where_it_is_said_to():
    at = laid(DAY, 600)

    assert [len(line) for line in at.lines] == [4, 2]
    assert at.lines[0][0] == at.lines[0][-1] == dict(at.bases)["store"]
    assert at.lines[1][0] == dict(at.bases)["home"]
    assert laid(RoundsMap("One.", (replace(IDA, stops=()), BOB)), 600).lines[0] == []


def test_a_base_that_is_not_marked_still_begins_the_way():
    at = laid(replace(DAY, homes=()), 600)

    assert len(at.lines[1]) == 2


def test_one_stop_alone_has_no_line():
    root = read(RoundsMap("One.", (replace(BOB, begins=None),)))

    assert attributes(root, "d-leg", "d") == []


def test_the_bar_agrees_with_a_distance_worked_out_by_hand():
    """0.1 degrees east on the 52nd parallel: 0.1 x 111.195 km x cos 52 degrees (0.615661) = 6.8459 km; by the great circle
    2 x 6371.0088 x asin(0.615661 x sin 0.05 degrees) = 2 x 6371.0088 x 0.000537270 = 6.8459 km."""
    pair = Way("Ida", (MapStop(1, "West", 52.0, 0.5), MapStop(2, "East", 52.0, 0.6)))
    root = read(RoundsMap("Two.", (pair,)))
    (x1,), (x2,) = attributes(root, "d-square", "x")
    (bar,) = [d for (d,) in attributes(root, "d-axis", "d") if "H" in d]
    km = next(float(t.text.split()[0]) for t in root.findall(f"{SVG}text") if "km" in t.text)
    px = float(bar.split("H")[1].split("V")[0]) - float(bar[1:].split()[0])

    assert great_circle_km((52.0, 0.5), (52.0, 0.6)) == pytest.approx(6.8459, abs=0.0001)
    assert (float(x2) - float(x1)) / px * km == pytest.approx(6.8459, rel=0.001)


def test_great_circles_of_known_length():
    assert great_circle_km((0, 0), (0, 90)) == pytest.approx(
        10007.557, abs=0.001
    )  # a quarter of 2 pi 6371.0088
    assert great_circle_km((90, 0), (-90, 0)) == pytest.approx(20015.115, abs=0.001)
    assert great_circle_km(STORE, STORE) == 0


@given(places, places)
def test_the_plane_is_true_to_a_few_parts_in_a_thousand(a, b):
    """Over a day's driving the drawing and the sphere agree."""
    middle = radians((a[0] + b[0]) / 2)
    flat = ((a[0] - b[0]) ** 2 + ((a[1] - b[1]) * cos(middle)) ** 2) ** 0.5 * 111.195

    assert great_circle_km(a, b) == pytest.approx(flat, rel=0.003, abs=0.001)


@pytest.mark.parametrize(
    ("to", "said"),
    [
        ((53, 0.5), "north"),
        ((52.6, 1.5), "north-east"),
        ((52, 1), "east"),
        ((51, 0.5), "south"),
        ((52, 0), "west"),
    ],
)
def test_which_way_in_words(to, said):
    assert towards(STORE, to) == said


def test_the_map_in_words_is_every_placed_stop_in_order_with_its_distance():
    found = [(leg.way, leg.stop.name, leg.km and round(leg.km, 1), leg.towards) for leg in legs_of(DAY)]
    first = legs_of(RoundsMap("One.", (replace(BOB, begins=None),)))[0]

    assert found == [
        ("Ida", "Mill House", 3.0, "north-east"),
        ("Ida", "The Anchor", 3.6, "north"),
        ("Bob", "Quay Surgery", 8.9, "west"),
    ]
    assert (first.km, first.towards) == (None, "")


def test_names_are_clipped_and_room_is_never_less_than_the_face_takes():
    font = TTFont(io.BytesIO(FONT.read_bytes()))
    widths, letters, per_em = font["hmtx"].metrics, font.getBestCmap(), font["head"].unitsPerEm
    short = [
        chr(code)
        for code, glyph in letters.items()
        if 0x20 <= code < 0x250 and text_px(chr(code)) < widths[glyph][0] / per_em * 13
    ]

    assert short == []
    assert text_px("池") == 13.2
    assert (clipped("Mill House"), len(clipped("x" * 60))) == ("Mill House", 22)


def test_every_shape_is_drawn_and_paper_names_its_colours():
    six = map_of([[(f"Site {n}", (52.0 + n / 50, 0.4))] for n in range(6)], begins=STORE)
    page, paper = map_svg(six, width=600), map_svg(six, width=600, mode="paper")

    assert page.count("d-text--bold") == 6
    assert "class=" not in paper.split(">", 1)[1] and 'stroke-dasharray="5 4"' in paper
    assert 'aria-label="Rounds."' in page
