"""The run sheet as finished HTML, roomy first and dense where the day is long."""

from collections.abc import Iterator

from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from reports.queries.paper import style
from reports.queries.run_sheet import RunSheet
from servicedesk.core.drawing.glyphs import glyph_svg
from servicedesk.core.drawing.map import map_svg
from servicedesk.core.drawing.pen import INK

MAP_PX = 320.0
"""Half a page of A4 between its margins."""


def _glyph(name: str) -> SafeString:
    return mark_safe(glyph_svg(name, size_px=12, colour=INK))


def run_html(sheet: RunSheet, *, dense: bool = False) -> str:
    """The finished HTML of a run sheet; dense takes smaller letters. Shapes and words tell, so it reads in grey."""
    drawn = map_svg(sheet.map, width=MAP_PX, mode="paper") if sheet.map and sheet.map.placed else ""
    context = {
        "s": sheet,
        "dense": dense,
        "style": style(),
        "map": mark_safe(drawn),
        "unplaced": [stop for _who, stop in sheet.map.unplaced] if sheet.map else [],
        "alone": _glyph("alone"),
        "late": _glyph("late"),
    }
    return render_to_string("reports/paper_run.html", context)


def run_papers(sheet: RunSheet) -> Iterator[str]:
    """The sheet laid out by one plan after the other."""
    for dense in (False, True):
        yield run_html(sheet, dense=dense)
