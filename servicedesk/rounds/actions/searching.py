"""What is searched for in the background ends: with what it has, without anything, or because nobody wants it."""

from datetime import datetime

from servicedesk.rounds.choices import ProposalState
from servicedesk.rounds.models.searched import Searched
from servicedesk.staff.models import User

OPEN = (ProposalState.ASKED, ProposalState.READY)


def stop_search(*, row: Searched, at: datetime) -> bool:
    """Have the search end with what it has; whether it was under way."""
    rows = type(row)._default_manager.filter(pk=row.pk, state=ProposalState.ASKED, stop_asked_at__isnull=True)
    return bool(rows.update(stop_asked_at=at))


def fail_search(*, row: Searched, error: str, at: datetime) -> bool:
    """It could not be made, because; whether it was still waited for."""
    rows = type(row)._default_manager.filter(pk=row.pk, state=ProposalState.ASKED)
    return bool(rows.update(state=ProposalState.FAILED, error=error[:300], ended_at=at))


def drop_search(*, row: Searched, by: User, at: datetime) -> bool:
    """It is not wanted; whether it was open. What was adopted of a master round stays adopted."""
    rows = type(row)._default_manager.filter(pk=row.pk, state__in=OPEN)
    return bool(rows.update(state=ProposalState.DROPPED, ended_by=by, ended_at=at))
