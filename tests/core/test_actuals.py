"""An average that begins at the plan."""

import math

import pytest

from servicedesk.core.rounds.actuals import Learned, learned


def test_nothing_seen_is_the_plan():
    assert learned(40, []) == Learned(40, 0)


def test_the_plan_counts_as_three_and_what_was_seen_pulls_the_more_the_oftener():
    assert learned(30, [60]).value == pytest.approx((3 * 30 + 60) / 4)
    assert learned(30, [60] * 27).value == pytest.approx((3 * 30 + 27 * 60) / 30)
    assert learned(30, [60], weight=0).value == 60
    assert learned(30, [10, 90]).value == pytest.approx((90 + 100) / 5)  # just within


def test_what_is_far_off_is_left_out_and_named():
    found = learned(30, [9.9, 30, 90.1])

    assert found == Learned(30, 1, ((9.9, "short"), (90.1, "long")))
    assert learned(30, [1]) == Learned(30, 0, ((1, "short"),))


@pytest.mark.parametrize(
    ("planned", "seen", "weight"),
    [(0, [], 3), (-1, [], 3), (math.inf, [], 3), (1, [math.nan], 3), (1, [1], -1)],
)
def test_what_cannot_be_is_refused(planned, seen, weight):
    with pytest.raises(ValueError, match="What was"):
        learned(planned, seen, weight=weight)
