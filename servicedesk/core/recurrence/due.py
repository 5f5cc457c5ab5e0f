"""Calendar rules with windows: every so many days, weeks or months from an anchor day.

Days are dates at the site: no clock, no zone. Months count from the anchor; where a month has no such day its last
day is taken (31 January, 28 February, 31 March). Weeks may name a weekday (0 is Monday): the first one on or after
the anchor."""

import calendar
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import dropwhile, takewhile

UNITS = ("days", "weeks", "months")


class RuleWrong(ValueError):
    """A rule that cannot be; the sentence says why."""


@dataclass(frozen=True)
class Rule:
    """Every `every_n` units from `anchor`, with a window of whole days before and after each due day."""

    every_n: int
    unit: str
    anchor: date
    weekday: int | None = None
    before_days: int = 0
    after_days: int = 0

    def __post_init__(self) -> None:
        if self.every_n < 1:
            raise RuleWrong("A rule comes back every 1 or more.")
        if self.unit not in UNITS:
            raise RuleWrong(f"A rule counts days, weeks or months, not “{self.unit}”.")
        if self.weekday is not None and (self.unit != "weeks" or not 0 <= self.weekday <= 6):
            raise RuleWrong("Only a rule in weeks names a weekday, Monday (0) to Sunday (6).")
        if self.before_days < 0 or self.after_days < 0:
            raise RuleWrong("A window is not shorter than nothing.")


@dataclass(frozen=True)
class Window:
    """The work may be done from earliest to latest and is due on due."""

    earliest: date
    due: date
    latest: date


def _month_later(start: date, months: int) -> date:
    year, month = divmod(start.year * 12 + start.month - 1 + months, 12)
    return date(year, month + 1, min(start.day, calendar.monthrange(year, month + 1)[1]))


def _step_days(rule: Rule) -> int:
    return rule.every_n * (7 if rule.unit == "weeks" else 1)


def _start(rule: Rule) -> date:
    if rule.weekday is None:
        return rule.anchor
    return rule.anchor + timedelta(days=(rule.weekday - rule.anchor.weekday()) % 7)


def _due_days(rule: Rule, first: date) -> Iterator[date]:
    start = _start(rule)
    if rule.unit == "months":
        months = (first.year - start.year) * 12 + first.month - start.month
        number = max(0, months // rule.every_n - 1)
        while True:
            yield _month_later(start, number * rule.every_n)
            number += 1
    number = max(0, (first - start).days // _step_days(rule))
    while True:
        yield start + timedelta(days=number * _step_days(rule))
        number += 1


def _window(rule: Rule, due: date) -> Window:
    return Window(due - timedelta(days=rule.before_days), due, due + timedelta(days=rule.after_days))


def occurrences(rule: Rule, first: date, last: date) -> list[Window]:
    """All windows whose due day lies between first and last, both included."""
    ahead = dropwhile(lambda due: due < first, _due_days(rule, first))
    return [_window(rule, due) for due in takewhile(lambda due: due <= last, ahead)]


def next_due(rule: Rule, after: date) -> Window:
    """The first window due after that day."""
    return _window(rule, next(dropwhile(lambda due: due <= after, _due_days(rule, after))))
