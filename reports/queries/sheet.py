"""The two pages of a report, laid out by a plan: what stands where, and in words what has no room here."""

from collections import Counter
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from reports.choices import Verdict
from reports.queries import words
from reports.queries.fit import Plan, plans
from reports.queries.paper import CHART_PX, charts_of, on_paper, photo_inside, style, tone_of
from reports.queries.shape import Level, ReportContent, TankBlock
from reports.queries.short import clipped, grouped, listed_short, shortened, tasks_cut
from servicedesk.core.drawing.glyphs import TONE_OF, glyph_svg
from servicedesk.core.drawing.pen import INK, TONES

MOST_COLUMNS = 5
WORST: tuple[str, ...] = (Verdict.WELL, Verdict.WATCHING, Verdict.ACTING)
LEGEND = ("in", "low", "high", "under", "over", "again")


@dataclass(frozen=True)
class Cell:
    """One value of one tank in the table of all tanks; empty where it is not told."""

    text: str = ""
    band: str = ""
    glyph: SafeString = mark_safe("")


def report_html(
    content: ReportContent,
    *,
    number: str,
    version: int,
    changes: list[str],
    zone: ZoneInfo,
    plan: Plan | None = None,
    link: str = "",
) -> str:
    """The finished HTML of a report. `link` opens it on the web; without a plan it is laid out by the first."""
    plan = plan or plans(content, changes)[0]
    content = content if plan.form == "table" else tasks_cut(content)
    c = shortened(content, most=plan.most, letters=plan.letters)
    context: dict[str, Any] = {
        "c": c,
        "plan": plan,
        "several": len(c.tanks) > 1,
        "tanks": [on_paper(block, plan) for block in c.tanks],
        "number": number,
        "version": version,
        "changes": listed_short(changes, plan.most, plan.letters),
        "tone": tone_of(c.verdict, c.danger),
        "word": Verdict(c.verdict).label,
        "style": style(),
        "done": _tick("sent"),
        "not_done": _tick("none"),
        "link": link,
        "link_text": _said(link),
        "left_out": words.listed(left_out(content, plan)),
        **_drawings(c, plan, zone),
        **(_table(c, plan) if plan.form == "table" else {}),
    }
    return render_to_string("reports/paper_report.html", context)


def _said(link: str) -> str:
    """The address as it can be typed: the list of reports; the report's own address opens by a tap."""
    head, found, _rest = link.partition("/reports/")
    return f"{head.partition('://')[2]}{found}" if found else link


def _tick(name: str) -> SafeString:
    return mark_safe(glyph_svg(name, size_px=14, colour=INK))


def _charted(content: ReportContent, plan: Plan) -> list[tuple[TankBlock, int]]:
    """Which charts there are room for: all of a single tank, else the first of each tank, the worst tank's first."""
    if plan.form == "one":
        block = content.tanks[0]
        return [(block, n) for n in range(1 + len(block.more) if block.trend else 0)]
    blocks = sorted(content.tanks, key=lambda block: (not block.danger, -WORST.index(block.verdict)))
    return [(block, 0) for block in blocks if block.trend]


def _drawings(content: ReportContent, plan: Plan, zone: ZoneInfo) -> dict[str, Any]:
    several, number = len(content.tanks) > 1, plan.charts + plan.charts_two
    found = []
    for place, (block, n) in enumerate(_charted(content, plan)[:number]):
        height = plan.chart_px if place < plan.charts else plan.chart_two_px
        chart = charts_of(block, size=(CHART_PX, height), mode="paper", zone=zone)[n]
        found.append((f"{block.name}: " if several else "", chart))
    photos = [
        (block.name if several else "", _photos(block))
        for block in [b for b in content.tanks if b.pictures][: plan.photos]
    ]
    return {"charts": found[: plan.charts], "charts_two": found[plan.charts :], "photos": photos}


def _photos(block: TankBlock) -> list[tuple[str, str, str]]:
    return [(p.when, clipped(p.caption, 60), photo_inside(p.photo)) for p in block.pictures]


def left_out(content: ReportContent, plan: Plan) -> list[str]:
    """What has no room on two pages, in words."""
    lines = []
    if plan.form == "table":
        lines.append(_("each value’s picture"))
    tanks = [b for b in content.tanks if b.trend]
    shown = {block.tank for block, _n in _charted(content, plan)[: plan.charts + plan.charts_two]}
    missing = len([b for b in tanks if b.tank not in shown])
    if missing:
        lines.append(
            ngettext("the chart of %(n)s tank", "the charts of %(n)s tanks", missing) % {"n": missing}
        )
    photos = max(sum(bool(b.pictures) for b in content.tanks) - plan.photos, 0)
    if photos:
        lines.append(
            ngettext("the photos of %(n)s tank", "the photos of %(n)s tanks", photos) % {"n": photos}
        )
    if plan.most:
        lines.append(_("the end of long texts and lists"))
    asked = len(content.questions) - len(shortened(content, most=plan.most, letters=plan.letters).questions)
    if asked:
        lines.append(ngettext("%(n)s more question", "%(n)s more questions", asked) % {"n": asked})
    return lines


def _table(content: ReportContent, plan: Plan) -> dict[str, Any]:
    """All tanks in one table, and what was seen, done and left, each line once with whose it is."""
    blocks = content.tanks
    columns = _columns(blocks)
    rows = []
    for block in blocks:
        tank = on_paper(block, plan)
        told = {level.name: level for level in block.levels}
        rows.append((tank, [_cell(told.get(column)) for column in columns], _besides(block, columns)))
    most = plan.most
    return {
        "columns": columns,
        "rows": rows,
        "legend": [
            (mark_safe(glyph_svg(state, size_px=13, colour=TONES[TONE_OF[state]])), words.plain_word(state))
            for state in LEGEND
        ],
        "seen": _cut(grouped([(b.name, b.changed) for b in blocks]), most),
        "did": _cut(grouped([(b.name, b.did or [_("We looked the tank over.")]) for b in blocks]), most),
        "did_not": _cut(grouped([(b.name, b.did_not) for b in blocks]), most),
        "animals": _cut(grouped([(b.name, b.animals) for b in blocks], rare_first=True), most * 2),
    }


def _cut(lines: list[tuple[str, str]], most: int) -> list[tuple[str, str]]:
    if not most or len(lines) <= most:
        return lines
    rest = len(lines) - most + 1
    more = ngettext("and %(n)s more line", "and %(n)s more lines", rest) % {"n": rest}
    return [*lines[: most - 1], (more, "")]


def _columns(blocks: list[TankBlock]) -> list[str]:
    """The values that most tanks are told, in the client's order."""
    count = Counter(level.name for block in blocks for level in block.levels)
    order = [words.name_of(parameter) for parameter in words.ORDER]

    def place(name: str) -> int:
        return order.index(name) if name in order else len(order)

    often = sorted(count, key=lambda name: (-count[name], place(name)))
    return sorted(often[:MOST_COLUMNS], key=place)


def _cell(level: Level | None) -> Cell:
    if level is None:
        return Cell()
    glyph = glyph_svg(level.state, size_px=13, colour=TONES[TONE_OF[level.state]])
    return Cell(level.value_text, level.band_text, mark_safe(glyph))


def _besides(block: TankBlock, columns: list[str]) -> str:
    """Values that have no column and are not as they should be."""
    rest = [x for x in block.levels if x.name not in columns and x.state != "in"]
    return " ".join(f"{x.name} {x.value_text} ({x.band_text}): {x.word}." for x in rest)
