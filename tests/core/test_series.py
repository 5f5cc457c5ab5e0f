"""Published series and the statistics that reproduce them; what the statistics refuse."""

import json
import math
import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.checks import BadRows, check
from servicedesk.core.checks.series import RULES, read_series
from servicedesk.core.metrology import agreement, charts, lines, trends
from servicedesk.core.metrology.agreement import NoAgreement
from servicedesk.core.metrology.charts import NoChart
from servicedesk.core.metrology.lines import NoLine
from servicedesk.core.metrology.quantiles import NoQuantile, coverage_factor

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "reference"
ROWS = {row.id: row for row in read_series((FOLDER / "series.json").read_text("utf-8"))}
WESTGARD = json.loads((FOLDER / "westgard.json").read_text("utf-8"))


@pytest.mark.parametrize("key", sorted(ROWS))
def test_a_published_number_of_a_series_is_met_within_its_own_tolerance(key):
    found = check(ROWS[key], RULES)

    assert found.outcome == "passed", (found.got, ROWS[key].expected, found.why)


def test_every_number_of_every_series_is_read():
    assert len(ROWS) == 128
    assert {key.split(".")[0] for key in ROWS} == {
        s["id"] for s in json.loads((FOLDER / "series.json").read_text("utf-8"))["series"]
    }


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"series": [{}]}', '{"series": [1]}'])
def test_a_file_of_another_form_is_refused(text):
    with pytest.raises(BadRows, match="no series"):
        read_series(text)


@pytest.mark.parametrize("case", WESTGARD["single_level"] + WESTGARD["two_levels"], ids=json.dumps)
def test_the_multirule_fires_where_it_was_defined_to(case):
    runs = case.get("runs") or [[z] for z in case["z"]]

    fired = charts.multirule(runs=runs)

    assert {rule: [place + 1 for place in places] for rule, places in fired.items()} == case["fires"]


def test_student_s_t_at_one_degree_and_at_many():
    assert coverage_factor(freedom=1) == pytest.approx(12.706, abs=5e-4)  # GUM table G.2
    assert coverage_factor(freedom=1.99) == coverage_factor(freedom=1)
    assert coverage_factor() == pytest.approx(1.959964, abs=1e-6)


@pytest.mark.parametrize(("confidence", "freedom"), [(0, 5), (1, 5), (0.95, 0.5), (0.95, math.nan)])
def test_no_quantile_where_there_is_none(confidence, freedom):
    with pytest.raises(NoQuantile):
        coverage_factor(confidence=confidence, freedom=freedom)


def test_a_line_without_scatter_comes_back_as_it_was_and_answers_both_ways():
    line = lines.least_squares(x=[1, 2, 3, 4], y=[5, 7, 9, 11], origin=2)

    assert (line.slope, line.intercept, line.scatter) == pytest.approx((2, 7, 0))
    assert line.needed_x(9) == pytest.approx(3)
    assert line.u_at(3) == pytest.approx(0)


def test_a_level_line_tells_nothing_apart():
    line = lines.least_squares(x=[1, 2, 3], y=[4, 4, 4])

    assert line.explained == 0
    with pytest.raises(NoLine, match="level"):
        line.needed_x(4)


@pytest.mark.parametrize(
    ("x", "y"), [([1, 2], [1, 2]), ([1, 2, 3], [1, 2]), ([1, 1, 1], [1, 2, 3]), ([1, 2, math.nan], [1, 2, 3])]
)
def test_no_line_through_too_little(x, y):
    with pytest.raises(NoLine):
        lines.least_squares(x=x, y=y)


def test_deming_refuses_columns_without_relation_and_a_ratio_of_nought():
    with pytest.raises(NoLine, match="nothing to do"):
        lines.deming(x=[0, 1, 2], y=[1, 0, 1])
    with pytest.raises(NoLine, match="ratio"):
        lines.deming(x=[0, 1, 2], y=[0, 1, 2], variance_ratio=0)


@given(st.floats(0.3, 3), st.floats(-5, 5), st.integers(0, 10**6))
def test_deming_finds_a_line_that_both_columns_scatter_about(slope, intercept, seed):
    drawn = random.Random(seed)
    true = [drawn.uniform(0, 100) for _ in range(40)]
    x = [t + drawn.gauss(0, 0.1) for t in true]
    y = [intercept + slope * t + drawn.gauss(0, 0.1) for t in true]

    found = lines.deming(x=x, y=y)

    assert found == pytest.approx((intercept, slope), abs=0.35), seed


def test_a_trend_of_level_values_is_none_at_all():
    found = trends.trend(values=[3, 3, 3, 3, 4, 3, 3, 3], times=[0, 1, 2, 4, 5, 6, 8, 9])

    assert found.slope == 0
    assert found.chance > 0.5
    assert trends.trend(values=[1, 2, 2, 1]).z == 0


@given(st.lists(st.floats(-50, 50).map(lambda v: round(v, 1)), min_size=6, max_size=25, unique=True))
def test_turning_the_values_over_turns_the_trend_over(values):
    one, other = trends.trend(values=values), trends.trend(values=[-v for v in values])

    assert other.count == -one.count
    assert other.slope == pytest.approx(-one.slope)
    assert one.low <= one.slope <= one.high


@pytest.mark.parametrize(
    "given",
    [
        {"values": [1, 2, 3]},
        {"values": [1, 2, 3, 4], "times": [1, 2, 3]},
        {"values": [1, 2, 3, math.inf]},
        {"values": [1, 2, 3, 4], "times": [1, 1, 2, 3]},
        {"values": [1, 2, 3, 4], "confidence": 1},
    ],
)
def test_no_trend_of_what_is_not_a_series(given):
    with pytest.raises(NoLine):
        trends.trend(**given)


def test_charts_refuse_what_they_cannot_draw():
    with pytest.raises(NoChart, match="Smoothing"):
        charts.ewma(values=[1], target=1, smoothing=0)
    with pytest.raises(NoChart, match="slack"):
        charts.cusum(values=[1], target=1, slack=-1, limit=1)
    with pytest.raises(NoChart, match="2 values"):
        charts.individuals(values=[1])
    with pytest.raises(NoChart, match="1 values"):
        charts.multirule(runs=[[]])


def test_sums_that_never_pass_the_limit_say_so():
    assert charts.cusum(values=[1, -1, 1], target=0, slack=0.5, limit=5).first is None


def test_a_smoothed_value_may_lie_less_far_away_at_the_start():
    first, later, long_run = (
        charts.ewma_reach(sigma=1, smoothing=0.2, place=0),
        charts.ewma_reach(sigma=1, smoothing=0.2, place=5),
        charts.ewma_reach(sigma=1, smoothing=0.2),
    )

    assert first == pytest.approx(0.6)
    assert first < later < long_run


def test_what_cannot_be_compared_is_refused():
    with pytest.raises(NoAgreement, match="partner"):
        agreement.limits_of_agreement(first=[1, 2, 3], second=[1, 2])
    with pytest.raises(NoAgreement, match="6 values"):
        agreement.limits_of_agreement(first=[1, 2], second=[1, 2])
    with pytest.raises(NoAgreement, match="uncertainty"):
        agreement.weighted_mean(values=[1, 2], standard_uncertainties=[0.1, 0])
    with pytest.raises(NoAgreement, match="two groups"):
        agreement.scatter_of(groups=[[1, 2]])
    with pytest.raises(NoAgreement, match="No group differs"):
        agreement.scatter_of(groups=[[1, 1], [2, 2]])


def test_methods_that_agree_are_not_widened():
    found = agreement.weighted_mean(values=[8.0, 8.1], standard_uncertainties=[0.2, 0.2])

    assert (found.value, found.u) == pytest.approx((8.05, 0.2 / math.sqrt(2)))
    assert found.u_widened == found.u
