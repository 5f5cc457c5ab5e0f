"""The run sheet as finished HTML, roomy first and dense where the day is long."""

from collections.abc import Iterator
from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from reports.queries.paper import style
from reports.queries.run_sheet import RunSheet
from servicedesk.core.drawing.glyphs import glyph_svg
from servicedesk.core.drawing.map import map_svg
from servicedesk.core.drawing.pen import INK

MOST_SHEETS = 30
"""So many sheets are drawn while somebody waits at the page: about five seconds of one core (40 took 6.7 s)."""
ROOMY_STOPS = 6
"""Of several sheets those with more stops take smaller letters."""
MAP_PX = 320.0
"""Half a page of A4 between its margins."""


def _glyph(name: str) -> SafeString:
    return mark_safe(glyph_svg(name, size_px=12, colour=INK))


def run_html(sheet: RunSheet, *, dense: bool = False) -> str:
    """The finished HTML of a run sheet; dense takes smaller letters. Shapes and words tell, so it reads in grey."""
    return render_to_string("reports/paper_run.html", {**_shown(sheet, dense=dense), "style": style()})


def _shown(sheet: RunSheet, *, dense: bool) -> dict[str, Any]:
    drawn = map_svg(sheet.map, width=MAP_PX, mode="paper") if sheet.map and sheet.map.placed else ""
    return {
        "s": sheet,
        "dense": dense,
        "map": mark_safe(drawn),
        "unplaced": [stop for _who, stop in sheet.map.unplaced] if sheet.map else [],
        "alone": _glyph("alone"),
        "late": _glyph("late"),
    }


def run_papers(sheet: RunSheet) -> Iterator[str]:
    """The sheet laid out by one plan after the other."""
    for dense in (False, True):
        yield run_html(sheet, dense=dense)


def week_html(sheets: list[RunSheet], *, title: str) -> str:
    """Several run sheets in one paper, each on a page of its own."""
    papers = [_shown(sheet, dense=len(sheet.stops) > ROOMY_STOPS) for sheet in sheets]
    return render_to_string(
        "reports/paper_run_week.html", {"papers": papers, "style": style(), "title": title}
    )
