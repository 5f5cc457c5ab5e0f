"""What a technician is told of the office's changes."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import Http404
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _

from servicedesk.rounds.models import DueVisit, Notice
from servicedesk.rounds.queries.isolation import caution_words, override_words
from servicedesk.staff.models import User
from servicedesk.web.prepared import DAY, KEY, Slot, prepared


@dataclass(frozen=True)
class Told:
    """A change in words, to be accepted; `more` is what comes with it under one word."""

    notice: Notice
    said: str
    text: str
    more: list[str] = field(default_factory=list)


def _words(notice: Notice, today: date) -> str:
    move = notice.move
    given = {
        "site": move.due_visit.site.name,
        "who": move.technician.name,
        "when": time_format(move.planned_at, "H:i"),
    }
    if move.day != today:
        given["when"] = f"{date_format(move.day, 'l j F')}, {given['when']}"
    holds = move.applied_at is not None
    if move.off:
        given["day"] = _("today") if move.day == today else date_format(move.day, "l j F")
        off = _("The office took %(site)s off your round of %(day)s.")
        asks = _("The office asks to take %(site)s off your round of %(day)s.")
        said = off if holds else asks
    elif move.technician_id != notice.person_id:
        said = (
            _("The office gave %(site)s to %(who)s.")
            if holds
            else _("The office asks to give %(site)s to %(who)s.")
        )
    elif move.from_technician_id == notice.person_id:
        said = (
            _("The office moved %(site)s to %(when)s.")
            if holds
            else _("The office asks to move %(site)s to %(when)s.")
        )
    elif holds:
        said = _("The office put %(site)s on your round: %(when)s.")
    else:
        said = _("The office asks to put %(site)s on your round: %(when)s.")
    return said % given


def _after(notice: Notice) -> str:
    if notice.move.applied_at is not None:
        return _("Nothing else moves.")
    if notice.needed:
        return _("It moves when you accept. If it cannot be, ring the office.")
    return _("It waits for the other's word.")


def _open(person: Any) -> QuerySet[Notice]:
    rows = Notice.objects.filter(person=person, move__withdrawn_at__isnull=True)
    return rows.select_related("move__due_visit__site", "move__technician")


@prepared(person=KEY, today=DAY)
def _untold(person: Slot, today: Slot) -> QuerySet[Notice]:
    rows = _open(person).filter(accepted_at__isnull=True).order_by("move__asked_at", "pk")
    return rows.filter(Q(move__day__gte=today) | Q(move__from_day__gte=today))


def told(person: User, *, today: date) -> list[Told]:
    """Changes that a technician has not yet accepted, from today on; what mends one day comes as one."""
    groups: dict[Any, list[Notice]] = defaultdict(list)
    for notice in _untold(person=person.pk, today=today):
        groups[notice.move.proposal_id or notice.pk].append(notice)
    return [_told(notices, today) for notices in groups.values()]


def _told(notices: list[Notice], today: date) -> Told:
    ordered = sorted(notices, key=lambda n: (not n.needed, n.move.day, n.move.planned_at))
    first, *rest = ordered
    text = _after(first)
    if rest and first.needed and first.move.applied_at is None:
        text = _("All of it moves when you accept. If it cannot be, ring the office.")
    if any(n.move.due_visit.disinfects and n.move.technician_id == n.person_id for n in ordered):
        text = f"{override_words()} {caution_words()} {text}"
    return Told(first, _words(first, today), text, [_words(notice, today) for notice in rest])


def notice_for(person: User, key: UUID) -> Notice:
    """A person's own notice; else Http404."""
    found = _open(person.pk).filter(pk=key).first()
    if found is None:
        raise Http404
    return found


def owed_visit_for(user: User, key: UUID) -> DueVisit:
    """A visit owed that the office may place; anybody else meets Http404."""
    rows = DueVisit.objects.select_related("site", "plan", "stop", "stop__round", "stop__round__technician")
    found = rows.filter(pk=key).first() if user.is_office else None
    if found is None:
        raise Http404
    return found
