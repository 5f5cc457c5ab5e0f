"""What goes in: travel, locks, formats, invented weeks, and problems that cannot be, named in words."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from servicedesk.core.rounds import formats, weeks
from servicedesk.core.rounds.odd import odd, refuse_odd
from servicedesk.core.rounds.problem import (
    DAY_S,
    Lunch,
    NotPlanned,
    Pair,
    Problem,
    Refill,
    Shift,
    Tie,
    Travel,
    Visit,
    Window,
    locked,
)
from servicedesk.core.rounds.rules import judge
from servicedesk.core.rounds.travel import Band, Roads, road_m, swapped, travel_between
from tests.core.rounds import checker
from tests.core.rounds.problems import H, M, line, shift, visit

WEEKS = Path(__file__).parents[3] / "fixtures" / "routing" / "weeks"


def test_a_degree_of_latitude_is_driven_at_the_speed_of_its_band():
    roads = Roads(
        bands=(Band(10, 1.5, 30), Band(float("inf"), 1.2, 60)),
        leg_minutes=2,
        overrides={(0, 2): None, (2, 0): 90},
    )
    travel = travel_between([(50, 10), (51, 10), (50, 10.0001), (50, 10)], roads)

    metres = 6_371_008.8 * np.pi / 180
    assert travel.lengths[0][1] == pytest.approx(1.2 * metres, abs=1)
    assert travel.rows[0][1] == pytest.approx(1.2 * metres / (60 / 3.6) + 120, abs=1)
    assert travel.rows[0][3] == 0
    assert not travel.joined(0, 2)
    assert travel.rows[2][0] == 90
    assert travel.costs is travel.rows
    assert line(0, 1).lengths is None


@pytest.mark.parametrize(
    ("roads", "points", "said"),
    [
        (Roads(bands=()), [(0, 0)], "at least one band"),
        (Roads(leg_minutes=-1), [(0, 0)], "at least one band"),
        (Roads(bands=(Band(1, 1, 0),)), [(0, 0)], "speed above nought"),
        (Roads(bands=(Band(1, 0.5, 5),)), [(0, 0)], "road factor of 1 or more"),
        (Roads(bands=(Band(5, 1, 5), Band(5, 1, 5))), [(0, 0)], "must rise"),
        (None, [(0, 0), (91, 0)], "Place 2 lies at latitude 91"),
    ],
)
def test_travel_that_cannot_be_is_refused(roads, points, said):
    with pytest.raises(NotPlanned, match=said):
        travel_between(points, roads)


def test_coordinates_the_wrong_way_round_are_seen():
    here = [(52.0 + n / 50, 13.0) for n in range(5)]

    assert swapped([*here, (13.0, 52.0)]) == (5,)
    assert swapped([*here, (48.0, 2.0)]) == ()
    assert swapped(here[:2]) == ()


def test_a_lock_holds_what_it_names_and_nothing_else():
    both = visit("a", 0, days=(0, 1))

    assert locked(both, technician="bo").technicians == {"bo"}
    assert locked(both, technician="bo").windows == both.windows
    assert [w.day for w in locked(both, day=1).windows] == [1]
    assert locked(both, day=3).windows == (Window(3, 0, DAY_S - 1),)
    assert locked(both, start=9 * H).windows == (Window(0, 9 * H, 9 * H), Window(1, 9 * H, 9 * H))
    assert locked(both, windows=(Window(2, 1, 2),), start=5).windows == (Window(2, 5, 5),)


GOOD = Problem(line(0, 1, 2), (visit("a", 1), visit("b", 2)), (shift(),))


def made(**more):
    return replace(GOOD, **more)


def one(**more):
    return made(visits=(replace(GOOD.visits[0], **more), GOOD.visits[1]))


def work(**more):
    return made(shifts=(replace(GOOD.shifts[0], **more),))


ODD = [
    (made(travel=Travel([[0, 1], [1]])), "as many columns as rows"),
    (made(travel=Travel(GOOD.travel.seconds, [[0]])), "as many columns as rows"),
    (made(travel=Travel(GOOD.travel.seconds, [[0, 1], [1], [1, 1, 1]])), "as many columns"),
    (made(travel=Travel([[1, 1, 1], [1, 0, 1], [1, 1, 0]])), "from a place to itself"),
    (made(travel=Travel([[0, -1, 1], [1, 0, 1], [1, 1, 0]])), "never less than nought"),
    (made(travel=Travel([[0]])), "a place is named that travel does not know".capitalize()),
    (work(refill=Refill(7, 60)), "A place is named"),
    (made(visits=(GOOD.visits[0], GOOD.visits[0])), "same name"),
    (made(shifts=(*GOOD.shifts, *GOOD.shifts)), "two shifts on one day"),
    (one(id="+a"), "plus sign"),
    (made(ties=(Tie(("a", "x"), ((0, 1),)),)), "one tie at most"),
    (made(ties=(Tie(("a", "b"), ((0,),)),)), "needs patterns of 2 days"),
    (made(ties=(Tie(("a", "b"), ((0, 1),), (1, 2)),)), "one price for each pattern"),
    (made(pairs=(Pair("a", "a"),)), "one pair at most"),
    (one(seconds=-1), "time and loads"),
    (one(loads=(-1,)), "time and loads"),
    (one(change_price=-1), "prices are nought or more"),
    (one(skip_price=-1), "prices are nought or more"),
    (one(windows=(Window(0, 5, 6, -1),)), "prices are nought or more"),
    (one(windows=(Window(0, 5, 4),)), "shorter than the work"),
    (one(windows=(Window(0, -5, 4),)), "within their day"),
    (one(loads=(1,)), "more kinds of load"),
    (work(earliest=20 * H), "ends before it begins"),
    (work(van=(-1,)), "the van holds"),
    (made(shifts=(*GOOD.shifts, shift("bo", van=(1,)))), "the van holds"),
    (work(overtime=-1), "hours and prices"),
    (work(paid=-1), "hours and prices"),
    (work(lunch=Lunch(60, 5, 4)), "lunch ends before"),
    (
        made(travel=Travel([[0, 10**7, 1], [1, 0, 1], [1, 1, 0]]), shifts=(shift(end=1),)),
        "no way from where it starts",
    ),
]


@pytest.mark.parametrize(("problem", "said"), ODD)
def test_what_cannot_be_is_named_in_words(problem, said):
    assert said in " ".join(odd(problem))
    with pytest.raises(NotPlanned):
        refuse_odd(problem)


def test_a_good_problem_is_not_odd_and_many_faults_are_counted():
    refuse_odd(GOOD)
    assert GOOD.name(0) == "place 1"
    assert made(names=("the store",)).name(0) == "the store"
    assert odd(made(shifts=())) == []
    many = made(
        visits=tuple(replace(v, seconds=-1, change_price=-1, windows=(Window(0, 5, 4),)) for v in GOOD.visits)
    )
    with pytest.raises(NotPlanned, match="And 3 more"):
        refuse_odd(many)


def test_a_text_in_another_format_is_refused():
    for read in (formats.read_solomon, formats.read_periodic):
        with pytest.raises(NotPlanned, match="format"):
            read("x", "NAME : x\n1 2 3\n")


def test_a_periodic_instance_is_read_with_its_oddities():
    """A node on the depot that wants nothing, one without a frequency, one without combinations."""
    text = "1 2 4 2\n0 10\n0 10\n0 0 0 0 0\n1 3 4 0 5 1 2 1 2\n2 0 0 0 0 1 1 3\n3 1 1 0 1 0 1 0\n4 2 2 0 4 2 1 3\n"

    found = formats.read_periodic("small", text)

    assert [v.id for v in found.problem.visits] == ["1", "3", "4/1", "4/2"]
    assert [sorted(v.days) for v in found.problem.visits] == [[0, 1], [0, 1], [0], [1]]
    assert found.problem.ties == (Tie(("4/1", "4/2"), ((0, 1),)),)
    orders = {("vehicle 1", 0): ("1", "+refill", "3"), ("vehicle 2", 0): ("4/1",), ("vehicle 1", 1): ("4/2",)}
    assert json.loads(formats.solution_text(found, orders)) == {"days": [[[1, 3], [4]], [[4]]]}
    assert checker.periodic_cost(text, [[[1, 3], [4]], [[4]]]) == pytest.approx(
        5 + 13**0.5 + 2**0.5 + 4 * 2**1.5
    )


def test_a_week_is_the_same_whenever_it_is_drawn_and_another_for_another_seed():
    first, again, other = weeks.named_week("week-80-1"), weeks.named_week("week-80-1"), weeks.week(80, 2)

    assert first.visits == again.visits
    assert first.shifts == again.shifts
    assert first.travel.rows == again.travel.rows
    assert first.visits != other.visits
    assert len({s.technician for s in first.shifts}) == 3
    assert weeks.technicians_for(20) == 1
    for wrong in ("week-0-1", "week-80", "x"):
        with pytest.raises(NotPlanned, match="names no week"):
            weeks.named_week(wrong)


def test_the_week_after_is_nearly_the_same():
    before, after = weeks.named_week("week-80-1"), weeks.named_week("week-80-1+1")

    same = {v.id for v in before.visits} & {v.id for v in after.visits}
    assert 50 < len(same) < 80
    assert all(before.visit[name] == after.visit[name] for name in same)
    assert (weeks.week_before("week-80-1+1"), weeks.week_before("week-80-1")) == ("week-80-1", "")


def test_a_week_is_read_as_it_was_written():
    problem = weeks.week(5, 1)
    orders = {("t1", 2): ("v1", "v3")}

    assert formats.read_week(formats.week_text(problem, orders)) == orders
    for wrong in ("{", "{}", '{"rounds": 3}', '{"rounds": {"t1/x": []}}'):
        with pytest.raises(NotPlanned, match="no solution of a week"):
            formats.read_week(wrong)


@pytest.mark.parametrize("path", sorted(WEEKS.glob("week-*.json")), ids=lambda path: path.stem)
def test_best_known_weeks_break_nothing(path):
    problem = weeks.named_week(path.stem)
    plan, faults = judge(problem, formats.read_week(path.read_text()))

    assert faults == []
    assert checker.wrong(problem, plan) == []


def test_values_know_their_keys():
    stranger = Shift("ada", 1, 0, 0, 7 * H, 8 * H)
    assert (stranger.key, Visit("a", 0, M, (Window(2, 0, 1),)).days) == (("ada", 1), frozenset({2}))
    assert Tie(("a",), ((0,),)).price(0) == 0


def test_legs_by_road_are_as_long_as_between_all_places():
    points = [(52.0, 0.5), (52.01, 0.5), (52.2, 0.7), (53.0, 1.5), (52.0, 0.5)]
    roads = Roads(bands=(Band(3, 1.5, 25), Band(15, 1.35, 38), Band(float("inf"), 1.25, 55)))
    square = travel_between(points, roads).metres
    starts, ends = [0, 1, 2, 3, 0], [1, 2, 3, 0, 4]

    legs = road_m([points[n] for n in starts], [points[n] for n in ends], roads)

    assert legs == pytest.approx([square[a, b] for a, b in zip(starts, ends, strict=True)], abs=0.51)
    assert legs[4] == 0
    assert len(road_m([], [])) == 0
