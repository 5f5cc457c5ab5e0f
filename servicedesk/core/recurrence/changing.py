"""Going over from one weekly pattern to another: what holds on which days, and on which day to go over.

A pattern is weekdays every so many weeks, counted from an anchor day. Days are dates at the site: no clock, no zone."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from servicedesk.core.recurrence.due import Rule, occurrences

DAYS_A_WEEK = 7


@dataclass(frozen=True)
class Pattern:
    """On these weekdays (0 is Monday) every so many weeks from the anchor."""

    weekdays: tuple[int, ...]
    every_weeks: int
    anchor: date

    def days(self, first: date, last: date) -> list[date]:
        """Its days from first to last, none before the anchor."""
        found = []
        for weekday in self.weekdays:
            rule = Rule(self.every_weeks, "weeks", self.anchor, weekday)
            found += [window.due for window in occurrences(rule, max(first, self.anchor), last)]
        return sorted(found)

    @property
    def usual_days(self) -> float:
        """Days between two visits, on average."""
        return self.every_weeks * DAYS_A_WEEK / len(self.weekdays)


@dataclass(frozen=True)
class Change:
    """From a day on another pattern holds; before it, `was`."""

    from_on: date
    was: Pattern


def pieces(
    now: Pattern, changes: Sequence[Change], first: date, last: date
) -> list[tuple[Pattern, date, date]]:
    """Which pattern holds from when to when, in order of time. `changes` as they were made, the oldest first: a later one takes an
    earlier one's place, also where it begins before it."""
    found, until, pattern = [], last, now
    for change in reversed(changes):
        if change.from_on <= until:
            begins = max(first, change.from_on)
            if begins <= until:
                found.append((pattern, begins, until))
            until = change.from_on - timedelta(days=1)
        pattern = change.was
    if first <= until:
        found.append((pattern, first, until))
    return found[::-1]


def changeover(old: Pattern, new: Pattern, earliest: date) -> date:
    """The day from which the new pattern holds: of one turn from `earliest` on the one with which the pause between the last old
    visit and the first new one is nearest to the usual, and no longer than that where it can be; the earliest of equals."""
    turn = timedelta(days=DAYS_A_WEEK * max(old.every_weeks, new.every_weeks))
    olds = old.days(earliest - 2 * turn, earliest + turn)
    news = new.days(earliest, earliest + 3 * turn)
    rated = []
    for number in range(turn.days):
        day = earliest + timedelta(days=number)
        before = [d for d in olds if d < day]
        after = [d for d in news if d >= day]
        if not before or not after:
            return earliest
        pause = (after[0] - before[-1]).days
        rated.append((pause > new.usual_days, abs(pause - new.usual_days), day))
    return min(rated)[2]
