"""Charts: places, gaps, letters and the table."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.drawing.chart import (
    Chart,
    ChartEvent,
    ChartFault,
    ChartSeries,
    ChartTableRow,
    EstimatePoint,
    chart_table,
)
from servicedesk.core.drawing.plot import chart_svg, marker_svg, time_letters, value_letters
from servicedesk.core.drawing.scale import Scale, thinned

START = datetime(2026, 3, 1, tzinfo=UTC)
SVG = "{http://www.w3.org/2000/svg}"
DAY = timedelta(days=1)


def drawn(chart: Chart, **size: float) -> ElementTree.Element:
    return ElementTree.fromstring(chart_svg(chart, **size))


def places(root: ElementTree.Element, cls: str, *names: str) -> list[tuple[str | None, ...]]:
    return [tuple(found.get(name) for name in names) for found in root.findall(f".//*[@class='{cls}']")]


def words(root: ElementTree.Element) -> list[str | None]:
    return [text.text for text in root.iter(f"{SVG}text")]


def probe(*days_and_values: tuple[float, float]) -> ChartSeries:
    return ChartSeries("probe", "probe", [(START + day * DAY, value) for day, value in days_and_values])


def test_a_chart_without_values_says_so() -> None:
    root = drawn(Chart(title="Phosphate: nothing known.", unit="mg/L", low=0.02, high=0.1))

    assert words(root) == ["Nothing has been measured in this time."]
    assert root.get("aria-label") == "Phosphate: nothing known."


def test_one_value_alone_is_drawn_as_a_dot_in_the_middle() -> None:
    root = drawn(Chart(title="One.", unit="dKH", series=[probe((0, 8.0))]), width=400, height=200)

    assert places(root, "d-ink", "cx", "cy") == [("216", "100")]
    assert places(root, "d-curve", "d") == []


def test_values_stand_at_their_time_and_height() -> None:
    series = probe((0, 7.0), (1, 9.0))
    root = drawn(Chart(title="Two.", unit="dKH", series=[series]), width=656, height=252)

    assert places(root, "d-curve", "d") == [("M44 215.66L644 36.34",)]


def test_the_band_is_glass_between_two_labelled_lines() -> None:
    chart = Chart(title="Band.", unit="dKH", series=[probe((0, 7.2), (1, 9.0))], low=7.2, high=9.0)
    root = drawn(chart, width=656, height=252)

    assert places(root, "d-glass", "x", "y", "width", "height") == [("44", "36.34", "600", "179.31")]
    assert places(root, "d-mark", "y1", "y2") == [("36.34", "36.34"), ("215.66", "215.66")]
    assert [word for word in words(root) if word and "mark" in word] == ["high mark 9", "low mark 7.2"]


def test_a_near_limit_is_dotted_and_a_far_one_is_left_out() -> None:
    near = Chart(title="L.", unit="", series=[probe((0, 7.2), (1, 9.0))], limit_low=6.3, limit_high=30.0)

    assert [word for word in words(drawn(near)) if word and "limit" in word] == ["limit 6.3"]


def test_a_gap_is_never_joined() -> None:
    root = drawn(Chart(title="Gap.", unit="", series=[probe((0, 8), (1, 8), (4, 8), (5, 8))]), width=556)

    assert places(root, "d-curve", "d") == [("M44 125L144 125",), ("M444 125L544 125",)]
    assert places(root, "d-gap", "x1", "x2") == [("144", "144"), ("444", "444")]
    assert "silent 3 days" in words(root)


def test_a_short_silence_is_told_in_hours() -> None:
    root = drawn(Chart(title="Gap.", unit="", series=[probe((0, 8), (1, 8), (2.6, 8), (3, 8))]), width=556)

    assert "silent 38 h" in words(root)


@given(hours=st.lists(st.integers(0, 2000), min_size=2, max_size=40, unique=True), gap=st.integers(1, 200))
def test_neighbours_in_a_run_are_never_further_apart_than_the_gap(hours: list[int], gap: int) -> None:
    series = ChartSeries(
        "any", "probe", [(START + timedelta(hours=h), 1.0) for h in hours], timedelta(hours=gap)
    )
    runs = series.runs()
    steps = [b[0] - a[0] for run in runs for a, b in zip(run, run[1:], strict=False)]
    breaks = [b[0][0] - a[-1][0] for a, b in zip(runs, runs[1:], strict=False)]

    assert sum(len(run) for run in runs) == len(hours)
    assert all(step <= timedelta(hours=gap) for step in steps)
    assert all(step > timedelta(hours=gap) for step in breaks)


@pytest.mark.parametrize(
    ("marker", "tags"),
    [
        ("titrator", ["circle"]),
        ("photometer", ["rect"]),
        ("titration", ["path"]),
        ("laboratory", ["circle", "circle"]),
        ("strip", ["line"]),
        ("probe", ["line"]),
    ],
)
def test_each_method_has_its_sign(marker: str, tags: list[str]) -> None:
    root = ElementTree.fromstring(marker_svg(marker))

    assert [child.tag.removeprefix(SVG) for child in root] == tags


def test_now_stands_upright_with_its_word_inside_the_drawing() -> None:
    chart = Chart(title="Now.", unit="", series=[probe((0, 8), (1, 9))], now=START + DAY)
    root = drawn(chart, width=656)
    label = next(text for text in root.iter(f"{SVG}text") if text.text == "today")

    assert places(root, "d-now", "x1", "x2") == [("644", "644")]
    assert (label.get("x"), label.get("text-anchor")) == ("638", "end")


def test_what_lies_ahead_is_dashed_and_begins_at_now() -> None:
    told = [EstimatePoint(START + day * DAY, 8.0, 7.5, 8.5) for day in range(5)]
    root = drawn(Chart(title="E.", unit="", estimate=told, now=START + 2 * DAY), width=456)

    assert places(root, "d-curve", "d") == [("M44 125L144 125L244 125",)]
    assert places(root, "d-curve d-dash", "d") == [("M244 125L344 125L444 125",)]


def test_the_veil_stops_at_a_gap() -> None:
    told = [EstimatePoint(START + day * DAY, 8.0, 7.5, 8.5) for day in (0, 1, 8, 9)]
    root = drawn(Chart(title="E.", unit="", estimate=told))

    assert len(places(root, "d-veil", "d")) == 2


def test_faults_and_events_have_their_own_rows_below() -> None:
    chart = Chart(
        title="E.",
        unit="",
        series=[probe((0, 8), (4, 9))],
        events=[ChartEvent(START + DAY, "visit"), ChartEvent(START + DAY, "change", "80 L")],
        faults=[ChartFault(START + DAY, START + 2 * DAY, "pump slow")],
    )
    root = drawn(chart, width=456, height=250)

    assert root.get("height") == "306"
    assert places(root, "d-bar", "x", "y", "width") == [("144", "254", "100")]
    assert [word for word in words(root) if word in ("pump slow", "80 L")] == ["pump slow", "80 L"]


@pytest.mark.parametrize(
    ("fault", "place"),
    [
        ((2, 4, "pump slow"), ("236", "261.5", "end")),
        ((0, 1, "pump slow"), ("152", "261.5", None)),
        ((0, 4, "pump slow"), ("444", "274", "end")),
        ((0, 4, "a sentence so long that there is no room for it in this drawing at all"), None),
    ],
)
def test_the_sentence_of_a_fault_stands_where_there_is_room(
    fault: tuple[int, int, str], place: tuple[str | None, ...] | None
) -> None:
    start, end, text = fault
    chart = Chart(
        title="F.",
        unit="",
        series=[probe((0, 8), (4, 9))],
        faults=[ChartFault(START + start * DAY, START + end * DAY, text)],
    )
    found = [
        (word.get("x"), word.get("y"), word.get("text-anchor"))
        for word in drawn(chart, width=456, height=250).iter(f"{SVG}text")
        if word.text == text
    ]

    assert found == ([place] if place else [])


def test_words_are_escaped() -> None:
    text = chart_svg(
        Chart(
            title='<b>"A" & B</b>',
            unit="",
            series=[probe((0, 8), (4, 9))],
            faults=[ChartFault(START, START + DAY, "<script>alert(1)</script>")],
        )
    )
    root = ElementTree.fromstring(text)

    assert root.get("aria-label") == root.findtext(f"{SVG}title") == '<b>"A" & B</b>'
    assert "<script>alert(1)</script>" in words(root)
    assert "<script" not in text


@pytest.mark.parametrize(
    ("low", "high", "letters"),
    [
        (6.1, 9.2, [7.0, 8.0, 9.0]),
        (0.0, 0.1, [0.0, 0.05, 0.1]),
        (380, 470, [400.0, 450.0]),
        (-3.0, 3.0, [-2.0, 0.0, 2.0]),
    ],
)
def test_value_letters_are_round(low: float, high: float, letters: list[float]) -> None:
    assert value_letters(low, high) == letters


@given(low=st.floats(-1e4, 1e4), span=st.floats(1e-3, 1e4))
def test_value_letters_stand_inside_and_are_few(low: float, span: float) -> None:
    letters = value_letters(low, low + span)

    assert 1 <= len(letters) <= 5
    assert all(low - span * 1e-6 <= letter <= low + span * (1 + 1e-6) for letter in letters)
    assert letters == sorted(set(letters))


def test_time_letters_are_midnights_of_the_zone_also_where_the_clock_changes() -> None:
    zone = ZoneInfo("Europe/Berlin")
    begin = datetime(2026, 3, 27, 12, tzinfo=zone)
    scale = Scale(begin, begin + timedelta(days=4), 0, 1, 0, 600, 0, 100)
    step, letters = time_letters(Chart(title="", unit="", zone=zone), scale)

    assert step == DAY
    assert [f"{at:%d %H:%M}" for at in letters] == ["28 00:00", "29 00:00", "30 00:00", "31 00:00"]


def test_the_table_has_every_value_event_and_fault_newest_first() -> None:
    chart = Chart(
        title="T.",
        unit="dKH",
        series=[probe((0, 8.0), (2, 7.0))],
        events=[ChartEvent(START + DAY, "dose", "30 mL")],
        faults=[ChartFault(START - DAY, START, "pump slow")],
    )

    assert chart_table(chart) == [
        ChartTableRow(START + 2 * DAY, "probe", 7.0),
        ChartTableRow(START + DAY, "dose", None, "30 mL"),
        ChartTableRow(START, "probe", 8.0),
        ChartTableRow(START - DAY, "fault", None, "pump slow"),
    ]


@given(st.lists(st.floats(-50, 50), min_size=21, max_size=200))
def test_thinning_keeps_the_ends_and_the_extremes(heights: list[float]) -> None:
    crowd = [(index * 10 / len(heights), y) for index, y in enumerate(heights)]
    kept = thinned(crowd, 10)

    assert (kept[0], kept[-1]) == (crowd[0], crowd[-1])
    assert (min(y for _x, y in kept), max(y for _x, y in kept)) == (min(heights), max(heights))
    assert kept == sorted(kept, key=lambda place: place[0]) and set(kept) <= set(crowd)
    assert len(kept) <= 4 * 10


def test_few_places_are_all_kept() -> None:
    crowd = [(float(index), 1.0) for index in range(100)]

    assert thinned(crowd, 300) == crowd


def test_many_titrations_are_one_path_of_dots() -> None:
    points = [(START + day * DAY, 8.0) for day in range(5)]
    series = ChartSeries("titrator", "titrator", points, joined=False)
    ((path,),) = places(drawn(Chart(title="Five.", unit="dKH", series=[series])), "d-dots", "d")

    assert (path or "").count("h0") == 5


def test_the_name_of_a_low_limit_never_runs_into_the_axis() -> None:
    chart = Chart(title="Far.", unit="", series=[probe((0, 8.0), (9, 8.2))], low=7.5, high=9.0, limit_low=7.0)
    svg = chart_svg(chart, height=250)
    ((line,),) = places(ElementTree.fromstring(svg), "d-danger", "y1")
    found = next(t for t in ElementTree.fromstring(svg).iter(f"{SVG}text") if t.text == "limit 7")

    assert float(found.get("y") or 0) < float(line or 0)


def test_a_sign_without_room_is_left_to_the_table() -> None:
    events = [ChartEvent(START + DAY + n * timedelta(minutes=1), "dose", "") for n in range(40)]
    chart = Chart(title="Doses.", unit="dKH", series=[probe((0, 8.0), (1.1, 8.1))], events=events)
    root = drawn(chart, width=400, height=200)
    signs = places(root, "d-fine", "d")

    assert 0 < len(signs) < len(events)
    assert len(chart_table(chart)) == 2 + len(events)


def test_letters_stand_from_the_first_midnight_to_the_end() -> None:
    scale = Scale(START + timedelta(hours=5), START + 6 * DAY, 0.0, 1.0, 44.0, 700.0, 22.0, 228.0)
    step, letters = time_letters(Chart(title="Letters.", unit=""), scale)

    assert step == DAY
    assert letters == [START + n * DAY for n in range(1, 7)]


def test_an_estimate_of_one_moment_has_no_veil() -> None:
    def told(*days: float) -> list[EstimatePoint]:
        return [EstimatePoint(START + day * DAY, 8.0, 7.8, 8.2) for day in days]

    alone = drawn(Chart(title="One.", unit="dKH", series=[probe((0, 8.0))], estimate=told(0.5)))
    pair = drawn(Chart(title="Two.", unit="dKH", series=[probe((0, 8.0))], estimate=told(0.5, 0.6)))

    assert (len(places(alone, "d-veil", "d")), len(places(pair, "d-veil", "d"))) == (0, 1)


def test_a_silence_too_narrow_for_its_words_is_drawn_without_them() -> None:
    chart = Chart(title="Narrow.", unit="dKH", series=[probe((0, 8.0), (0.1, 8.0), (3, 8.0), (30, 8.0))])
    root = drawn(replace(chart, series=[replace(chart.series[0], gap=DAY)]), width=400, height=200)

    assert len(places(root, "d-gap", "x1")) == 4
    assert [word for word in words(root) if word and "27 days" in word] != []
    assert [word for word in words(root) if word and "3 days" in word] == []
