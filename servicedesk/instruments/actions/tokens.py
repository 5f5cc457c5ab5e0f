"""Passes for devices: made once, shown once, kept only as a hash."""

import hashlib
import secrets
from datetime import datetime, timedelta

from django.conf import settings
from django.db import connection, transaction
from django.db.models import Q, QuerySet

from servicedesk.instruments.models import Instrument, Token
from servicedesk.web.prepared import MOMENT, WORD, Slot, prepared

START = "trk_"


def digest(text: str) -> str:
    """SHA-256 of a pass, as it is stored."""
    return hashlib.sha256(text.encode()).hexdigest()


@transaction.atomic
def make_token(
    *,
    instrument: Instrument,
    at: datetime,
    label: str = "",
    expires_at: datetime | None = None,
    text: str | None = None,
) -> tuple[Token, str]:
    """A new pass (256 random bits) and its text, to be shown once. `text` is for the demo only."""
    text = text or START + secrets.token_urlsafe(32)
    row = Token.objects.create(
        instrument=instrument,
        label=label,
        start=text[:10],
        sha256=digest(text),
        made_at=at,
        expires_at=expires_at,
    )
    return row, text


@transaction.atomic
def revoke_token(*, token: Token, at: datetime) -> None:
    """From now on the pass opens nothing."""
    Token.objects.filter(pk=token.pk, revoked_at__isnull=True).update(revoked_at=at)


BOTH = timedelta(hours=24)
"""For so long an old pass still opens while its device is told the new one."""


@transaction.atomic
def replace_token(*, token: Token, at: datetime) -> tuple[Token, str]:
    """A new pass in place of one; the old one opens for a day more at most."""
    until = at + BOTH if token.expires_at is None else min(token.expires_at, at + BOTH)
    Token.objects.filter(pk=token.pk, revoked_at__isnull=True).update(expires_at=until)
    return make_token(instrument=token.instrument, at=at, label=token.label)


class TooOften(Exception):
    """The pass was used more often in this minute than one device needs."""


_TOO_OFTEN: dict[str, int] = {}
"""Passes that were told so, and in which minute: until it is over this process tells them again without asking the database, so that a noisy
device costs the others little."""
MOST_KEPT = 1000


def use_token(*, text: str, at: datetime) -> Token | None:
    """The pass with that text if it opens the door now (not revoked, not past its end, equipment in use); its last
    use is noted once a minute. Raises TooOften beyond so many uses in one minute (TANKROUND_DEVICE_A_MINUTE), counted in the database, whoever asks at the same time."""
    sha256, minute = digest(text), int(at.timestamp()) // 60
    if _TOO_OFTEN.get(sha256) == minute:
        raise TooOften
    try:
        return _used(sha256, at, minute)
    except TooOften:
        if len(_TOO_OFTEN) >= MOST_KEPT:
            _TOO_OFTEN.clear()
        _TOO_OFTEN[sha256] = minute
        raise


@prepared(sha256=WORD, at=MOMENT)
def _opening(sha256: Slot, at: Slot) -> QuerySet[Token]:
    rows = Token.objects.select_related("instrument", "instrument__equipment", "instrument__tank").filter(
        sha256=sha256, revoked_at__isnull=True, instrument__equipment__retired_on__isnull=True
    )
    return rows.filter(Q(expires_at__isnull=True) | Q(expires_at__gt=at))[:1]


COUNT = (
    "UPDATE instruments_token SET in_minute = CASE WHEN minute = %s THEN in_minute + 1 ELSE 1 END, "
    "last_used_at = CASE WHEN minute = %s THEN last_used_at ELSE %s END, minute = %s WHERE id = %s RETURNING in_minute"
)
"""Counted and asked in one statement, since every delivery begins with it."""


def _used(sha256: str, at: datetime, minute: int) -> Token | None:
    token = _opening.first(sha256=sha256, at=at)
    if token is None:
        return None
    now = connection.ops.adapt_datetimefield_value(at)
    pk = Token._meta.pk.get_db_prep_value(token.pk, connection)
    with connection.cursor() as cursor:
        cursor.execute(COUNT, [minute, minute, now, minute, pk])
        used = max((row[0] for row in cursor.fetchall()), default=0)
    if used > settings.DEVICE_A_MINUTE:
        raise TooOften
    return token
