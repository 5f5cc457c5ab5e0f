"""Tags of the look: glyphs beside their words, drawings, and the parts that every page is made of.

Words are translated here; geometry is worked out in ``servicedesk.core.drawing``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from django import template
from django.forms import BoundField
from django.templatetags.static import static
from django.utils import timezone
from django.utils.formats import date_format, localize
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from servicedesk.core.drawing.ahead import ahead_svg, tally_svg
from servicedesk.core.drawing.chart import Chart, ChartWords, chart_table
from servicedesk.core.drawing.glyphs import TONE_OF, glyph_of
from servicedesk.core.drawing.levels import LevelRow, level_svg
from servicedesk.core.drawing.overlay import DayOverlay, overlay_svg
from servicedesk.core.drawing.plot import chart_svg, marker_svg
from servicedesk.core.drawing.sketch import Sketch, sketch_svg
from servicedesk.core.drawing.spark import spark_svg
from servicedesk.desk.templatetags.strips import WIDTHS, strip
from servicedesk.instruments.choices import Trust
from servicedesk.stock.queries import amount_words
from servicedesk.web.zones import days_in_words

register = template.Library()
register.simple_tag(strip)

WORDS = {
    "in": _("In band"),
    "low": _("Below band"),
    "high": _("Above band"),
    "under": _("Below the limit"),
    "over": _("Above the limit"),
    "again": _("Test again"),
    "check": _("To be checked"),
    "doubt": _("Not to be acted on"),
    "expect": _("Expected, not measured"),
    "infer": _("Worked out from another"),
    "none": _("Not tested"),
    "silent": _("Silent"),
    "empty": _("Empty"),
    "alone": _("In isolation"),
    "wait": _("Waiting to be sent"),
    "sent": _("Sent"),
    "fail": _("Not sent"),
    "due": _("Due"),
    "late": _("Overdue"),
    "held": _("Held for your word"),
    "moved": _("Moved"),
}
ALARMS = ("under", "over")
DOUBTS = {Trust.TO_CHECK: "check", Trust.NOT_TO_ACT_ON: "doubt"}
"""The glyph of each trust but belief, which needs none."""
EVENTS = {
    "visit": _("Visit"),
    "dose": _("Dose"),
    "change": _("Water change"),
    "reagent": _("New reagent"),
    "calibration": _("Calibration"),
    "fault": _("Fault"),
}


def _drawing(svg: str) -> SafeString:
    """Drawings escape every word they are given, so their text is safe as it stands."""
    return mark_safe(svg)


@register.simple_tag
def amount(number: float, unit: str) -> str:
    """``{% amount 4000 "mL" %}``: so much of a supply, "4 L"."""
    return amount_words(number, unit)


@register.simple_tag
def glyph(state: str, size: str = "") -> SafeString:
    """``{% glyph "low" %}``; size "row" or "word". Always beside its word, so hidden from readers aloud."""
    cls = f"glyph glyph--{size}" if size else "glyph"
    address = f"{static('icons/glyphs.svg')}#{glyph_of(state)}"
    return format_html(
        '<svg class="{}" viewBox="0 0 24 24" aria-hidden="true" focusable="false"><use href="{}"/></svg>',
        cls,
        address,
    )


@register.filter
def weekdays(days: list[int]) -> str:
    """``{{ row.weekdays|weekdays }}``: days of the week in words."""
    return days_in_words(days)


@register.filter
def tone(state: str) -> str:
    """``data-tone="{{ state|tone }}"``: the tone of a state."""
    return TONE_OF[glyph_of(state)]


@register.filter
def word(state: str) -> str:
    """The word of a state, in the reader's language."""
    return str(WORDS[glyph_of(state)])


@register.simple_tag
def state_word(state: str, words: str = "", toned: str = "") -> SafeString:
    """``{% state_word "late" "9 days overdue" %}``: glyph and word together, in the state's tone or another."""
    return format_html(
        '<span class="said" data-tone="{}">{}<span>{}</span></span>',
        toned or tone(state),
        glyph(state),
        words or word(state),
    )


@dataclass(frozen=True, slots=True)
class DrawnRow:
    """A level row with its picture and its word."""

    row: LevelRow
    picture: SafeString
    state: str
    word: str
    tone: str


@register.inclusion_tag("components/level_rows.html")
def levels(rows: Iterable[LevelRow], caption: str = "", roomy: bool = False) -> dict[str, object]:
    """``{% levels rows "Water today" %}``: the list that reads itself; roomy puts the method under its name."""
    drawn = [drawn_row(row) for row in rows]
    return {"rows": drawn, "caption": caption or _("Values against their bands"), "roomy": roomy}


@register.simple_tag
def trust_word(trust: str, why: str = "", of: str = "") -> SafeString:
    """``{% trust_word row.trust row.trust_why %}``: where a measure stands (believed, to be checked, not to be acted on),
    beside each of its values; `of` names the measure, `why` says the reason."""
    state = DOUBTS.get(Trust(trust), "")
    words = " ".join(filter(None, [of, str(Trust(trust).label)])) + (f": {why}" if why else "")
    return format_html(
        '<span class="trust" data-tone="{}">{}<span>{}</span></span>',
        tone(state) if state else "soft",
        glyph(state) if state else "",
        words,
    )


def drawn_row(row: LevelRow) -> DrawnRow:
    """What the template needs of one row. A row that is not tested and not here carries no word of verdict."""
    return DrawnRow(
        row=row,
        picture=_drawing(level_svg(row)),
        state=row.mark,
        word=row.word
        or word(row.state if row.kind == "inferred" and row.tone in ("out", "act") else row.mark),
        tone=row.tone,
    )


@register.inclusion_tag("components/verdict.html")
def verdict(
    state: str, text: str = "", words: str = "", tag: str = "p", colour: str = ""
) -> dict[str, object]:
    """``{% verdict "low" "6.9 dKH, 0.3 under the low mark." %}``: the largest word on the screen. Its colour is that
    of the state, or the one that is named: a client's verdict is calmer than the value it comes from."""
    name = glyph_of(state)
    return {
        "state": name,
        "tone": colour or tone(name),
        "word": words or word(name),
        "text": text,
        "alarm": name in ALARMS,
        "tag": tag,
    }


@register.inclusion_tag("components/field.html")
def field(bound: BoundField, unit: str = "") -> dict[str, object]:
    """``{% field form.volume %}``: label above, error under it with what was typed."""
    widget = bound.field.widget
    return {
        "field": bound,
        "unit": unit,
        "kind": _kind(bound),
        "optional": not bound.field.required and not bound.field.disabled,
        "errors": _errors(bound),
        "hidden": widget.is_hidden,
    }


def _kind(bound: BoundField) -> str:
    if bound.widget_type == "checkbox":
        return "tick"
    return "group" if bound.use_fieldset else "plain"


def _errors(bound: BoundField) -> list[str]:
    """Each error in a sentence: what is needed by name, and what was typed unless the sentence already repeats it."""
    typed: Any = bound.value() if bound.form.is_bound else None
    secret = bound.widget_type in ("select", "radioselect", "password")
    told = isinstance(typed, str) and bool(typed.strip()) and not secret
    sentences = []
    for error in bound.errors.as_data():
        said = str(next(iter(error)))
        if error.code == "required":
            said = gettext("%(label)s is needed.") % {"label": bound.label}
        sentences.append(f"“{typed}”: {said}" if told and typed not in said else said)
    return sentences


@dataclass(frozen=True, slots=True)
class TableLine:
    """One line of the table behind a chart, in words."""

    when: str
    what: str
    value: str


@register.inclusion_tag("components/chart.html")
def chart(
    shown: Chart, height: int = 250, columns: bool = False, table_url: str = "", opened: bool = False
) -> dict[str, object]:
    """``{% chart chart %}``: the answer sentence, the drawing, its key in one line, and its numbers one tap away: on
    the page, or (with many of them) behind ``table_url``, whose page opens them. ``columns``: never wider than a column."""
    spoken = shown if shown.zone else replace(shown, zone=timezone.get_current_timezone())
    spoken = replace(spoken, words=_chart_words(), name_time=_name_time, name_value=_name_value)
    return {
        "chart": spoken,
        "drawn": []
        if spoken.is_empty
        else [_drawing(chart_svg(spoken, width=width, height=height)) for width in _widths(columns)],
        "key": [(_drawing(marker_svg(series.marker)), series.label) for series in spoken.series],
        "lines": [] if spoken.is_empty or (table_url and not opened) else _table_lines(spoken),
        "table_url": "" if spoken.is_empty or opened else table_url,
        "opened": opened,
    }


def _widths(columns: bool) -> tuple[int, ...]:
    return WIDTHS[:2] if columns else WIDTHS


@register.inclusion_tag("components/chart.html")
def day_overlay(shown: DayOverlay) -> dict[str, object]:
    """``{% day_overlay overlay %}``: days laid over each other, and each day's lowest and highest as a table."""
    spoken = replace(shown, name_value=_name_value)
    return {
        "chart": spoken,
        "drawn": [_drawing(overlay_svg(spoken, width=width)) for width in _widths(columns=True)],
        "lines": [
            TableLine(date_format(day.day, "j M Y"), word, f"{_name_value(value)} {shown.unit}".strip())
            for day in reversed(shown.days)
            for word, value in (
                (gettext("lowest"), min(v for _hour, v in day.points)),
                (gettext("highest"), max(v for _hour, v in day.points)),
            )
        ],
    }


def _chart_words() -> ChartWords:
    return ChartWords(
        high=gettext("high mark {}"),
        low=gettext("low mark {}"),
        limit=gettext("limit {}"),
        now=gettext("today"),
        silent_h=gettext("silent {} h"),
        silent_d=gettext("silent {} days"),
        nothing=gettext("Nothing has been measured in this time."),
    )


def _name_time(at: datetime, step: timedelta) -> str:
    return date_format(at, "H:i" if step < timedelta(days=1) else "j M")


def _name_value(value: float) -> str:
    return str(localize(float(f"{value:.4g}"))).removesuffix(".0")


def _table_lines(spoken: Chart) -> list[TableLine]:
    """Every value and event, newest first, with times in the chart's zone."""
    return [
        TableLine(
            when=date_format(row.at.astimezone(spoken.zone), "j M Y, H:i"),
            what=str(EVENTS.get(row.what, row.what)) if row.value is None else row.what,
            value=row.text if row.value is None else f"{_name_value(row.value)} {spoken.unit}".strip(),
        )
        for row in chart_table(spoken)
    ]


@lru_cache(maxsize=512)
def _sketch(shown: Sketch, width: float) -> SafeString:
    return _drawing(sketch_svg(shown, width=width))


@register.inclusion_tag("components/drawn.html")
def sketch(shown: Sketch, small: bool = False) -> dict[str, object]:
    """``{% sketch row.sketch %}``: the round as a map sketch, its title being read aloud; small for half a column."""
    spoken = replace(shown, stops=tuple(shown.stops), km=gettext("{} km"), store_word=gettext("store"))
    return {"drawn": [_sketch(spoken, width) for width in (WIDTHS[:1] if small else WIDTHS[:2])]}


@register.simple_tag
def spark(values: Sequence[float | None], low: float | None, high: float | None, title: str) -> SafeString:
    """``{% spark row.trend row.low row.high row.trend_words %}``: a small trend, oldest first."""
    return _drawing(spark_svg(values, low=low, high=high, title=title))


@register.inclusion_tag("components/empty.html")
def empty(text: str) -> dict[str, object]:
    """``{% empty "Nothing is overdue. The next task falls due on Friday." %}``"""
    return {"text": text}


@register.inclusion_tag("components/photo.html")
def photo(url: str = "", place: str = "", when: str = "", described: str = "") -> dict[str, object]:
    """``{% photo url place when %}``: date and place stand beneath; without a picture it says so."""
    return {"url": url, "place": place, "when": when, "described": described or place}


@register.inclusion_tag("components/banner.html")
def banner(state: str, said: str, text: str = "", label: str = "", url: str = "") -> dict[str, object]:
    """``{% banner "fail" "The mail was not sent." "It goes again at 10:40." %}``"""
    return {
        "state": glyph_of(state),
        "tone": tone(state),
        "said": said,
        "text": text,
        "label": label,
        "url": url,
    }


@register.simple_tag
def ahead(help_h: float | None, harm_h: float | None, lettered: bool = False, title: str = "") -> SafeString:
    """``{% ahead row.help_h row.harm_h True %}``: hours until help and until harm, drawn. Its words stand beside it,
    so it is silent unless it gets a title."""
    letters = (gettext("now"), gettext("6 h"), gettext("1 day"), gettext("3")) if lettered else ()
    return _drawing(ahead_svg(help_h=help_h, harm_h=harm_h, title=title, letters=letters))


@register.inclusion_tag("components/tally.html")
def tally(done: int, total: int, text: str) -> dict[str, object]:
    """``{% tally 42 88 "42 of 88 stops placed" %}``: progress between two lines."""
    return {
        "picture": _drawing(tally_svg(done=done, total=total, title=text)) if total > 0 else "",
        "text": text,
    }


@register.simple_tag
def drawing(svg: str) -> SafeString:
    """``{% drawing row.picture %}``: a picture made by ``servicedesk.core.drawing``."""
    return _drawing(svg)
