"""A proposed week beside the week in force: what changes, what finds no place, both in numbers."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Count, QuerySet
from django.http import Http404
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.rounds.choices import OfferKind, ProposalState
from servicedesk.rounds.models import Proposal, Proposed
from servicedesk.rounds.queries.moving import moves_of
from servicedesk.rounds.queries.placed import Change, Placed, elsewhere
from servicedesk.rounds.queries.proposed_days import (
    ProposedDay,
    day_alone,
    days_of,
    hours_words,
    rounds_of,
    told_of,
    wrong_of,
)
from servicedesk.rounds.queries.shares import Shares, shares_of
from servicedesk.rounds.queries.stamps import stamp_now
from servicedesk.rounds.queries.totals import MANY
from servicedesk.staff.models import User
from servicedesk.web.prepared import DAY, KEY, Slot, prepared


@dataclass(frozen=True)
class Other:
    """A day of a large week that is not shown: how many visits move to it."""

    day: date
    moves: int


@dataclass(frozen=True)
class Beside:
    """All that the page of a proposal says. Of many rounds it shows a day at a time: `days` and `changes` are those of that day, `others` the rest."""

    proposal: Proposal
    lead: str
    changes: list[Change]
    moving: int
    fresh: int
    homeless: list[Placed]
    days: list[ProposedDay]
    others: list[Other]
    wrong: list[str]
    numbers: list[tuple[str, str, str, str]]
    outdated: bool
    shares: Shares
    held: int
    moves: int

    @property
    def may_begin(self) -> bool:
        """Whether it can be put in force."""
        return self.proposal.state == ProposalState.READY and not self.outdated

    @property
    def alone(self) -> date | None:
        """Of many rounds the day that is shown."""
        return self.days[0].day if self.others else None


@prepared(key=KEY)
def _proposal(key: Slot) -> QuerySet[Proposal]:
    return Proposal.objects.select_related("asked_by").filter(kind=OfferKind.WEEK, pk=key)


def proposal_for(user: User, key: UUID) -> Proposal:
    """A proposed week, for the office only."""
    row = _proposal.first(key=key) if user.is_office else None
    if row is None:
        raise Http404
    return row


@prepared(first=DAY, last=DAY)
def _open_proposals(first: Slot, last: Slot) -> QuerySet[Proposal]:
    rows = Proposal.objects.filter(
        kind=OfferKind.WEEK,
        first__lte=last,
        last__gte=first,
        state__in=(ProposalState.ASKED, ProposalState.READY),
    )
    return rows.defer("before", "after").order_by("-asked_at", "pk")


def proposals_of(*, first: date, last: date) -> list[Proposal]:
    """Proposed weeks of these days that are open, newest first."""
    return _open_proposals(first=first, last=last)


def _difference(was: float, now: float, words: Callable[[float], str]) -> str:
    """What the proposal saves, or costs more."""
    said = _("%(much)s less") if now < was else _("%(much)s more")
    much = words(abs(now - was))
    return said % {"much": much} if much != words(0) else _("the same")


def _whole(number: float) -> str:
    return f"{number:.0f}"


def _numbers(before: dict[str, Any], after: dict[str, Any]) -> list[tuple[str, str, str, str]]:
    """Rows of both weeks: what, now, as proposed, and what it saves, reckoned from what is shown: whole minutes and kilometres."""

    def both(name: str, unit: int) -> tuple[int, int]:
        was, now = (unit * round(side.get(name, 0) / unit) for side in (before, after))
        return was, now

    asked: list[tuple[str, tuple[int, int], Callable[[float], str]]] = [
        (_("Visits on rounds"), both("visits", 1), _whole),
        (_("At the wheel"), both("driving", 60), hours_words),
    ]
    if "metres" in after:
        asked.append((_("Kilometres"), both("metres", 1000), lambda metres: _whole(metres / 1000)))
    asked.append((_("Overtime"), both("overtime", 60), hours_words))
    broken = len(before.get("broken", [])), len(after.get("broken", []))
    asked.append((_("Rules broken"), broken, _whole))
    return [(name, words(was), words(now), _difference(was, now, words)) for name, (was, now), words in asked]


def lead_of(proposal: Proposal, homeless: int) -> str:
    """The week in one sentence: whether it works, and what it saves."""
    before, after = proposal.before, proposal.after
    visits, broken = after.get("visits", 0), len(after.get("broken", []))
    head = ngettext("One visit", "%(n)s visits", visits) % {"n": visits}
    if broken:
        words = ngettext("%(head)s placed, one rule is broken.", "%(head)s placed, %(n)s rules are broken.", broken)  # fmt: skip
        more = (
            ngettext("One visit finds no place.", "%(n)s visits find no place.", homeless) if homeless else ""
        )
        return " ".join(
            part for part in (words % {"head": head, "n": broken}, more % {"n": homeless}) if part
        )
    if homeless:
        words = ngettext(
            "%(head)s placed, one finds no place.", "%(head)s placed, %(n)s find no place.", homeless
        )
        return words % {"head": head, "n": homeless}
    saved = before.get("driving", 0) - after.get("driving", 0)
    if before.get("visits", 0) == visits and saved >= 60:
        return _("The week works: %(head)s, %(saved)s less at the wheel than now.") % {
            "head": head,
            "saved": hours_words(saved),
        }
    return _("The week works: %(head)s, %(hours)s at the wheel.") % {
        "head": head,
        "hours": hours_words(after.get("driving", 0)),
    }


@prepared(proposal=KEY)
def _held(proposal: Slot) -> QuerySet[Proposed, Any]:
    rows = Proposed.objects.filter(proposal=proposal, due_visit__pin__isnull=False)
    return rows.values("proposal").annotate(held=Count("pk")).values_list("held", flat=True).order_by()


def beside(proposal: Proposal, *, zone: ZoneInfo, at: str = "", day: str = "") -> Beside:
    """A proposal that is ready, beside the rounds in force now. Of many rounds it shows the day with the stop `at`, else the `day` asked for, else
    the first."""
    rounds, there = rounds_of(proposal.pk), elsewhere(proposal.pk)
    alone = day_alone(proposal.pk, rounds, at, day) if len(rounds) > MANY else None
    count, told = Counter(change.on for change in there.changes), told_of(proposal)
    others = sorted({row.day for row in rounds} - {alone}) if alone is not None else []
    return Beside(
        proposal=proposal,
        lead=lead_of(proposal, len(there.homeless)),
        changes=[change for change in there.changes if alone in (None, change.on)],
        moving=len(there.changes),
        fresh=len(there.fresh),
        homeless=there.homeless,
        days=days_of(proposal.pk, [row for row in rounds if alone in (None, row.day)], told, zone),
        others=[Other(day, count[day]) for day in others],
        wrong=[words for row in rounds for words in wrong_of(told.get(row.key, {}))],
        numbers=_numbers(proposal.before, proposal.after),
        outdated=proposal.state == ProposalState.READY and stamp_now(proposal.pk) != proposal.stamp,
        shares=shares_of(proposal, rounds),
        held=_held.first(proposal=proposal.pk) or 0,
        moves=moves_of(proposal.after),
    )
