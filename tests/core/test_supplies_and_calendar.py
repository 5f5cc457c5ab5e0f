import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from uuid import uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.inventory import reorder
from servicedesk.core.recurrence.due import Rule, RuleWrong, next_due, occurrences
from servicedesk.core.sheets import FieldEntry, winner
from servicedesk.core.tracking.history import expected, slope_per_day

TODAY = date(2026, 11, 25)


def test_one_litre_made_up_to_a_quarter_more_at_7_ml_is_178_whole_tests():
    """Common practice, no source."""
    assert reorder.tests_left(left_ml=1000 * 1.25, ml_per_test=7) == 178


def test_14_ml_make_two_tests_of_7():
    assert reorder.tests_left(left_ml=14.0, ml_per_test=7.0) == 2


@pytest.mark.parametrize(("left", "use", "days"), [(100, 10, 10), (0, 10, 0), (-3, 10, 0), (50, 0, None)])
def test_days_until_empty(left, use, days):
    assert reorder.days_until_empty(left_ml=left, ml_per_day=use) == days


def test_empty_day_and_the_day_by_which_to_order():
    empty = reorder.empty_on(today=TODAY, left_ml=105, ml_per_day=10)

    assert empty == date(2026, 12, 5)
    assert reorder.must_order_by(empty=empty, lead_days=5) == date(2026, 11, 30)


@pytest.mark.parametrize(("days", "needed"), [(10, True), (11, False)])
def test_order_is_needed_when_it_runs_empty_before_lead_time_and_next_visit(days, needed):
    empty = TODAY + timedelta(days=days)

    assert reorder.order_needed(empty=empty, today=TODAY, lead_days=5, days_to_next_visit=6) is needed


def test_what_a_visits_tests_cost_together():
    assert reorder.cost_per_visit([Decimal("0.1348"), Decimal("0.25"), Decimal("1")]) == Decimal("1.38")


def test_what_is_not_used_never_runs_empty():
    assert reorder.empty_on(today=TODAY, left_ml=105, ml_per_day=0) is None


def test_amounts_that_cannot_be_are_refused():
    with pytest.raises(reorder.NotCounted):
        reorder.days_until_empty(left_ml=5, ml_per_day=-1)
    with pytest.raises(reorder.NotCounted):
        reorder.tests_left(left_ml=5, ml_per_test=0)


def test_cost_per_test_counts_whole_tests():
    assert reorder.cost_per_test(
        price=Decimal("24"), pack_ml=1000, ml_per_test=7, made_up_to=1.25
    ) == Decimal("0.1348")
    with pytest.raises(reorder.NotCounted):
        reorder.cost_per_test(price=Decimal("24"), pack_ml=5, ml_per_test=7)


def test_monthly_on_the_31st_falls_on_the_last_day():
    found = [
        w.due for w in occurrences(Rule(1, "months", date(2026, 1, 31)), date(2026, 1, 1), date(2026, 6, 30))
    ]

    assert found == [
        date(2026, 1, 31),
        date(2026, 2, 28),
        date(2026, 3, 31),
        date(2026, 4, 30),
        date(2026, 5, 31),
        date(2026, 6, 30),
    ]


def test_a_window_shorter_than_nothing_is_refused():
    for before, after in ((-1, 0), (0, -1)):
        with pytest.raises(RuleWrong):
            Rule(1, "weeks", TODAY, before_days=before, after_days=after)


def test_rule_without_a_weekday_keeps_the_anchors_day():
    found = [w.due for w in occurrences(Rule(1, "weeks", TODAY), TODAY, TODAY + timedelta(days=15))]

    assert found == [TODAY, TODAY + timedelta(days=7), TODAY + timedelta(days=14)]


def test_29_february_yearly_falls_on_28_in_other_years():
    found = [
        w.due
        for w in occurrences(Rule(12, "months", date(2024, 2, 29)), date(2025, 1, 1), date(2028, 12, 31))
    ]

    assert found == [date(2025, 2, 28), date(2026, 2, 28), date(2027, 2, 28), date(2028, 2, 29)]


def test_weeks_begin_on_the_named_weekday():
    rule = Rule(2, "weeks", date(2026, 11, 25), weekday=0, before_days=1, after_days=2)

    window = next_due(rule, date(2026, 11, 25))

    assert (window.earliest, window.due, window.latest) == (
        date(2026, 11, 29),
        date(2026, 11, 30),
        date(2026, 12, 2),
    )


@pytest.mark.parametrize("given_", [(0, "days", None), (1, "years", None), (1, "days", 2), (1, "weeks", 9)])
def test_rule_that_cannot_be_is_refused(given_):
    every, unit, weekday = given_
    with pytest.raises(RuleWrong):
        Rule(every, unit, TODAY, weekday=weekday)


@given(
    st.integers(1, 60),
    st.sampled_from(["days", "weeks", "months"]),
    st.dates(date(2020, 1, 1), date(2030, 1, 1)),
)
def test_occurrences_in_two_halves_are_those_of_the_whole(every, unit, first):
    rule, middle, last = (
        Rule(every, unit, date(2021, 3, 31)),
        first + timedelta(days=40),
        first + timedelta(days=90),
    )

    halves = occurrences(rule, first, middle) + occurrences(rule, middle + timedelta(days=1), last)

    assert halves == occurrences(rule, first, last)


@given(st.permutations(range(6)))
def test_merging_sheets_in_any_order_gives_the_same_sheet(order):
    at = datetime(2026, 1, 1, tzinfo=UTC)
    keys = [uuid4() for _n in range(6)]
    entries = [
        FieldEntry(
            "summary" if n % 2 else "staff_do", f"text {n // 2}", at + timedelta(minutes=n // 3), keys[n]
        )
        for n in range(6)
    ]

    assert winner([entries[n] for n in order]) == winner(entries)


def test_history_of_a_steady_fall_expects_the_fall_to_go_on():
    found = expected([(28, 9.0), (21, 8.5), (14, 8.0), (7, 7.5)], tolerance=0.1)

    assert found is not None
    assert found.centre == pytest.approx(7.0)
    assert found.low < 7.0 < found.high


def test_slope_agrees_with_the_published_series():
    """Annual flow of the Nile (Cobb 1978) with Sen's slope (Sen 1968)."""
    path = Path(__file__).resolve().parents[2] / "fixtures" / "reference" / "series.json"
    series = json.loads(path.read_text(encoding="utf-8"))["series"]
    row = next(s for s in series if s["id"] == "f_nile")
    flows, wanted = row["data"]["x"], row["expected"]["sen_slope"]

    got = slope_per_day([(float(len(flows) - n), flow) for n, flow in enumerate(flows)])

    assert abs(got - wanted["value"]) <= wanted["tol"]


def test_history_carries_a_slope_no_further_than_can_be():
    points = [(4, 10.0), (3, 9.0), (2, 8.0), (1, 7.0)]

    found = expected(points, tolerance=0.1, steepest=0.5)

    assert found is not None
    assert found.centre == pytest.approx(7.25)


@given(st.lists(st.floats(1, 20), min_size=4, max_size=12), st.floats(0, 2), st.floats(0, 2))
def test_a_wider_method_never_narrows_what_history_expects(values, tolerance, more):
    points = [(float(len(values) - n), value) for n, value in enumerate(values)]
    narrow, wide = expected(points, tolerance=tolerance), expected(points, tolerance=tolerance + more)

    assert narrow is not None
    assert wide is not None
    assert wide.low <= narrow.low <= narrow.centre <= narrow.high <= wide.high


def test_one_wild_value_does_not_move_what_history_expects():
    steady = [(n * 7.0, 8.0 + 0.1 * (n % 2)) for n in range(1, 8)]
    wild = [*steady[:3], (28.0, 80.0), *steady[4:]]

    found, kept = expected(wild, tolerance=0.2), expected(steady, tolerance=0.2)

    assert found is not None
    assert kept is not None
    assert found.centre == pytest.approx(kept.centre, abs=0.15)


def test_history_of_three_values_expects_nothing():
    assert expected([(3, 1.0), (2, 1.0), (1, 1.0)]) is None
    assert slope_per_day([(1, 1.0)]) is None


def test_a_months_cost_is_rounded_to_the_hundredth_and_what_cannot_be_is_refused():
    assert reorder.cost_per_month(each=Decimal("0.124"), a_month=121.75) == Decimal("15.10")
    for each, many in (
        (Decimal("-1"), 1.0),
        (Decimal(1), -1.0),
        (Decimal(1), float("inf")),
        (Decimal(1), float("nan")),
    ):
        with pytest.raises(reorder.NotCounted, match="nought or more"):
            reorder.cost_per_month(each=each, a_month=many)
