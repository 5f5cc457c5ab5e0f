"""An instrument's own habit: how long it is silent as a rule, how long it shows the same; and a first outlook."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.metrology.drift import Pair, off_on_average
from servicedesk.core.metrology.uncertainty import MethodSpec, Reference
from servicedesk.core.tracking.habit import alike_at_the_end, jumped, longest_silence, stuck
from servicedesk.core.tracking.outlook import outlook


def daily(values, per_day=4):
    return [n / per_day for n in range(len(values))]


def noisy(number, seed, step=0.05, spread=0.2):
    rng = random.Random(seed)
    return [round(rng.gauss(8, spread) / step) * step for _ in range(number)]


def test_a_new_instrument_is_silent_after_its_interval_and_grace():
    assert longest_silence(gaps=[60.0] * 19, interval=60, grace=15) == 75


def test_one_that_is_often_late_gets_a_quarter_over_its_longest_usual_gap():
    gaps = [60.0] * 95 + [200.0] * 5

    assert longest_silence(gaps=gaps, interval=60, grace=15) == 250


def test_one_that_reports_more_often_than_it_was_written_down_is_missed_sooner():
    assert longest_silence(gaps=[5.0] * 100, interval=360, grace=10) == 15


def test_one_wild_gap_in_a_hundred_is_not_usual():
    assert longest_silence(gaps=[60.0] * 200 + [4000.0], interval=60, grace=15) == 75


@pytest.mark.parametrize(
    "wrong", [{"interval": 0}, {"grace": -1}, {"gaps": [float("nan")]}, {"gaps": [-1.0]}]
)
def test_a_silence_of_what_cannot_be_is_refused(wrong):
    with pytest.raises(ValueError, match="above nought"):
        longest_silence(**{"gaps": [], "interval": 60, "grace": 5, **wrong})


@given(st.lists(st.floats(1, 500), min_size=20, max_size=60), st.floats(1, 100), st.floats(0, 100))
def test_more_grace_never_means_an_earlier_alarm(gaps, grace, more):
    assert longest_silence(gaps=gaps, interval=60, grace=grace + more) >= longest_silence(
        gaps=gaps, interval=60, grace=grace
    )


def test_the_same_for_longer_than_ever_is_stuck():
    seed = random.randrange(2**32)
    print(f"seed {seed}")
    values = noisy(120, seed) + [8.1] * 25

    found = stuck(values=values, days=daily(values), step=0.05)

    assert found is not None
    assert found.alike >= 25 and found.before < 12


def test_one_step_up_and_down_is_stuck_too():
    values = noisy(160, 4) + [8.0 + 0.05 * (n % 3 - 1) for n in range(40)]

    assert stuck(values=values, days=daily(values), step=0.05) is not None


def test_what_is_always_steady_is_not_stuck_for_being_steady():
    values = ([25.0] * 20 + [25.1] * 20) * 6 + [25.0] * 25

    assert stuck(values=values, days=daily(values), step=0.0) is None


def test_before_its_habit_is_known_nothing_is_stuck():
    short = noisy(29, 3) + [8.0] * 30
    assert stuck(values=short, days=daily(short), step=0.05) is None

    quick = noisy(60, 3) + [8.0] * 60
    assert stuck(values=quick, days=daily(quick, per_day=48), step=0.05) is None
    assert stuck(values=[], days=[], step=0.05) is None


def test_what_lasts_less_than_it_must_is_not_stuck():
    values = noisy(120, 6) + [8.1] * 25

    assert stuck(values=values, days=daily(values), step=0.05, least_days=6.0) is not None
    assert stuck(values=values, days=daily(values), step=0.05, least_days=7.0) is None


def test_noise_is_never_stuck_in_a_hundred_draws():
    for seed in range(100):
        values = noisy(300, seed)
        assert stuck(values=values, days=daily(values), step=0.05) is None, seed


@pytest.mark.parametrize(
    "wrong",
    [{"step": -1}, {"values": [1.0, float("nan")], "days": [0.0, 1.0]}, {"days": [0.0]}],
)
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(ValueError, match="step is nought"):
        stuck(**{"values": [1.0, 2.0], "days": [0.0, 1.0], "step": 0.1, **wrong})


def test_results_alike_are_counted_from_the_end():
    assert alike_at_the_end([1, 5, 5, 5], width=0) == 3
    assert alike_at_the_end([1, 5, 5.1, 5], width=0.1) == 3
    assert alike_at_the_end([], width=1) == 0


def test_a_value_alone_far_from_its_history_jumped_and_one_that_follows_did_not():
    calm = [8.0, 8.1, 8.0, 8.05, 8.1, 8.0, 8.05, 8.1, 8.0]

    assert jumped(values=[*calm, 2.9], allowed=0.5)
    assert not jumped(values=[*calm, 8.3], allowed=0.5)
    assert not jumped(values=[*calm, 2.9], allowed=6.0)
    assert not jumped(values=[*calm[:7], 2.9], allowed=0.5)
    assert not jumped(values=[8.0, 7.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0, 0.5, 0.2], allowed=0.1)


def test_several_tests_that_are_over_on_average_tell_what_one_does_not():
    own = MethodSpec("I", "titrator", tolerance_abs=0.3)

    def pair(shown, u=0.1):
        return Pair(0, Reference(8.0, u, 2 * u, 2.0, 1, 1, 0.0, True), shown)

    assert off_on_average(pairs=[pair(8.6)], instrument=own) is None
    assert off_on_average(pairs=[pair(8.6), pair(8.6), pair(8.62)], instrument=own).verdict == "outside"
    assert off_on_average(pairs=[pair(8.0), pair(8.02)], instrument=own).verdict == "within"
    assert off_on_average(pairs=[pair(8.3), pair(8.45)], instrument=own).verdict == "cannot be told"
    assert off_on_average(pairs=[pair(7.3), pair(7.3)], instrument=own).verdict == "outside"


def test_an_outlook_holds_nine_of_ten_of_a_walk():
    rng, inside, n = random.Random(8), 0, 300
    for _ in range(n):
        walk = [8.0]
        for _step in range(160):
            walk.append(walk[-1] + rng.gauss(0, 0.05))
        found = outlook(points=[(float(h), v) for h, v in enumerate(walk[:120])], horizon=24.0)
        inside += found.low <= walk[119 + 24] <= found.high

    assert 0.82 <= inside / n <= 0.97


def test_an_outlook_of_few_values_is_wide_and_of_none_refused():
    found = outlook(points=[(0.0, 8.0), (1.0, 8.2)], horizon=24.0)

    assert found.value == pytest.approx(8.1)
    assert found.high - found.low == pytest.approx(2 * 1.645 * 0.05 * 8.1)
    for points, horizon in (([], 24.0), ([(0.0, 8.0)], 0.0), ([(0.0, float("nan"))], 24.0)):
        with pytest.raises(ValueError, match="needs values"):
            outlook(points=points, horizon=horizon)
