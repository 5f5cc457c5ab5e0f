"""Clients whose time moves: who is to be called, who agreed to have mail, and what that says."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import Http404
from django.template.loader import render_to_string
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _

from clients.models import Client, Contact
from servicedesk.dispatch.choices import MessageState
from servicedesk.dispatch.models import Message
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import DueVisit, Move, Proposal, Proposed, Stop, Tidings
from servicedesk.rounds.queries.placed import Placed
from servicedesk.staff.models import User
from servicedesk.staff.queries import business
from servicedesk.web.prepared import DAY, KEY, KEYS, Slot, prepared

A_LITTLE = timedelta(minutes=30)
"""A visit that moves by no more on the same day is not told of (common practice)."""
When = tuple[date, time]


@dataclass(frozen=True)
class TimeMoved:
    """A visit whose time moves: from when to when; nothing where no time was said yet, or it stands on no day now."""

    due_visit: DueVisit
    was: When | None
    now: When | None


@dataclass(frozen=True)
class Call:
    """Somebody to be told: what about, under which number (empty where none is written down), to whom the mail goes (empty where nobody agreed
    to have any), what keeps it back, and whether somebody has rung."""

    name: str
    about: str
    phone: str
    mailed: str = ""
    note: str = ""
    key: UUID | None = None
    done: str = ""


@dataclass(frozen=True)
class Letter:
    """What one contact is mailed."""

    contact: Contact
    subject: str
    text: str


def worth_a_word(was: When | None, now: When | None) -> bool:
    """Whether somebody who waits should know."""
    if was is None or now is None:
        return was != now
    return was[0] != now[0] or abs(datetime.combine(*was) - datetime.combine(*now)) > A_LITTLE


def moved_by(
    lines: Iterable[Proposed], stops: dict[UUID, Stop], *, but: UUID | None = None, fresh: bool = True
) -> list[TimeMoved]:
    """What a proposal moves, beside the stops that stand; `but` is the visit that the client cancelled, `fresh` whether visits count that stood on
    no day before."""
    found = []
    for line in lines:
        stop = stops.get(line.due_visit_id)
        was = (stop.round.day, stop.planned_at) if stop is not None else None
        now = (line.day, line.planned_at) if line.day is not None and line.planned_at is not None else None
        if line.due_visit_id == but or (was is None and not fresh):
            continue
        if worth_a_word(was, now) or (was is None and fresh):
            found.append(TimeMoved(line.due_visit, was, now))
    return found


def _phone(visit: DueVisit) -> str:
    return visit.site.on_site_phone or visit.site.client.phone


def _said(when: When, today: date | None) -> str:
    at = time_format(when[1], "H:i")
    return at if when[0] == today else f"{date_format(when[0], 'l j F')}, {at}"


@lru_cache(maxsize=4096)
def _about(was: When | None, now: When | None, today: date | None) -> str:
    if now is None:
        if was is None or was[0] == today:
            return _("not today")
        return _("not on %(day)s") % {"day": date_format(was[0], "l j F")}
    return (_("at %(at)s") if was is None else _("now at %(at)s")) % {"at": _said(now, today)}


@prepared(clients=KEYS)
def _told_by_mail(clients: Slot) -> QuerySet[Contact]:
    rows = Contact.objects.filter(client__in=clients, told_of_moves=True, client__retired_on=None)
    return rows.order_by("email")


def _agreed(clients: Iterable[UUID]) -> dict[UUID, list[Contact]]:
    """The contacts of each client who agreed to have mail."""
    found: dict[UUID, list[Contact]] = defaultdict(list)
    for contact in _told_by_mail(clients=set(clients)):
        found[contact.client_id].append(contact)
    return found


def _names(contacts: list[Contact]) -> str:
    return ", ".join(contact.name for contact in contacts)


def calls_ahead(rows: Iterable[Placed], today: date | None, *, but: UUID | None = None) -> list[Call]:
    """Who would have to be told, were a proposal chosen: of what stands elsewhere then, and of what stands nowhere yet. `but` is the visit that the
    client cancelled."""
    told = []
    for row in rows:
        was = (row.was_day, row.was_at) if row.stands and row.was_day and row.was_at is not None else None
        now = (row.day, row.at) if row.day is not None and row.at is not None else None
        if row.due_visit != but and (was is None or worth_a_word(was, now)):
            told.append((row, _about(was, now, today)))
    agreed = _agreed(row.client for row, _words in told)
    return [Call(row.name, words, row.phone, mailed=_names(agreed[row.client])) for row, words in told]


def key_of(proposal: UUID, contact: UUID) -> str:
    """Names the one message that a contact gets of one change."""
    return f"moved:{proposal}:{contact}"


def _was(row: Tidings) -> When | None:
    return None if row.was_day is None or row.was_at is None else (row.was_day, row.was_at)


def _now(row: Tidings) -> When | None:
    return None if row.day is None or row.at is None else (row.day, row.at)


def calls_of(rows: Iterable[Tidings], today: date | None) -> list[Call]:
    """Who is told, or still to be called, of what moves."""
    told = list(rows)
    if not told:
        return []
    agreed = _agreed(row.due_visit.site.client_id for row in told)
    keys = [key_of(row.proposal_id, c.pk) for row in told for c in agreed[row.due_visit.site.client_id]]
    failed = set(
        Message.objects.filter(key__in=keys, state=MessageState.FAILED).values_list("key", flat=True)
    )
    waits, fell = _words_of(told)
    found = []
    for row in told:
        if (row.proposal_id, row.due_visit_id) in fell:
            continue
        contacts = agreed[row.due_visit.site.client_id]
        lost = any(key_of(row.proposal_id, c.pk) in failed for c in contacts)
        early = (row.proposal_id, row.due_visit_id) in waits
        note = _("the mail could not be sent") if lost else ""
        note = _("not before the technician accepts") if early else note
        found.append(
            Call(
                row.due_visit.site.name,
                _about(_was(row), _now(row), today),
                _phone(row.due_visit),
                mailed="" if lost else _names(contacts),
                note=note,
                key=None if early else row.pk,
                done=_rung(row),
            )
        )
    return found


def _rung(row: Tidings) -> str:
    return _("rung by %(who)s") % {"who": row.called_by} if row.called_by is not None else ""


def _words_of(rows: list[Tidings]) -> tuple[set[tuple[UUID, UUID]], set[tuple[UUID, UUID]]]:
    """Of these changes: which visits wait for a technician's word, and which stay after all, since they had begun."""
    moves = Move.objects.filter(proposal__in={row.proposal_id for row in rows}, applied_at=None)
    waits: set[tuple[UUID, UUID]] = set()
    fell: set[tuple[UUID, UUID]] = set()
    for proposal, visit, withdrawn in moves.values_list("proposal", "due_visit", "withdrawn_at"):
        (waits if withdrawn is None else fell).add((proposal, visit))
    return waits, fell


def tidings_of(proposal: Proposal) -> list[Tidings]:
    """What clients are to be told of one change, by day and time."""
    return _tidings_of(proposal=proposal.pk)


@prepared(proposal=KEY)
def _tidings_of(proposal: Slot) -> QuerySet[Tidings]:
    rows = Tidings.objects.filter(proposal=proposal).select_related("due_visit__site__client", "called_by")
    return rows.order_by("day", "at", "due_visit__site__name", "pk")


@prepared(first=DAY, last=DAY)
def _untold(first: Slot, last: Slot) -> QuerySet[Tidings]:
    now, was = Q(day__gte=first, day__lte=last), Q(was_day__gte=first, was_day__lte=last)
    rows = Tidings.objects.filter(now | was, called_at=None)
    return rows.select_related("due_visit__site__client", "called_by").order_by("day", "at", "pk")


def to_be_called(*, first: date, last: date, today: date) -> list[Call]:
    """Clients of these days, from today on, whom nobody has rung, and who have no mail."""
    rows = _untold(first=max(first, today), last=last)
    return [call for call in calls_of(rows, today) if not call.mailed]


def tidings_for(user: User, key: UUID) -> Tidings:
    """One row, for the office only."""
    row = Tidings.objects.select_related("proposal").filter(pk=key).first() if user.is_office else None
    if row is None:
        raise Http404
    return row


def letters_of(proposal: Proposal) -> list[Letter]:
    """What the contacts who agreed to have mail are told of a change: of their own visits alone, as those stand now. A client of whom a visit still
    waits for a technician's word is told later, all at once."""
    rows = tidings_of(proposal)
    waits, fell = _words_of(rows)
    agreed = _agreed(row.due_visit.site.client_id for row in rows)
    stops = Stop.objects.filter(due_visit__in=[row.due_visit_id for row in rows]).select_related("round")
    where = {s.due_visit_id: (s.round.day, s.planned_at) for s in stops if s.state == StopState.PLANNED}
    theirs: dict[Client, list[TimeMoved]] = defaultdict(list)
    later = set()
    for row in rows:
        client, key = row.due_visit.site.client, (row.proposal_id, row.due_visit_id)
        if key in waits:
            later.add(client)
        now = where.get(row.due_visit_id)
        gone = row.due_visit.called_off_at is not None
        if key not in fell and not gone and worth_a_word(_was(row), now):
            theirs[client].append(TimeMoved(row.due_visit, _was(row), now))
    return [
        _letter(contact, moved)
        for client, moved in theirs.items()
        if client not in later
        for contact in agreed[client.pk]
    ]


def _sentence(row: TimeMoved) -> str:
    given = {"site": row.due_visit.site.name}
    if row.now is None:
        assert row.was is not None
        words = _("%(site)s: the visit of %(was)s falls out. We shall name you another day.")
        return words % {**given, "was": _said(row.was, None)}
    if row.was is None:
        return _("%(site)s: we come on %(now)s.") % {**given, "now": _said(row.now, None)}
    words = _("%(site)s: we come on %(now)s, not on %(was)s.")
    return words % {**given, "now": _said(row.now, None), "was": _said(row.was, None)}


def _letter(contact: Contact, moved: list[TimeMoved]) -> Letter:
    house = business()
    context = {"house": house, "sentences": [_sentence(row) for row in moved], "name": contact.name}
    subject = _("%(business)s: another time for your visit") % {"business": house.name}
    return Letter(contact, " ".join(subject.split())[:200], render_to_string("rounds/moved.txt", context))
