"""A proposed week on one look: each technician's days side by side, how much of each shift goes into work and the wheel, and what is free."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.core.drawing.vessel import Vessel
from servicedesk.rounds.models import Proposal
from servicedesk.rounds.queries.proposed_days import Key, ProposedRound
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


@dataclass(frozen=True, eq=False)
class ShareRow:
    """A technician's days. The same row as long as nothing of it changes, so that what is drawn of it can be kept."""

    technician: UUID
    name: str
    cells: list[Cell]


@dataclass(frozen=True)
class Shares:
    """The days of the week, and a row for each technician."""

    days: list[date]
    rows: list[ShareRow]


@lru_cache(maxsize=2048)
def _span(seconds: int) -> str:
    minutes = round(seconds / 60)
    return _("%(h)s h %(m)02d") % {"h": minutes // 60, "m": minutes % 60}


def shares_of(proposal: Proposal, filled: list[ProposedRound]) -> Shares:
    """Of the rounds as proposed. Technicians who work on none of its days are left out."""
    after = proposal.after
    work, stops = dict[Key, int](), dict[Key, int]()
    for one in filled:
        key = one.key
        work[key], stops[key] = one.minutes * 60, one.stops
    rounds = {(row["technician"], row["day"]): row for row in after.get("rounds", [])}
    holds = {(who, day): paid or 0 for who, day, paid in after.get("shifts", [])}
    for key, told in rounds.items():
        holds.setdefault(key, told["ends"] - told["begins"] - told.get("lunch_s", 0))
    wheel = {key: told["travel"] for key, told in rounds.items()}
    keys = holds.keys() | work.keys()
    tallest = max((max(holds.get(key, 0), work.get(key, 0) + wheel.get(key, 0)) for key in keys), default=1)
    days = [proposal.first + timedelta(days=n) for n in range((proposal.last - proposal.first).days + 1)]
    rows, named = [], [(day, day.isoformat()) for day in days]
    for person in technicians():
        filled_with, who = list[Filled](), str(person.pk)
        for day, name in named:
            key = (who, name)
            if key not in keys:
                filled_with.append((day, None, 0, False))
                continue
            shift = (holds.get(key, 0), work.get(key, 0), wheel.get(key, 0), tallest)
            filled_with.append((day, shift, stops.get(key, 0), bool(rounds.get(key, {}).get("broken"))))
        row = _row(person.pk, person.name, tuple(filled_with))
        if any(cell.vessel for cell in row.cells):
            rows.append(row)
    return Shares(days, rows)


Filled = tuple[date, tuple[int, int, int, int] | None, int, bool]
"""A day, what the vessel is drawn from, how many stops there are, whether a rule is broken."""


@lru_cache(maxsize=1024)
def _row(person: UUID, name: str, filled: tuple[Filled, ...]) -> ShareRow:
    cells = [_cell(day, shift and Vessel(*shift), stops, broken) for day, shift, stops, broken in filled]
    return ShareRow(person, name, cells)


@lru_cache(maxsize=64)
def _counted(stops: int) -> str:
    return ngettext("one stop", "%(n)s stops", stops) % {"n": stops}


def _cell(day: date, shown: Vessel | None, stops: int, broken: bool) -> Cell:
    if shown is None:
        return Cell(day, None, 0, "", "", False)
    left = shown.holds - shown.work - shown.wheel
    free = (_("%(span)s free") if left >= 0 else _("%(span)s over")) % {"span": _span(abs(left))}
    said = _("%(stops)s: %(work)s of work, %(wheel)s at the wheel, %(free)s") % {
        "stops": _counted(stops),
        "work": _span(shown.work),
        "wheel": _span(shown.wheel),
        "free": free,
    }
    return Cell(day, shown, stops, free, said, broken)
