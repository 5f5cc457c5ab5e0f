"""Windows, lunch, visits that may be left out and refills in the search on arrays, run interpreted."""

import random
from dataclasses import replace

import pytest

from servicedesk.core.rounds.compiled import arrays as columns
from servicedesk.core.rounds.compiled import clocked, lane, reading, rounds, turns
from servicedesk.core.rounds.compiled.arrays import arrays_of, best_orders, load_orders
from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.plan import REFILL
from servicedesk.core.rounds.planner import plan_rounds
from servicedesk.core.rounds.problem import Lunch, Problem, Refill, Shift, Travel, Visit, Window
from servicedesk.core.rounds.rules import judge
from tests.core.rounds import checker
from tests.core.rounds.on_arrays import begun, engine, plain, searched, sites, windowed
from tests.core.rounds.problems import LUNCH, H, M, line


@pytest.mark.slow  # some hundred turns without compilation
@pytest.mark.parametrize(("seed", "lunch"), [(1, False), (2, False), (3, True), (5, True)])
def test_a_plan_with_windows_holds_and_costs_what_it_says(seed, lunch, every_move):
    problem = windowed(sites(seed=seed), seed, lunch)
    found, w = begun(problem, seed)
    w.knob[columns.HEAT], w.knob[columns.BLINK], w.knob[columns.NOISE] = 300.0, 0.05, 0.1
    w.count[columns.PATIENCE] = 60
    turns.take(w, 150)

    plan, faults = judge(problem, best_orders(found, w))

    assert w.count[columns.TIMED] == 1
    assert faults == [] and checker.wrong(problem, plan) == []
    assert plan.cost == pytest.approx(w.knob[columns.BEST_COST])
    assert sum(every_move.values()) > 50


@pytest.mark.slow  # some hundred turns without compilation
def test_all_kinds_of_moves_are_made_by_the_clock_too(every_move):
    problem = plain(many=9, room=13)
    hours = [(0, 23 * H), (0, 23 * H), (8 * H, 9 * H + 30 * M)]
    visits = [
        replace(v, windows=tuple(Window(w.day, *hours[int(v.id[0]) % 3]) for w in v.windows))
        for v in problem.visits
    ]
    shifts = [replace(shift, earliest=8 * H - 10 * M) for shift in problem.shifts]
    problem = replace(problem, visits=tuple(visits), shifts=tuple(shifts))
    found = arrays_of(problem)
    for seed in (5, 6, 7):
        w = found.state(seed)
        load_orders(found, w, {})
        turns.begin(w)
        w.knob[columns.HEAT] = 20.0
        turns.take(w, 60)
        assert w.count[columns.TIMED] and w.count[columns.EQUAL]
        assert judge(problem, best_orders(found, w))[1] == []

    assert set(every_move) == {columns.EXCHANGE, columns.TAILS, columns.HEADS, columns.TURNED}


def hourly(many, seed):
    """One technician, one day, windows all over it; with lunch where the seed is odd."""
    d = random.Random(seed)
    xy = [(d.uniform(0, 20), d.uniform(0, 20)) for _ in range(many + 1)]
    square = [[int(60 * ((p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2) ** 0.5) for q in xy] for p in xy]
    visits = []
    for n in range(many):
        opens = d.randrange(8, 15) * H
        visits.append(Visit(f"v{n}", n + 1, d.choice([15, 30]) * M, (Window(0, opens, opens + 2 * H),)))
    return Problem(
        Travel(square),
        tuple(visits),
        (Shift("a", 0, 0, 0, 7 * H, 18 * H, lunch=LUNCH if seed % 2 else None),),
    )


@pytest.mark.parametrize("seed", range(12))
def test_the_clock_of_a_round_is_that_of_the_product_wherever_it_is_cut(seed):
    """Each way to cut a round gives the same time and lateness, and where nobody is late the product's own clock finds the same; with
    lunch it may take longer, since it looks no further where nothing is paid for that."""
    problem = hourly(6, seed)
    found = arrays_of(problem)
    w, d = found.state(1), random.Random(seed)
    order = [f"v{n}" for n in range(6)]
    d.shuffle(order)
    order.sort(key=lambda name: problem.visit[name].windows[0].earliest // (2 * H))
    w.cells[0, 0, columns.NODE], w.cells[0, 7, columns.NODE] = 6, 6
    w.cells[0, 1:7, columns.NODE] = [int(name[1:]) for name in order]
    w.shift[0, columns.LEN] = 6
    rounds.changed(w, 0)
    whole = (w.clock[0, 7, 0], w.clock[0, 7, 1])

    for p in range(1, 7):
        last = w.cells[0, p - 1, columns.NODE]
        assert clocked.on_to(w, 0, clocked.up_to(w, 0, p - 1), last, 0, p) == whole
        assert clocked.with_chain(w, 0, p, 0, 0, p, 0, 0) == whole
        assert clocked.with_chain(w, 0, p, 1, 0, p, 1, 1) == whole
    plan, faults = judge(problem, {("a", 0): tuple(order)})
    assert (whole[1] == 0) == (faults == [])
    if not faults:
        assert plan.rounds[0].away >= whole[0]
        assert seed % 2 or plan.rounds[0].away == whole[0]


def test_of_several_windows_one_is_chosen_and_a_plan_that_is_there_keeps_those_it_has():
    """Two windows a day, the cheap one where somebody else must be visited too."""
    two = (Window(0, 8 * H, 8 * H, 0), Window(0, 13 * H, 14 * H, 40))
    problem = Problem(
        line(0, 10, 20),
        (Visit("a", 1, H, two), Visit("b", 2, H, (Window(0, 8 * H, 8 * H + 30 * M),))),
        (Shift("x", 0, 0, 0, 7 * H, 17 * H),),
    )
    found, w = begun(problem, 1)
    turns.take(w, 20)
    orders = best_orders(found, w)
    plan, faults = judge(problem, orders)

    assert faults == [] and plan.where["a"][1].start >= 13 * H
    assert w.knob[columns.BEST_COST] == plan.cost
    assert found.hours[0, 0, :, reading.DEARER].tolist() == [0, 40]
    again = found.state(1)
    load_orders(found, again, orders)
    assert again.where[:, 0, columns.WINDOW].tolist() == [1, 0]
    turns.begin(again)
    assert again.knob[columns.BEST_COST] == plan.cost


def test_work_on_either_side_of_lunch_and_work_that_begins_inside_it_are_known():
    """Two hours fit before lunch is over, or after it; who must begin at 11:45 eats before."""
    shift = Shift("x", 0, 0, 0, 8 * H, 18 * H, lunch=Lunch(30 * M, 11 * H + 30 * M, 13 * H + 30 * M))
    at = 11 * H + 45 * M
    visits = (
        Visit("long", 1, 2 * H + 30 * M, (Window(0, 8 * H, 15 * H),)),
        Visit("fixed", 1, 20 * M, (Window(0, at, at),)),
    )
    problem = Problem(line(0, 5), visits, (shift,))
    found, w = begun(problem, 1)
    turns.take(w, 20)
    plan, faults = judge(problem, best_orders(found, w))

    assert found.hours[0, 0, :, reading.ABLE].tolist() == [1, 1]
    assert found.hours[0, 1, 0, reading.MORE] == 15 * M + 1
    assert faults == [] and checker.wrong(problem, plan) == []
    assert plan.cost == w.knob[columns.BEST_COST]


def test_work_that_fits_on_no_side_of_lunch_is_nobodys_with_that_lunch():
    """Two and a half hours to begin between 11:40 and 11:50: not for who eats for half an hour from 11:30 to 13:30."""
    eats = Shift("x", 0, 0, 0, 8 * H, 18 * H, lunch=Lunch(30 * M, 11 * H + 30 * M, 13 * H + 30 * M))
    visit = Visit("long", 1, 2 * H + 30 * M, (Window(0, 11 * H + 40 * M, 11 * H + 50 * M),))
    alone = Problem(line(0, 5), (visit,), (eats,))
    both = replace(alone, shifts=(eats, replace(eats, technician="y", lunch=None)))

    assert arrays_of(alone) is None
    assert (arrays_of(both).extra[0] < reading.HUGE).tolist() == [False, True]


def test_a_visit_that_costs_more_than_leaving_it_out_is_left_out():
    far = Visit("far", 2, M, (Window(0, 0, 20 * H),), skip_price=500)
    problem = Problem(
        line(0, 5, 900),
        (Visit("near", 1, M, (Window(0, 0, 20 * H),), skip_price=9000), far),
        (Shift("x", 0, 0, 0, H, 23 * H),),
    )

    keeper = searched(problem, Budget(iterations=30), engine())[1]
    plan, faults = judge(problem, keeper.best.orders())

    assert faults == [] and plan.missing == ("far",)
    assert (keeper.best.cost, keeper.best.missing) == (plan.cost, 0)


def nowhere(problem):
    """The problem with a visit on a day on which nobody works."""
    lost = replace(problem.visits[0], id="lost", windows=(Window(99, 0, 20 * H),))
    return replace(problem, visits=(*problem.visits, lost))


def test_a_visit_that_has_no_day_at_all_does_not_keep_the_others_from_being_planned():
    problem = nowhere(plain(many=3))
    assert arrays_of(problem) is None

    keeper = searched(problem, Budget(iterations=100), engine())[1]

    plan, faults = judge(problem, keeper.best.orders())
    assert [fault.code for fault in faults] == ["missing"] and plan.missing == ("lost",)
    assert keeper.best.missing == 1


def refilled(seed, most=1):
    """Sites on vans that carry little and may be filled again where the first technician lives."""
    problem = sites(seed=seed)
    refill = Refill(problem.shifts[0].end, 10 * M, most)
    shifts = tuple(
        replace(s, van=(90, 9), refill=refill if n % 3 else None) for n, s in enumerate(problem.shifts)
    )
    return replace(windowed(problem, seed) if seed % 2 else problem, shifts=shifts)


@pytest.mark.slow  # some hundred turns without compilation
@pytest.mark.parametrize(("seed", "most"), [(1, 1), (2, 2), (7, 2), (8, 1)])
def test_a_van_is_filled_again_where_one_load_does_not_do(seed, most, every_move):
    problem = refilled(seed, most)
    found, w = begun(problem, seed, leave=9000)
    w.knob[columns.HEAT], w.knob[columns.BLINK], w.knob[columns.NOISE] = 300.0, 0.05, 0.1
    w.count[columns.PATIENCE] = 60
    turns.take(w, 200)
    orders = best_orders(found, w)
    plan, faults = judge(problem, orders)

    assert {fault.code for fault in faults} <= {"missing"}
    assert checker.wrong(problem, plan) == []
    must = [name for name in plan.missing if problem.visit[name].skip_price is None]
    assert plan.cost + 9000 * len(must) == pytest.approx(w.knob[columns.BEST_COST])
    again = found.state(seed)
    load_orders(found, again, orders)
    turns.begin(again)
    assert again.knob[columns.BEST_COST] <= w.knob[columns.BEST_COST]


def hauling(loads, room, most, **more):
    """A van on one day along a line, the store in its middle."""
    visits = tuple(
        Visit(f"v{n}", n + 1, M, (Window(0, 0, 20 * H),), loads=(load,), skip_price=9000)
        for n, load in enumerate(loads)
    )
    ways = line(0, *(5 * (n + 1) for n in range(len(loads))), 12)
    shift = Shift("x", 0, 0, 0, H, 22 * H, van=(room,), refill=Refill(len(loads) + 1, M, most), **more)
    return Problem(ways, visits, (shift,))


@pytest.mark.slow  # more than a thousand turns without compilation
@pytest.mark.parametrize(
    ("loads", "room", "most", "times", "turns"),
    [
        ((10, 10, 10), 30, 2, 0, 300),
        ((10, 10, 10, 10), 20, 1, 1, 300),
        ((20, 20, 20), 20, 2, 2, 300),
        ((30, 30, 30), 30, 1, 1, 1500),
    ],
)
def test_as_often_as_it_has_to_be_and_may(loads, room, most, times, turns):
    problem = hauling(loads, room, most)
    keeper = searched(problem, Budget(iterations=turns), engine())[1]
    plan, faults = judge(problem, keeper.best.orders())

    assert faults == [] and checker.wrong(problem, plan) == []
    assert sum(stop.visit == REFILL for round_ in plan.rounds for stop in round_.stops) == times
    assert len(plan.missing) == (1 if len(loads) > times + 1 and room == loads[0] else 0)
    assert keeper.best.cost == plan.cost


def test_where_vans_are_filled_at_several_stores_the_other_search_plans():
    one = hauling((10, 10), 10, 1)
    two = replace(one, shifts=(*one.shifts, replace(one.shifts[0], day=1, refill=Refill(0, M))))

    assert lane.known(one) is not None and lane.known(two) is None


def test_nobody_goes_to_the_store_from_isolation_and_no_store_is_left_where_one_load_does():
    problem = hauling((10, 10), 10, 1)
    sick = replace(problem, visits=tuple(replace(v, level=2) for v in problem.visits))
    found = arrays_of(sick)
    assert found.state(1).m[0, -1, 0] == reading.FORBIDDEN

    light = hauling((1, 1), 10, 1)
    begun = arrays_of(light)
    w = begun.state(1)
    load_orders(begun, w, {("x", 0): ("v0", REFILL, "v1")})
    assert w.shift[0, columns.LEN] == 3
    turns.begin(w)
    assert best_orders(begun, w) == {("x", 0): ("v0", "v1")}


def test_until_it_is_compiled_a_large_week_is_searched_in_parts(monkeypatch):
    monkeypatch.setattr("servicedesk.core.rounds.planner.WHOLE", 5)
    problem = windowed(sites(seed=1), 1)
    single = replace(problem, ties=(), visits=tuple(v for v in problem.visits if v.id.endswith("/0")))

    one, keeper = searched(single, Budget(seconds=0.4), engine(failed=True))

    assert judge(single, keeper.best.orders())[1] == [] and one.last == {}


def test_a_long_search_of_a_week_goes_to_the_arrays_and_a_short_one_does_without(monkeypatch):
    problem = windowed(sites(seed=1), 1)
    single = replace(problem, ties=(), visits=tuple(v for v in problem.visits if v.id.endswith("/0")))
    asked = []
    monkeypatch.setattr("servicedesk.core.rounds.planner.LONG_S", 0.3)
    monkeypatch.setattr(lane.Lane, "run", lambda self, start: asked.append(self.problem))

    plan_rounds(single, Budget(seconds=0.2))
    assert not asked
    plan_rounds(single, Budget(seconds=0.4))
    assert len(asked) == 1
