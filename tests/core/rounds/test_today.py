"""When the day breaks, and why a visit finds no room."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from servicedesk.core.rounds import weeks
from servicedesk.core.rounds.insertion import insertions, put_in
from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.planner import plan_rounds
from servicedesk.core.rounds.problem import Problem, Refill, Travel
from servicedesk.core.rounds.rules import judge
from servicedesk.core.rounds.today import (
    FREE,
    PRICED,
    SMALLEST,
    as_it_stands,
    changes,
    offer,
    offers,
    smallest_change,
)
from servicedesk.core.rounds.why import proofs, why
from tests.core.rounds.checker import wrong
from tests.core.rounds.problems import LUNCH, H, M, line, problems, shift, visit


@given(problem=problems, gone=st.integers(0, 8), seed=st.integers(1, 9))
@settings(max_examples=25, deadline=None)
def test_the_smallest_change_never_moves_what_it_need_not(problem, gone, seed):
    """A visit is called off, another one comes: rounds keep their visits and their order."""
    new, rest = problem.visits[gone % len(problem.visits)], problem.visits
    before = replace(problem, visits=tuple(v for v in rest if v.id != new.id))
    plan = plan_rounds(before, Budget(iterations=60, seed=seed)).plan
    off = plan.rounds[0].visits[0] if plan.rounds else ""
    now = replace(problem, visits=tuple(v for v in rest if v.id != off))

    after = smallest_change(now, plan.orders)

    assert wrong(now, after) == []
    for key, order in plan.orders.items():
        stayed = tuple(n for n in order if n != off)
        came = set(after.missing) | {new.id} | set(plan.missing)
        assert tuple(n for n in after.orders.get(key, ()) if n not in came) == tuple(
            n for n in stayed if n not in came
        )


def test_three_offers_say_what_they_change():
    problem = weeks.week(20, 3)
    monday = replace(
        problem, shifts=problem.shifts[:1], visits=tuple(v for v in problem.visits if 0 in v.days)[:7]
    )
    two = replace(monday, shifts=(*monday.shifts, replace(monday.shifts[0], technician="t2", start=3, end=3)))
    call = replace(two.visits[0], id="call", place=two.visits[-1].place, skills=frozenset())
    before = plan_rounds(two, Budget(iterations=200)).plan
    now = replace(two, visits=(*two.visits[1:], call))
    told = []

    made = offers(now, before, Budget(iterations=150), told=told.append)

    assert [one.kind for one in made] == [SMALLEST, PRICED, FREE]
    assert told == made
    for one in made:
        assert wrong(now, one.plan) == []
        assert one.changes.added == ("call",)
        assert one.changes.lost == ()
        assert one.more_driving == one.plan.driving - before.driving
    assert made[0].changes.person == ()
    assert made[2].plan.cost <= made[0].plan.cost
    assert [one.kind for one in offers(now, before, Budget(iterations=5))] == [SMALLEST, PRICED, FREE]


def test_changes_are_counted_by_person_day_and_hour():
    visits = tuple(visit(name, n + 1, days=(0, 1)) for n, name in enumerate("abcd"))
    problem = Problem(
        line(0, 5, 6, 7, 8), visits, tuple(shift(who, day) for who in ("ada", "bo") for day in (0, 1))
    )
    before = judge(problem, {("ada", 0): ("a", "b", "c")})[0]
    after = judge(problem, {("ada", 0): ("c",), ("bo", 0): ("a",), ("ada", 1): ("b", "d")})[0]

    found = changes(before, after)

    assert (found.person, found.day, found.hour, found.added, found.lost) == (
        ("a",),
        ("b",),
        ("c",),
        ("d",),
        (),
    )
    assert found.moved == 3


def test_prices_keep_people_days_and_hours():
    """A cheaper order is left alone while it would move everybody."""
    visits = tuple(visit(name, n + 1, 30, days=(0, 1)) for n, name in enumerate("abc"))
    problem = Problem(line(0, 4, 5, 6), visits, (shift("ada", 0), shift("bo", 0), shift("ada", 1)))
    before = judge(problem, {("ada", 0): ("a", "c"), ("bo", 0): ("b",)})[0]

    priced, free = offers(problem, before, Budget(iterations=200))[1:]

    assert priced.changes.moved == 0
    assert free.plan.driving < priced.plan.driving


def test_a_start_that_is_no_longer_allowed_has_its_price_all_the_same():
    work = visit(
        "a", 1, windows=visit("a", 1, opens=8, closes=8.25).windows + visit("a", 1, opens=12).windows
    )
    problem = Problem(line(0, 4), (work,), (shift("ada"),))
    before = judge(problem, {("ada", 0): ("a",)})[0]
    later = replace(problem, visits=(replace(work, windows=work.windows[1:]),))

    made = offers(later, before, Budget(iterations=20))

    assert [one.changes.hour for one in made] == [("a",)] * 3
    narrow = replace(work, windows=work.windows[:1])
    assert offers(replace(problem, visits=(narrow,)), before, Budget(iterations=5))[1].changes.moved == 0


def test_a_sick_technicians_visits_go_elsewhere_and_the_rest_stays():
    visits = tuple(visit(name, n + 1) for n, name in enumerate("abc"))
    problem = Problem(line(0, 5, 6, 7), visits, (shift("ada"), shift("bo")))
    now = replace(problem, shifts=problem.shifts[:1])

    after = smallest_change(now, {("ada", 0): ("a", "b"), ("bo", 0): ("c",)})

    assert after.missing == ()
    assert [name for name in after.orders["ada", 0] if name != "c"] == ["a", "b"]


def test_a_visit_that_costs_more_than_leaving_it_out_is_not_put_in():
    far = visit("far", 2, skip_price=60)
    problem = Problem(line(0, 1, 50), (visit("near", 1), far), (shift(),))

    assert not put_in(problem, {("ada", 0): ("near",)}, far)
    assert [place.position for place in insertions(problem, {("ada", 0): ("near",)}, far, most=2)] == [0, 1]


CROWDED = tuple(visit(f"v{n}", 1, 100) for n in range(4))


def test_why_names_the_rule_that_stops_a_visit():
    travel = line(0, 1, 400, 2)
    travel.rows[0][3] = 10_000_000
    base = Problem(travel, (), (shift(van=(10,), paid=8 * H),), names=("store", "mill", "hut", "isle"))

    def code(asked, **more):
        found = why(replace(base, visits=(asked,), **more), {}, asked.id)
        return found.code, found.sentence

    assert code(visit("x", 1, windows=())) == (
        "windows",
        "It has no time at which it may begin: no day is open, or the access is shorter than the work.",
    )
    assert code(visit("x", 1, skills=frozenset({"diving"}))) == ("skill", "Nobody who works has diving.")
    assert code(visit("x", 1), shifts=()) == ("skill", "Nobody works.")
    assert code(visit("x", 1, technicians=frozenset({"bo"})))[0] == "technician"
    assert code(visit("x", 1, days=(3,)))[0] == "day"
    assert code(visit("x", 3)) == ("no_way", "There is no way to or from isle.")
    assert code(visit("x", 1, loads=(15,))) == ("load", "It needs 5 more than the largest van holds.")
    assert code(visit("x", 2))[0] == "too_far"
    full = replace(base, visits=(*CROWDED, visit("x", 1, 100)))
    found = why(full, {("ada", 0): ("v0", "v1", "v2", "v3")}, "x", day_names=("Monday",))
    assert (found.code, found.sentence) == ("full", "All who may do it are full on Monday.")


def test_three_ways_out_the_cheapest_first():
    visits = (*CROWDED, visit("x", 1, 100), visit("y", 1, 20, days=(0, 1)))
    skilled = replace(visits[4], skills=frozenset({"marine"}), technicians=frozenset({"ada"}))
    visits = (*visits[:4], skilled, visits[5])
    marine = frozenset({"marine"})
    problem = Problem(
        line(0, 1), visits,
        (shift("ada", 0, paid=8 * H + 30 * M, skills=marine), shift("ada", 1, skills=marine), shift("bo", 0)),
    )  # fmt: skip
    orders = {("ada", 0): ("v0", "v1", "v2", "v3", "y")}

    found = why(problem, orders, "x", day_names=("Monday", "Tuesday"))

    assert found.code == "full"
    assert [way.price for way in found.ways] == sorted(way.price for way in found.ways)
    said = {way.code: way.sentence for way in found.ways}
    assert said["day"] == "Allow Tuesday: ada has room then."
    assert said["technician"] == "Give it to bo, who has no marine, on Monday."
    assert len(found.ways) <= 3
    roomy = replace(problem, shifts=(replace(problem.shifts[0], paid=9 * H), *problem.shifts[1:]))
    assert why(roomy, orders, "x").sentence == "There is room: ada on day 1, as stop 6."


def test_another_visit_moves_where_that_makes_room():
    work = shift("ada", 0, paid=3 * H)
    visits = (visit("a", 1, 100, days=(0, 1)), visit("b", 1, 60), visit("x", 1, 100), visit("s", 1, 10))
    problem = Problem(line(0, 1), visits, (replace(work, refill=Refill(0, 60)), replace(work, day=1)))

    found = why(problem, {("ada", 0): ("a", "+refill", "b")}, "x")

    assert [(way.code, way.other, way.day) for way in found.ways if way.code == "move"] == [("move", "a", 1)]
    assert why(problem, {("ada", 0): ("a", "b", "b")}, "x").code == "full"


def test_twenty_minutes_of_overtime_are_offered():
    problem = Problem(
        line(0, 1), (*CROWDED, visit("x", 1, 60)), (shift("ada", 0, paid=7 * H + 30 * M, van=()),)
    )

    found = why(problem, {("ada", 0): ("v0", "v1", "v2", "v3")}, "x")

    assert [way.sentence for way in found.ways] == ["20 minutes of overtime for ada on day 1."]


def test_a_week_that_cannot_work_is_proven_by_counting():
    visits = tuple(visit(f"v{n}", n + 1, 120, skills=frozenset({"marine"}), loads=(60,)) for n in range(4))
    travel = line(0, 30, 31, 32, 33)
    works = (
        shift(
            "ada", 0, paid=6 * H, skills=frozenset({"marine"}), van=(100,), refill=Refill(0, 60), most_stops=3
        ),
        shift("bo", 0, van=(100,), most_stops=3),
    )
    problem = Problem(travel, visits, works, dimensions=("litres",))

    found = proofs(problem, day_names=("Monday",))

    assert [proof.code for proof in found] == ["hours", "load", "stops"]
    assert found[0].needed == 8 * H + 4 * 2 * M
    assert found[0].there == 6 * H
    assert (
        found[1].sentence
        == "Visits that need marine and can only be done in all days need 240 of litres; the vans hold 200."
    )
    assert "at most 3 stops" in found[2].sentence


def test_counting_says_nothing_where_it_shows_nothing():
    held = visit("a", 1, technicians=frozenset({"bo"}), skip_price=5)
    two_days = (shift("ada", 0), shift("ada", 1), shift("bo", 1, most_stops=1))

    assert proofs(Problem(line(0, 1), (held, visit("b", 1, days=(0, 1))), two_days)) == []
    many = tuple(visit(f"v{n}", 1, 200, days=(1,), technicians=frozenset({"bo"})) for n in range(4))
    found = proofs(Problem(line(0, 1), many, (shift("ada", 0, van=(3,)), shift("bo", 1, van=(3,)))))
    assert found[0].sentence.startswith("Visits held to bo in all days take 13.")
    assert len({proof.code for proof in found}) == len(found)
    none = Problem(Travel([[0]]), (), ())
    assert proofs(none) == []


def test_lunch_stands_in_the_way_of_an_insertion():
    """Two long pieces of work leave no moment for lunch; the insertion sees it."""
    visits = (visit("a", 1, 230, opens=8, closes=8), visit("b", 1, 180, opens=9, closes=11.9))
    problem = Problem(line(0, 1), visits, (shift(lunch=LUNCH),))

    assert insertions(problem, {("ada", 0): ("a",)}, visits[1]) == []


@pytest.mark.parametrize("spare", [True, False])
def test_a_round_for_nobody_is_taken_apart(spare):
    works = (shift("ada"), shift("bo")) if spare else (shift("ada"),)
    problem = Problem(line(0, 1), (visit("a", 1),), works)

    assert smallest_change(problem, {("gone", 0): ("a",)}).missing == ()


@given(problem=problems, gone=st.integers(0, 8), late=st.integers(0, 90), seed=st.integers(1, 9))
@settings(max_examples=25, deadline=None)
def test_nobody_who_keeps_their_technician_is_come_to_sooner_than_was_said(problem, gone, late, seed):
    """One calls off, another comes, the first round begins later: what was said is kept or comes after it, orders stay."""
    new = problem.visits[gone % len(problem.visits)]
    before = replace(problem, visits=tuple(v for v in problem.visits if v.id != new.id))
    plan = plan_rounds(before, Budget(iterations=60, seed=seed)).plan
    off = plan.rounds[-1].visits[-1] if plan.rounds else ""
    first = replace(
        problem.shifts[0], earliest=min(problem.shifts[0].earliest + late * 60, problem.shifts[0].latest)
    )
    now = replace(
        problem, visits=tuple(v for v in problem.visits if v.id != off), shifts=(first, *problem.shifts[1:])
    )
    said = {name: stop.start for name, (_round, stop) in plan.where.items()}

    after = offer(SMALLEST, now, plan, Budget(iterations=1), said=said).plan

    assert wrong(now, after) == []
    stayed = [n for n in said if n in after.where and after.where[n][0].key == plan.where[n][0].key]
    sooner = [n for n in stayed if after.where[n][1].start < said[n]]
    assert all(
        plan.where[n][0].key == first.key for n in sooner
    )  # only where the late round had to be taken apart
    if not late and all(n in after.where for n in said if n != off) and new.id in after.missing:
        assert [n for n in stayed if after.where[n][1].start != said[n]] == []
    for key, order in plan.orders.items():
        if key != first.key:
            kept = tuple(n for n in order if n not in (off, "+refill") and n in stayed)
            assert tuple(n for n in after.orders.get(key, ()) if n in kept) == kept


def test_a_round_put_together_by_hand_bears_what_it_bears():
    """Too long, without lunch and overloaded: each gives way by itself, and only there."""
    visits = tuple(visit(name, n + 1, 100, loads=(6,)) for n, name in enumerate("abcd"))
    base = Problem(line(0, 5, 6, 7, 8), visits, (shift("ada", paid=8 * H),))
    hand, said = {("ada", 0): ("a", "b", "c", "d")}, {}

    def given_way(**more):
        works = replace(base.shifts[0], **more)
        found, gave = as_it_stands(replace(base, shifts=(works,)), hand, said)
        assert not gave or judge(found, hand)[1] == []
        return gave.get(("ada", 0), ())

    assert given_way() == ()
    assert given_way(van=(20,)) == ("load",)
    assert given_way(paid=6 * H, latest=14 * H) == ("shift",)
    assert given_way(lunch=LUNCH, latest=15 * H + 30 * M, paid=None) == ("lunch",)
    assert given_way(skills=frozenset(), most_stops=3) == ()  # what nothing lets hold is left as it is
    assert as_it_stands(base, {}, said)[1] == {}


def test_who_finds_no_later_time_comes_sooner_before_nobody_comes():
    early = visit("b", 2, 60, opens=8, closes=12)
    problem = Problem(line(0, 5, 6), (visit("a", 1, 60, opens=8, closes=12), early), (shift("ada"),))
    before = judge(problem, {("ada", 0): ("a", "b")})[0]
    shut = replace(problem, visits=(problem.visits[0], visit("b", 2, 60, opens=8, closes=9)))

    made = offer(SMALLEST, shut, before, Budget(iterations=1), said={"a": 11 * H, "b": 12 * H})

    assert made.plan.missing == ()
    assert made.plan.where["b"][1].start <= 9 * H
    assert made.plan.where["a"][1].start == 11 * H


def test_a_stop_from_which_nobody_gets_home_is_timed_all_the_same():
    travel = line(0, 5, 6)
    travel.rows[1][0] = 10_000_000
    problem = Problem(travel, (visit("a", 1, 60), visit("b", 2, 60)), (shift("ada"),))
    before = judge(problem, {("ada", 0): ("a", "b")})[0]

    made = offer(SMALLEST, problem, before, Budget(iterations=1), said={"a": 9 * H, "b": 12 * H})

    assert [made.plan.where[name][1].start >= at for name, at in (("a", 9 * H), ("b", 12 * H))] == [
        True,
        True,
    ]
