"""Instruments that nobody hears."""

from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from servicedesk.instruments.queries import instruments_in_use, silent_since
from servicedesk.watch.actions.rows import clear_attention, local, raise_attention
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.queries import silence_harms_at


@transaction.atomic
def watch_silence(*, at: datetime) -> list[UUID]:
    """Raise one row per instrument that is later than its interval and grace, clear those that spoke again."""
    silent = []
    for instrument in instruments_in_use():
        key = f"silent:{instrument.pk}"
        late = timedelta(minutes=instrument.interval_minutes + instrument.grace_minutes)
        last = silent_since(instrument, at)
        if last is None:
            clear_attention(key=key, at=at)
            continue
        silent.append(instrument.pk)
        raise_attention(
            key=key,
            at=last + late,
            kind=AttentionKind.SILENT,
            severity=Severity.SOON,
            tank=instrument.tank,
            site=instrument.tank.site,
            word="silent",
            sentence=_("%(device)s is silent since %(when)s. Power or line first.")
            % {"device": instrument.equipment.name, "when": local(instrument.tank, last)},
            harm_at=silence_harms_at(instrument, last),
            why=_("It reports every %(interval)s minutes, %(grace)s late at most.")
            % {"interval": instrument.interval_minutes, "grace": instrument.grace_minutes},
        )
    return silent
