"""What runs empty: containers of the pumps, bottles of the instruments."""

from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients.models import Tank
from clients.queries import name_beside_tank
from servicedesk.dosing.models import Channel
from servicedesk.dosing.queries import Settings
from servicedesk.instruments.models import Measure
from servicedesk.instruments.queries import bottles_left
from servicedesk.watch.actions.rows import clear_attention, raise_attention
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.queries import harm_at, name_in_words
from servicedesk.water.models import Band
from servicedesk.water.queries import ReadingValue


def judge_containers(
    tank: Tank,
    channels: list[Channel],
    latest: dict[str, ReadingValue],
    bands: dict[str, Band],
    at: datetime,
) -> None:
    settings = Settings(channels, at)
    for channel in channels:
        days = 0.0 if settings.left_ml(channel) == 0 else settings.days_left(channel)
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


def judge_bottles(tank: Tank, measures: list[Measure], at: datetime) -> None:
    """Bottles of instruments: said on the day before their last test by schedule."""
    for measure, tests in bottles_left(measures, at):
        key, days = f"bottle:{measure.pk}", tests / measure.tests_per_day
        if days >= 1:
            clear_attention(key=key, at=at)
            continue
        whole = int(tests)
        words = ngettext(
            "%(device)s has reagent for one more test of %(name)s, as far as its schedule tells.",
            "%(device)s has reagent for %(n)s more tests of %(name)s, as far as its schedule tells.",
            whole,
        )
        raise_attention(
            key=key,
            at=at,
            kind=AttentionKind.RUNNING_OUT,
            severity=Severity.SOON,
            tank=tank,
            site=tank.site,
            instrument=measure.instrument,
            parameter=measure.parameter,
            word="empty",
            sentence=words
            % {
                "device": name_beside_tank(measure.instrument.equipment),
                "name": name_in_words(measure.parameter),
                "n": whole,
            },
            why=_("Last bottle less what its tests have taken since, at %(ml)s mL each.")
            % {"ml": f"{measure.ml_per_test:g}"},
        )
