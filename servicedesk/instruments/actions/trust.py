"""Trust in a measure moves along legal ways, each move a fact with its reason."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from servicedesk.instruments.choices import TRUST_MOVES, Trust
from servicedesk.instruments.models import Measure, TrustMove
from servicedesk.instruments.queries import trust_of
from servicedesk.water import actions as water


class TrustMoveRefused(Exception):
    """Trust cannot go from where it stands to there in one step."""


@transaction.atomic
def move_trust(
    *,
    measure: Measure,
    trust: str,
    why: str,
    at: datetime,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
) -> TrustMove | None:
    """Move a measure's trust; None when it stands there already. Raises TrustMoveRefused for an illegal step."""
    before = TrustMove.objects.filter(origin=origin, part=part).first()
    if before is not None:
        return before
    now = trust_of(measure)
    if now == trust:
        return None
    if trust not in TRUST_MOVES[now]:
        raise TrustMoveRefused("It must be checked before it is believed again.")
    row = TrustMove.objects.create(
        measure=measure, at=at, trust=trust, why=why, origin=origin, part=part, received_at=received_at
    )
    water.touch(tank=measure.instrument.tank, at=at)
    return row


@transaction.atomic
def doubt_anew(
    *, measure: Measure, why: str, at: datetime, origin: UUID, part: int = 0, received_at: datetime
) -> TrustMove:
    """It is not believed from now on, for this reason, whether or not it was before: a test from before this moment brings belief back no
    more. What was not to be acted on stays so."""
    now = trust_of(measure)
    row, made = TrustMove.objects.get_or_create(
        origin=origin,
        part=part,
        defaults={
            "measure": measure,
            "at": at,
            "trust": Trust.TO_CHECK if now == Trust.BELIEVED else now,
            "why": why[:200],
            "received_at": received_at,
        },
    )
    if made:
        water.touch(tank=measure.instrument.tank, at=at)
    return row
