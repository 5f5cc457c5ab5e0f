"""What people do with an alarm: see it, act on it, hand it on, set it aside with an end. Each is a step with a name."""

import uuid
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from servicedesk.staff.models import User
from servicedesk.watch.choices import Severity, Step
from servicedesk.watch.models import Attention, AttentionStep

LONGEST_SHELF = {Severity.NOW: timedelta(hours=12), Severity.SOON: timedelta(days=14)}
"""An alarm is not set aside for longer (common practice)."""


class NotDone(Exception):
    """It cannot be done with this alarm; the sentence says why."""


def note_step(row: Attention, step: str, *, at: datetime, by: User | None, words: str = "") -> AttentionStep:
    """Write down what happened."""
    return AttentionStep.objects.create(
        attention=row, step=step, at=at, by=by, words=words[:200], origin=uuid.uuid4(), received_at=at
    )


def _open(row: Attention) -> None:
    if row.cleared_at is not None:
        raise NotDone(_("It is cleared already."))


@transaction.atomic
def see(*, row: Attention, by: User, at: datetime) -> bool:
    """Somebody has seen it: nobody else is called. False where somebody had before."""
    _open(row)
    won = Attention.objects.filter(pk=row.pk, seen_at__isnull=True).update(seen_at=at, seen_by=by)
    if won:
        note_step(row, Step.SEEN, at=at, by=by)
    return bool(won)


@transaction.atomic
def act(*, row: Attention, by: User, at: datetime, words: str) -> None:
    """Somebody does something about it, and says what. It stays open until its cause is gone."""
    _open(row)
    if not words.strip():
        raise NotDone(_("Say what you do about it."))
    see(row=row, by=by, at=at)
    Attention.objects.filter(pk=row.pk).update(acted_at=at, acted_by=by, acted_words=words.strip()[:200])
    note_step(row, Step.ACTED, at=at, by=by, words=words.strip())


@transaction.atomic
def hand_on(*, row: Attention, by: User, to: User, at: datetime, words: str = "") -> None:
    """Somebody else takes it: told at once, and it counts as not seen until they have."""
    _open(row)
    if not to.is_active or not (to.is_office or to.is_technician):
        raise NotDone(_("It is handed to one of ours."))
    Attention.objects.filter(pk=row.pk).update(handed_to=to, seen_at=None, seen_by=None)
    note_step(row, Step.HANDED, at=at, by=by, words=f"{to.name}. {words.strip()}".strip())


@transaction.atomic
def shelve(*, row: Attention, by: User, at: datetime, until: datetime, why: str) -> None:
    """Set it aside until a time, with a reason; then it speaks again by itself."""
    _open(row)
    longest = LONGEST_SHELF.get(Severity(row.severity), timedelta(days=30))
    if not why.strip():
        raise NotDone(_("Say why it is set aside."))
    if not at < until <= at + longest:
        hours = int(longest.total_seconds() // 3600)
        raise NotDone(_("It is set aside until a time to come, at most %(n)s hours ahead.") % {"n": hours})
    Attention.objects.filter(pk=row.pk).update(
        shelved_until=until, shelved_by=by, shelved_why=why.strip()[:200]
    )
    note_step(row, Step.SHELVED, at=at, by=by, words=why.strip())


@transaction.atomic
def end_shelves(*, at: datetime) -> int:
    """What was set aside until now speaks again; how many."""
    rows = list(
        Attention.objects.select_for_update()
        .filter(shelved_until__lte=at, cleared_at__isnull=True)
        .order_by("pk")
    )
    for row in rows:
        Attention.objects.filter(pk=row.pk).update(
            shelved_until=None, shelved_by=None, shelved_why="", seen_at=None, seen_by=None
        )
        note_step(row, Step.TAKEN_UP, at=at, by=None, words=_("The time it was set aside for is over."))
        row.tellings.all().delete()
    return len(rows)
