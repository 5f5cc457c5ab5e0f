"""Clients are told that a visit moves: written down with its cause, mailed where they agreed to that, else rung."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from servicedesk.dispatch import actions as dispatch
from servicedesk.dispatch.models import Job, Message
from servicedesk.rounds.models import Proposal, Tidings
from servicedesk.rounds.queries.telling import TimeMoved, key_of, letters_of
from servicedesk.staff.models import User


def note_moves(*, proposal: Proposal, moved: list[TimeMoved], at: datetime) -> None:
    """Keep who is to be told of a change that was chosen, and have the mails written."""
    Tidings.objects.bulk_create(
        Tidings(
            proposal=proposal,
            due_visit=row.due_visit,
            was_day=row.was[0] if row.was else None,
            was_at=row.was[1] if row.was else None,
            day=row.now[0] if row.now else None,
            at=row.now[1] if row.now else None,
            made_at=at,
        )
        for row in moved
    )
    if moved:
        ask_letters(proposal_id=proposal.pk, cause=proposal.pk, at=at)


def ask_letters(*, proposal_id: UUID, cause: UUID, at: datetime) -> None:
    """Have the mails of a change written as far as it holds; once per cause: the choice itself, or a technician's word."""
    key = f"tell_clients:{proposal_id}:{cause}"
    dispatch.ask(kind="tell_clients", key=key, args={"proposal": str(proposal_id)}, at=at)


@transaction.atomic
def post_letters(*, proposal: Proposal, job: Job, at: datetime) -> list[Message]:
    """The mails of a change to whoever agreed to have them: one for each contact, once."""
    return [
        dispatch.post(
            key=key_of(proposal.pk, letter.contact.pk),
            recipient=letter.contact.email,
            subject=letter.subject,
            text=letter.text,
            job=job,
            at=at,
        )
        for letter in letters_of(proposal)
    ]


def have_rung(*, tidings: Tidings, by: User, at: datetime) -> bool:
    """Somebody rang the client; whether nobody had before."""
    rows = Tidings.objects.filter(pk=tidings.pk, called_at=None)
    return bool(rows.update(called_by=by, called_at=at))
