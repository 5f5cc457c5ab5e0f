"""The search of tied visits on arrays. Here it runs interpreted; one test compares it with what is compiled."""

import json
import os
import subprocess
import sys
import threading
import types
from dataclasses import replace
from pathlib import Path

import pytest

from servicedesk.core.rounds.compiled import arrays as columns
from servicedesk.core.rounds.compiled import compiling, lane, reading, turns
from servicedesk.core.rounds.compiled.arrays import arrays_of, best_orders, load_orders
from servicedesk.core.rounds.engine import Until
from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.planner import plan_rounds
from servicedesk.core.rounds.problem import (
    NO_WAY_S,
    Problem,
    Refill,
    Shift,
    Travel,
    Visit,
    Window,
)
from servicedesk.core.rounds.rules import judge
from tests.core.rounds import checker
from tests.core.rounds.on_arrays import ALL_DAY, begun, engine, plain, searched, sites
from tests.core.rounds.problems import LUNCH, H, M, line

ROOT = Path(__file__).parents[3]
PR01 = ROOT / "fixtures" / "routing" / "published" / "pr01.txt"


@pytest.mark.slow  # some hundred turns without compilation
@pytest.mark.parametrize("seed", [1, 3, 4])
def test_a_plan_on_arrays_holds_and_costs_what_it_says(seed, every_move):
    problem = sites(seed=seed)
    found, w = begun(problem, seed)
    w.knob[columns.HEAT], w.knob[columns.BLINK], w.knob[columns.NOISE] = 300.0, 0.05, 0.1
    turns.take(w, 150)

    plan, faults = judge(problem, best_orders(found, w))

    assert faults == []
    assert checker.wrong(problem, plan) == []
    assert plan.cost == pytest.approx(w.knob[columns.BEST_COST])
    assert sum(every_move.values()) > 50


@pytest.mark.slow  # some hundred turns without compilation
def test_all_kinds_of_moves_are_made_and_vain_turns_end_at_the_best(every_move):
    problem = plain(many=9, room=13)
    found = arrays_of(problem)
    w = found.state(5)
    w.count[columns.PATIENCE] = 30
    load_orders(found, w, {})
    turns.begin(w)
    w.knob[columns.HEAT] = 20.0
    for _part in range(3):
        turns.take(w, 30)
        whole = w.knob[columns.PRICES] + w.worth[:, :2].sum()
        assert w.knob[columns.NOW] == pytest.approx(whole)

    assert set(every_move) == {columns.EXCHANGE, columns.TAILS, columns.HEADS, columns.TURNED}
    assert w.count[columns.LAST] > 0
    assert judge(problem, best_orders(found, w))[1] == []


def test_the_same_seed_gives_the_same_plan_and_an_old_plan_is_never_made_worse():
    problem = plain(many=6)
    first = plan_rounds(problem, Budget(iterations=30))
    again = plan_rounds(problem, Budget(iterations=30))
    both, twice = (plan_rounds(problem, Budget(iterations=30, threads=2)) for _time in range(2))
    half = {key: order[:2] for key, order in first.plan.orders.items()}
    warm = plan_rounds(problem, Budget(iterations=20), start=first.plan.orders)
    part = plan_rounds(problem, Budget(iterations=20), start=half)

    assert checker.wrong(problem, first.plan) == checker.wrong(problem, part.plan) == []
    assert first.plan == again.plan and both.plan == twice.plan
    assert max(warm.plan.cost, both.plan.cost) <= first.plan.cost


def test_a_penalty_follows_the_share_of_plans_that_hold():
    assert turns.pull(0.5, 2.0, 1.0, True) == 2.0
    assert turns.pull(0.1, 2.0, 1.0, True) == pytest.approx(2.2)
    assert turns.pull(0.9, 2.0, 1.0, True) == pytest.approx(1.8)
    assert turns.pull(0.1, 200.0, 1.0, False) == pytest.approx(260.0)


def lonely(problem, **more):
    """The problem with something else about its first visit."""
    return replace(problem, visits=(replace(problem.visits[0], **more), *problem.visits[1:]))


def shifted(problem, **more):
    return replace(problem, shifts=tuple(replace(shift, **more) for shift in problem.shifts))


def tied(problem, **more):
    return replace(problem, ties=(replace(problem.ties[0], **more), *problem.ties[1:]))


KNOWN = plain(many=4)


@pytest.mark.parametrize(
    "problem",
    [
        shifted(KNOWN, lunch=LUNCH, earliest=LUNCH.earliest + 60),
        replace(KNOWN, shifts=(replace(KNOWN.shifts[0], refill=Refill(0, 60)), *shifted(KNOWN, refill=Refill(1, 60)).shifts[1:])),
        lonely(KNOWN, skip_price=3),
        lonely(KNOWN, seconds=60),
        lonely(KNOWN, windows=(Window(0, 9 * H, 10 * H), Window(1, *ALL_DAY))),
        lonely(KNOWN, windows=(Window(0, *ALL_DAY, 7), Window(1, *ALL_DAY, 8), Window(2, *ALL_DAY))),
        replace(KNOWN, visits=tuple(replace(v, skills=frozenset({"diving"})) for v in KNOWN.visits)),
        tied(KNOWN, patterns=((0, 0), (0, 1))),
        tied(KNOWN, patterns=((1, 0), (0, 1))),
        tied(KNOWN, patterns=((0, 9),)),
        replace(KNOWN, travel=Travel(KNOWN.travel.seconds, [[0 if a == b else 200_000_000 for b in range(5)] for a in range(5)])),
    ],
)  # fmt: skip
def test_what_the_arrays_do_not_know_is_left_to_the_other_search(problem):
    assert arrays_of(KNOWN) is not None
    assert arrays_of(problem) is None


def test_lunch_is_planned_round_on_the_virtual_clock():
    """A technician alone, with days so full that nobody is back before lunch is over."""
    hungry = shifted(plain(many=6, vans=1), earliest=8 * H, latest=17 * H, lunch=LUNCH, paid=7 * H + 30 * M)
    hungry = replace(hungry, visits=tuple(replace(v, seconds=75 * M, loads=()) for v in hungry.visits))
    found, w = begun(hungry, 1)
    turns.take(w, 60)

    plan, faults = judge(hungry, best_orders(found, w))

    assert reading.limit(hungry.shifts[0]) == 7 * H + 30 * M
    assert reading.limit(replace(hungry.shifts[0], paid=None)) == 8 * H + 30 * M
    assert faults == [] and checker.wrong(hungry, plan) == []
    assert plan.cost == pytest.approx(w.knob[columns.BEST_COST])
    assert [LUNCH.earliest <= round_.lunch <= LUNCH.latest for round_ in plan.rounds] == [True] * 3


def test_a_window_binds_only_where_work_and_the_way_home_leave_room_to_be_late():
    shift = replace(KNOWN.shifts[0], earliest=8 * H, latest=17 * H, lunch=None, paid=None)
    hours = Window(0, 8 * H, 15 * H)
    assert reading.free(hours, shift, seconds=2 * H, home=0)
    assert reading.free(hours, shift, seconds=H, home=H)
    assert not reading.free(hours, shift, seconds=H, home=H - 1)
    assert not reading.free(replace(hours, earliest=8 * H + 1), shift, seconds=2 * H, home=0)
    with_lunch = replace(shift, lunch=LUNCH)
    assert reading.free(hours, with_lunch, seconds=90 * M, home=30 * M)
    assert not reading.free(hours, with_lunch, seconds=91 * M, home=2 * H)  # two windows


def test_while_it_compiles_or_where_it_cannot_the_other_search_goes_on():
    for made in (engine(ready=False), engine(failed=True)):
        keeper = searched(KNOWN, Budget(seconds=0.4), made)[1]
        assert judge(KNOWN, keeper.best.orders())[1] == []

    made, told = engine(ready=False), []

    def soon():
        told.append(1)
        if len(told) == 3:
            made.ready.set()
        return False

    budget = Budget(seconds=1.0)
    keeper = searched(KNOWN, budget, made, Until(None, lane.time.perf_counter() + 1.0, soon))[1]
    assert judge(KNOWN, keeper.best.orders())[1] == []
    assert len(told) > 3


def test_with_a_limit_of_iterations_the_compiler_is_waited_for_and_a_word_ends_the_waiting(monkeypatch):
    monkeypatch.setattr(lane, "SLICE_S", 0.01)
    made = engine(ready=False)
    threading.Timer(0.05, made.ready.set).start()
    one, keeper = searched(KNOWN, Budget(iterations=30), made)
    assert keeper.best is not None and one.until.done == 30
    known = {one._worth(*pair) for _time in range(2) for pair in keeper.best.orders().items()}
    assert None not in known

    word = Until(30, None, lambda: True)
    one, keeper = searched(KNOWN, Budget(iterations=30), engine(ready=False), word)
    assert keeper.best is not None and one.until.done == 0


def test_it_cools_down_twice_where_there_is_time_and_goes_on_from_the_best(monkeypatch):
    monkeypatch.setattr(lane, "EARLY_S", 0.2)
    monkeypatch.setattr(lane, "LONG_S", 0.3)

    one, keeper = searched(KNOWN, Budget(seconds=0.6), engine())

    assert one._spans() == [(0.0, pytest.approx(1 / 3)), (pytest.approx(1 / 3), 1.0)]
    assert judge(KNOWN, keeper.best.orders())[1] == []
    assert one.until.done > 0


@pytest.mark.slow  # more than a thousand turns without compilation
def test_where_nothing_whole_is_found_visits_are_left_out_at_a_price():
    tight = plain(many=4, room=3)
    one, keeper = searched(tight, Budget(iterations=2500), engine())

    plan, faults = judge(tight, keeper.best.orders())

    assert {fault.code for fault in faults} == {"missing"}
    assert keeper.best.missing == len(plan.missing) == 4
    assert checker.wrong(tight, plan) == []
    assert keeper.best.cost == plan.cost and one.last == {}


def test_what_does_not_hold_by_the_rules_is_not_handed_in():
    nowhere = [[0 if a == b else NO_WAY_S for b in range(5)] for a in range(5)]
    problem = replace(KNOWN, travel=Travel(nowhere, KNOWN.travel.seconds))

    assert searched(problem, Budget(iterations=20), engine())[1].best is None


def test_one_site_on_one_van_is_planned_too():
    one = Problem(line(0, 3), (Visit("a", 1, 60, (Window(0, *ALL_DAY), Window(1, *ALL_DAY, 5))),), tuple(Shift("x", day, 0, 0, H, 2 * H) for day in (0, 1)))  # fmt: skip

    keeper = searched(one, Budget(iterations=5), engine())[1]

    assert keeper.best.orders() == {("x", 0): ("a",)}


def test_the_compiler_is_asked_once_and_may_fail(monkeypatch):
    made = compiling.Engine()
    assert made.wanted().wait(30) and made.turns is turns and not made.failed
    assert made.wanted() is made.ready

    monkeypatch.setattr(columns, "smallest", lambda: None)
    broken = compiling.Engine()
    assert broken.wanted().wait(30) and broken.failed


def test_where_nothing_can_be_kept_it_is_compiled_anew(monkeypatch, tmp_path):
    asked, config = [], types.SimpleNamespace()

    def njit(**options):
        asked.append((options["cache"], options.get("forceinline", False), config.CACHE_DIR != ""))
        return lambda function: function

    monkeypatch.setitem(sys.modules, "numba", types.SimpleNamespace(njit=njit, config=config))
    (tmp_path / "file").write_text("no folder")

    monkeypatch.setattr(compiling, "KEPT", tmp_path / "kept")
    assert compiling.inlined(len) is len
    monkeypatch.setattr(compiling, "KEPT", tmp_path / "file")
    assert compiling.compiled(len) is len

    assert asked == [(True, True, True), (False, False, False)]
    assert len(list((tmp_path / "kept").iterdir())) == 1


AGREE = """
import json, sys
from pathlib import Path
from servicedesk.core.rounds import formats
from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.planner import plan_rounds
from servicedesk.core.rounds.compiled.compiling import ENGINE
from tests.core.rounds.on_arrays import sites, windowed
plans = [
    plan_rounds(problem, Budget(iterations=100)).plan
    for problem in (formats.read_periodic("pr01", Path(sys.argv[1]).read_text()).problem, windowed(sites(seed=3), 3, True))
]
found = [[plan.cost, sorted((*key, *order) for key, order in plan.orders.items())] for plan in plans]
print(json.dumps([ENGINE.failed, type(ENGINE.turns.take).__name__, *found]))
"""


@pytest.mark.slow  # compiles: half a minute to a minute of a core
def test_compiled_and_interpreted_it_finds_the_same_plan(tmp_path):
    found = {}
    for off in ("0", "1"):
        around = {
            **os.environ,
            "NUMBA_DISABLE_JIT": off,
            "TANKROUND_VAR": str(tmp_path),
            "PYTHONPATH": str(ROOT),
        }
        done = subprocess.run([sys.executable, "-c", AGREE, str(PR01)], env=around, capture_output=True, text=True, check=True)  # fmt: skip
        found[off] = json.loads(done.stdout)

    assert found["0"][:2] == [False, "CPUDispatcher"] and found["1"][:2] == [False, "function"]
    assert found["0"][2:] == found["1"][2:]
    assert len(list((tmp_path / "compiled").glob("*/whole"))) == 1
