"""What runs empty: containers of the pumps, bottles of the instruments."""

from datetime import datetime

from django.utils.translation import gettext as _

from clients.models import Tank
from servicedesk.dosing.queries import Settings, channels_of
from servicedesk.watch.actions.rows import clear_attention, raise_attention
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.queries import harm_at
from servicedesk.water.models import Band
from servicedesk.water.queries import ReadingValue


def _containers(tank: Tank, at: datetime, latest: dict[str, ReadingValue], bands: dict[str, Band]) -> None:
    channels = channels_of([tank])
    settings = Settings(channels, at)
    for channel in channels:
        days = settings.days_left(channel)
        key = f"container:{channel.pk}"
        if days is None or days >= 1:
            clear_attention(key=key, at=at)
            continue
        parameter = channel.solution.parameter
        raise_attention(
            key=key,
            at=at,
            kind=AttentionKind.RUNNING_OUT,
            severity=Severity.NOW if days <= 0 else Severity.SOON,
            tank=tank,
            site=tank.site,
            parameter=parameter,
            word="empty",
            sentence=(
                _("The container of %(item)s is empty, as far as its settings tell.")
                if days <= 0
                else _("The container of %(item)s runs empty today, as far as its settings tell.")
            )
            % {"item": channel.solution.item.name},
            why=_("Last refill less what the pump was set to give since."),
            harm_at=harm_at(tank, latest.get(parameter), bands.get(parameter)),
        )
