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
from reports.queries.fit import Plan
from reports.queries.shape import Level, TankBlock, Trend
from servicedesk.core.drawing.chart import Chart, ChartSeries, ChartWords, Marker
from servicedesk.core.drawing.glyphs import glyph_svg
from servicedesk.core.drawing.levels import Kind, LevelRow, level_svg
from servicedesk.core.drawing.pen import TONES, Mode
from servicedesk.core.drawing.plot import chart_svg
from servicedesk.upkeep.models import Task
from servicedesk.visits.models import Photo

FONT = re.compile(r'url\("\.\./fonts/([\w.-]+)"\)')
SCREENS_ONLY = "@media (prefers-contrast"
PHOTO_PX = (900, 640)
LEVEL_PX, CHART_PX = 176.0, 656.0
PAGE_CHART_PX, PHONE_CHART_PX, PAGE_CHART_HIGH_PX = 640.0, 352.0, 200.0
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
        method=_("should be %(band)s") % {"band": level.band_text} if level.band_text else "",
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
class DrawnChart:
    """Twelve weeks of one value: what it is called, what it says, and the drawing."""

    name: str
    says: str
    drawing: SafeString


@dataclass(frozen=True)
class DrawnTank:
    """A tank's block with its drawings."""

    block: TankBlock
    tone: str
    word: str
    glyph: SafeString
    levels: list[tuple[Level, LevelRow, SafeString]]
    charts: list[DrawnChart]
    pictures: list[tuple[str, str, str]]

    @property
    def rows(self) -> list[LevelRow]:
        return [row for _level, row, _picture in self.levels]


def charts_of(block: TankBlock, *, size: tuple[float, float], mode: Mode, zone: ZoneInfo) -> list[DrawnChart]:
    """Every chart of a tank, the one that matters most first."""
    told = [block.trend, *block.more] if block.trend else []
    return [
        DrawnChart(
            trend.name,
            trend.says,
            mark_safe(chart_svg(_chart(trend, zone), width=size[0], height=size[1], mode=mode)),
        )
        for trend in told
    ]


def drawn(block: TankBlock, *, zone: ZoneInfo, narrow: bool = False) -> DrawnTank:
    """A tank's block drawn for a page (narrow: for a telephone). The drawings escape every word they are given."""
    size = (PHONE_CHART_PX if narrow else PAGE_CHART_PX, PAGE_CHART_HIGH_PX)
    return _tank(
        block,
        levels=[(level, row, mark_safe(level_svg(row))) for level, row in _rows(block)],
        charts=charts_of(block, size=size, mode="page", zone=zone),
        pictures=[(picture.when, picture.caption, picture.photo) for picture in block.pictures],
    )


def on_paper(block: TankBlock, plan: Plan) -> DrawnTank:
    """A tank's block drawn for paper; its charts and photos stand where the plan has room for them."""
    rows = [
        (level, row, mark_safe(level_svg(row, width=LEVEL_PX, height=plan.row, mode="paper")))
        for level, row in _rows(block)
    ]
    return _tank(block, levels=rows, charts=[], pictures=[])


def _rows(block: TankBlock) -> list[tuple[Level, LevelRow]]:
    return [(level, level_row(level)) for level in block.levels]


def _tank(block: TankBlock, **drawings: Any) -> DrawnTank:
    tone = tone_of(block.verdict, block.danger)
    glyph = mark_safe(glyph_svg(glyph_of_block(block), size_px=20, colour=TONES[tone]))
    return DrawnTank(block=block, tone=tone, word=str(Verdict(block.verdict).label), glyph=glyph, **drawings)


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


def overdue_html(tasks: list[Task], *, business: str, day: str, lateness: dict[Any, str]) -> str:
    """The finished HTML of the overdue list: one table with room for a pen."""
    rows = [(task, lateness[task.pk]) for task in tasks]
    context = {"rows": rows, "business": business, "day": day, "style": style(), "number": len(rows)}
    return render_to_string("reports/paper_overdue.html", context)
