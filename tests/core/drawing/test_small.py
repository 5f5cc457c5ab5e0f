"""Small drawings: the trend in a row, what lies ahead, progress, and the pen itself."""

from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.drawing.ahead import ahead_place, ahead_svg, tally_svg
from servicedesk.core.drawing.pen import Pen, number
from servicedesk.core.drawing.spark import spark_svg

SVG = "{http://www.w3.org/2000/svg}"


def places(text: str, cls: str, *names: str) -> list[tuple[str | None, ...]]:
    root = ElementTree.fromstring(text)
    return [tuple(found.get(name) for name in names) for found in root.findall(f".//*[@class='{cls}']")]


def test_a_trend_without_values_is_a_dash() -> None:
    text = spark_svg([None, None], low=7.2, high=9.0, title="None.")

    assert places(text, "d-tail", "x1", "x2") == [("54", "66")]
    assert places(text, "d-ink", "cx") == []


def test_a_trend_of_one_value_is_a_dot_in_the_middle() -> None:
    text = spark_svg([8.0], low=None, high=None, title="One.")

    assert places(text, "d-ink", "cx", "cy") == [("60", "14")]


def test_a_trend_leaves_its_gap_open() -> None:
    text = spark_svg([9.0, 9.0, None, 7.2, 7.2], low=7.2, high=9.0, title="Fell.")

    assert places(text, "d-curve", "d") == [("M4 4L32 4",), ("M88 24L116 24",)]
    assert places(text, "d-glass", "y", "height") == [("4", "20")]
    assert places(text, "d-ink", "cx", "cy") == [("116", "24")]


def test_help_before_harm_stands_before_it() -> None:
    text = ahead_svg(help_h=18.0, harm_h=40.5, title="Help comes in time.")

    assert places(text, "d-ink", "x", "width") == [("63", "10")]
    assert places(text, "d-harm", "x1", "x2") == [("100", "132"), ("100", "100")]


def test_a_lettered_line_says_now_and_three_days_at_its_ends() -> None:
    text = ahead_svg(
        help_h=18.0, harm_h=None, title="", width=136, letters=("now", "6 h", "1 day", "3"), height=28
    )

    assert places(text, "d-text d-text--soft", "x", "text-anchor") == [
        ("0", None),
        ("40.95", "middle"),
        ("77.9", "middle"),
        ("136", "end"),
    ]
    assert places(text, "d-ink", "y") == [("24",)]
    assert 'aria-hidden="true"' in text


def test_no_help_and_no_harm_is_a_plain_line() -> None:
    text = ahead_svg(help_h=None, harm_h=None, title="No hurry.")

    assert places(text, "d-tail", "x1", "x2") == [("4", "132")]
    assert (places(text, "d-ink", "x"), places(text, "d-harm", "x1")) == ([], [])


@pytest.mark.parametrize(("hours", "x"), [(-5, 4), (0, 4), (18, 68), (72, 132), (500, 132)])
def test_time_ahead_is_scaled_by_square_root_to_three_days(hours: float, x: float) -> None:
    assert ahead_place(hours, width=136) == x


@given(st.floats(0, 200), st.floats(0, 200))
def test_what_comes_later_never_stands_further_left(one: float, other: float) -> None:
    assert ahead_place(min(one, other), width=136) <= ahead_place(max(one, other), width=136)


@pytest.mark.parametrize(("done", "total"), [(1, 0), (-1, 5), (6, 5)])
def test_progress_that_cannot_be_is_refused(done: int, total: int) -> None:
    with pytest.raises(ValueError):
        tally_svg(done=done, total=total, title="")


def test_progress_fills_its_share() -> None:
    assert places(tally_svg(done=42, total=84, title="Half.", width=204), "d-ink", "x", "width") == [
        ("2", "100")
    ]


@pytest.mark.parametrize(
    ("value", "text"), [(0, "0"), (-0.001, "0"), (1.5, "1.5"), (2.0, "2"), (3.14159, "3.14"), (100.0, "100")]
)
def test_coordinates_have_no_idle_figures(value: float, text: str) -> None:
    assert number(value) == text


@given(st.text(alphabet=st.characters(exclude_categories=("Cc", "Cs"), exclude_characters="\ufffe\uffff")))
def test_any_words_come_back_as_they_were(words: str) -> None:
    pen = Pen()
    pen.text("", 0, 0, words)
    root = ElementTree.fromstring(pen.svg(width=1, height=1, cls="any", title=words or "-"))

    assert (root.findtext(f"{SVG}text") or "") == words
    assert root.get("aria-label") == (words or "-")


def test_harm_beyond_three_days_stands_at_the_end_with_nothing_after_it() -> None:
    near = ahead_svg(help_h=None, harm_h=18.0, title="Near.", width=136.0)
    far = ahead_svg(help_h=None, harm_h=200.0, title="Far.", width=136.0)

    assert places(near, "d-harm", "x1", "x2") == [("68", "132"), ("68", "68")]
    assert places(far, "d-harm", "x1", "x2") == [("132", "132")]
