"""A proposed week on one look: each technician's days side by side, how much of each shift goes into work and the wheel, and what is free."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.core.drawing.vessel import Vessel
from servicedesk.rounds.models import Proposal
from servicedesk.rounds.queries.proposed_days import Key, ProposedRound
from servicedesk.staff.models import User
from servicedesk.staff.queries import technicians


@dataclass(frozen=True)
class Cell:
    """A day of a technician. No vessel: nobody works then."""

    day: date
    vessel: Vessel | None
    stops: int
    free: str
    words: str
    broken: bool


@dataclass(frozen=True)
class Shares:
    """The days of the week, and a row of cells for each technician."""

    days: list[date]
    rows: list[tuple[User, list[Cell]]]


def _span(seconds: int) -> str:
    minutes = round(seconds / 60)
    return _("%(h)s h %(m)02d") % {"h": minutes // 60, "m": minutes % 60}


def shares_of(proposal: Proposal, filled: list[ProposedRound]) -> Shares:
    """Of the rounds as proposed. Technicians who work on none of its days are left out."""
    after = proposal.after
    work, stops = dict[Key, int](), dict[Key, int]()
    for row in filled:
        key = row.key
        work[key], stops[key] = row.minutes * 60, row.stops
    rounds = {(row["technician"], row["day"]): row for row in after.get("rounds", [])}
    holds = {(who, day): paid or 0 for who, day, paid in after.get("shifts", [])}
    for key, row in rounds.items():
        holds.setdefault(key, row["ends"] - row["begins"] - row.get("lunch_s", 0))
    wheel = {key: row["travel"] for key, row in rounds.items()}
    keys = holds.keys() | work.keys()
    tallest = max((max(holds.get(key, 0), work.get(key, 0) + wheel.get(key, 0)) for key in keys), default=1)
    days = [proposal.first + timedelta(days=n) for n in range((proposal.last - proposal.first).days + 1)]
    rows, named = [], [(day, day.isoformat()) for day in days]
    for person in technicians():
        cells, who = [], str(person.pk)
        for day, name in named:
            key = (who, name)
            shown = Vessel(holds.get(key, 0), work.get(key, 0), wheel.get(key, 0), tallest) if key in keys else None  # fmt: skip
            cells.append(_cell(day, shown, stops.get(key, 0), bool(rounds.get(key, {}).get("broken"))))
        if any(cell.vessel for cell in cells):
            rows.append((person, cells))
    return Shares(days, rows)


@lru_cache(maxsize=4096)
def _cell(day: date, shown: Vessel | None, stops: int, broken: bool) -> Cell:
    if shown is None:
        return Cell(day, None, 0, "", "", False)
    left = shown.holds - shown.work - shown.wheel
    free = (_("%(span)s free") if left >= 0 else _("%(span)s over")) % {"span": _span(abs(left))}
    words = ngettext("one stop", "%(n)s stops", stops) % {"n": stops}
    said = _("%(stops)s: %(work)s of work, %(wheel)s at the wheel, %(free)s") % {
        "stops": words,
        "work": _span(shown.work),
        "wheel": _span(shown.wheel),
        "free": free,
    }
    return Cell(day, shown, stops, free, said, broken)
