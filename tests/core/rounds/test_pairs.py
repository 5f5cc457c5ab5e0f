"""A visit for two begins when two different people could be there."""

from dataclasses import replace

from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.pairs import for_two, without_seconds
from servicedesk.core.rounds.planner import plan_rounds
from servicedesk.core.rounds.problem import Pair, Problem, Shift, Travel, Visit, Window

HOUR = 3600
# place 0: Ida's home, 1: Ben's home, 2: the site; half an hour from Ida, two hours from Ben
WAYS = [[0, 9000, 1800], [9000, 0, 7200], [1800, 7200, 0]]


def shift(who, home, *, day=0, first=8, last=16, skills=()):
    return Shift(who, day, home, home, first * HOUR, last * HOUR, skills=frozenset(skills))


def problem(shifts, **given):
    first = Visit("v", 2, HOUR, (Window(0, 0, 23 * HOUR), Window(1, 0, 23 * HOUR, 7)))
    second = replace(first, id="w", **given)
    return Problem(Travel(WAYS), (first, second), tuple(shifts), pairs=(Pair("v", "w"),))


def windows(asked):
    found = for_two(asked, asked.visit["v"], asked.visit["w"]).windows
    return [(w.day, w.earliest / HOUR, w.latest / HOUR, w.price) for w in found]


def test_not_before_the_later_of_two_is_there_nor_so_late_that_one_is_not_home():
    assert windows(problem([shift("ida", 0), shift("ben", 1)])) == [(0, 10, 13, 0)]


def test_two_that_are_nearer_than_a_third_set_the_bounds():
    near = shift("ola", 0, first=9)

    assert windows(problem([shift("ida", 0), shift("ben", 1), near])) == [(0, 9.5, 14.5, 0)]


def test_a_day_on_which_nobody_second_could_come_has_no_window():
    alone = [shift("ida", 0), shift("ida", 0, day=1), shift("ben", 1, day=1)]
    assert windows(problem(alone)) == [(1, 10, 13, 7)]
    assert (
        windows(problem([shift("ida", 0), shift("ben", 1, first=12)])) == []
    )  # home from there would be too late
    assert (
        windows(problem([shift("ida", 0, first=8, last=11), shift("ben", 1, first=11, last=16)])) == []
    )  # never both


def test_the_second_needs_its_skill_and_its_person():
    people = [shift("ida", 0, skills=["dive"]), shift("ben", 1)]
    assert windows(problem(people, skills=frozenset({"dive"}))) == [(0, 10, 13, 0)]
    assert windows(problem(people[1:], skills=frozenset({"dive"}))) == []
    assert windows(problem(people, technicians=frozenset({"ola"}))) == []
    assert windows(problem(people, technicians=frozenset({"ben"}))) == [(0, 10, 13, 0)]


def test_both_begin_at_the_same_moment_whoever_lives_far_away():
    asked = problem([shift("ida", 0), shift("ben", 1)])
    assert [v.id for v in without_seconds(asked).visits] == ["v"]

    plan = plan_rounds(asked, Budget(iterations=200, seed=3)).plan

    (one, first), (two, second) = plan.where["v"], plan.where["w"]
    assert first.start == second.start and {one.technician, two.technician} == {"ida", "ben"}
    assert plan.missing == () and first.start >= 10 * HOUR
