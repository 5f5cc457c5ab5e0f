"""What makes us uneasy about a tank though its water tested well: a dosing container that is empty, a device that is
silent or whose values we do not act on. Told in the client's words, without names of devices."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from clients.models import Tank
from reports.queries import words
from reports.queries.done import MEDICINES
from servicedesk.dosing.queries import Settings, channels_of
from servicedesk.instruments.choices import Trust
from servicedesk.instruments.models import Instrument
from servicedesk.instruments.queries import silent_since, standings_of


def _empty(tank: Tank, at: datetime) -> list[str]:
    channels = channels_of([tank])
    settings = Settings(channels, at)
    dry = [c.solution.parameter for c in channels if settings.rate(c) and settings.left_ml(c) == 0]
    named = [words.name_of(parameter) for parameter in dict.fromkeys(dry) if parameter not in MEDICINES]
    lines = [
        _("%(name)s: by our reckoning the pump's container is empty.") % {"name": name} for name in named
    ]
    return lines if named or not dry else [_("By our reckoning a container of the dosing pump is empty.")]


def _silent(tank: Tank, at: datetime, zone: ZoneInfo) -> list[str]:
    fitted = Instrument.objects.filter(tank=tank, equipment__retired_on__isnull=True)
    fitted = fitted.exclude(relays=True, measures__isnull=True)  # it sees no water itself
    since = [last for instrument in fitted if (last := silent_since(instrument, at))]
    if not since:
        return []
    said = {"day": words.short_day(min(since).astimezone(zone))}
    return [
        _("Our measuring device has sent nothing since %(day)s: between visits nobody sees this water.")
        % said
    ]


def _doubted(tank: Tank) -> list[str]:
    standings = standings_of([tank]).values()
    if any(s.fitted and s.trust == Trust.NOT_TO_ACT_ON for s in standings):
        return [_("We do not act on what our measuring device shows at present, and test by hand.")]
    return []


def uneasy(tank: Tank, *, at: datetime, zone: ZoneInfo) -> list[str]:
    """Sentences, at that moment; none where everything that works between visits works."""
    return [*_empty(tank, at), *_silent(tank, at, zone), *_doubted(tank)]
