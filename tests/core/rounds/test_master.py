"""The master round: each site has its frequency, in patterns that can be; the same seed gives the same; nothing is worth less than keeping
everything, the price of changes counted in; territories lie together and are even."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.master import drawn, search, sweeping
from servicedesk.core.rounds.master import territories as drawing_up
from servicedesk.core.rounds.master.book import NO_ROOM, Book, neighbours_of
from servicedesk.core.rounds.master.drawn import master_round, named_master
from servicedesk.core.rounds.master.parts import Answer, Task, alone, part, site_of, solve
from servicedesk.core.rounds.master.search import Reached, plan_master
from servicedesk.core.rounds.master.sweeping import swept
from servicedesk.core.rounds.master.territories import spread_km, territories
from servicedesk.core.rounds.master.values import (
    LEAST_APART,
    Habit,
    Master,
    Person,
    Prices,
    Regular,
    apart,
    days_of,
    habits_of,
    kept,
    visits_of,
)
from servicedesk.core.rounds.problem import Lunch, NotPlanned, Travel, Window
from servicedesk.core.rounds.rules import judge

H = 3600
WORKDAYS = (0, 1, 2, 3, 4)
FEW = settings(max_examples=6, deadline=None)


def road(*minutes, metres=False):
    """Places on one road, so many minutes from its beginning."""
    square = np.array([[abs(a - b) * 60 for b in minutes] for a in minutes], dtype=np.int64)
    return Travel(square, None, square * 10 if metres else None)


def hours(days=WORKDAYS, opens=8, closes=16):
    return tuple(Window(day, opens * H, closes * H) for day in days)


def site(name, place, every=1, habit=None, **given):
    return Regular(
        name, place, given.pop("seconds", 1800), every, given.pop("hours", hours()), habit=habit, **given
    )


def person(name, place=0, **given):
    given = {"weekdays": WORKDAYS, "earliest": 7 * H, "latest": 17 * H, "paid": 8 * H, **given}
    return Person(name, place, place, **given)


def scattered():
    """Three neighbours far away, each on another weekday of the same technician."""
    sites = tuple(site(f"far{n}", 1 + n, habit=Habit("ida", (day,))) for n, day in enumerate((0, 2, 4)))
    return Master(road(0, 90, 91, 92, metres=True), sites, (person("ida"),))


def checked(found):
    """Everything that must hold of any result."""
    master, book = found.after.master, found.after
    for one in master.sites:
        if one.id in book.homeless:
            continue
        habit = book.habits[one.id]
        stands = [key for key, order in book.orders.items() for name in order if site_of(name) == one.id]
        assert sorted(day for _who, day in stands) == list(days_of(master, one, habit))
        assert {who for who, _day in stands} == {habit.technician}
        assert len(stands) == visits_of(master, one)
        assert set(habit.weekdays) <= one.open_on & set(master.person[habit.technician].weekdays)
        assert one.skills <= master.person[habit.technician].skills
        assert (
            len(habit.weekdays) == 1
            or apart(habit.weekdays) >= LEAST_APART
            or habit.weekdays == one.habit.weekdays
        )
    for who in master.people:
        problem = part(master, who, master.sites)
        orders = {key: order for key, order in book.orders.items() if key[0] == who.id}
        faults = {fault.code for fault in judge(problem, orders)[1]} - {"missing", "pattern"}
        assert faults == set()
        assert all(shift.paid + shift.overtime >= book.days[shift.key].away for shift in problem.shifts)
    assert book.worth == pytest.approx(Book(master, book.habits, book.orders).worth)


@FEW
@given(st.integers(1, 14), st.integers(0, 10_000))
def test_each_site_has_its_frequency_in_patterns_that_can_be(sites, seed):
    found = plan_master(master_round(sites, seed), Budget(iterations=20, seed=seed))

    checked(found)
    assert found.unable == ()


@FEW
@given(st.integers(2, 14), st.integers(0, 10_000))
def test_keeping_everything_is_never_beaten_by_what_costs_more(sites, seed):
    master = master_round(sites, seed)
    settled = tuple(s for s in master.sites if s.habit is not None)
    found = plan_master(replace(master, sites=settled), Budget(iterations=20))

    assert found.after.worth <= found.before.worth + 1e-6


def test_the_same_seed_and_limit_give_the_same():
    master = master_round(12, 5)
    one, other = (plan_master(master, Budget(iterations=40, seed=9)) for _ in range(2))

    assert (one.after.habits, one.after.orders) == (other.after.habits, other.after.orders)


def test_neighbours_on_three_days_come_together_and_what_each_saves_alone_is_said():
    found = plan_master(scattered(), Budget(iterations=200))

    assert len({habit.weekdays for habit in found.after.habits.values()}) == 1
    assert len(found.after.changed) == 2
    saved = found.before.driving - found.after.driving
    assert saved > 4 * 2 * 170 * 60  # two of three ways there and back, in each of four weeks
    assert all(one.fits and one.driving > 4 * 170 * 60 and one.metres > 0 for one in found.alone.values())
    assert found.first_s > 0 and not found.cancelled and found.seconds > 0


def test_changes_that_cost_more_than_they_save_are_not_proposed():
    dear = replace(scattered(), prices=Prices().times(1000))

    assert plan_master(dear, Budget(iterations=200)).after.changed == []


def test_another_technician_is_proposed_where_the_way_is_worth_it():
    sites = tuple(site(f"s{n}", 2 + n, habit=Habit("ida", (n,))) for n in range(3))
    master = Master(road(0, 100, 101, 102, 103), sites, (person("ida"), person("ben", 1)))

    found = plan_master(master, Budget(iterations=200))

    assert {habit.technician for habit in found.after.habits.values()} == {"ben"}
    assert found.before.driving - found.after.driving > 20 * H


def test_new_clients_get_a_place_and_who_nobody_can_visit_is_named():
    sites = (
        site("new", 1),
        site("shut", 1, hours=()),
        site("hard", 1, skills=frozenset({"diving"})),
        site("others", 1, technicians=frozenset({"zoe"})),
        site("seldom", 1, every=8, habit=Habit("ida", (0,), 6)),
    )
    found = plan_master(Master(road(0, 20), sites, (person("ida"),)), Budget(iterations=50))

    assert found.unable == ("shut", "hard", "others")
    assert set(found.after.habits) == {"new"} and found.after.homeless == set()
    assert found.before.habits == {} and found.after.changed == []


def test_who_finds_no_room_is_homeless_and_dear():
    sites = tuple(
        site(f"s{n}", 1, seconds=7 * H, hours=hours((0,)), habit=Habit("ida", (0,))) for n in range(3)
    )
    found = plan_master(Master(road(0, 10), sites, (person("ida"),), weeks=1), Budget(iterations=50))

    assert len(found.before.homeless) == len(found.after.homeless) == 2
    assert found.after.worth >= 2 * NO_ROOM


def test_a_newcomer_without_room_keeps_no_place():
    sites = tuple(site(f"s{n}", 1, seconds=7 * H, hours=hours((0,))) for n in range(2))
    found = plan_master(Master(road(0, 10), sites, (person("ida"),), weeks=1), Budget(iterations=50))

    assert len(found.after.homeless) == 1 and set(found.after.habits) == {"s0", "s1"}


def test_weeks_that_do_not_come_out_even_stay_and_a_cycle_may_be_longer():
    odd = site("odd", 1, every=3, habit=Habit("ida", (0,), 2))
    master = Master(road(0, 20), (odd,), (person("ida"),))
    assert {habit.week for habit in habits_of(master, odd, master.people[0])} == {2}
    assert visits_of(master, odd) == 1 and days_of(master, odd, odd.habit) == (14,)
    fresh = replace(odd, habit=None)
    assert {habit.week for habit in habits_of(master, fresh, master.people[0])} == {0}
    found = plan_master(replace(master, weeks=12), Budget(iterations=50))
    assert len([name for order in found.after.orders.values() for name in order]) == 4


def test_what_is_held_stays_where_it_can():
    held = site("held", 1, every=2, habit=Habit("ida", (3,), 1), held=True)
    master = Master(
        road(0, 20, 21), (held, site("s", 2, habit=Habit("ida", (0,)))), (person("ida"), person("ben"))
    )

    assert habits_of(master, held, master.person["ida"]) == [held.habit]
    assert not master.able(held, master.person["ben"])
    assert plan_master(master, Budget(iterations=100)).after.habits["held"] == held.habit


def test_twice_a_week_keeps_days_between_but_a_pair_driven_today_stays():
    pair = site("pair", 1, twice=True, habit=Habit("ida", (0, 1)))
    master = Master(road(0, 20), (pair,), (person("ida", weekdays=(0, 1, 2, 6)),))
    found = {
        habit.weekdays for habit in habits_of(master, replace(pair, hours=hours(range(7))), master.people[0])
    }

    assert found == {(0, 1), (0, 2), (1, 6), (2, 6)}  # Sunday and Monday are neighbours
    assert kept(master, pair) == pair.habit
    assert kept(master, replace(pair, habit=Habit("ida", (5,)))) is None
    assert kept(master, replace(pair, habit=Habit("zoe", (0, 1)))) is None


def test_prices_of_changes():
    prices, today = Prices(10, 3, 20), Habit("ida", (0,), 1)

    assert prices.of(None, today) == prices.of(today, today) == 0
    assert prices.of(today, Habit("ida", (1,), 1)) == 10
    assert prices.of(today, Habit("ida", (0,), 0)) == 3
    assert prices.of(today, Habit("ben", (0,), 1)) == 20
    assert prices.of(today, Habit("ben", (1,), 0)) == 30


@pytest.mark.parametrize(
    ("master", "words"),
    [
        (Master(road(0), (), (), weeks=0), "from 1 to 12 weeks"),
        (Master(road(0), (site("a", 0),) * 5001, ()), "5000 sites at most"),
        (Master(road(0), (site("a", 0),) * 2, ()), "named once"),
        (Master(road(0), (site("a", 0, every=0),), ()), "every week at the most"),
        (Master(road(0), (site("a", 0, hours=(Window(0, 9 * H, 8 * H),)),), ()), "shorter than the work"),
        (Master(road(0), (), (person("ida", paid=-1),)), "ends before it begins"),
    ],
)
def test_what_cannot_be_is_said(master, words):
    with pytest.raises(NotPlanned, match=words):
        plan_master(master, Budget(iterations=1))


def test_a_search_needs_an_end_and_nothing_at_all_is_a_plan():
    with pytest.raises(NotPlanned, match="needs an end"):
        plan_master(scattered(), Budget())

    empty = plan_master(Master(road(0), (), ()), Budget(iterations=5))
    assert (empty.after.habits, empty.after.worth, empty.alone) == ({}, 0, {})
    assert neighbours_of(empty.after.master, {}) == {}


def test_by_the_clock_told_how_far_it_is():
    heard = []
    found = plan_master(scattered(), Budget(seconds=0.5, threads=1), told=heard.append)

    checked(found)
    assert heard and all(isinstance(one, Reached) and one.done <= one.of for one in heard)
    assert any(one.driving for one in heard)


def test_told_to_stop_it_gives_what_there_is():
    asked = []

    def soon():
        asked.append(1)
        return len(asked) > 3

    found = plan_master(master_round(12, 1), Budget(iterations=100), cancelled=soon)

    checked(found)
    assert found.cancelled


def test_a_crew_that_gives_less_or_in_any_order_changes_no_rule():
    def odd(tasks, cancelled):
        yield from reversed([solve(task, cancelled) for task in tasks[1:]])

    checked(plan_master(master_round(40, 2), Budget(iterations=60), crew=odd))


def test_groups_that_are_not_worth_it_keep_their_sites():
    """A crew that drives the new territories without any order: the former ones win."""

    def careless(tasks, cancelled):
        for task in tasks:
            free = any(len(tie.patterns) > 1 for tie in task.problem.ties)
            yield Answer(task.number, {} if free else solve(task, cancelled).orders)

    found = plan_master(scattered(), Budget(iterations=60), crew=careless)

    assert found.after.homeless == set() and found.after.worth <= found.before.worth


def test_the_crew_of_one_stops_between_tasks():
    task = Task(0, part(scattered(), person("ida"), scattered().sites), None, None, 5, 1)

    assert [answer.number for answer in alone([task], lambda: False)] == [0]
    assert list(alone([task], lambda: True)) == []


def test_a_book_refuses_days_that_break_a_rule():
    master = Master(road(0, 600), (site("s", 1, habit=Habit("ida", (0,))),), (person("ida"),))

    with pytest.raises(ValueError, match="breaks a rule"):
        Book(master, {"s": Habit("ida", (0,))}, {("ida", 0): ("s#0",)})


def test_steps_of_a_book():
    master = scattered()
    habits = {one.id: one.habit for one in master.sites}
    orders = {
        ("ida", 7 * week + day): (f"far{n}#{week}",) for week in range(4) for n, day in enumerate((0, 2, 4))
    }
    book = Book(master, habits, orders)

    best = book.steps("far0")[0]
    assert best.delta < 0 and best.habit.weekdays in {(2,), (4,)}
    before = book.worth
    book.take(best)
    assert book.worth == pytest.approx(before + best.delta)
    assert book.changed == ["far0"]
    back = book.back("far0")
    assert back is not None and back.delta == pytest.approx(-best.delta)


def test_territories_lie_together_and_are_even():
    places = [0, 60, *range(20), *range(60, 80)]
    sites = tuple(site(f"s{n}", 2 + n) for n in range(40))
    master = Master(road(*places, metres=True), sites, (person("ida", 0), person("ben", 1)))

    whose = territories(master, 1)

    assert sum(who == "ida" for who in whose.values()) == 20
    assert len({whose[f"s{n}"] for n in range(20)}) == len({whose[f"s{n}"] for n in range(20, 40)}) == 1
    assert whose == territories(master, 1)
    assert max(spread_km(master, whose).values()) < 10
    assert spread_km(Master(road(0, 1), sites[:0], master.people), whose) == {}
    assert spread_km(replace(master, sites=sites[:20]), whose).keys() == {whose["s0"]}


def test_territories_keep_todays_people_unless_it_pays_and_exchange():
    places = [0, 60, *range(10), *range(50, 60)]
    wrong = {3: "ben", 14: "ida"}
    sites = tuple(
        site(f"s{n}", 2 + n, habit=Habit(wrong.get(n, "ida" if n < 10 else "ben"), (n % 5,)))
        for n in range(20)
    )
    master = Master(road(*places), sites, (person("ida", 0), person("ben", 1)))

    whose = territories(master, 1)
    assert (whose["s3"], whose["s14"]) == ("ida", "ben")
    dear = territories(replace(master, prices=Prices().times(1000)), 1)
    assert (dear["s3"], dear["s14"]) == ("ben", "ida")


def test_territories_of_nobody_and_of_too_many():
    assert territories(Master(road(0), (), (person("ida"),)), 1) == {}
    one = Master(
        road(0, 5), (site("s", 1), site("shut", 1, hours=())), tuple(person(f"p{n}") for n in range(4))
    )
    assert set(territories(one, 1)) == {"s"}


def test_lunch_and_closing_hours_are_kept():
    noon = Lunch(1800, int(11.5 * H), 13 * H)
    sites = tuple(site(f"s{n}", 1 + n, 2, Habit("ida", (n % 5,), n % 2), seconds=3 * H) for n in range(8))
    master = Master(road(*range(0, 90, 10)), sites, (person("ida", lunch=noon),))

    checked(plan_master(master, Budget(iterations=100)))


def test_invented_rounds_have_names():
    assert named_master("master-5-2").sites == master_round(5, 2).sites
    for name in ("master-0-1", "master-5001-1", "week-5-1"):
        with pytest.raises(NotPlanned, match="names no master round"):
            named_master(name)


def test_steps_that_cannot_be():
    gap = road(0, 10, 20, 30)
    gap.seconds[1, 3] = gap.seconds[3, 1] = 10_000_000
    sites = tuple(site(f"s{n}", 1 + n, habit=Habit("ida", (0,))) for n in range(3))
    master = Master(gap, sites, (person("ida"), person("ben")), weeks=1)
    book = Book(master, {s.id: s.habit for s in sites}, {("ida", 0): ("s0#0", "s1#0", "s2#0")})

    assert book.over("s1", Habit("ida", (1,))) is None  # without it there is no way between the others
    assert book.over("s0", Habit("ben", (1,))) is None and book.steps("s0", people=["ben"]) == []
    assert part(master, person("ida"), [site("shut", 1, hours=())]).ties == ()


def test_sites_one_by_one_leaves_what_is_not_whole_or_broken(monkeypatch):
    problem = part(scattered(), person("ida"), scattered().sites)
    whole = {
        ("ida", 7 * week + day): (f"far{n}#{week}",) for week in range(4) for n, day in enumerate((0, 2, 4))
    }
    missing = {key: order for key, order in whole.items() if key != ("ida", 0)}
    broken = {**whole, ("ida", 0): ("far0#0", "far1#1"), ("ida", 7): ("far0#1",), ("ida", 9): ()}

    stands = {name: key for key, order in swept(problem, missing, 1, lambda: False).items() for name in order}
    assert "far0#0" not in stands and stands["far0#1"] == ("ida", 7)
    assert (
        swept(replace(problem, ties=problem.ties[:1]), broken, 1, lambda: False)["ida", 0] == broken["ida", 0]
    )
    assert swept(problem, whole, 1, lambda: True)["ida", 0] == ("far0#0",)
    monkeypatch.setattr(sweeping, "SWEEPS", 1)
    once = swept(problem, whole, 1, lambda: False)
    assert judge(problem, once)[0].cost < judge(problem, whole)[0].cost


def test_a_territory_whose_technician_has_no_room_is_not_gone_over_to(monkeypatch):
    sites = (site("s", 1, seconds=5 * H, habit=Habit("ida", (0,))),)
    master = Master(
        road(0, 10, 200), sites, (person("ida"), person("ben", 2, earliest=7 * H, latest=8 * H, paid=H))
    )
    monkeypatch.setattr(search, "territories", lambda _master, _seed: {"s": "ben"})

    assert plan_master(master, Budget(iterations=30)).after.habits["s"].technician == "ida"


def test_with_few_tries_little_is_touched_and_all_holds():
    checked(plan_master(master_round(8, 4), Budget(iterations=1)))


def test_what_is_held_but_cannot_go_on_is_free():
    stuck = site("stuck", 1, habit=Habit("ida", (6,)), held=True)
    master = Master(road(0, 20), (stuck,), (person("ida"),))

    assert {habit.weekdays for habit in habits_of(master, stuck, master.people[0])} == {
        (day,) for day in WORKDAYS
    }


def test_full_territories_exchange_sites(monkeypatch):
    places = [0, 60, *range(10), *range(50, 60)]
    wrong = {3: "ben", 14: "ida"}
    sites = tuple(
        site(f"s{n}", 2 + n, seconds=3 * H, habit=Habit(wrong.get(n, "ida" if n < 10 else "ben"), (n % 5,)))
        for n in range(20)
    )
    paid = int(10 * 4 * (3 * H + 1.3 * 100) / 20)  # what ten of them take, and no more
    master = Master(road(*places), sites, (person("ida", 0, paid=paid), person("ben", 1, paid=paid)))

    whose = territories(master, 1)

    assert (whose["s3"], whose["s14"]) == ("ida", "ben")
    assert sum(who == "ida" for who in whose.values()) == 10
    monkeypatch.setattr(drawing_up, "SWEEPS", 1)
    assert len(territories(master, 1)) == 20


def test_invented_clients_for_whom_nobody_has_room_are_new(monkeypatch):
    monkeypatch.setattr(drawn, "technicians_for", lambda _visits: 1)
    made = master_round(150, 1)

    assert len(made.people) == 1 and any(one.habit is None for one in made.sites)


def test_a_full_technician_takes_no_site_and_nobody_would_go_for_it(monkeypatch):
    monkeypatch.setattr(drawing_up, "SHARE", 0.0)  # paid hours alone count
    places = [0, 60, *range(11), *range(50, 60)]
    sites = tuple(
        site(f"s{n}", 2 + n, seconds=3 * H, habit=Habit("ida" if n < 10 else "ben", (n % 5,)))
        for n in range(21)
    )
    full = int(10 * 4 * (3 * H + 1.3 * 100) / 20)
    master = Master(road(*places), sites, (person("ida", 0, paid=full), person("ben", 1, paid=3 * full)))

    assert territories(master, 1) == {one.id: one.habit.technician for one in sites}
