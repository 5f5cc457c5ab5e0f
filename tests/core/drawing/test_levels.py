"""Levels: where a value stands against its own two lines."""

from dataclasses import replace
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.drawing.levels import LevelRow, level_svg, place

ALKALINITY = LevelRow(
    "Alkalinity", "6.9", "dKH", 6.9, low=7.2, high=9.0, alarm_low=6.3, alarm_high=11.0, last=7.9, state="low"
)
SVG = "{http://www.w3.org/2000/svg}"


def drawn(row: LevelRow, **size: float) -> ElementTree.Element:
    return ElementTree.fromstring(level_svg(row, **size))


def nested(row: LevelRow) -> list[tuple[str | None, str | None]]:
    """Where the tail's foot and the mark stand, in that order."""
    return [(svg.get("x"), svg.get("y")) for svg in drawn(row).findall(f"{SVG}svg")]


@pytest.mark.parametrize(
    ("value", "percent"),
    [(6.3, 8), (6.75, 19), (7.2, 30), (8.1, 50), (9.0, 70), (10.0, 81), (11.0, 92), (0.0, 4), (99.0, 96)],
)
def test_a_value_stands_between_its_lines(value: float, percent: float) -> None:
    assert place(value, ALKALINITY) == pytest.approx(percent)


def test_a_row_without_a_band_has_no_place() -> None:
    assert place(402.0, LevelRow("Potassium", value=402.0)) is None


@pytest.mark.parametrize(("low", "high"), [(9.0, 7.2), (8.0, 8.0)])
def test_a_band_that_is_no_band_has_no_place(low: float, high: float) -> None:
    assert place(8.0, LevelRow("Alkalinity", value=8.0, low=low, high=high)) is None


def test_a_limit_inside_the_band_is_left_out() -> None:
    row = replace(ALKALINITY, alarm_low=7.5)

    assert (place(7.2, row), place(9.0, row)) == (30.0, 70.0)


@pytest.mark.parametrize(("value", "percent"), [(0.0, 30), (0.05, 70), (0.2, 92)])
def test_a_row_without_a_low_line_begins_at_nothing(value: float, percent: float) -> None:
    row = LevelRow("Ammonia", value=value, high=0.05, alarm_high=0.2)

    assert place(value, row) == pytest.approx(percent)


@given(
    edges=st.lists(st.floats(-1e4, 1e4), min_size=4, max_size=4, unique_by=lambda value: round(value, 3)),
    values=st.tuples(st.floats(-2e4, 2e4), st.floats(-2e4, 2e4)),
)
def test_a_higher_value_never_stands_further_left(edges: list[float], values: tuple[float, float]) -> None:
    alarm_low, low, high, alarm_high = sorted(edges)
    row = LevelRow("Any", low=low, high=high, alarm_low=alarm_low, alarm_high=alarm_high)
    smaller, larger = sorted(values)
    left, right = place(smaller, row), place(larger, row)

    assert left is not None and right is not None
    assert 4.0 <= left <= right <= 96.0


def test_the_lines_of_every_row_stand_in_the_same_places() -> None:
    lines = [
        (line.get("class"), line.get("x1"), line.get("x2"))
        for line in drawn(ALKALINITY).findall(f"{SVG}line")
    ]

    assert lines == [
        ("d-mark", "30%", "30%"),
        ("d-mark", "70%", "70%"),
        ("d-limit", "8%", "8%"),
        ("d-limit", "92%", "92%"),
        ("d-tail", "45.56%", "22.67%"),
    ]


def test_the_mark_stands_at_its_value_and_the_foot_at_the_last_one() -> None:
    assert nested(ALKALINITY) == [("45.56%", "50%"), ("22.67%", "50%")]


def test_what_was_not_tested_shows_its_last_value_without_a_tail() -> None:
    row = replace(ALKALINITY, value=None, value_text="", kind="not_tested", state="none")

    assert nested(row) == [("45.56%", "50%")]
    assert "d-tail" not in level_svg(row)


def test_a_row_on_paper_is_drawn_in_lengths_with_its_colours() -> None:
    root = ElementTree.fromstring(level_svg(ALKALINITY, width=200, height=30, mode="paper"))
    glass, low = root.find(f"{SVG}rect"), root.find(f"{SVG}line")

    assert glass is not None and low is not None
    assert glass.attrib == {"fill": "#cce7da", "x": "60", "y": "0", "width": "80", "height": "30"}
    assert (low.get("x1"), low.get("y2"), low.get("stroke")) == ("60", "30", "#244b3e")
    assert root.find(".//*[@class='d-mark']") is None


@pytest.mark.parametrize(
    ("state", "kind", "mark", "tone"),
    [
        ("in", "measured", "in", "hold"),
        ("low", "measured", "low", "out"),
        ("over", "measured", "over", "act"),
        ("again", "measured", "again", "ask"),
        ("in", "expected", "expect", "soft"),
        ("low", "inferred", "infer", "out"),
        ("none", "not_tested", "none", "soft"),
    ],
)
def test_shape_says_how_it_was_come_by_and_tone_what_it_is(
    state: str, kind: str, mark: str, tone: str
) -> None:
    row = LevelRow("Any", value=1.0, state=state, kind=kind)  # type: ignore[arg-type]

    assert (row.mark, row.tone) == (mark, tone)


@pytest.mark.parametrize("state", ["in", "low", "high", "under", "over", "again", "check", "doubt"])
@pytest.mark.parametrize("mode", ["page", "paper"])
def test_each_state_has_a_shape_of_its_own(state: str, mode: str) -> None:
    others = {
        level_svg(replace(ALKALINITY, state=other), mode=mode)  # type: ignore[arg-type]
        for other in ("in", "low", "high", "under", "over", "again", "check", "doubt")
        if other != state
    }

    assert level_svg(replace(ALKALINITY, state=state), mode=mode) not in others  # type: ignore[arg-type]


def test_a_measure_to_be_checked_has_dashed_lines_and_keeps_its_verdict():
    row = LevelRow("Alkalinity", "8.0", "dKH", 8.0, 7.2, 9.0, state="in", trust="to_check")
    text = level_svg(row)

    assert (row.mark, row.tone) == ("in", "hold")
    assert text.count('class="d-mark d-dash"') == 2


def test_a_believed_measure_has_whole_lines():
    row = LevelRow("Alkalinity", "8.0", "dKH", 8.0, 7.2, 9.0, state="in", trust="believed")

    assert "d-dash" not in level_svg(row)


def test_what_is_not_to_be_acted_on_leans_and_is_hollow_whatever_its_value():
    row = LevelRow("Alkalinity", "6.1", "dKH", 6.1, 7.2, 9.0, 6.3, state="under", trust="not_to_act_on")
    text = level_svg(row)

    assert (row.mark, row.tone) == ("doubt", "soft")
    assert 'x1="31.75%" y1="0" x2="28.25%" y2="100%"' in text
    assert 'class="d-hollow"' in text
    assert 'class="d-solid"' not in text


def test_what_was_not_tested_has_no_doubt():
    row = LevelRow("Alkalinity", low=7.2, high=9.0, last=8.0, kind="not_tested", trust="not_to_act_on")

    assert row.mark == "none"


def test_a_row_without_a_high_line_ends_at_twice_its_low_one_and_draws_only_that() -> None:
    row = LevelRow("Oxygen", "7.5", "mg/L", 7.5, low=5.0, state="in")

    assert (place(5.0, row), place(7.5, row), place(10.0, row)) == (30.0, 50.0, 70.0)
    assert [line.get("x1") for line in drawn(row).findall(f"{SVG}line[@class='d-mark']")] == ["30%"]


def test_a_band_below_nothing_without_a_low_line_begins_a_step_under_it() -> None:
    row = LevelRow("Redox", value=-60.0, high=-50.0)

    assert (place(-100.0, row), place(-75.0, row)) == (30.0, 50.0)


def test_without_a_band_nothing_is_drawn() -> None:
    assert list(drawn(LevelRow("Potassium", "402", "mg/L", 402.0))) == []


def test_a_band_without_any_value_is_drawn_without_a_mark() -> None:
    row = replace(ALKALINITY, value=None, last=None)

    assert nested(row) == []
    assert len(drawn(row).findall(f"{SVG}line[@class='d-mark']")) == 2


def test_a_limit_that_does_not_count_is_not_drawn() -> None:
    row = replace(ALKALINITY, alarm_low=7.5, alarm_high=None)

    assert drawn(row).findall(f"{SVG}line[@class='d-limit']") == []
    assert len(drawn(ALKALINITY).findall(f"{SVG}line[@class='d-limit']")) == 2


@pytest.mark.parametrize("mode", ["page", "paper"])
def test_what_was_not_measured_has_a_hollow_shape_of_its_own(mode: str) -> None:
    kinds = ("expected", "inferred", "not_tested")
    shapes = [level_svg(replace(ALKALINITY, kind=kind), mode=mode) for kind in kinds]
    measured = level_svg(ALKALINITY, mode=mode)

    assert len({*shapes, measured}) == 4
    inferred = ElementTree.fromstring(level_svg(replace(ALKALINITY, kind="inferred")))
    assert [path.get("class") for path in inferred.iter(f"{SVG}path")] == ["d-hollow"]
