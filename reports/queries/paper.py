"""Finished HTML of the papers: everything they need stands inside, so that drawing them reads nothing else."""

import base64
import io
import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any, cast
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.utils.formats import date_format
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from PIL import Image

from reports.choices import Verdict
from reports.queries.shape import Level, ReportContent, TankBlock, Trend
from servicedesk.core.drawing.chart import Chart, ChartSeries, ChartWords, Marker
from servicedesk.core.drawing.glyphs import glyph_svg
from servicedesk.core.drawing.levels import Kind, LevelRow, level_svg
from servicedesk.core.drawing.pen import INK, TONES, Mode
from servicedesk.core.drawing.plot import chart_svg
from servicedesk.upkeep.models import Task
from servicedesk.visits.models import Photo

FONT = re.compile(r'url\("\.\./fonts/([\w.-]+)"\)')
SCREENS_ONLY = "@media (prefers-contrast"
PHOTO_PX = (760, 480)
LEVEL_PX, ROW_PX, ROW_COMPACT_PX = 176.0, 38.0, 31.0
CHART_PX, CHART_HIGH_PX, CHART_COMPACT_PX = 656.0, 136.0, 118.0
PAGE_CHART_PX, PHONE_CHART_PX, PAGE_CHART_HIGH_PX = 640.0, 352.0, 200.0
CHARTS, PHOTOS = {1: 1, 2: 1}, {1: 1, 2: 2, 3: 1}
"""How many charts and pairs of photos fit two pages, by the number of tanks."""
TONE_OF_VERDICT = {Verdict.WELL: "hold", Verdict.WATCHING: "ask", Verdict.ACTING: "out"}


def _static(name: str) -> Path:
    found = finders.find(name)
    if not isinstance(found, str):
        raise FileNotFoundError(name)
    return Path(found)


@cache
def style() -> SafeString:
    """The papers' style sheet: the tokens and the print rules, fonts inside."""

    def font(found: re.Match[str]) -> str:
        data = base64.b64encode(_static(f"fonts/{found[1]}").read_bytes()).decode()
        return f'url("data:font/woff2;base64,{data}")'

    sheets = (_static(f"css/{name}.css").read_text("utf-8") for name in ("tokens", "report"))
    return mark_safe(FONT.sub(font, _without(SCREENS_ONLY, "\n".join(sheets))))


def _without(head: str, css: str) -> str:
    """The style sheet without the block that begins with `head`: its query means nothing on paper."""
    start = css.find(head)
    if start < 0:
        return css
    depth = 0
    for end in range(css.index("{", start), len(css)):
        depth += {"{": 1, "}": -1}.get(css[end], 0)
        if depth == 0:
            return css[:start] + css[end + 1 :]
    return css[:start]


def tone_of(verdict: str, danger: bool) -> str:
    """The colour of a client's verdict: madder only where animals are in danger."""
    return "act" if danger else TONE_OF_VERDICT[Verdict(verdict)]


def level_row(level: Level) -> LevelRow:
    """A level as the drawing takes it."""
    return LevelRow(
        label=level.name,
        value_text=level.value_text,
        value=level.value,
        low=level.low,
        high=level.high,
        alarm_low=level.alarm_low,
        alarm_high=level.alarm_high,
        last=level.last,
        kind=cast(Kind, level.kind),
        state=level.state,
        word=level.word,
    )


def _chart(trend: Trend, zone: ZoneInfo) -> Chart:
    words = ChartWords(
        high=_("high mark {}"),
        low=_("low mark {}"),
        limit=_("limit {}"),
        now=_("this visit"),
        nothing=_("Nothing has been measured in this time."),
    )
    return Chart(
        title=trend.says,
        unit=trend.unit,
        series=[
            ChartSeries(
                label=line.label,
                marker=cast(Marker, line.marker),
                points=[(datetime.fromisoformat(at), value) for at, value in line.points],
                gap=timedelta(days=45),
            )
            for line in trend.lines
        ],
        low=trend.low,
        high=trend.high,
        start=datetime.fromisoformat(trend.start),
        end=datetime.fromisoformat(trend.end) + timedelta(days=3),
        now=datetime.fromisoformat(trend.end),
        zone=zone,
        words=words,
        name_time=lambda at, _step: date_format(at, "j M"),
    )


@dataclass(frozen=True)
class DrawnTank:
    """A tank's block with its drawings."""

    block: TankBlock
    tone: str
    word: str
    glyph: SafeString
    levels: list[tuple[Level, LevelRow, SafeString]]
    chart: SafeString
    pictures: list[tuple[str, str, str]]

    @property
    def rows(self) -> list[LevelRow]:
        return [row for _level, row, _picture in self.levels]


def drawn(
    block: TankBlock, *, mode: Mode, zone: ZoneInfo, compact: bool = False, narrow: bool = False
) -> DrawnTank:
    """A tank's block drawn for a page (narrow: for a telephone) or for paper. The drawings escape every word they are given."""
    tone = tone_of(block.verdict, block.danger)
    height = ROW_COMPACT_PX if compact else ROW_PX
    rows = [(level, level_row(level)) for level in block.levels]
    size = (CHART_PX, CHART_COMPACT_PX if compact else CHART_HIGH_PX)
    if mode == "page":
        size = (PHONE_CHART_PX if narrow else PAGE_CHART_PX, PAGE_CHART_HIGH_PX)
    chart = (
        chart_svg(_chart(block.trend, zone), width=size[0], height=size[1], mode=mode) if block.trend else ""
    )
    inside = mode == "paper"
    return DrawnTank(
        block=block,
        tone=tone,
        word=str(Verdict(block.verdict).label),
        glyph=mark_safe(glyph_svg(glyph_of_block(block), size_px=20, colour=TONES[tone])),
        levels=[
            (
                level,
                row,
                mark_safe(level_svg(row, width=LEVEL_PX if inside else None, height=height, mode=mode)),
            )
            for level, row in rows
        ],
        chart=mark_safe(chart),
        pictures=[
            (picture.when, picture.caption, photo_inside(picture.photo) if inside else picture.photo)
            for picture in block.pictures
        ],
    )


GLYPH_OF_VERDICT = {Verdict.WELL: "in", Verdict.WATCHING: "check", Verdict.ACTING: "again"}
WORST_FIRST = ("under", "over", "low", "high")


def glyph_of_block(block: TankBlock) -> str:
    """The shape beside a tank's verdict: that of its worst value, else the verdict's own."""
    states = {level.state for level in block.levels}
    if block.verdict == Verdict.WELL:
        return "in"
    return next((s for s in WORST_FIRST if s in states), GLYPH_OF_VERDICT[Verdict(block.verdict)])


def photo_inside(key: str) -> str:
    """A photo as data inside the paper, small enough to mail; empty when its file is gone."""
    photo = Photo.objects.filter(pk=key).first()
    path = Path(settings.MEDIA_ROOT) / photo.file if photo else None
    if path is None or not path.is_file():
        return ""
    with Image.open(path) as opened:
        small = opened.convert("RGB")
    small.thumbnail(PHOTO_PX)
    kept = io.BytesIO()
    small.save(kept, "JPEG", quality=80)
    return "data:image/jpeg;base64," + base64.b64encode(kept.getvalue()).decode()


def _tick(name: str) -> SafeString:
    return mark_safe(glyph_svg(name, size_px=14, colour=INK))


def report_html(
    content: ReportContent, *, number: str, version: int, changes: list[str], zone: ZoneInfo
) -> str:
    """The finished HTML of a report: two A4 pages."""
    compact = len(content.tanks) > 1
    tanks = [drawn(block, mode="paper", zone=zone, compact=compact) for block in content.tanks]
    context: dict[str, Any] = {
        "c": content,
        "tanks": tanks,
        "compact": compact,
        "number": number,
        "version": version,
        "changes": changes,
        "tone": tone_of(content.verdict, content.danger),
        "word": Verdict(content.verdict).label,
        "style": style(),
        "done": _tick("sent"),
        "not_done": _tick("none"),
        "charts": [tank for tank in tanks if tank.chart][: CHARTS.get(len(tanks), 0)],
        "photos": [tank for tank in tanks if tank.pictures][: PHOTOS.get(len(tanks), 0)],
    }
    return render_to_string("reports/paper_report.html", context)


def overdue_html(tasks: list[Task], *, business: str, day: str, lateness: dict[Any, str]) -> str:
    """The finished HTML of the overdue list: one table with room for a pen."""
    rows = [(task, lateness[task.pk]) for task in tasks]
    context = {"rows": rows, "business": business, "day": day, "style": style(), "number": len(rows)}
    return render_to_string("reports/paper_overdue.html", context)
