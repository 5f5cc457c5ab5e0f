"""A person is believed: a round gets its times whatever it breaks, and what it breaks is named."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from servicedesk.core.rounds.moving import begun_together, believed, best_order, with_refills
from servicedesk.core.rounds.plan import REFILL
from servicedesk.core.rounds.problem import ISOLATED, NO_WAY_S, NotPlanned, Problem, Refill, Travel
from servicedesk.core.rounds.rules import judge_round
from tests.core.rounds.problems import LUNCH, H, M, line, problems, shift, visit


def codes(found):
    return sorted(fault.code for fault in found.faults)


def starts(found):
    return {stop.visit: stop.start for stop in found.round.stops}


def test_a_round_that_breaks_nothing_has_the_times_of_the_rules():
    problem = Problem(line(0, 5, 10), (visit("a", 1), visit("b", 2)), (shift(),))
    found = believed(problem, problem.shifts[0], ("b", "a"))

    faults, times = judge_round(problem, problem.shifts[0], ("b", "a"))
    assert (found.faults, faults) == ((), [])
    assert tuple(starts(found).values()) == times.starts and found.round.back == times.back
    assert [stop.slack for stop in found.round.stops] == list(times.slacks) and max(times.slacks) > 0


def test_begun_too_late_is_said_with_the_minutes_and_leaves_nothing_to_spare():
    """Far is begun at 8:00 at the earliest and takes an hour, the way back to near 40 minutes: 9:40 where 9:00 is the last."""
    problem = Problem(line(0, 10, 30), (visit("near", 1, closes=9), visit("far", 2, minutes=60)), (shift(),))
    found = believed(problem, problem.shifts[0], ("far", "near"))

    assert [(f.code, f.visit, f.amount) for f in found.faults] == [("window", "near", 40 * M)]
    assert starts(found) == {"far": 8 * H, "near": 9 * H + 40 * M}
    assert found.round.cost >= 1_000_000  # dearer than every place that keeps its hours
    assert {stop.slack for stop in found.round.stops} == {0}


def test_a_later_window_of_the_day_is_waited_for_before_a_rule_is_broken():
    hours = visit("a", 1, minutes=60, closes=9)
    twice = replace(
        hours, windows=(*hours.windows, replace(hours.windows[0], earliest=14 * H, latest=15 * H))
    )
    problem = Problem(line(0, 1, 2), (twice, visit("b", 2, minutes=120)), (shift(),))
    found = believed(problem, problem.shifts[0], ("b", "a"))

    assert (codes(found), starts(found)["a"]) == ([], 14 * H)


@pytest.mark.parametrize(
    ("given", "code"), [({"hours": (7 * H, 10 * H)}, "shift"), ({"paid": 2 * H, "overtime": H}, "paid")]
)
def test_too_long_a_day_is_said_once_and_its_overtime_counted(given, code):
    problem = Problem(line(0, 5), (visit("a", 1, minutes=240),), (shift(**given),))
    found = believed(problem, problem.shifts[0], ("a",))

    assert codes(found) == [code] and found.round.back == 12 * H + 10 * M
    assert found.round.overtime == (260 * M - 2 * H if code == "paid" else 0)


def test_no_time_for_lunch_is_said():
    problem = Problem(line(0, 5), (visit("a", 1, minutes=300, opens=10, closes=10),), (shift(lunch=LUNCH),))
    assert codes(believed(problem, problem.shifts[0], ("a",))) == ["lunch"]


def test_every_rule_of_a_visit_is_said_not_only_the_first():
    wrong = visit("a", 1, days=(1,), skills=frozenset({"s"}), technicians=frozenset({"bob"}))
    problem = Problem(line(0, 5), (wrong,), (shift(), shift(day=1)))
    found = believed(problem, problem.shifts[0], ("a",))

    assert codes(found) == ["day", "skill", "technician"] and starts(found)["a"] >= 7 * H
    assert all(fault.visit == "a" for fault in found.faults)


def test_what_comes_after_isolation_is_said():
    problem = Problem(line(0, 5, 6), (visit("a", 1, level=ISOLATED), visit("b", 2)), (shift(),))
    assert codes(believed(problem, problem.shifts[0], ("a", "b"))) == ["level"]
    assert best_order(problem, problem.shifts[0], ("b",), "a") == ("b", "a")
    assert best_order(problem, problem.shifts[0], ("a",), "b") == ("b", "a")


def test_what_no_day_holds_is_refused():
    long = tuple(visit(name, 1, minutes=600) for name in "abcdefgh")
    problem = Problem(line(0, 5), long, (shift(lunch=LUNCH),))
    for order in (("a", "b"), tuple("abcdefgh")):
        with pytest.raises(NotPlanned, match="before midnight"):
            believed(problem, problem.shifts[0], order)
    assert best_order(problem, problem.shifts[0], ("a",), "b") == ("a", "b")
    apart = Problem(Travel([[0, NO_WAY_S], [NO_WAY_S, 0]]), (visit("a", 1),), (shift(),))
    with pytest.raises(NotPlanned, match="no way"):
        believed(apart, apart.shifts[0], ("a",))


def loaded(most=1, van=(100,), heavy=80):
    visits = tuple(visit(name, place, loads=(heavy,)) for place, name in enumerate("abc", start=1))
    return Problem(line(0, 5, 6, 7), visits, (shift(van=van, refill=Refill(0, 10 * M, most)),))


def test_water_is_taken_on_again_where_that_helps_and_no_more_often_than_may_be():
    problem = loaded()
    found = with_refills(problem, problem.shifts[0], ("a", REFILL, "b"))
    assert (found.round.visits, found.round.stops[1].visit, codes(found)) == (("a", "b"), REFILL, [])
    assert codes(with_refills(problem, problem.shifts[0], ("a", "b", "c"))) == ["load"]
    twice = loaded(most=2)
    found = with_refills(twice, twice.shifts[0], ("a", "b", "c"))
    assert [stop.visit for stop in found.round.stops].count(REFILL) == 2 and codes(found) == []
    light = loaded(heavy=20)
    assert REFILL not in with_refills(light, light.shifts[0], ("a", REFILL, "b")).round.visits
    none = replace(problem.shifts[0], refill=None)
    assert codes(with_refills(problem, none, ("a", "b"))) == ["load"]
    late = replace(problem, visits=tuple(replace(v, seconds=5 * H) for v in problem.visits))
    far = replace(problem.shifts[0], refill=Refill(0, 14 * H))
    assert codes(with_refills(late, far, ("a", "b"))) == ["load", "shift"]


def test_the_other_of_two_begins_when_the_first_does():
    problem = Problem(line(0, 5), (visit("a", 1),), (shift(),))
    held = begun_together(problem, {"a": 11 * H})
    assert starts(believed(held, held.shifts[0], ("a",)))["a"] == 11 * H
    assert begun_together(problem, {}) is problem


@given(problem=problems, order=st.permutations(range(8)), take=st.integers(1, 6))
@settings(max_examples=150, deadline=None)
def test_every_order_has_times_or_is_refused_and_what_holds_breaks_nothing(problem, order, take):
    """Stops follow one another with the way between them; no fault means that the rules agree."""
    names = tuple(problem.visits[n].id for n in order if n < len(problem.visits))[:take]
    for shift_ in problem.shifts:
        try:
            found = believed(problem, shift_, names)
        except NotPlanned:
            continue
        assert found.round.visits == names
        faults, times = judge_round(problem, shift_, names)
        assert (found.faults == ()) == (not faults and times is not None)
        assert {(f.code, f.visit) for f in faults} <= {(f.code, f.visit) for f in found.faults}
        ends = [shift_.earliest, *(stop.end for stop in found.round.stops)]
        assert all(
            stop.start >= end + stop.travel for stop, end in zip(found.round.stops, ends, strict=False)
        )
