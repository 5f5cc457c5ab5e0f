"""The day overlay: like hours under each other, old days thin, the newest thick, a gap left open."""

from datetime import UTC, date, datetime, timedelta
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest

from servicedesk.core.drawing.overlay import DayOverlay, OverlayDay, days_of, overlay_svg

LONDON = ZoneInfo("Europe/London")
WIDTH = 44 + 240 + 12.0
"""So that an hour is 10 px wide."""


def drawn(overlay: DayOverlay) -> ElementTree.Element:
    return ElementTree.fromstring(overlay_svg(overlay, width=WIDTH, height=132))


def places(root: ElementTree.Element, cls: str, *names: str) -> list[tuple[str | None, ...]]:
    return [tuple(found.get(name) for name in names) for found in root.findall(f".//*[@class='{cls}']")]


def day(number: int, *points: tuple[float, float]) -> OverlayDay:
    return OverlayDay(date(2026, 6, number), points)


def test_nothing_to_lay_over_each_other_is_refused():
    with pytest.raises(ValueError, match="nothing"):
        overlay_svg(DayOverlay(title="", unit="", low=7.9, high=8.4), width=340)


def test_old_days_are_thin_and_the_newest_is_thick():
    root = drawn(DayOverlay("pH.", "", [day(1, (0, 8.0), (4, 8.2)), day(2, (0, 8.1), (4, 8.3))]))

    assert len(places(root, "d-thin", "d")) == 1
    ((thick,),) = places(root, "d-thick", "d")
    assert (thick or "").startswith("M44 ")
    assert "L84 " in (thick or "")


def test_like_hours_stand_under_each_other_and_the_band_has_both_lines():
    root = drawn(DayOverlay("pH.", "", [day(1, (12, 8.0), (13, 8.2))], low=7.0, high=9.0, now=18.0))

    assert places(root, "d-now", "x1") == [("224",)]
    assert len(places(root, "d-mark", "y1")) == 2
    assert len(places(root, "d-glass", "y")) == 1


def test_a_silence_is_never_joined_and_one_value_alone_is_a_dot():
    root = drawn(DayOverlay("pH.", "", [day(1, (0, 8.0), (2, 8.1), (9, 8.2), (11, 8.1), (20, 8.0))]))

    assert len(places(root, "d-thick", "d")) == 2
    assert places(root, "d-ink", "cx") == [("244",)]


def test_days_begin_at_the_sites_midnight_and_not_at_greenwichs():
    late = datetime(2026, 6, 1, 23, 30, tzinfo=UTC)  # 00:30 on the 2nd in London

    assert days_of([(late, 8.0)], LONDON) == [OverlayDay(date(2026, 6, 2), [(0.5, 8.0)])]


def test_hours_stay_those_of_the_clock_when_it_is_put_forward():
    noon = datetime(2026, 3, 29, 11, 0, tzinfo=UTC)

    assert [d.points[0][0] for d in days_of([(noon - timedelta(days=1), 8.0), (noon, 8.0)], LONDON)] == [
        11,
        12,
    ]
