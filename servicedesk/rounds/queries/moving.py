"""A stop of a proposed week is put somewhere else: the rounds concerned with their new times, what that costs, which rules it breaks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _

from servicedesk.core.rounds.moving import Believed, begun_together, best_order, with_refills
from servicedesk.core.rounds.plan import REFILL
from servicedesk.core.rounds.problem import Key, NotPlanned, Problem
from servicedesk.rounds.models import DueVisit, Proposal, Proposed
from servicedesk.rounds.queries.breaks import Break, said_of
from servicedesk.rounds.queries.found import Line, day_numbers, lines_of_round
from servicedesk.rounds.queries.wanted import Wanted, wanted
from servicedesk.staff.models import User

OUT_OF_DATE = "Rounds have moved since this was worked out. Plan again."


@dataclass(frozen=True)
class Target:
    """Where a stop is to go: on whose day, as which stop (1 is the first; None: where it breaks and costs least)."""

    technician: User
    day: date
    order: int | None


@dataclass(frozen=True)
class Retimed:
    """The lines of the rounds concerned, the whole week in numbers, seconds more (less than nought: fewer) at the wheel and of overtime, and
    what these rounds break now."""

    lines: list[Line]
    after: dict[str, Any]
    driving: int
    overtime: int
    broken: list[str]


class _Week:
    """A proposed week as the planner knows it: orders by round, numbers by round."""

    def __init__(self, proposal: Proposal, lines: Sequence[Proposed], now: datetime) -> None:
        self.week: Wanted = wanted(first=proposal.first, last=proposal.last, now=now)
        self.after = proposal.after
        self.rows: dict[Key, dict[str, Any]] = {}
        for row in proposal.after.get("rounds", []):
            day = date.fromisoformat(row["day"])
            if "order" in row:
                self.rows[row["technician"], self.week.days.index(day)] = row
        self.orders = {key: tuple(row["order"]) for key, row in self.rows.items()} or self._of(lines)
        known = self.week.problem.visit
        if any(name not in known and name != REFILL for order in self.orders.values() for name in order):
            raise NotPlanned(_(OUT_OF_DATE))

    def _of(self, lines: Sequence[Proposed]) -> dict[Key, tuple[str, ...]]:
        """Orders as the lines have them: of a week whose rounds were kept without."""
        found: dict[Key, tuple[str, ...]] = {}
        for line in sorted(lines, key=lambda line: line.order):
            if line.day is not None:
                key = (str(line.technician_id), self.week.days.index(line.day))
                found[key] = (*found.get(key, ()), str(line.due_visit_id))
        return found

    def put(self, name: str, target: Target) -> set[Key]:
        """Changes the orders; the rounds concerned. Raises NotPlanned."""
        key = (str(target.technician.pk), self.week.days.index(target.day))
        shift = self.week.problem.shift.get(key)
        if shift is None:
            raise NotPlanned(_("%(who)s does not work that day.") % {"who": target.technician.name})
        was = {k for k, order in self.orders.items() if name in order}
        for old in was:
            self.orders[old] = tuple(n for n in self.orders[old] if n != name)
        order = self.orders.get(key, ())
        if target.order is None:
            self.orders[key] = (*order, name)
            problem = begun_together(self.week.problem, self.partners(key))
            self.orders[key] = best_order(problem, shift, order, name)
        else:
            seen = [place for place, n in enumerate(order) if n in self.week.visits]
            place = seen[target.order - 1] if target.order <= len(seen) else len(order)
            self.orders[key] = (*order[:place], name, *order[place:])
        return was | {key}

    def partners(self, key: Key) -> dict[str, int]:
        """When those of this round begin that need somebody of another round at the same moment."""
        begins = {
            name: (other[1], start)
            for other, row in self.rows.items()
            if other != key
            for name, start in zip(row["order"], row["starts"], strict=True)
        }
        found = {}
        for pair in self.week.problem.pairs:
            for one, two in ((pair.first, pair.second), (pair.second, pair.first)):
                if one in self.orders[key] and two in begins and begins[two][0] == key[1]:
                    found[one] = begins[two][1]
        return found

    def time(self, key: Key) -> list[Line]:
        """The round anew: its lines, and its numbers in place of the old ones. Raises NotPlanned."""
        self.rows.pop(key, None)
        if not any(name in self.week.problem.visit for name in self.orders[key]):
            del self.orders[key]
            return []
        tied = self.partners(key)
        problem: Problem = begun_together(self.week.problem, tied)
        shift = problem.shift[key]
        found: Believed = with_refills(problem, shift, self.orders[key])
        self.orders[key] = tuple(stop.visit for stop in found.round.stops)
        row = day_numbers(self.week, found.round, shift)
        row["broken"] = [asdict(b) for b in said_of(self.week, problem, shift, found, tied)]
        self.rows[key] = row
        return lines_of_round(self.week, found.round)

    def apart(self) -> None:
        """Names visits for two whose two do not begin together; what was said of that before is said anew."""
        where: dict[str, tuple[Key, int]] = {}
        for key, row in self.rows.items():
            row["broken"] = [broken for broken in row["broken"] if broken["code"] != "pair"]
            where |= {name: (key, at) for name, at in zip(row["order"], row["starts"], strict=True)}
        for pair in self.week.problem.pairs:
            if pair.first not in where or pair.second not in where:
                continue
            (one, at), (two, then) = where[pair.first], where[pair.second]
            if one == two or (one[1], at) != (two[1], then):
                name = self.week.visits[pair.first].site.name
                words = _("%(name)s takes two people, who do not begin together.") % {"name": name}
                self.rows[one]["broken"].append(asdict(Break("pair", words)))

    def numbers(self) -> dict[str, Any]:
        rows = [self.rows[key] for key in sorted(self.rows, key=lambda key: (key[1], key[0]))]
        return {
            **self.after,
            "visits": sum(name in self.week.visits for order in self.orders.values() for name in order),
            "driving": sum(row["travel"] for row in rows),
            "overtime": sum(row["overtime"] for row in rows),
            "metres": sum(row["metres"] for row in rows),
            "broken": [b["code"] for row in rows for b in row["broken"]],
            "rounds": rows,
            "moves": moves_of(self.after) + 1,
        }


def moves_of(after: dict[str, Any]) -> int:
    """How often somebody has put a stop of a proposed week elsewhere: what a page was drawn from."""
    return int(after.get("moves", 0))


def retimed(
    proposal: Proposal, lines: Sequence[Proposed], due_visit: DueVisit, target: Target, now: datetime
) -> Retimed:
    """The week with one stop put elsewhere. Raises the planner's NotPlanned: nobody works there that day, or the round would not end before
    midnight."""
    week, name = _Week(proposal, lines, now), str(due_visit.pk)
    if name not in week.week.problem.visit:
        raise NotPlanned(_(OUT_OF_DATE))
    for key in [key for key in week.orders if key not in week.rows]:
        week.time(key)
    before = week.numbers()
    concerned = week.put(name, target)
    found = [line for key in sorted(concerned) for line in week.time(key)]
    week.apart()
    after = week.numbers()
    broken = [b["words"] for key in sorted(concerned & set(week.rows)) for b in week.rows[key]["broken"]]
    return Retimed(found, after, after["driving"] - before["driving"], after["overtime"] - before["overtime"], broken)  # fmt: skip


__all__ = ["Retimed", "Target", "moves_of", "retimed"]
