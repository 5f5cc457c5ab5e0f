"""How a report is laid out so that two A4 pages hold it: plans from the roomiest to the shortest.

Heights are estimated in CSS pixels from the number of letters, to choose the first plan; the drawing itself is the
proof, and a plan that needs a third page is followed by the next one."""

from dataclasses import dataclass, replace
from math import ceil

from reports.queries.shape import ReportContent, TankBlock
from reports.queries.short import tasks_cut

PAGES = 2
PAGE_PX = 965.0
"""What an A4 page holds between its margins, with a little kept back."""
LINE, WIDE, HALF = 18.5, 84, 38
"""A line's height, and how many letters stand in one across the page and in half a page."""
TITLE_PX, ROW_PX, ROW_SMALL_PX, ROW_LARGE_PX = 47.0, 38.0, 31.0, 46.0
CHART_LOW, CHART_HIGH = 128.0, 210.0
PHOTO_LOW, PHOTO_HIGH, PHOTO_FOOT = 110.0, 235.0, 24.0
MOST_HOPED = 3
"""With so many trends one that the estimate left out is worth another drawing."""
MOST_EACH = 4
"""So many tanks may stand with every level drawn; more share one table."""


@dataclass(frozen=True)
class Plan:
    """One way to lay a report out. `form`: one tank, each tank by itself, or all in one table. `charts` stand on the
    first page, `charts_two` on the second, the photos on the second if not `photos_first`. `most` lines of a list and `letters` of a text are kept; 0 keeps all."""

    form: str
    split: bool = True
    row: float = ROW_PX
    charts: int = 0
    charts_two: int = 0
    chart_px: float = CHART_LOW
    chart_two_px: float = CHART_LOW
    photos: int = 0
    photos_first: bool = False
    photo_px: float = PHOTO_LOW
    small: bool = False
    most: int = 0
    letters: int = 0


def plans(content: ReportContent, changes: list[str]) -> list[Plan]:
    """Ways to lay it out, the best first. The last one holds whatever may have been written."""
    number = len(content.tanks)
    forms = ["one"] if number == 1 else ["each", "table"] if number <= MOST_EACH else ["table"]
    ways = []
    for form in forms:
        first, second = _first(content, changes, form), _second(content, form)
        whole = _filled(content, Plan(form), first, second)
        bare = Plan(form, row=ROW_SMALL_PX, split=False)
        ways += [*_hoped(content, whole), whole, *_less(whole), bare, replace(bare, small=True)]
    last = replace(ways[-1], row=ROW_SMALL_PX)
    ways += [
        replace(last, most=most, letters=letters) for most, letters in ((8, 420), (6, 240), (5, 150), (3, 90))
    ]
    return list(dict.fromkeys(ways))


def _hoped(content: ReportContent, plan: Plan) -> list[Plan]:
    """Where the estimate found no room for every trend, one chart more is tried overleaf all the same: a report tells a
    trend, and the estimate keeps something back."""
    shown = plan.charts + plan.charts_two
    wanted = sum(block.trend is not None for block in content.tanks)
    if shown >= wanted or (shown and wanted > MOST_HOPED):
        return []
    high = (CHART_HIGH, CHART_LOW) if not shown else (CHART_LOW,)
    return [replace(plan, charts_two=plan.charts_two + 1, chart_two_px=px) for px in high]


def _less(plan: Plan) -> list[Plan]:
    """The same with lower drawings, with one chart moved overleaf, then with fewer, then flowing from page to page."""
    lower = replace(
        plan, chart_px=CHART_LOW, chart_two_px=CHART_LOW, photo_px=PHOTO_LOW, row=min(plan.row, ROW_PX)
    )
    fewer = replace(
        lower, charts=min(plan.charts, 1), charts_two=0, photos=min(plan.photos, 1), row=ROW_SMALL_PX
    )
    moved = replace(lower, charts=max(plan.charts - 1, 0), charts_two=plan.charts_two + min(plan.charts, 1))
    flowing = replace(fewer, split=False)
    return [lower, moved, fewer, flowing, replace(flowing, charts=0), replace(flowing, charts=0, small=True)]


def lines_in(text: str, letters: int) -> int:
    return max(1, ceil(len(text) / letters))


def _first(content: ReportContent, changes: list[str], form: str) -> float:
    """The first page without drawings."""
    high = 62.0 + 27 + 22 * lines_in(content.title, 66) + 70 + 21 * lines_in(content.sentence, 70)
    if changes:
        high += 48 + sum(LINE * lines_in(line, WIDE - 6) for line in changes)
    if form == "one":
        block = content.tanks[0]
        high += TITLE_PX + 6 + LINE * lines_in(" ".join(block.changed), WIDE)
        return high + (TITLE_PX + 34 + ROW_PX * len(block.levels) if block.levels else 0)
    if form == "each":
        return high + 34 + sum(_each(block) for block in content.tanks)
    told = sum(17 * lines_in(" ".join(block.changed), 95) for block in content.tanks)
    return high + TITLE_PX + 60 + told + sum(38 + 15 * (len(b.name + b.place) > 34) for b in content.tanks)


def _each(block: TankBlock) -> float:
    return 44 + 20 * lines_in(" ".join(block.changed), WIDE) + ROW_SMALL_PX * len(block.levels)


def _second(content: ReportContent, form: str) -> float:
    """The second page without drawings."""
    blocks = content.tanks
    heads = 0 if form == "one" else 28 * len(blocks)
    did = heads + sum(_column(block.did or [""], form) for block in tasks_cut(content).tanks)
    did_not = heads + sum(_column(block.did_not or [""], form) for block in blocks)
    if form == "table":
        did, did_not = 90 + did / len(blocks), 90 + did_not / len(blocks)
    animals = sum(len(block.animals) for block in blocks) if form != "table" else 2
    asked = sum(84 + LINE * lines_in(question.text, WIDE - 8) for question in content.questions)
    asked += (
        TITLE_PX + sum(LINE * lines_in(line, WIDE) + 11 for line in content.answered)
        if content.answered
        else 0
    )
    please = max(_column(content.please_do, form), _column(content.please_not, form))
    return max(did, did_not) + TITLE_PX * 3 + 29 * animals + please + asked + 135


def _column(lines: list[str], form: str) -> float:
    line, around = (LINE, 11) if form == "one" else (16.5, 7)
    return sum(line * lines_in(text, HALF if form == "one" else HALF + 5) + around for text in lines)


def _filled(content: ReportContent, plan: Plan, first: float, second: float) -> Plan:
    """The plan with as many charts and photos as its pages have room for, as large as they read well."""
    trends = (
        sum(1 + len(b.more) for b in content.tanks if b.trend)
        if plan.form == "one"
        else sum(b.trend is not None for b in content.tanks)
    )
    photos = sum(bool(block.pictures) for block in content.tanks)
    alone = trends * (TITLE_PX + CHART_LOW) + photos * (TITLE_PX + PHOTO_FOOT + 170)
    if trends < 2 and first + second + alone <= PAGE_PX:
        return replace(plan, split=False, charts=trends, photos=photos, photo_px=170)
    rest, rest_two = PAGE_PX - first, PAGE_PX - second
    if plan.form == "one" and trends < 3 and rest > TITLE_PX + CHART_HIGH + 60:
        plan, rest = replace(plan, row=ROW_LARGE_PX), rest - 8 * len(content.tanks[0].levels)
    if photos == 1 and not trends and rest > TITLE_PX + PHOTO_FOOT + PHOTO_LOW:
        high = _share(rest, 1, TITLE_PX + PHOTO_FOOT, PHOTO_LOW, PHOTO_HIGH)
        return replace(plan, photos_first=True, photos=1, photo_px=high)
    shown = _number(rest_two, TITLE_PX + PHOTO_FOOT + PHOTO_LOW, photos)
    if photos and not shown and rest > TITLE_PX + PHOTO_FOOT + PHOTO_LOW:
        plan, rest = replace(plan, photos_first=True, photos=1), rest - (TITLE_PX + PHOTO_FOOT + PHOTO_LOW)
    here = _number(rest, TITLE_PX + CHART_LOW, min(trends, 3))
    photo_px = _share(rest_two, shown, TITLE_PX + PHOTO_FOOT, PHOTO_LOW, PHOTO_HIGH)
    rest_two -= shown * (TITLE_PX + PHOTO_FOOT + photo_px)
    there = _number(rest_two, TITLE_PX + CHART_LOW, min(trends - here, 2))
    return replace(
        plan,
        charts=here,
        chart_px=_share(rest, here, TITLE_PX, CHART_LOW, CHART_HIGH),
        photos=shown or plan.photos,
        photo_px=photo_px,
        charts_two=there,
        chart_two_px=_share(rest_two, there, TITLE_PX, CHART_LOW, CHART_HIGH),
    )


def _number(rest: float, each: float, most: int) -> int:
    return max(0, min(most, int(rest // each)))


def _share(rest: float, number: int, around: float, low: float, high: float) -> float:
    return min(high, max(low, rest / number - around)) if number else low
