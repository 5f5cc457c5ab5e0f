"""The ways of searching: whole, in parts, with patterns, for two, from an old plan, until it is told to stop."""

import time
from dataclasses import replace
from pathlib import Path

import pytest

from servicedesk.core.rounds import formats, patterns, planner, scores, sectors, weeks
from servicedesk.core.rounds.engine import Until
from servicedesk.core.rounds.insertion import mended
from servicedesk.core.rounds.keeping import Budget, Keeper, Progress
from servicedesk.core.rounds.model import build, orders_of, solution_of
from servicedesk.core.rounds.plain import plain_default
from servicedesk.core.rounds.planner import plan_rounds
from servicedesk.core.rounds.problem import NotPlanned, Pair, Problem, Refill, Tie, locked
from servicedesk.core.rounds.rules import judge
from tests.core.rounds import checker
from tests.core.rounds.problems import H, M, drawn_problem, line, shift, visit

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "routing" / "published"


def instance(name):
    text = (PUBLISHED / f"{name}.txt").read_text()
    return text, (formats.read_periodic if name.startswith("p") else formats.read_solomon)(name, text)


def worth(plan):
    return plan.broken.count("missing"), plan.cost


def days_of(made, plan):
    rows = formats.days_of(made.problem, plan.orders, made.days)
    return [[[int(name.split("/")[0]) for name in order] for order in day] for day in rows]


@pytest.mark.parametrize(("name", "iterations", "within"), [("C201", 300, 3.0), ("RC101", 300, 6.0)])
def test_published_days_are_solved_whole(name, iterations, within):
    text, made = instance(name)
    known = scores.best_known((PUBLISHED / "bks.csv").read_text())[name]

    plan = plan_rounds(made.problem, Budget(iterations=iterations)).plan
    cost = checker.solomon_cost(text, days_of(made, plan))

    assert cost == pytest.approx(scores.score(made, text, plan.orders))
    assert -1e-9 <= scores.gap(cost, known) < within


@pytest.mark.parametrize(("name", "iterations", "within"), [("p03", 3000, 15.0), ("pr01", 120, 5.0)])
def test_published_weeks_are_solved_whole(name, iterations, within):
    text, made = instance(name)
    known = scores.best_known((PUBLISHED / "bks.csv").read_text())[name]

    plan = plan_rounds(made.problem, Budget(iterations=iterations)).plan
    cost = checker.periodic_cost(text, days_of(made, plan))

    assert cost == pytest.approx(scores.score(made, text, plan.orders))
    assert -1e-6 <= scores.gap(cost, known) < within
    assert checker.wrong(made.problem, plan) == []


def test_an_incomplete_solution_has_no_score():
    text, made = instance("RC101")

    assert scores.score(made, text, {}) is None
    assert scores.gap(None, 3.0) is None
    assert checker.solomon_cost(text, [[]]) == "not everybody once"
    assert checker.solomon_cost(text, [[list(range(1, 101))]]) != 0


def test_a_visit_moves_to_the_day_on_which_it_lies_near():
    """Two visits near one another that share one day: with the defaults of the library under it they would stay apart."""
    travel = line(0, 60, 61, -60, -61, minutes_a_km=1)
    visits = tuple(visit(name, n + 1, days=(0, 1)) for n, name in enumerate("abcd"))
    problem = Problem(travel, visits, (shift(day=0), shift(day=1)))

    plan = plan_rounds(problem, Budget(iterations=200)).plan

    assert plan.driving == 2 * 2 * 61 * M
    assert checker.wrong(problem, plan) == []


def test_a_week_with_too_much_work_leaves_out_what_it_must_and_no_more():
    visits = tuple(visit(f"v{n}", 1 + n % 3, 120) for n in range(6))
    problem = Problem(line(0, 1, 2, 3), visits, (shift(paid=8 * H + 30 * M),))

    outcome = plan_rounds(problem, Budget(iterations=600))

    assert len(outcome.plan.missing) == 2
    assert outcome.plan.broken == ("missing", "missing")
    assert checker.wrong(problem, outcome.plan) == []


def test_what_costs_more_than_it_is_worth_is_left_out():
    far = visit("far", 3, skip_price=10 * M)
    problem = Problem(line(0, 1, 2, 90), (visit("near", 1), far), (shift(),))

    plan = plan_rounds(problem, Budget(iterations=100)).plan

    assert plan.missing == ("far",)
    assert plan.broken == ()
    assert plan.cost == 4 * M + 10 * M


def test_a_van_that_is_too_small_fills_up_on_the_way():
    visits = tuple(visit(f"v{n}", n + 1, loads=(30,)) for n in range(3))
    work = shift(van=(60,), refill=Refill(0, 20 * M))

    plan = plan_rounds(Problem(line(0, 5, 6, 7), visits, (work,)), Budget(iterations=200)).plan

    assert plan.missing == ()
    assert sum(stop.visit == "+refill" for stop in plan.rounds[0].stops) == 1
    again = plan_rounds(
        Problem(line(0, 5, 6, 7), visits, (work,)), Budget(iterations=1), start=plan.orders
    ).plan
    assert again.orders == plan.orders


def test_work_for_two_is_done_by_two_at_the_same_moment():
    travel = line(0, 10, 20, 30)
    visits = (visit("a", 1), visit("a2", 1), visit("b", 2), visit("c", 3))
    problem = Problem(travel, visits, (shift("ada"), shift("bo")), pairs=(Pair("a", "a2"),))

    plan = plan_rounds(problem, Budget(iterations=300)).plan

    assert plan.missing == ()
    assert checker.wrong(problem, plan) == []
    assert len({plan.where["a"][0].technician, plan.where["a2"][0].technician}) == 2


def test_work_for_two_is_left_out_where_only_one_can_come():
    held = visit("a2", 1, technicians=frozenset({"ada"}))
    problem = Problem(
        line(0, 10), (visit("a", 1, technicians=frozenset({"ada"})), held, visit("b", 1)), (shift("ada"), shift("bo")),
        pairs=(Pair("a", "a2"),),
    )  # fmt: skip

    plan = plan_rounds(problem, Budget(iterations=200, seconds=30)).plan

    assert set(plan.missing) == {"a", "a2"}
    assert checker.wrong(problem, plan) == []
    nobody = replace(problem, visits=(replace(problem.visits[0], windows=()), *problem.visits[1:]))
    assert set(plan_rounds(nobody, Budget(iterations=100)).plan.missing) == {"a", "a2"}


def test_no_visits_make_an_empty_plan_and_one_visit_a_plan_of_one():
    empty = plan_rounds(Problem(line(0), (), (shift(),)), Budget(iterations=10)).plan
    nobody = plan_rounds(Problem(line(0, 1), (visit("a", 1),), ()), Budget(iterations=10)).plan
    one = plan_rounds(Problem(line(0, 1), (visit("a", 1),), (shift(),)), Budget(iterations=10)).plan

    assert (empty.rounds, empty.missing) == ((), ())
    assert nobody.missing == ("a",)
    assert one.orders == {("ada", 0): ("a",)}


def test_planning_needs_an_end():
    with pytest.raises(NotPlanned, match="needs an end"):
        plan_rounds(Problem(line(0), (), (shift(),)), Budget())


@pytest.mark.parametrize("kind", ["whole", "parts", "patterns"])
def test_cancelling_ends_at_once_with_the_best_so_far(kind, monkeypatch):
    problem = drawn_problem(3, visits=14, technicians=3, days=2)
    monkeypatch.setattr(planner, "WHOLE", 5 if kind == "parts" else 100)
    if kind == "patterns":
        problem = tied_problem()
    seen = []

    outcome = plan_rounds(
        problem, Budget(seconds=10, threads=2), progress=seen.append, cancelled=lambda: bool(seen)
    )

    assert outcome.cancelled
    assert outcome.plan.broken.count("missing") <= min(step.missing for step in seen)
    assert checker.wrong(problem, outcome.plan) == []


def test_an_error_in_one_of_several_searches_is_not_swallowed():
    def spoilt(_progress):
        raise RuntimeError("told in vain")

    with pytest.raises(RuntimeError, match="told in vain"):
        plan_rounds(drawn_problem(3), Budget(iterations=50, threads=2), progress=spoilt)


@pytest.mark.parametrize("homes", ["one", "many"])
def test_large_problems_are_planned_in_parts(homes, monkeypatch):
    """From one depot and from many homes; every part small, so that there are several."""
    monkeypatch.setattr(planner, "WHOLE", 20)
    monkeypatch.setattr(sectors, "PART", 15)
    made = instance("RC101")[1].problem if homes == "one" else weeks.week(60, 2)

    outcome = plan_rounds(made, Budget(iterations=3500, threads=2))
    again = plan_rounds(made, Budget(iterations=3500, threads=2))
    warm = plan_rounds(made, Budget(iterations=300), start=outcome.plan.orders)

    assert checker.wrong(made, outcome.plan) == []
    assert outcome.plan == again.plan
    assert worth(warm.plan) <= worth(outcome.plan)


def test_parts_are_near_together_and_of_like_size():
    travel = line(0, 1, 2, 50, 51, 52, 100, 101)

    cut = sectors.halves(travel.arrays[1], list(range(8)), 3)

    assert sorted(map(sorted, cut)) in ([[0, 1, 2], [3, 4, 5], [6, 7]], [[0, 1], [2, 3, 4], [5, 6, 7]], [[0, 1, 2], [3, 4], [5, 6, 7]])  # fmt: skip


def tied_problem(visits=12, days=4):
    made = drawn_problem(21, visits=visits, technicians=2, days=days)
    everywhere = [
        replace(v, windows=tuple(replace(v.windows[0], day=d, price=0) for d in range(days)), skills=frozenset(), technicians=None)
        for v in made.visits
    ]  # fmt: skip
    ties = tuple(
        Tie((f"v{n}", f"v{n + 1}"), ((0, 2), (1, 3), (0, 3)), (0, 100, 50)) for n in range(0, visits - 4, 2)
    )
    return replace(made, visits=tuple(everywhere), ties=ties)


@pytest.mark.parametrize("near", [130, 11, 4])
def test_days_that_hang_together_are_kept_in_small_and_in_large(near, monkeypatch):
    monkeypatch.setattr(patterns, "NEAR", near)
    monkeypatch.setattr(patterns, "WHOLE", near)
    monkeypatch.setattr(patterns, "LOOSE", 600 if near > 4 else 6)
    problem = tied_problem()

    outcome = plan_rounds(problem, Budget(iterations=3500, threads=2))
    again = plan_rounds(problem, Budget(iterations=3500, threads=2))
    warm = plan_rounds(problem, Budget(iterations=3300), start=outcome.plan.orders)

    assert checker.wrong(problem, outcome.plan) == []
    assert outcome.plan == again.plan
    assert worth(warm.plan) <= worth(outcome.plan)


@pytest.mark.parametrize("seed", [50_000, 2**40, -1])
def test_any_whole_number_is_a_seed(seed):
    for problem in (tied_problem(), drawn_problem(5, visits=8, technicians=2, days=2)):
        plans = [plan_rounds(problem, Budget(iterations=300, seed=seed)).plan for _n in range(2)]

        assert checker.wrong(problem, plans[0]) == []
        assert plans[0] == plans[1]


def test_a_single_pattern_is_no_choice():
    problem = tied_problem()
    one = replace(problem, ties=tuple(Tie(tie.visits, tie.patterns[:1]) for tie in problem.ties))

    plan = plan_rounds(one, Budget(iterations=300)).plan

    assert checker.wrong(one, plan) == []


def test_tied_visits_without_room_are_left_out_together_or_alone_but_never_on_wrong_days():
    problem = replace(tied_problem(), shifts=tuple(s for s in tied_problem().shifts if s.day != 2))

    plan = plan_rounds(problem, Budget(iterations=4000)).plan

    assert checker.wrong(problem, plan) == []


def test_a_broken_old_plan_is_mended():
    problem = drawn_problem(9, visits=9, technicians=2, days=2)
    key = problem.shifts[0].key
    orders = {key: (*(v.id for v in problem.visits), "ghost", problem.visits[0].id)}

    plan = judge(problem, mended(problem, orders))[0]

    assert checker.wrong(problem, plan) == []
    assert plan.orders


def test_the_keeper_takes_only_what_is_better():
    told = []
    keeper = Keeper(drawn_problem(1), told.append, began=time.perf_counter())

    assert [keeper.offer(*offer, dict) for offer in ((9, 1), (20, 0), (30, 0), (10, 1), (12, 0))] == [
        True,
        True,
        False,
        False,
        True,
    ]
    assert [(step.cost, step.missing) for step in told] == [(9, 1), (20, 0), (12, 0)]
    assert keeper.first_s == told[1].seconds


def test_the_plain_default_runs_on_the_same_model():
    found = []
    plain_default(instance("RC101")[1].problem, 60, 1, found.append, iterations=50)

    text, made = instance("RC101")
    assert scores.score(made, text, found[-1]) is not None
    crowded = Problem(line(0, 1), tuple(visit(f"v{n}", 1, 300) for n in range(4)), (shift(paid=H),))
    none = []
    plain_default(crowded, 60, 1, none.append, iterations=50)
    assert none == []


def test_lanes_go_on_from_the_best_of_all_while_the_clock_rules():
    """By the clock a lane takes over what another found; by iterations it never does, so that nothing hangs on who was first."""
    problem = tied_problem()
    whole = plan_rounds(problem, Budget(iterations=4000)).plan
    keeper = Keeper(problem)
    own = patterns.Choice({}, {}, whole.cost * 1.01, len(whole.missing), frozenset())

    def lane(**budget):
        return patterns.Patterns(problem, keeper, Budget(**budget), Until(0), 1)

    assert lane(seconds=1)._shared(own) is own
    keeper.offer(whole.cost, len(whole.missing), lambda: whole.orders)
    assert lane(seconds=1)._shared(own).orders == whole.orders
    assert lane(seconds=1)._shared(own, 0.9) is own
    assert lane(iterations=1)._shared(own) is own
    assert lane(iterations=1)._warm() == 1
    assert (
        0
        <= patterns.Patterns(problem, keeper, Budget(seconds=1), Until(moment=time.perf_counter()), 1)._warm()
        < 1
    )


def test_a_lane_takes_over_at_once_and_after_vain_tries(monkeypatch):
    monkeypatch.setattr(patterns, "VAIN", 2)
    problem = tied_problem()
    keeper, until = Keeper(problem), Until(3400)
    lane = patterns.Patterns(problem, keeper, Budget(seconds=1), until, 0)
    lane.budget = Budget(seconds=1)
    whole = plan_rounds(problem, Budget(iterations=4000)).plan
    keeper.offer(whole.cost - 1, 0, lambda: whole.orders)

    lane.run(None)

    assert lane.last != {}
    assert keeper.best.cost == whole.cost - 1


def test_seconds_end_a_search():
    outcome = plan_rounds(drawn_problem(2), Budget(seconds=0.01))

    assert not outcome.cancelled
    assert plan_rounds(drawn_problem(2), Budget(seconds=0.01)).plan.broken in (
        (),
        ("missing",) * len(outcome.plan.missing),
    )


def test_visits_that_nobody_can_do_are_missing_whatever_is_searched(monkeypatch):
    closed = (visit("a", 1, windows=()), visit("b", 1, skills=frozenset({"diving"})))
    problem = Problem(line(0, 1), closed, (shift(),))
    tied = tied_problem()
    held = tuple(
        replace(v, technicians=frozenset({"t0"})) if v.id in ("v0", "v11") else v for v in tied.visits
    )
    held = tuple(replace(v, windows=()) if v.id == "v10" else v for v in held)
    held = tuple(replace(v, technicians=frozenset({"nobody"})) if v.id in ("v2", "v9") else v for v in held)
    tied = replace(tied, visits=held)

    assert plan_rounds(problem, Budget(iterations=20)).plan.missing == ("a", "b")
    plan = plan_rounds(tied, Budget(iterations=3200)).plan
    assert {"v2", "v9", "v10"} <= set(plan.missing)
    assert checker.wrong(tied, plan) == []


def test_a_part_that_cannot_hold_everything_gives_back_what_holds():
    visits = tuple(visit(f"v{n}", 1, 120) for n in range(6))
    part = Problem(line(0, 1), visits, (shift(),))

    missing, cost, orders = sectors.solve_part(part, None, 1, sectors.Until(30), skippable=False)

    assert missing == 6 - len(orders["ada", 0])
    assert cost == 4 * M


def test_more_threads_than_technicians_are_no_harm(monkeypatch):
    monkeypatch.setattr(planner, "WHOLE", 3)
    problem = drawn_problem(13, visits=6, technicians=1, days=2)

    assert checker.wrong(problem, plan_rounds(problem, Budget(iterations=400, threads=3)).plan) == []


def test_faults_between_rounds_are_named():
    visits = tuple(visit(name, 1, days=(0, 1)) for name in "abcd")
    problem = Problem(
        line(0, 1), visits, tuple(shift(who, day) for who in ("ada", "bo") for day in (0, 1)),
        ties=(Tie(("a", "b"), ((0, 1),)),), pairs=(Pair("c", "d"),),
    )  # fmt: skip
    orders = {("ada", 1): ("a",), ("bo", 0): ("b", "c"), ("bo", 1): ("b",)}

    plan, faults = judge(problem, orders)

    assert {fault.code for fault in faults} == {"twice", "pattern", "pair", "missing"}
    found = " ".join(checker.wrong(problem, plan))
    assert "twice" in found
    assert "alone" in found


def test_an_old_plan_is_taken_over_as_far_as_the_model_knows_it():
    visits = (visit("a", 1), visit("b", 1, windows=()))
    model = build(Problem(line(0, 1), visits, (shift(),)))

    begun = solution_of(model, {("ada", 0): ("+refill", "ghost", "b", "a")})
    empty = solution_of(model, {("ada", 0): ("b",)})

    assert orders_of(model, begun) == {("ada", 0): ("a",)}
    assert orders_of(model, empty) == {}


def test_values_of_other_conventions_are_not_compared():
    table = "set,instance,convention,bks\na,x,dimacs,1\na,x,hierarchical,2\n"

    assert scores.best_known(table) == {"x": 1.0}


def test_a_plan_that_the_judge_does_not_pass_is_never_given_back_as_whole():
    problem = Problem(line(0, 1), (visit("a", 1, 300), visit("b", 1, 300)), (shift(),))
    keeper = Keeper(problem)
    keeper.offer(1, 0, lambda: {("ada", 0): ("a", "b")})

    plan = planner._whole(problem, keeper, {})

    assert plan.broken == ("missing",)
    assert checker.wrong(problem, plan) == []


def test_what_a_person_locked_is_left_out_last():
    """Three long visits for a day that holds two; the locked one is the dearest to reach and stays."""
    visits = (
        visit("near", 1, 200),
        visit("near too", 1, 200),
        locked(visit("far", 2, 200), technician="ada"),
    )
    problem = Problem(line(0, 1, 20), visits, (shift(),))

    searched = plan_rounds(problem, Budget(iterations=600)).plan
    repaired = judge(problem, mended(problem, {("ada", 0): ("near", "near too", "far")}))[0]

    for plan in (searched, repaired):
        assert "far" in plan.where
        assert len(plan.missing) == 1


def test_of_plans_as_good_as_one_another_the_same_is_kept_whoever_comes_first():
    problem = Problem(line(0, 5), (), ())
    one, other = {("a", 0): ("x", "y")}, {("a", 0): ("y", "x")}
    found = []
    for first, second in ((one, other), (other, one)):
        told: list[Progress] = []
        keeper = Keeper(problem, told.append)
        keeper.offer(7, 0, lambda first=first: first)
        assert keeper.offer(7, 0, lambda second=second: second) is False
        assert len(told) == 1
        found.append(keeper.best.orders())

    assert found == [one, one]

    keeper = Keeper(problem)
    keeper.offer(7, 0, lambda: other)
    keeper.firm = keeper.best
    keeper.offer(7, 0, lambda: one)
    assert keeper.best.orders() == other
    keeper.offer(6, 0, lambda: one)
    assert keeper.best.orders() == one


def test_a_short_search_that_finds_no_room_for_all_leaves_one_out():
    visits = tuple(visit(f"v{n}", n + 1, minutes=200) for n in range(3))
    problem = Problem(line(0, 5, 10, 15), visits, (shift(),))

    found = plan_rounds(problem, Budget(seconds=0.4))

    assert len(found.plan.missing) == 1 and checker.wrong(problem, found.plan) == []
