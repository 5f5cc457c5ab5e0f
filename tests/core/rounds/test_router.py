"""What a road router is asked and how its answers are read."""

import json
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.rounds.router import (
    LARGEST,
    OSRM,
    VALHALLA,
    Block,
    Leg,
    NotUnderstood,
    Refused,
    Service,
    answer_of,
    blocks_of,
    halves,
    key_of,
    point_of,
    refusal_of,
    request_of,
    straight_m,
)
from servicedesk.core.rounds.travel import great_circle_m

RECORDED = Path(__file__).parents[3] / "fixtures" / "roads"
POINTS = [(10.0, 20.5), (10.02, 20.53), (10.05, 20.48), (10.1, 20.6)]
KEYS = tuple(key_of(point) for point in POINTS)
WHOLE = Block(KEYS, KEYS)
ROUTERS = {OSRM: Service(OSRM, "http://roads.example"), VALHALLA: Service(VALHALLA, "http://roads.example")}


def recorded(name):
    return (RECORDED / f"{name}.json").read_bytes()


def changed(name, change):
    said = json.loads(recorded(name))
    change(said)
    return json.dumps(said).encode()


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_a_key_is_a_place_to_a_metre(lat, lon):
    found = point_of(key_of((lat, lon)))
    assert found == pytest.approx((lat, lon), abs=0.500001e-5)
    assert key_of(found) == key_of((lat, lon))


def test_straight_lines_are_those_of_the_planner():
    square = great_circle_m(POINTS)
    assert [[straight_m(a, b) for b in KEYS] for a in KEYS] == [pytest.approx(list(row)) for row in square]


@pytest.mark.parametrize("name", ["osrm_table", "valhalla_matrix", "valhalla_matrix_short"])
def test_a_table_is_read_in_seconds_and_metres_by_ordered_pair(name):
    found = answer_of(ROUTERS[name.partition("_")[0]], WHOLE, recorded(name))

    a, b, c, d = KEYS
    assert len(found.legs) == 12 and found.lost == frozenset()
    there, back = found.legs[a, b], found.legs[b, a]
    assert (there.seconds, there.metres) == (512, 5215) and (back.seconds, back.metres) == (499, 4987)
    assert found.legs[c, d] is None and found.legs[d, c] == Leg(1333, 18877)


def test_osrm_is_asked_longitude_first_each_place_once():
    a, b, c, _d = KEYS
    asked = request_of(ROUTERS[OSRM], Block((a, b), (b, c)))

    parts = urlsplit(asked.path)
    assert parts.path == "/table/v1/driving/20.50000,10.00000;20.53000,10.02000;20.48000,10.05000"
    assert parse_qs(parts.query, separator="&") == {
        "annotations": ["duration,distance"],
        "generate_hints": ["false"],
        "sources": ["0;1"],
        "destinations": ["1;2"],
    }
    assert asked.body is None


def test_valhalla_is_asked_by_name_in_kilometres():
    asked = request_of(Service(VALHALLA, "http://roads.example", "truck"), Block(KEYS[:1], KEYS[1:2]))

    assert asked.path == "/sources_to_targets"
    assert json.loads(asked.body) == {
        "sources": [{"lat": 10.0, "lon": 20.5, "search_cutoff": 2000}],
        "targets": [{"lat": 10.02, "lon": 20.53, "search_cutoff": 2000}],
        "costing": "truck",
        "units": "km",
    }


def test_a_largest_block_fits_into_a_request_line():
    keys = [key_of((10 + n / 1000, -120.12345)) for n in range(200)]
    path = request_of(ROUTERS[OSRM], Block(tuple(keys[:100]), tuple(keys[100:]))).path
    assert len(path) < 8000


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("osrm_too_big", "big"), ("osrm_no_segment", "lost"), ("valhalla_too_many", "big"), ("valhalla_no_road", "lost"),
    ],
)  # fmt: skip
def test_refusals_say_why(name, why):
    router = ROUTERS[name.partition("_")[0]]
    assert refusal_of(router, recorded(name)) == why
    with pytest.raises(Refused) as refused:
        answer_of(router, WHOLE, recorded(name))
    assert refused.value.code == why


@pytest.mark.parametrize("body", [b"", b"[]", b"<html>", b'{"code": ["TooBig"]}', b"[" * 100_000, b"{}"])
@pytest.mark.parametrize("kind", [OSRM, VALHALLA])
def test_what_is_no_answer_is_no_refusal_and_no_table(kind, body):
    assert refusal_of(ROUTERS[kind], body) == ""
    with pytest.raises(NotUnderstood):
        answer_of(ROUTERS[kind], WHOLE, body)


def drop_row(said):
    said["durations"].pop()


def drop_column(said):
    said["distances"][1].pop()


def no_distances(said):
    del said["distances"]


def swap(said):
    for name in ("sources", "destinations"):
        for place in said[name]:
            place["location"].reverse()


def beyond_the_globe(said):
    said["sources"][0]["location"] = [20.5, 100]


def short_waypoints(said):
    said["sources"].pop()


def no_location(said):
    del said["destinations"][0]["location"]


def text(said):
    said["durations"][0][1] = "512"


def truth(said):
    said["durations"][0][1] = True


def below_nought(said):
    said["durations"][0][1] = -1


def not_a_number(said):
    said["durations"][0][1] = float("nan")


def in_kilometres(said):
    said["distances"] = [[None if m is None else m / 1000 for m in row] for row in said["distances"]]


def in_minutes(said):
    said["durations"] = [[None if s is None else s / 60 for s in row] for row in said["durations"]]


@pytest.mark.parametrize(
    "change",
    [
        drop_row, drop_column, no_distances, swap, beyond_the_globe, short_waypoints, no_location, text, truth, below_nought, not_a_number, in_kilometres, in_minutes,
    ],
)  # fmt: skip
def test_a_table_that_cannot_be_one_is_not_understood(change):
    with pytest.raises(NotUnderstood):
        answer_of(ROUTERS[OSRM], WHOLE, changed("osrm_table", change))


def in_another_unit(said):
    said["units"] = "leagues"


def of_strangers(said):
    said["sources_to_targets"][0][0]["to_index"] = 4


def of_the_last(said):
    said["sources_to_targets"][0][0]["from_index"] = -1


def no_pair(said):
    said["sources_to_targets"][0][0] = 7


def in_metres(said):
    for row in said["sources_to_targets"]:
        for pair in row:
            pair["distance"] = pair["distance"] and pair["distance"] * 1000


@pytest.mark.parametrize("change", [in_another_unit, of_strangers, of_the_last, no_pair, in_metres])
def test_a_matrix_that_cannot_be_one_is_not_understood(change):
    with pytest.raises(NotUnderstood):
        answer_of(ROUTERS[VALHALLA], WHOLE, changed("valhalla_matrix", change))


def test_miles_become_metres_and_pairs_stand_where_they_say():
    def in_miles(said):
        said["units"] = "miles"
        for row in said["sources_to_targets"]:
            row.reverse()
            for pair in row:
                pair["distance"] = pair["distance"] and pair["distance"] / 1.609344

    found = answer_of(ROUTERS[VALHALLA], WHOLE, changed("valhalla_matrix", in_miles))
    assert found.legs[KEYS[0], KEYS[1]] == Leg(512, 5215)


def test_of_a_pair_with_one_number_nothing_is_known():
    def half(said):
        said["distances"][0][1] = None
        said["durations"][1][0] = None

    found = answer_of(ROUTERS[OSRM], WHOLE, changed("osrm_table", half))
    assert (KEYS[0], KEYS[1]) not in found.legs and (KEYS[1], KEYS[0]) not in found.legs
    assert len(found.legs) == 10


def test_a_place_far_from_any_road_is_lost_with_all_its_ways():
    def far(said):
        said["destinations"][1]["location"] = [20.53, 10.05]

    found = answer_of(ROUTERS[OSRM], WHOLE, changed("osrm_table", far))
    assert found.lost == {KEYS[1]}
    assert len(found.legs) == 6 and not any(KEYS[1] in pair for pair in found.legs)


def answer(block, seconds):
    """OSRM's form of a table; a square by ordered pair, longer than any straight line here."""
    return json.dumps(
        {
            "code": "Ok",
            "durations": [[seconds[a, b] for b in block.ends] for a in block.starts],
            "distances": [[20_000 + seconds[a, b] for b in block.ends] for a in block.starts],
            "sources": [{"location": point_of(key)[::-1]} for key in block.starts],
            "destinations": [{"location": point_of(key)[::-1]} for key in block.ends],
        }
    ).encode()


tables = st.integers(1, 9).flatmap(
    lambda n: st.tuples(
        st.just([key_of((10 + k / 1000, 20 - k / 500)) for k in range(n)]),
        st.lists(st.integers(400, 90_000), min_size=n * n, max_size=n * n),
    )
)


def pairs_of(drawn):
    keys, values = drawn
    return keys, {(a, b): values[i * len(keys) + j] for i, a in enumerate(keys) for j, b in enumerate(keys)}


@given(tables, st.integers(1, 5), st.data())
def test_block_by_block_is_the_same_as_whole_and_never_mirrored(drawn, size, data):
    keys, seconds = pairs_of(drawn)
    every = [(a, b) for a in keys for b in keys if a != b]
    some = data.draw(st.sets(st.sampled_from(every))) if every else set()
    missing = {a: {b for b in keys if (a, b) in some} for a in keys}

    blocks = blocks_of(missing, size)

    found = {}
    for block in blocks:
        assert 1 <= len(block.starts) <= size and 1 <= len(block.ends) <= size
        found |= answer_of(ROUTERS[OSRM], block, answer(block, seconds)).legs
    assert set(found) == some
    assert all(leg.seconds == seconds[pair] for pair, leg in found.items())


@pytest.mark.parametrize(
    ("many", "size", "blocks"), [(2, 100, 1), (100, 100, 1), (101, 100, 3), (250, 100, 9)]
)
def test_all_pairs_are_asked_in_squares(many, size, blocks):
    keys = [key_of((10 + n / 1000, 20.0)) for n in range(many)]
    assert len(blocks_of({a: set(keys) - {a} for a in keys}, size)) == blocks


def test_a_new_place_is_one_row_and_one_column():
    keys = [key_of((10 + n / 1000, 20.0)) for n in range(80)]
    new, old = keys[0], keys[1:]
    blocks = blocks_of({new: set(old), **{key: {new} for key in old}}, LARGEST[OSRM])
    assert sorted((len(block.starts), len(block.ends)) for block in blocks) == [(1, 79), (79, 1)]


def test_a_way_to_oneself_alone_is_not_asked():
    keys = [key_of((10 + n / 1000, 20.0)) for n in range(3)]
    blocks = blocks_of({a: set(keys) - {a} for a in keys}, 1)
    assert len(blocks) == 6 and all(block.starts != block.ends for block in blocks)


def test_halves_are_the_whole():
    for block in (Block(KEYS[:1], KEYS), Block(KEYS, KEYS[:1]), WHOLE, Block(KEYS[:3], KEYS)):
        pairs = [(a, b) for half in halves(block) for a in half.starts for b in half.ends]
        assert sorted(pairs) == sorted((a, b) for a in block.starts for b in block.ends)


def test_a_router_is_named_by_all_that_its_answers_hang_on():
    assert (
        Service(OSRM, "http://roads.example:5000", "van", "2026-05").name
        == "osrm van http://roads.example:5000 2026-05"
    )
    assert Service(OSRM, "http://roads.example").name == "osrm http://roads.example"
