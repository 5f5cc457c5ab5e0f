"""Results before a dose was mixed in: which they are, which still count, and when tests and doses always collide."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.tables import read_csv
from servicedesk.core.tracking.mixed import MOVED, clash, counting, moved_by, since_dose


@pytest.mark.parametrize(
    ("parameter", "composition", "moves", "not_moves"),
    [
        ("alkalinity", "", {"alkalinity", "ph", "carbonate_hardness"}, {"calcium"}),
        ("calcium", "CaCl2", {"calcium", "general_hardness"}, {"alkalinity", "ph", "magnesium"}),
        ("calcium", "Ca(OH)2", {"calcium", "alkalinity", "ph", "general_hardness"}, {"magnesium"}),
        ("magnesium", "MgCl2 6H2O", {"magnesium", "general_hardness"}, {"calcium"}),
        ("ph", "Na2CO3", {"ph", "alkalinity"}, {"calcium"}),
        ("nitrate", "KNO3", {"nitrate"}, {"phosphate", "ph"}),
        ("level", "", {"level"}, {"salinity"}),
    ],
)
def test_a_solution_moves_what_it_is_for_and_what_hangs_on_that(parameter, composition, moves, not_moves):
    found = moved_by(parameter, composition)

    assert moves <= found and not found & not_moves


def test_what_is_moved_is_a_parameter_and_a_solution_moves_its_own():
    known = {row["key"] for row in read_csv("parameters.csv")}
    assert set(MOVED) <= known
    for parameter in known:
        assert parameter in moved_by(parameter) <= known


@pytest.mark.parametrize(
    ("at", "minutes"),
    [(9.9, None), (10, 0), (22, 12), (39.9, 29.9), (40, None), (61, 1), (95, 5), (130, None)],
)
def test_a_result_is_marked_within_the_minutes_after_the_last_dose(at, minutes):
    found = since_dose(at, [10, 60, 90], 30)

    assert found == (None if minutes is None else pytest.approx(minutes))


@given(st.lists(st.floats(0, 1e4), max_size=30), st.floats(0, 1e4), st.floats(0, 500))
def test_it_is_marked_exactly_where_some_dose_was_that_near(doses, at, within):
    found = since_dose(at, sorted(doses), within)

    near = [at - dose for dose in doses if 0 <= at - dose < within]
    assert (found is None) == (not near)
    assert found is None or found == min(near)


@pytest.mark.parametrize(
    ("values", "marked", "counts"),
    [
        ([8.0, 8.1], [False, False], [True, True]),
        ([8.0, 9.0], [False, True], [True, False]),
        ([8.0, 9.0, 9.1], [False, True, True], [True, True, False]),
        ([8.0, 9.0, 8.0], [False, True, False], [True, False, True]),
        ([8.0, 9.0, 8.9], [False, True, False], [True, True, True]),
        ([9.0], [True], [False]),
        ([], [], []),
    ],
)
def test_a_marked_result_counts_where_the_following_says_the_same(values, marked, counts):
    assert counting(values, marked, 0.2) == counts


def test_marks_without_values_and_less_than_nothing_alike_are_refused():
    with pytest.raises(ValueError, match="its mark"):
        counting([8.0], [], 0.1)
    with pytest.raises(ValueError, match="its mark"):
        counting([8.0], [True], -0.1)


def hours(minute, number=24, every=60):
    return [float(every * n + minute) for n in range(number)]


@pytest.mark.parametrize(
    ("tests", "doses", "within", "found"),
    [
        (hours(10), hours(0), 30, (24, 24, 34, True)),  # free from 20 to 49 minutes later
        (hours(10), hours(0), 10, None),
        (hours(10, 7), hours(0), 30, None),
        (hours(10), hours(0), 60, (24, 24, None, True)),
        (hours(10), hours(0), 90, (24, 24, None, True)),
        (hours(10), hours(0, every=120, number=12), 30, None),  # every second one
        (hours(10, every=360), hours(0, 160), 30, (24, 24, 36, True)),
        (hours(10, every=31, number=40), hours(0, every=15, number=120), 15, (24, 24, None, False)),
        (hours(58, 12), hours(58, 12), 30, (12, 12, 44, True)),
    ],
)
def test_tests_and_doses_that_always_collide_are_found_with_a_time_that_is_free(tests, doses, within, found):
    said = clash(tests=tests, doses=doses, within=within)

    if found is None:
        assert said is None
        return
    marked, number, later, hourly = found
    assert (said.marked, said.tests, said.hourly) == (marked, number, hourly)
    assert said.later == later
    if said.later:
        known = [at + said.later for at in tests if at + said.later <= doses[-1] + within]
        assert known and not any(since_dose(at, doses, within) is not None for at in known)


def test_of_one_test_in_ten_that_does_not_collide_it_is_said_all_the_same():
    tests = [*hours(10, 18), 18 * 60 + 40.0, 19 * 60 + 10.0]

    said = clash(tests=tests, doses=hours(0), within=30)

    assert (said.marked, said.tests, said.hourly) == (19, 20, False)
