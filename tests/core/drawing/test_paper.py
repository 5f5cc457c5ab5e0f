"""On paper every drawing carries its colours, because the PDF engine knows no classes inside it."""

from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree

import pytest

from servicedesk.core.drawing.ahead import ahead_svg, tally_svg
from servicedesk.core.drawing.chart import Chart, ChartEvent, ChartFault, ChartSeries, EstimatePoint
from servicedesk.core.drawing.pen import TONES
from servicedesk.core.drawing.plot import chart_svg
from servicedesk.core.drawing.spark import spark_svg
from servicedesk.core.drawing.strip import DayStrip, StripStop, strip_svg

START = datetime(2026, 3, 1, 8, tzinfo=UTC)
DAY = timedelta(days=1)
MARKERS = ("titrator", "photometer", "titration", "laboratory", "strip", "probe")
EVENTS = ("visit", "dose", "change", "reagent", "calibration")

CHART = Chart(
    title="Everything at once.",
    unit="dKH",
    series=[
        ChartSeries(marker, marker, [(START + n * DAY, 7.0 + n / 4), (START + (n + 4) * DAY, 8.0)])  # type: ignore[arg-type]
        for n, marker in enumerate(MARKERS)
    ],
    low=7.2,
    high=9.0,
    limit_low=6.9,
    estimate=[EstimatePoint(START + n * DAY, 8.0, 7.8, 8.2) for n in range(12)],
    events=[ChartEvent(START + n * DAY, kind, "text") for n, kind in enumerate(EVENTS)],  # type: ignore[arg-type]
    faults=[ChartFault(START + DAY, START + 2 * DAY, "slow")],
    now=START + 9 * DAY,
)
ROUND = DayStrip(
    shift_start=START,
    shift_end=START + timedelta(hours=3),
    stops=(
        StripStop(1, "Mill", START, START + timedelta(hours=1), "done"),
        StripStop(
            2,
            "Weir",
            START + timedelta(hours=2),
            START + timedelta(hours=4),
            isolated=True,
            shuts=START + timedelta(hours=3),
            arrives=START + timedelta(hours=1, minutes=30),
        ),
    ),
    now=START + timedelta(hours=1),
    title="A day.",
)
DRAWINGS = {
    "chart": chart_svg(CHART, mode="paper"),
    "day": strip_svg(ROUND, width=600, mode="paper"),
    "trend": spark_svg([7.0, 8.0, None, 9.0], low=7.2, high=9.0, title="A trend.", mode="paper"),
    "ahead": ahead_svg(help_h=2, harm_h=9, title="Ahead.", mode="paper"),
    "progress": tally_svg(done=1, total=2, title="Half.", mode="paper"),
}
SHAPES = ("line", "rect", "circle", "path", "text")


@pytest.mark.parametrize("name", list(DRAWINGS))
def test_every_shape_on_paper_has_a_colour_and_no_class(name: str) -> None:
    shapes = [
        shape for shape in ElementTree.fromstring(DRAWINGS[name]).iter() if shape.tag.split("}")[1] in SHAPES
    ]
    painted = [shape for shape in shapes if (shape.get("stroke") or shape.get("fill") or "none") != "none"]

    assert len(shapes) > 2
    assert [shape for shape in shapes if shape.get("class")] == []
    assert painted == shapes


def test_what_runs_late_is_in_the_tone_of_outside() -> None:
    late = [
        line.get("stroke")
        for line in ElementTree.fromstring(DRAWINGS["day"]).iter()
        if line.get("stroke-width") == "4"
    ]

    assert late == [TONES["out"]]
