"""What drives say of ways by the hour, and what that does to a round."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.rounds.hours import ALWAYS, Drive, Hours, band_of, by_band, factors_of, learned_way
from servicedesk.core.rounds.plan import REFILL
from servicedesk.core.rounds.problem import NO_WAY_S, Lunch, Problem, Refill, Window
from servicedesk.core.rounds.retiming import Late, retimed
from servicedesk.core.rounds.rules import judge
from tests.core.rounds.problems import H, M, drawn_problem, line, shift, visit

EIGHT, NOON, FOUR = 8 * H, 12 * H, 16 * H


def test_parts_of_the_day():
    assert [band_of(at) for at in (0, 10 * H - 1, 10 * H, 15 * H - 1, 15 * H, 24 * H - 1)] == [
        0,
        0,
        1,
        1,
        2,
        2,
    ]


def test_a_pair_is_pulled_to_what_was_seen_and_its_hours_from_there():
    way = learned_way(600, [Drive(EIGHT, 1200)] * 3 + [Drive(NOON, 600)] * 3)
    assert (way.value, way.seen, way.left_out) == (pytest.approx((3 * 600 + 3 * 1200 + 3 * 600) / 9), 6, ())

    morning, midday, afternoon = by_band(way, ALWAYS)
    assert morning == pytest.approx((3 * 800 + 3 * 1200) / 6)
    assert midday == pytest.approx((3 * 800 + 3 * 600) / 6)
    assert afternoon == pytest.approx(800)  # nothing seen there: the pair as a rule
    assert by_band(way, (1, 1, 1.5))[2] == pytest.approx(1200)


def test_nothing_seen_is_what_was_reckoned():
    way = learned_way(600, [])
    assert (way.value, way.seen) == (600, 0) and by_band(way, ALWAYS) == (600, 600, 600)
    assert factors_of([]) == ALWAYS and factors_of([way]) == ALWAYS


def test_outliers_are_left_out_with_the_reason():
    lunch, short, long, fine = (
        Drive(NOON, 2300, 1800),
        Drive(NOON, 150),
        Drive(NOON, 1900),
        Drive(NOON, 900, 1800),
    )
    way = learned_way(600, [lunch, short, long, fine])
    assert way.left_out == ((lunch, "lunch"), (short, "short"), (long, "long")) and way.kept == (fine,)


def test_who_had_time_to_wait_tells_nothing_of_the_way_but_who_was_late_or_quick_does():
    waited, late, quick = Drive(NOON, 1150, due=1300), Drive(NOON, 1300, due=650), Drive(NOON, 500, due=1300)
    later = Drive(NOON, 1799, due=1190)  # ten minutes to spare, and more than ten late
    way = learned_way(600, [waited, late, quick, later])
    assert way.left_out == ((waited, "wait"),) and way.kept == (late, quick, later)


def test_what_cannot_be_reckoned_is_refused():
    with pytest.raises(ValueError, match="planned"):
        learned_way(0, [Drive(NOON, 60)])


def test_the_part_of_the_day_counts_over_all_ways_together():
    ways = [learned_way(600, [Drive(EIGHT, 900)] * 30 + [Drive(NOON, 600)] * 30) for _n in range(3)]
    morning, midday, afternoon = factors_of(ways)
    value = ways[0].value
    assert morning == pytest.approx((10 + 90 * 900 / value) / 100) and morning > 1.15
    assert midday == pytest.approx((10 + 90 * 600 / value) / 100) and midday < 0.85
    assert afternoon == 1


def test_legs_by_the_hour_are_whole_minutes_and_no_way_stays_none():
    square = [[0, 610, NO_WAY_S], [590, 0, 60], [1, 1, 0]]
    hours = Hours(square, (1.5, 1.0, 1.0), {(1, 0): (700.0, 590.0, 600.4)})
    assert hours.leg(0, 1, EIGHT) == 16 * M and hours.leg(0, 1, NOON) == 11 * M
    assert [hours.leg(1, 0, at) for at in (EIGHT, NOON, FOUR)] == [12 * M, 10 * M, 10 * M]
    assert hours.leg(0, 2, EIGHT) == NO_WAY_S and hours.leg(0, 0, EIGHT) == 0
    assert hours.known and not Hours(square).known and Hours(square, pairs=hours.pairs).known


@given(
    st.integers(30, 7200),
    st.lists(st.builds(Drive, st.integers(0, 86_399), st.floats(60, 20_000)), max_size=20),
)
def test_an_average_lies_between_what_it_is_made_of(reckoned, drives):
    way = learned_way(reckoned, drives)
    seen = [drive.seconds for drive in way.kept] + [reckoned]
    assert min(seen) - 1e-6 <= way.value <= max(seen) + 1e-6
    assert len(way.kept) + len(way.left_out) == len(drives)
    assert all(min(seen) - 1e-6 <= value <= max(seen) + 1e-6 for value in by_band(way, ALWAYS))


def round_of(problem, *order):
    plan, faults = judge(problem, {("ada", 0): order})
    assert faults == []
    return problem.shifts[0], plan.rounds[0]


def slower(problem, factor, after=0):
    rows = problem.travel.rows
    return lambda a, b, at: round(rows[a][b] * (factor if at >= after else 1))


def test_a_round_as_planned_is_late_nowhere():
    problem = Problem(line(0, 10, 20), (visit("a", 1), visit("b", 2)), (shift(),))
    who, row = round_of(problem, "a", "b")
    assert retimed(problem, who, row, slower(problem, 1)) == ()


def test_the_first_way_begins_sooner_where_the_shift_allows_it():
    problem = Problem(line(0, 10, 20), (visit("a", 1, opens=9), visit("b", 2)), (shift(),))
    who, row = round_of(problem, "a", "b")
    assert row.stops[0].start == 9 * H
    late = retimed(problem, who, row, slower(problem, 2))
    assert late == (Late("b", row.stops[1].start, row.stops[1].start + 20 * M, 0),)
    assert late[0].late == 20 * M


def test_who_cannot_leave_sooner_is_late_and_beyond_the_window():
    problem = Problem(
        line(0, 30, 31), (visit("a", 1, opens=8, closes=8), visit("b", 2)), (shift(hours=(7 * H, 17 * H)),)
    )
    who, row = round_of(problem, "a", "b")
    first, second = retimed(problem, who, row, slower(problem, 1.5))
    assert first == Late("a", 8 * H, 8 * H + 30 * M, 30 * M)
    assert (second.visit, second.beyond) == ("b", 0) and second.start == 9 * H + 3 * M


def test_between_two_windows_one_waits_for_the_second():
    windows = (Window(0, 8 * H, 9 * H), Window(0, 13 * H, 14 * H))
    problem = Problem(line(0, 60), (visit("a", 1, windows=windows),), (shift(hours=(7 * H, 17 * H)),))
    who, row = round_of(problem, "a")
    assert row.stops[0].start == 9 * H
    assert retimed(problem, who, row, slower(problem, 1.1)) == (Late("a", 9 * H, 13 * H, 0),)


def test_lunch_is_eaten_whatever_the_hour_and_home_too_late_is_said():
    lunch = Lunch(30 * M, 12 * H, 13 * H)
    problem = Problem(
        line(0, 30), (visit("a", 1, minutes=120, opens=13, closes=13.5),), (shift(lunch=lunch, hours=(8 * H, 16 * H + 30 * M)),)
    )  # fmt: skip
    who, row = round_of(problem, "a")
    assert row.lunch is not None and row.stops[0].lunch is not None
    late = retimed(problem, who, row, slower(problem, 2, after=14 * H))
    assert [(one.visit, one.beyond) for one in late] == [("", 30 * M)]
    assert late[0].start == 17 * H and late[0].planned == row.back


def test_lunch_on_the_way_home_is_not_forgotten():
    lunch = Lunch(30 * M, 12 * H, 12 * H + 45 * M)
    problem = Problem(
        line(0, 30),
        (visit("a", 1, minutes=60, opens=11, closes=11),),
        (shift(lunch=lunch, hours=(8 * H, 13 * H + 45 * M)),),
    )
    who, row = round_of(problem, "a")
    assert row.lunch is not None and row.stops[0].lunch is None
    (home,) = retimed(problem, who, row, slower(problem, 1.5))
    assert (home.visit, home.start, home.beyond) == ("", 12 * H + 30 * M + 90 * M, 15 * M)


def test_taking_on_water_has_no_window():
    visits = (visit("a", 1, loads=(100,)), visit("b", 2, loads=(100,)))
    problem = Problem(line(0, 10, 20), visits, (shift(van=(100,), refill=Refill(0, 5 * M)),))
    who, row = round_of(problem, "a", REFILL, "b")
    late = retimed(problem, who, row, slower(problem, 2))
    assert [one.visit for one in late] == [REFILL, "b"] and all(one.beyond == 0 for one in late)


def test_an_empty_round_is_never_late():
    problem = Problem(line(0, 10), (visit("a", 1),), (shift(),))
    who, row = round_of(problem, "a")
    assert retimed(problem, who, row.__class__(**{**vars(row), "stops": ()}), slower(problem, 9)) == ()


@given(st.integers(0, 500), st.floats(1, 2))
def test_longer_ways_make_nobody_earlier_and_the_same_ways_nobody_late(seed, factor):
    problem = drawn_problem(seed)
    orders = {shift.key: [] for shift in problem.shifts}
    for one in problem.visits:
        for each in problem.shifts:
            key, tried = each.key, (*orders[each.key], one.id)
            plan, faults = judge(problem, {key: tried})
            if plan.rounds and not [f for f in faults if f.code not in ("missing", "pattern", "pair")]:
                orders[key] = tried
                break
    for row in judge(problem, orders)[0].rounds:
        who = problem.shift[row.key]
        assert retimed(problem, who, row, slower(problem, 1)) == ()
        planned = {stop.visit: stop.start for stop in row.stops} | {"": row.back}
        for late in retimed(problem, who, row, slower(problem, factor)):
            assert late.start > late.planned == planned[late.visit] and late.beyond >= 0
