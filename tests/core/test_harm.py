"""When harm begins: by the fall per day where a trend supports it, and in hours for life support."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core import units
from servicedesk.core.tracking.harm import BEARABLE_H, hours_to_limit, thinned, trend_per_day


def falling(by_day: float, *, days: int = 7, a_day: int = 4, start: float = 8.0) -> list[tuple[float, float]]:
    steps = days * a_day
    return [((steps - n) / a_day, start - by_day * n / a_day) for n in range(steps + 1)]


def test_nothing_measured_has_no_harm_in_sight():
    assert hours_to_limit([], low=6.3, high=None) is None


def test_three_values_are_no_trend():
    assert hours_to_limit([(2.0, 8.0), (1.0, 7.5), (0.0, 7.0)], low=6.3, high=None) is None


def test_values_of_one_afternoon_are_no_trend():
    points = [(0.4, 8.0), (0.3, 7.8), (0.2, 7.6), (0.1, 7.4), (0.0, 7.2)]

    assert hours_to_limit(points, low=6.3, high=None) is None


def test_a_fall_smaller_than_the_methods_tolerance_is_no_trend():
    assert hours_to_limit(falling(0.05), low=6.3, high=None, tolerance=0.4) is None


def test_a_steady_fall_reaches_its_limit_when_the_line_says_so():
    points = falling(0.1)  # 7.3 now, 1.0 over the limit: ten days, further than a trend is carried

    assert hours_to_limit(points, low=6.3, high=None) is None
    assert hours_to_limit(points, low=6.8, high=None) == pytest.approx(120.0)
    assert hours_to_limit(points, low=7.2, high=None) == pytest.approx(24.0)


def test_a_rise_goes_to_the_upper_limit_and_never_to_the_lower():
    points = [(ago, 16.0 - value) for ago, value in falling(0.1)]

    assert hours_to_limit(points, low=8.6, high=8.8) == pytest.approx(24.0)
    assert hours_to_limit(points, low=8.6, high=None) is None


def test_what_stands_beyond_its_limit_does_harm_now_whatever_its_trend():
    assert hours_to_limit([(0.0, 6.2)], low=6.3, high=11.0) == 0.0
    assert hours_to_limit([(0.0, 11.1)], low=6.3, high=11.0) == 0.0
    assert hours_to_limit([(0.0, 6.3)], low=6.3, high=11.0) is None


def test_one_wild_value_does_not_bend_the_line():
    points = falling(0.1)
    points[10] = (points[10][0], 3.0)

    assert hours_to_limit(points, low=7.2, high=None) == pytest.approx(24.0, abs=0.5)


def test_a_level_that_only_scatters_has_no_trend(seed):
    rng = random.Random(seed)
    found = [
        trend_per_day([((28 - n) / 4, 8 + rng.gauss(0, 0.1)) for n in range(29)], tolerance=0.0)
        for _n in range(200)
    ]

    assert sum(1 for slope in found if slope is not None) <= 10


@given(st.lists(st.tuples(st.floats(0, 50), st.floats(0, 20)), max_size=200))
def test_thinning_keeps_the_newest_and_invents_nothing(points):
    kept = thinned(points)

    assert len(kept) <= 48
    assert kept[-1:] == points[-1:]
    assert set(kept) <= set(points)


def test_every_life_support_signal_has_its_hours():
    assert set(BEARABLE_H) == {key for key, known in units.PARAMETERS.items() if known.signal}
