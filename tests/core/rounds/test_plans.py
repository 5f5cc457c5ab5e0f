"""Whatever is planned is whole: an independent checker finds nothing wrong, and it does find what is planted."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from servicedesk.core.rounds.insertion import mended
from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.planner import plan_rounds
from servicedesk.core.rounds.problem import Pair, Tie, locked
from servicedesk.core.rounds.rules import judge
from tests.core.rounds.checker import wrong
from tests.core.rounds.problems import drawn_problem, problems

BRIEF = Budget(iterations=60)


@given(problem=problems, seed=st.integers(1, 50))
@settings(max_examples=60, deadline=None)
def test_every_plan_is_whole(problem, seed):
    plan = plan_rounds(problem, replace(BRIEF, seed=seed)).plan

    assert wrong(problem, plan) == []
    assert set(plan.broken) <= {"missing"}


@given(problem=problems, seed=st.integers(0, 9))
@settings(max_examples=40, deadline=None)
def test_orders_put_together_by_hand_are_judged_as_the_checker_judges_them(problem, seed):
    """The judge calls a plan whole exactly where the checker finds nothing: on orders that nobody optimised."""
    names = [visit.id for visit in problem.visits]
    orders = {}
    for number, name in enumerate(names):
        key = problem.shifts[(number * 7 + seed) % len(problem.shifts)].key
        orders[key] = (*orders.get(key, ()), name)
    plan, faults = judge(problem, orders)
    driven = [fault for fault in faults if fault.technician and (fault.technician, fault.day) in plan.orders]

    assert bool(wrong(problem, plan)) == bool(driven)
    assert wrong(problem, judge(problem, mended(problem, orders))[0]) == []


@given(problem=problems, which=st.integers(0, 8), seed=st.integers(1, 9))
@settings(max_examples=25, deadline=None)
def test_a_lock_breaks_no_other(problem, which, seed):
    """What is held to a technician, day and start stays there when something else is locked as well."""
    first = plan_rounds(problem, replace(BRIEF, seed=seed)).plan
    held = list(first.where.items())[: 1 + which % 3]
    locks = {
        name: locked(problem.visit[name], technician=ride.technician, day=ride.day, start=stop.start)
        for name, (ride, stop) in held
    }
    asked = replace(problem, visits=tuple(locks.get(v.id, v) for v in problem.visits))
    plan = plan_rounds(asked, replace(BRIEF, seed=seed), start=first.orders).plan

    assert wrong(asked, plan) == []
    for name, (ride, stop) in held:
        now = plan.where.get(name)
        assert now is not None or problem.visit[name].skip_price is not None
        if now is not None:
            assert (now[0].technician, now[0].day, now[1].start) == (ride.technician, ride.day, stop.start)


def test_same_input_seed_and_iterations_make_the_same_plan():
    problem = drawn_problem(5, visits=12, technicians=2, days=3)

    plans = {repr(plan_rounds(problem, Budget(iterations=300, seed=4, threads=2)).plan) for _ in range(3)}

    assert len(plans) == 1


def test_a_plan_is_not_worse_than_the_one_it_began_with():
    problem = drawn_problem(8, visits=12, technicians=2, days=3)
    good = plan_rounds(problem, Budget(iterations=2000)).plan

    again = plan_rounds(problem, Budget(iterations=1, seed=9), start=good.orders).plan

    assert (again.broken.count("missing"), again.cost) <= (good.broken.count("missing"), good.cost)


PLANTED = [
    (lambda r: replace(r, stops=r.stops[:-1]), "missing"),
    (lambda r: replace(r, technician="t1" if r.technician == "t0" else "t0"), ""),
    (lambda r: replace(r, leave=r.leave + 3600), "begins before"),
    (lambda r: replace(r, back=r.back - 1), "home too soon"),
    (lambda r: replace(r, lunch=r.lunch + 4 * 3600), "lunch"),
    (lambda r: replace(r, stops=(*r.stops, r.stops[0])), "twice"),
    (lambda r: replace(r, stops=tuple(replace(s, start=s.start + 7 * 3600, end=s.end + 7 * 3600) for s in r.stops)), "windows"),
]  # fmt: skip


@pytest.mark.parametrize(("spoil", "said"), PLANTED)
def test_planted_faults_are_found(spoil, said):
    problem = drawn_problem(11, visits=10, technicians=2, days=2)
    plan = plan_rounds(problem, Budget(iterations=400)).plan
    ride = next(r for r in plan.rounds if r.lunch is not None)
    rounds = tuple(spoil(r) if r is ride else r for r in plan.rounds)

    found = " ".join(wrong(problem, replace(plan, rounds=rounds)))

    assert wrong(problem, plan) == []
    assert found
    assert said in found


def test_planted_changes_of_the_rules_are_found():
    """The same plan under harder rules: each rule is looked at by the checker."""
    problem = drawn_problem(11, visits=10, technicians=2, days=2)
    plan = plan_rounds(problem, Budget(iterations=400)).plan
    ride = max(plan.rounds, key=lambda r: len(r.visits))
    name = ride.visits[-1]

    def found(**more):
        return " ".join(
            wrong(replace(problem, visits=tuple(replace(v, **more) if v.id == name else v for v in problem.visits)), plan)
        )  # fmt: skip

    assert "needs a skill" in found(skills=frozenset({"diving"}))
    assert "held to" in found(technicians=frozenset({"nobody"}))
    assert "too much to carry" in found(loads=(1000, 0))
    assert "too short" in found(seconds=1)
    dirty = tuple(replace(v, level=2, disinfects=False) if v.id == ride.visits[0] else replace(v, level=0) for v in problem.visits)  # fmt: skip
    assert "after isolation" in " ".join(wrong(replace(problem, visits=dirty), plan))
    short = tuple(replace(s, paid=60, overtime=0) for s in problem.shifts)
    assert "overtime" in " ".join(wrong(replace(problem, shifts=short), plan))
    two = (Pair(ride.visits[0], ride.visits[1]),)
    assert "not done by two" in " ".join(wrong(replace(problem, pairs=two), plan))
    tied = (Tie((ride.visits[0],), ((5,),)),)
    assert "are on" in " ".join(wrong(replace(problem, ties=tied), plan))
