"""How much of the bare PDF engine's pace the warm child keeps, on the same finished HTML, turn by turn."""

import statistics
import time
from collections.abc import Callable
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.db import DatabaseError

from reports.models import Report
from reports.queries import from_json
from reports.queries.paper import style
from reports.queries.sheet import report_html
from reports.render import Renderer
from servicedesk.core.drawing.glyphs import GLYPHS, glyph_svg
from servicedesk.desk.management.benches import Options
from servicedesk.staff.queries import business

AT_LEAST = 0.8
PAPERS = 40
GLYPH = next(iter(GLYPHS))


def finished() -> tuple[str, str]:
    """The HTML measured, and where it comes from: the newest report of this data, else a made-up visit."""
    try:
        newest = Report.objects.exclude(content={}).order_by("-made_at").first()
    except DatabaseError:
        newest = None
    if newest is None:
        return sample(), "a made-up visit"
    html = report_html(
        from_json(newest.content),
        number=newest.number,
        version=newest.version,
        changes=newest.changes,
        zone=ZoneInfo(business().zone),
    )
    return html, f"report {newest.number}, version {newest.version}"


def sample() -> str:
    """Two pages with the papers' style sheet: a verdict, a table of 38 rows, two vector charts."""
    rows = "".join(
        f"<tr><td>{glyph_svg(GLYPH, size_px=14, colour='#112233')}</td><td>{date(2026, 1 + n % 12, 1 + n % 28)}</td><td>{7 + n % 9 / 10:.1f} dKH</td></tr>"
        for n in range(38)
    )
    points = " ".join(f"{n * 8},{60 + (n * 37) % 41}" for n in range(70))
    chart = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="600" height="160" role="img" aria-label="Carbonate hardness">'
        f'<polyline points="{points}" fill="none" stroke="#123" stroke-width="1.5"/></svg>'
    )
    return (
        '<!doctype html><html lang="en" data-light="day"><head><meta charset="utf-8"><title>A visit</title>'
        f'<style>{style()}</style></head><body><p class="foot">bench</p><h1>The long reef</h1>'
        f'<div class="said" data-tone="hold"><p class="said__word">Well</p><p class="said__text">It holds.</p></div>'
        f'<table class="part">{rows}</table><div class="part">{chart}</div><div class="part">{chart}</div></body></html>'
    )


def timed(draw: Callable[[], Any]) -> float:
    began = time.perf_counter()
    draw()
    return time.perf_counter() - began


def run(options: Options) -> dict[str, Any]:
    """Medians in seconds a paper; `share` is the engine's time over the child's."""
    from weasyprint import HTML  # noqa: PLC0415  slow, for this bench only
    from weasyprint.text.fonts import FontConfiguration  # noqa: PLC0415  with it

    (html, source), papers = finished(), options.repeat or PAPERS
    fonts, renderer = FontConfiguration(), Renderer(papers=10 * papers)

    def bare() -> bytes:
        return HTML(string=html).write_pdf(font_config=fonts, pdf_variant="pdf/ua-1") or b""

    same = bare() == renderer.draw(html)
    engine, child = [], []
    for _paper in range(papers):
        engine.append(timed(bare))
        child.append(timed(lambda: renderer.draw(html)))
    renderer.close()
    share = statistics.median(engine) / statistics.median(child)
    failed = (
        [f"The child keeps {share:.2f} of the engine's pace, less than {AT_LEAST}."]
        if share < AT_LEAST
        else []
    )
    return {
        "baseline": {"engine_s": round(statistics.median(engine), 4)},
        "metrics": {
            "child_s": round(statistics.median(child), 4),
            "share": round(share, 3),
            "papers": papers,
            "html": source,
            "html_kb": len(html) // 1024,
            "same_bytes": same,
            "papers_per_s": round(1 / statistics.median(child), 1),
        },
        "failed": failed,
    }
