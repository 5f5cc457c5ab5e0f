"""The clock of a round: lunch in every place it can be, leaving late, hours, and which rule is said to stop it."""

import random
from itertools import pairwise

from servicedesk.core.rounds.clock import virtual_end, virtual_time, virtual_windows
from servicedesk.core.rounds.problem import Lunch, Problem
from servicedesk.core.rounds.rules import judge, judge_round
from servicedesk.core.rounds.timing import Step, Stuck, Times, lunch_of, time_round
from tests.core.rounds.checker import wrong
from tests.core.rounds.problems import LUNCH, H, M, line, shift, visit


def planned(visits, *shifts, travel=None):
    problem = Problem(travel or line(0, 10, 20, 30), tuple(visits), shifts)
    plan, faults = judge(problem, {shifts[0].key: tuple(v.id for v in visits)})
    return problem, plan, faults


def test_who_need_not_wait_leaves_later():
    problem, plan, _faults = planned([visit("a", 1, 60, opens=10), visit("b", 2, 30, opens=8)], shift())
    ride = plan.rounds[0]

    assert ride.leave == 9 * H + 40 * M
    assert [stop.start for stop in ride.stops] == [10 * H, 11 * H + 20 * M]
    assert ride.back == 11 * H + 50 * M + 40 * M
    assert wrong(problem, plan) == []


def test_lunch_is_eaten_on_arrival_and_moves_what_follows():
    problem, plan, _faults = planned(
        [visit("a", 1, 120, opens=9, closes=9), visit("b", 2, 120, closes=16)], shift(lunch=LUNCH)
    )
    ride = plan.rounds[0]

    assert ride.lunch == 11 * H + 30 * M
    assert ride.stops[1].lunch == ride.lunch
    assert ride.stops[1].start == 12 * H
    assert ride.away == ride.back - ride.leave - 30 * M
    assert wrong(problem, plan) == []


def test_lunch_is_eaten_on_the_way_where_arrival_is_too_late():
    problem, plan, _faults = planned(
        [visit("a", 1, 60, opens=10, closes=10), visit("b", 2, 60)],
        shift(lunch=LUNCH, hours=(7 * H, 20 * H)),
        travel=line(0, 10, 80, 0),
    )
    ride = plan.rounds[0]

    assert ride.lunch == 11 * H + 30 * M
    assert ride.stops[1].arrive == 11 * H + 140 * M + 30 * M
    assert wrong(problem, plan) == []


def test_lunch_can_wait_until_the_way_home():
    problem, plan, _faults = planned(
        [visit("a", 1, 60, opens=11, closes=11)], shift(lunch=Lunch(30 * M, 12 * H, 12 * H))
    )
    ride = plan.rounds[0]

    assert ride.lunch == 12 * H
    assert ride.stops[0].lunch is None
    assert ride.back == 12 * H + 50 * M
    assert wrong(problem, plan) == []


def test_work_that_covers_all_of_lunch_time_is_moved_or_refused():
    long = visit("a", 1, 250, opens=9, closes=10)

    _problem, plan, faults = planned([long], shift(lunch=LUNCH))

    assert [(fault.code, fault.amount) for fault in faults if fault.code != "missing"] == [("lunch", 30 * M)]
    assert plan.rounds == ()


def test_who_is_back_before_lunch_or_leaves_after_it_needs_none():
    _problem, early, _ = planned([visit("a", 1, 60, opens=9)], shift(lunch=LUNCH))
    _problem, late, _ = planned([visit("a", 1, 60, opens=14)], shift(lunch=LUNCH))

    assert early.rounds[0].lunch is None
    assert late.rounds[0].lunch is None
    assert lunch_of(shift(lunch=LUNCH, hours=(7 * H, 13 * H))) is None
    assert lunch_of(shift(lunch=LUNCH, hours=(12 * H, 18 * H))) is None


def test_overtime_is_avoided_where_another_place_for_lunch_can():
    steps = [
        Step(20 * M, ((9 * H, 9 * H, 0),), 150 * M),
        Step(20 * M, ((12 * H, 12 * H, 0), (13 * H, 15 * H, 0)), 60 * M),
    ]

    times = time_round(shift(lunch=LUNCH, paid=5 * H, overtime=2 * H, overtime_price=3), steps, 40 * M)

    assert isinstance(times, Times)
    assert times.overtime == 0


def test_the_cheaper_time_is_waited_for_unless_that_breaks_something():
    options = ((8 * H, 9 * H, 500), (14 * H, 15 * H, 0))
    patient = time_round(shift(), [Step(60 * M, options, 30 * M)], 60 * M)
    hurried = time_round(shift(hours=(7 * H, 12 * H)), [Step(60 * M, options, 30 * M)], 60 * M)

    assert (patient.price, patient.starts) == (0, (14 * H,))
    assert (hurried.price, hurried.starts) == (500, (8 * H,))


def test_the_rule_that_stops_a_round_is_named_with_its_amount():
    late = time_round(
        shift(), [Step(30 * M, ((8 * H, 16 * H, 0),), H), Step(30 * M, ((8 * H, 8 * H, 0),), H)], 0
    )
    long = time_round(shift(hours=(7 * H, 9 * H)), [Step(H, ((7 * H, 9 * H, 0),), H)], H)
    paid = time_round(shift(paid=2 * H, overtime=M), [Step(H, ((9 * H, 9 * H, 0),), H)], H)
    never = time_round(shift(), [Step(H, (), H)], H)

    assert late == Stuck("window", 1, H + 30 * M)
    assert long == Stuck("shift", 1, H)
    assert paid == Stuck("paid", 1, H - M)
    assert never.code == "window"


def test_slack_is_what_a_stop_can_still_bear():
    problem, plan, _faults = planned([visit("a", 1, 60, opens=10, closes=10.5), visit("b", 2, 30)], shift())

    assert plan.rounds[0].stops[0].slack == 30 * M
    assert plan.rounds[0].stops[1].slack == 17 * H - 70 * M - plan.rounds[0].stops[1].start


def test_the_virtual_clock_is_never_wrong_and_loses_nothing_that_eats_as_soon_as_it_may():
    """Random rounds, played on the virtual clock and, in the shop's own words, on the real one."""
    d, agreed = random.Random(3), 0
    for _ in range(4000):
        lunch = Lunch(d.choice([30, 45]) * M, 11 * H + 30 * M, d.choice([12, 13]) * H + 30 * M)
        steps = []
        for _stop in range(d.randint(1, 5)):
            opens = d.choice([7, 8, 10, 12, 13]) * H + d.choice([0, 20 * M])
            work = d.choice([20, 50, 80, 110]) * M
            steps.append(
                Step(d.choice([5, 25, 50]) * M, ((opens, opens + d.choice([0, 1, 3, 6]) * H, 0),), work)
            )
        work = shift(lunch=lunch, hours=(7 * H, 17 * H))
        virtual = _virtual(steps, lunch)
        real = time_round(work, steps, 15 * M)
        if virtual:
            assert isinstance(real, Times)
            agreed += 1
    assert agreed > 400


def _virtual(steps, lunch):
    """Whether a round holds on the virtual clock."""
    now = 7 * H
    for step in steps:
        arrive = now + step.leg
        windows = virtual_windows(*step.options[0][:2], step.seconds, lunch)
        starts = [
            (max(arrive, opens), more) for opens, closes, more in windows if max(arrive, opens) <= closes
        ]
        if not starts:
            return False
        now = sum(min(starts)) + step.seconds
    return now + 15 * M <= virtual_end(17 * H, lunch)


def test_the_virtual_clock_by_hand():
    lunch = Lunch(30 * M, 12 * H, 13 * H)

    assert virtual_windows(8 * H, 16 * H, H, None) == [(8 * H, 16 * H, 0)]
    assert virtual_windows(8 * H, 16 * H, H, lunch) == [(8 * H, 15 * H + 30 * M, 0)]
    assert virtual_windows(12 * H + 15 * M, 12 * H + 20 * M, H, lunch) == []
    assert virtual_windows(9 * H, 16 * H, 2 * H, lunch) == [(9 * H, 11 * H, 0), (12 * H, 15 * H + 30 * M, 0)]
    assert virtual_windows(12 * H, 12 * H + 10 * M, 2 * H, lunch) == []
    inside = virtual_windows(12 * H + 10 * M, 12 * H + 20 * M, 30 * M, lunch)
    assert inside == [(12 * H - 1, 12 * H - 1, 10 * M + 1)]
    assert [virtual_time(t, lunch) for t in (11 * H, 12 * H + 10 * M, 14 * H)] == [
        11 * H,
        12 * H,
        13 * H + 30 * M,
    ]
    assert [virtual_end(t, None) for t in (11 * H,)] == [11 * H]
    assert [virtual_end(t, lunch) for t in (11 * H, 17 * H)] == [11 * H, 16 * H + 30 * M]


def test_every_rule_of_an_order_is_named():
    travel = line(0, 10, 20, 30)
    dirty = visit("dirty", 1, level=2)
    clean = visit("clean", 2, skills=frozenset({"marine"}), technicians=frozenset({"bo"}), loads=(50,))
    work = shift(van=(40,), most_stops=1)
    problem = Problem(travel, (dirty, clean), (work,))

    faults, _times = judge_round(problem, work, ("dirty", "+refill", "clean"))

    assert {fault.code for fault in faults} == {"skill", "level", "load", "refill", "stops"}
    only_held = Problem(travel, (visit("x", 1, technicians=frozenset({"bo"})),), (work,))
    assert [f.code for f in judge_round(only_held, work, ("x",))[0]] == ["technician"]
    assert [
        f.code for f in judge_round(Problem(travel, (visit("x", 1, days=(4,)),), (work,)), work, ("x",))[0]
    ] == ["day"]


def test_an_emergency_in_isolation_with_disinfected_kit_lets_clean_ones_follow_and_says_so():
    dirty, clean = visit("dirty", 1, level=2, disinfects=True), visit("clean", 2)
    _problem, plan, faults = planned([dirty, clean], shift())

    assert faults == []
    assert [stop.disinfected for stop in plan.rounds[0].stops] == [True, False]


def test_no_way_is_no_round():
    travel = line(0, 10)
    travel.rows[0][1] = 10_000_000
    work = shift()
    problem = Problem(travel, (visit("a", 1),), (work,))

    assert [fault.code for fault in judge_round(problem, work, ("a",))[0]] == ["no_way"]


def test_orders_for_nobody_and_unknown_visits_are_not_planned():
    problem, _plan, _ = planned([visit("a", 1)], shift())

    plan, faults = judge(problem, {("nobody", 3): ("a",), ("ada", 0): ("a", "ghost")})

    assert [fault.code for fault in faults] == ["unknown"]
    assert plan.orders == {("ada", 0): ("a",)}
    assert all(a.end <= b.start for ride in plan.rounds for a, b in pairwise(ride.stops))
