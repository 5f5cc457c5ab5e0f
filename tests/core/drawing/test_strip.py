"""The strip: one line for a day."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree

import pytest

from servicedesk.core.drawing.strip import DayStrip, StripStop, still, strip_svg, with_now

SVG = "{http://www.w3.org/2000/svg}"
MORNING = datetime(2026, 3, 18, 8, tzinfo=UTC)


def at(hours: float) -> datetime:
    return MORNING + timedelta(hours=hours)


DAY = DayStrip(
    shift_start=at(0),
    shift_end=at(8),
    stops=(StripStop(1, "Mill", at(1), at(2), "done"), StripStop(2, "Weir", at(4), at(5))),
    title="Two stops.",
)
WIDTH = 828.0
"""So that an hour is 100 px wide."""


def drawn(day: DayStrip, width: float = WIDTH, *, names: bool = False) -> ElementTree.Element:
    return ElementTree.fromstring(strip_svg(day, width=width, names=names))


def places(root: ElementTree.Element, cls: str, *names: str) -> list[tuple[str | None, ...]]:
    return [tuple(found.get(name) for name in names) for found in root.findall(f".//*[@class='{cls}']")]


def letters(root: ElementTree.Element, cls: str) -> list[str | None]:
    return [text.text for text in root.findall(f".//*[@class='{cls}']")]


def test_a_day_without_stops_is_the_shift_and_a_short_road() -> None:
    root = drawn(replace(DAY, stops=()))

    assert places(root, "d-shift", "x1") == [("14",), ("814",)]
    assert places(root, "d-day", "d") == [("M14 54L14 54",)]


def test_the_line_is_low_on_the_road_and_up_at_a_stop() -> None:
    root = drawn(DAY)

    assert places(root, "d-day", "d") == [
        ("M14 54L114 54L114 10L214 10L214 54L414 54L414 10L514 10L514 54L514 54",)
    ]


def test_what_is_done_is_filled_darker() -> None:
    root = drawn(DAY)

    assert places(root, "d-past", "x", "width") == [("114", "100")]
    assert places(root, "d-stop", "x", "width") == [("414", "100")]


def test_lunch_is_a_dip() -> None:
    root = drawn(replace(DAY, lunch=(at(2.5), at(3))))

    assert places(root, "d-day", "d") == [
        ("M14 54L114 54L114 10L214 10L214 54L264 54L264 60L314 60L314 54L414 54L414 10L514 10L514 54L514 54",)
    ]


def test_waiting_at_a_door_is_dotted() -> None:
    stops = (DAY.stops[0], replace(DAY.stops[1], arrives=at(3.5)))
    root = drawn(replace(DAY, stops=stops))

    assert places(root, "d-day d-waiting", "x1", "x2", "y1") == [("364", "414", "54")]
    assert [d for (d,) in places(root, "d-day", "d")] == [
        "M14 54L114 54L114 10L214 10L214 54L364 54",
        "M414 54L414 54L414 10L514 10L514 54L514 54",
    ]


def test_what_runs_past_the_shift_is_thick() -> None:
    root = drawn(replace(DAY, home=at(9)), width=928)

    assert places(root, "d-over", "x1", "x2") == [("814", "914")]


def test_a_day_inside_its_shift_has_nothing_thick() -> None:
    assert places(drawn(replace(DAY, home=at(8))), "d-over", "x1") == []


def test_isolation_is_a_second_frame() -> None:
    root = drawn(replace(DAY, stops=(replace(DAY.stops[0], isolated=True),)))

    assert places(root, "d-fence", "d") == [("M118 14H210V50H118Z",)]


def test_a_door_that_shuts_before_the_end_is_an_upright() -> None:
    early, late = replace(DAY.stops[1], shuts=at(4.5)), replace(DAY.stops[0], shuts=at(3))

    assert places(drawn(replace(DAY, stops=(late, early))), "d-door", "x1") == [("464",)]


def test_now_is_an_upright_only_inside_the_day() -> None:
    assert places(drawn(replace(DAY, now=at(3))), "d-now", "x1") == [("314",)]
    assert places(drawn(replace(DAY, now=at(30))), "d-now", "x1") == []


def test_a_narrow_stop_loses_its_name_but_not_its_length() -> None:
    narrow = replace(DAY, stops=(StripStop(1, "The long reef behind reception", at(1), at(2)), DAY.stops[1]))
    root = drawn(narrow, names=True)

    assert letters(root, "d-text") == ["Weir"]
    assert places(root, "d-stop", "x", "width") == [("114", "100"), ("414", "100")]


def test_hours_are_lettered_and_thinned_when_narrow() -> None:
    assert letters(drawn(DAY), "d-text d-text--soft") == ["8", "9", "10", "11", "12", "13", "14", "15", "16"]
    assert letters(drawn(DAY, width=228), "d-text d-text--soft") == ["8", "10", "12", "14", "16"]


def test_names_are_escaped() -> None:
    root = drawn(replace(DAY, stops=(StripStop(1, "<A&B>", at(1), at(2)),), title='"&<'), names=True)

    assert letters(root, "d-text") == ["<A&B>"]
    assert root.get("aria-label") == '"&<'


def test_a_stop_of_a_minute_is_still_seen() -> None:
    root = drawn(replace(DAY, stops=(StripStop(1, "Mill", at(1), at(1) + timedelta(minutes=1), "done"),)))

    assert places(root, "d-past", "x", "width") == [("114", "6")]


def test_a_stop_at_the_very_end_stays_in_the_frame() -> None:
    root = drawn(replace(DAY, stops=(StripStop(1, "Mill", at(8), at(8) + timedelta(seconds=20), "done"),)))
    ((x, width),) = places(root, "d-past", "x", "width")

    assert float(x or 0) + float(width or 0) <= WIDTH - 14


def test_a_stop_under_way_is_dark_as_far_as_now() -> None:
    late = StripStop(1, "Mill", at(3), at(4), "there")
    root = drawn(replace(DAY, stops=(late,), now=at(3.25)))

    assert places(root, "d-stop", "x", "width") == [("314", "100")]
    assert places(root, "d-past", "x", "width") == [("314", "25")]


def test_the_line_never_runs_back_where_a_late_stop_covers_the_next() -> None:
    stops = (StripStop(1, "Mill", at(2), at(4), "there"), StripStop(2, "Weir", at(3), at(4.5)))
    ((path,),) = places(drawn(replace(DAY, stops=stops)), "d-day", "d")
    across = [float(step.split()[0]) for step in (path or "")[1:].split("L")]

    assert across == sorted(across)


@pytest.mark.parametrize("hours", [7.0, 11.5, 23.0, None])
@pytest.mark.parametrize("state", ["planned", "there", "done"])
def test_the_clock_may_be_drawn_into_a_day_that_was_kept(hours, state) -> None:
    stops = (StripStop(1, "Mill", at(9), at(10)), StripStop(2, "Quay", at(11), at(12), state=state))
    day = replace(DAY, stops=stops, now=None if hours is None else at(hours))

    bare = still(day)
    kept = strip_svg(bare, width=WIDTH)

    assert (bare.now is None) == (state != "there" or hours is None)
    assert (kept if bare.now else with_now(kept, day, width=WIDTH)) == strip_svg(day, width=WIDTH)
