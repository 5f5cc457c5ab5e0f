"""What the page of a proposed week repeats for every visit, round and shift, written at once and kept by what it says."""

from __future__ import annotations

from datetime import date
from functools import lru_cache
from html import escape
from typing import Any, NamedTuple
from uuid import UUID

from django import template
from django.utils.formats import date_format
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.text import capfirst
from django.utils.translation import gettext

from servicedesk.core.drawing.vessel import vessel_svg
from servicedesk.desk.templatetags.look import state_word
from servicedesk.desk.templatetags.strips import strip
from servicedesk.desk.templatetags.week_rows import address
from servicedesk.rounds.queries.placed import Change, Placed
from servicedesk.rounds.queries.proposed_days import LineSeen, ProposedDay
from servicedesk.rounds.queries.shares import Cell, ShareRow, Shares
from servicedesk.rounds.queries.telling import Call

register = template.Library()
OPEN, TONE = SafeString(" open"), SafeString(' data-tone="act"')
PUTTING = "putting"
"""The one form of the page that buttons of stops send."""


@register.simple_tag
def change_rows(changes: list[Change]) -> SafeString:
    """``{% change_rows b.changes %}``: what moves, from where to where."""
    return format_html('<ul class="rows">{}</ul>', mark_safe("".join(map(_change_row, changes))))  # noqa: S308  written by format_html


@lru_cache(maxsize=2048)
def _change_row(change: Change) -> SafeString:
    which = gettext("another day") if change.day else gettext("another hour")
    return format_html(
        '<li class="row row--plain"><div class="row__words"><p class="row__subject">{}</p><p>{}</p><p class="note">{}{}</p></div>'
        '<p class="row__end note">{}</p></li>',
        change.name,
        change.now,
        gettext("until now %(was)s") % {"was": change.was},
        f" · {change.why}" if change.why else "",
        gettext("another person") if change.person else which,
    )


@register.simple_tag
def today_rows(changes: list[Change]) -> SafeString:
    """``{% today_rows side.changes %}``: the same of one day."""
    return format_html('<ul class="rows">{}</ul>', mark_safe("".join(map(_today_row, changes))))  # noqa: S308  written by format_html


@lru_cache(maxsize=1024)
def _today_row(change: Change) -> SafeString:
    return format_html(
        '<li class="row row--alone"><div class="row__words"><p class="row__subject">{}</p><p>{}</p><p class="note">{}</p></div></li>',
        change.name,
        change.now_then,
        gettext("until now %(was)s") % {"was": change.was_then},
    )


@register.simple_tag
def little_rows(rows: list[Placed]) -> SafeString:
    """``{% little_rows side.little %}``: what moves by too little to be worth a word."""
    words = gettext("%(a)s, then %(b)s")
    lines = format_html_join(
        "",
        '<li class="row row--plain"><span>{}</span><span class="note row__end">{}</span></li>',
        ((row.name, words % {"a": f"{row.was_at:%H:%M}", "b": f"{row.at:%H:%M}"}) for row in rows),
    )
    return format_html('<ul class="rows">{}</ul>', lines)


@register.simple_tag(takes_context=True)
def call_rows(context: Any, calls: list[Call], week: Any = None) -> SafeString:
    """``{% call_rows calls week %}``: who is told, under which number or by whose mail, and the word that somebody has rung."""
    token = format_html(
        '<input type="hidden" name="csrfmiddlewaretoken" value="{}">', context.get("csrf_token")
    )
    hidden = format_html('{}<input type="hidden" name="from" value="{}">', token, "week") if week else token
    rows = format_html_join(
        "", '<li class="row row--alone">{}{}</li>', ((_call(c), _rung(c, hidden)) for c in calls)
    )
    return format_html('<ul class="rows">{}</ul>', rows)


@lru_cache(maxsize=1024)
def _call(call: Call) -> SafeString:
    return format_html(
        '<div class="row__words"><p class="row__subject">{}</p><p>{}{}</p>{}</div>',
        call.name,
        call.about,
        "" if call.mailed else _phone(call),
        _notes(call),
    )


def _phone(call: Call) -> SafeString:
    if not call.phone:
        return format_html(" · {}", gettext("no number is written down"))
    return format_html(' · <a href="tel:{}">{}</a>', call.phone, call.phone)


def _notes(call: Call) -> SafeString:
    mailed = gettext("by mail to %(who)s") % {"who": call.mailed} if call.mailed else ""
    notes = (mailed, capfirst(call.note), capfirst(call.done))
    return format_html_join("", '<p class="note">{}</p>', ((note,) for note in notes if note))


def _rung(call: Call, hidden: SafeString) -> SafeString | str:
    if call.key is None or call.mailed or call.done:
        return ""
    return format_html(
        '<form class="row__end" method="post" action="{}">{}<button class="button">{}<span class="unseen"> {}</span></button></form>',
        address("rounds:rung", call.key),
        hidden,
        gettext("I have rung them"),
        call.name,
    )


@register.simple_tag
def proposed_day(day: ProposedDay, proposal: UUID, may_begin: bool, at: str) -> SafeString:
    """``{% proposed_day d row.pk b.may_begin at %}``: a technician's day; its stops are open where one of them is `at`."""
    return _day(day, proposal, may_begin, bool(at) and at in day.visits)


@lru_cache(maxsize=512)
def _day(day: ProposedDay, proposal: UUID, may_begin: bool, opened: bool) -> SafeString:
    key = day.day.isoformat()
    words, count = _words(proposal), len(day.stops)
    stops = "".join(
        _stop(line, place, count, words if may_begin else None) for place, line in enumerate(day.stops)
    )
    said = [state_word("over", words) for words in day.wrong] + [
        state_word("late", words) for words in day.hours
    ]
    return format_html(
        '<div class="week-row" id="round-{}-{}" data-round="{}" data-technician="{}"><div class="row row--plain"><div class="row__words">'
        '<p class="row__subject">{}</p><p class="note">{}</p>{}</div></div>{}'
        '<details class="why"{}><summary>{}<span class="unseen"> {}</span></summary><div><ol class="rows">{}</ol></div></details></div>',
        day.technician,
        key,
        key,
        day.technician,
        day.name,
        day.words,
        format_html_join("", "<p>{}</p>", ((words,) for words in said)),
        strip(day.strip),
        OPEN if opened else "",
        gettext("Stops"),
        day.name,
        mark_safe(stops),  # noqa: S308  each word in it is escaped
    )


class Words(NamedTuple):
    """What stands on the buttons of every stop, escaped, and where they lead."""

    earlier: str
    later: str
    elsewhere: str
    hold: str
    let_go: str
    move: str
    holding: str


def _words(proposal: UUID) -> Words:
    said = (
        gettext("Earlier"),
        gettext("Later"),
        gettext("Elsewhere"),
        gettext("Hold here"),
        gettext("Let go"),
    )
    earlier, later, elsewhere, hold, let_go = map(escape, said)
    move, holding = address("rounds:proposal_move", proposal), address("rounds:proposal_hold", proposal)
    return Words(earlier, later, elsewhere, hold, let_go, move, holding)


def _stop(line: LineSeen, place: int, count: int, words: Words | None) -> str:
    """A stop of a proposed round, with its buttons where it may still be moved. Keys and numbers are ours, all else is escaped."""
    key, name, why = line.due_visit, escape(line.name), f" · {escape(line.why)}" if line.why else ""
    carried = f' data-stop="{key}" data-name="{name}"' if words else ""
    return (
        f'<li class="carried" id="stop-{key}" tabindex="-1"{carried}><div class="carried__words"><p>{line.planned_at:%H:%M} {name}</p>'
        f'<p class="note">{line.minutes} min{why}</p>{_held(line)}{_moved(line)}</div>'
        f"{_buttons(line, name, place, count, words) if words else ''}</li>"
    )


def _held(line: LineSeen) -> str:
    if line.pinned is None:
        return ""
    words = gettext("Held here") if line.pinned_day else gettext("Held to this person")
    at = f" {line.pinned_at:%H:%M}" if line.pinned_at else ""
    return format_html("<p>{}{}</p>", state_word("held", words, "ask"), at)


def _moved(line: LineSeen) -> str:
    if line.moved_by is None:
        return ""
    return format_html(
        "<p>{}</p>", state_word("moved", gettext("Moved by %(who)s") % {"who": line.moved_by}, "ink")
    )


def _buttons(line: LineSeen, name: str, place: int, count: int, words: Words) -> str:
    key, unseen = line.due_visit, f'<span class="unseen"> {name}</span>'
    button = f'<button class="button" form="{PUTTING}"'
    earlier = (
        f'{button} name="put" value="{key}:{line.order - 1}">{words.earlier}{unseen}</button>'
        if place
        else ""
    )
    later = (
        f'{button} name="put" value="{key}:{line.order + 1}">{words.later}{unseen}</button>'
        if place < count - 1
        else ""
    )
    return (
        f'<div class="acts">{earlier}{later}<a class="button" href="{words.move}?visit={key}">{words.elsewhere}{unseen}</a>'
        f'{button} formaction="{words.holding}" name="{"off" if line.pinned else "visit"}" value="{key}">'
        f"{words.let_go if line.pinned else words.hold}{unseen}</button></div>"
    )


@register.simple_tag
def share_rows(shares: Shares, alone: date | None) -> SafeString:
    """``{% share_rows b.shares b.alone %}``: a row of vessels for each technician; each leads to its round, also where another day is shown."""
    rows = "".join(_share_row(row, alone) for row in shares.rows)
    return mark_safe(rows)  # noqa: S308  written by format_html


@lru_cache(maxsize=1024)
def _share_row(row: ShareRow, alone: date | None) -> SafeString:
    cells = "".join(_cell(cell, row, alone in (None, cell.day)) for cell in row.cells)
    return format_html('<tr><th scope="row">{}</th>{}</tr>', row.name, mark_safe(cells))  # noqa: S308  written by format_html


def _cell(cell: Cell, row: ShareRow, here: bool) -> SafeString:
    if cell.vessel is None:
        return format_html('<td class="soft">{}</td>', gettext("off"))
    picture = mark_safe(vessel_svg(cell.vessel))  # noqa: S308  geometry alone
    key = cell.day.isoformat()
    inside = format_html('<span class="vessel">{}<span>{}</span></span>', picture, cell.free)
    if cell.stops:
        inside = format_html(
            '<a class="vessel" href="{}#round-{}-{}">{}<span aria-hidden="true">{}</span><span class="unseen">{}, {}, {}{}</span></a>',
            "" if here else f"?day={key}",
            row.technician,
            key,
            picture,
            cell.free,
            row.name,
            date_format(cell.day, "l"),
            cell.words,
            f", {gettext('a rule is broken')}" if cell.broken else "",
        )
    broken = TONE if cell.broken else ""
    return format_html(
        '<td{} data-round="{}" data-technician="{}">{}</td>', broken, key, row.technician, inside
    )
