"""What will go wrong as it is set: said before anything does."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from clients.models import Tank
from clients.queries import name_beside_tank
from servicedesk.core import units
from servicedesk.core.tracking.mixed import AN_HOUR, MOST_TESTS, Clash, clash
from servicedesk.dosing.models import Channel
from servicedesk.dosing.queries import Settings
from servicedesk.instruments.choices import OwnDosing
from servicedesk.instruments.models import Instrument, Measure
from servicedesk.instruments.queries.mixing import MIXED, Mixing
from servicedesk.staff.queries import business
from servicedesk.watch.actions.rows import clear_attention, raise_attention
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.queries import name_in_words
from servicedesk.water.models import Band, Reading, TankTest
from servicedesk.web.prepared import KEY, MOMENT, WORD, Slot, prepared

MORE_THAN_SAFE = 3.0
"""A tank uses up what it is given: said where, with nothing used up, it would rise three times faster than is safe (common practice)."""
A_DAY_HOURS = 24.0
WATER = "level"
"""What a top-up gives raises nothing that is tested."""


def judge_foreseen(
    tank: Tank,
    bands: dict[str, Band],
    measures: list[Measure],
    channels: list[Channel],
    at: datetime,
    mixing: Mixing = MIXED,
) -> None:
    """Set-points against the band, what a channel could do in a day against the safe daily change, what is dosed and never tested, tests that always come
    before a dose is mixed in."""
    for measure in measures:
        _collides(tank, measure, mixing, at)
    channels = [channel for channel in channels if channel.solution.parameter != WATER]
    for instrument in {measure.instrument_id: measure.instrument for measure in measures}.values():
        _set_points(tank, instrument, channels, bands, at)
        _day(
            tank, instrument, [measure for measure in measures if measure.instrument_id == instrument.pk], at
        )
    if not channels:
        return
    settings = Settings(channels, at)
    tested = {measure.parameter for measure in measures}
    tested |= set(TankTest.objects.filter(tank=tank).values_list("parameter", flat=True))
    for channel in channels:
        _too_much(tank, channel, settings, bands.get(channel.solution.parameter), at)
        _unseen(tank, channel, tested, at)


def _say(tank: Tank, key: str, sentence: str, *, parameter: str, why: str, at: datetime) -> None:
    raise_attention(
        key=key,
        at=at,
        kind=AttentionKind.FORESEEN,
        severity=Severity.WATCH,
        tank=tank,
        site=tank.site,
        parameter=parameter,
        word="check",
        sentence=sentence,
        why=why,
    )


def _shown(band: Band, value: float) -> str:
    return f"{units.show(band.parameter, value, band.unit)} {units.unit_word(band.unit)}".strip()


def _set_points(
    tank: Tank, instrument: Instrument, channels: list[Channel], bands: dict[str, Band], at: datetime
) -> None:
    key = f"set-points:{instrument.pk}"
    channel = next((c for c in channels if c.pk == instrument.dosing_channel_id), None)
    band = bands.get(channel.solution.parameter) if channel else None
    words = ""
    if instrument.own_dosing == OwnDosing.SET_POINTS and band is not None:
        low, high = instrument.dose_low, instrument.dose_high
        if high is not None and band.high is not None and high > band.high:
            words = _("%(device)s doses %(name)s up to %(value)s, over the band.")
            words = words % {
                "device": instrument.equipment.name,
                "name": name_in_words(band.parameter),
                "value": _shown(band, high),
            }
        elif low is not None and band.low is not None and low < band.low:
            words = _("%(device)s lets %(name)s fall to %(value)s, under the band, before it doses.")
            words = words % {
                "device": instrument.equipment.name,
                "name": name_in_words(band.parameter),
                "value": _shown(band, low),
            }
    if not words or band is None:
        clear_attention(key=key, at=at)
        return
    _say(
        tank, key, words, parameter=band.parameter, why=_("Its set-points contradict the tank's band."), at=at
    )


def _day(tank: Tank, instrument: Instrument, measures: list[Measure], at: datetime) -> None:
    """Whether the tests that an instrument is set to make fit into a day: one after the other, as it has one hand (common practice)."""
    key = f"day:{instrument.pk}"
    hours = sum(measure.tests_per_day * measure.minutes_per_test for measure in measures) / 60
    if hours <= A_DAY_HOURS:
        clear_attention(key=key, at=at)
        return
    words = _("%(device)s is set to test for %(hours)s hours a day: some of its tests cannot be made.")
    sentence = words % {"device": name_beside_tank(instrument.equipment), "hours": f"{hours:.0f}"}
    why = _("Tests a day times minutes a test, one after the other.")
    _say(tank, key, sentence, parameter="", why=why, at=at)


def _too_much(tank: Tank, channel: Channel, settings: Settings, band: Band | None, at: datetime) -> None:
    key = f"too-much:{channel.pk}"
    most = channel.max_ml_per_day if channel.driven else settings.rate(channel)
    safe = band.max_rise_per_day if band else None
    rise = (most or 0.0) * channel.solution.per_ml / tank.net_l
    # what is used up meanwhile is not counted: it may stop being used up overnight
    if band is None or safe is None or rise <= MORE_THAN_SAFE * safe:
        clear_attention(key=key, at=at)
        return
    sentence = _("%(channel)s could raise %(name)s by %(rise)s a day; %(safe)s is safe.") % {
        "channel": channel,
        "name": name_in_words(band.parameter),
        "rise": _shown(band, rise),
        "safe": _shown(band, safe),
    }
    why = _("%(ml)s mL a day in %(net)s L, if nothing were used up.") % {
        "ml": f"{most:g}",
        "net": f"{tank.net_l:.0f}",
    }
    _say(tank, key, sentence, parameter=band.parameter, why=why, at=at)


def _unseen(tank: Tank, channel: Channel, tested: set[str], at: datetime) -> None:
    parameter = channel.solution.parameter
    key = f"unseen:{channel.pk}"
    if parameter in tested:
        clear_attention(key=key, at=at)
        return
    sentence = _("%(name)s is dosed here and nobody tests it.") % {"name": units.parameter(parameter).name}
    why = _("Neither on a visit nor by an instrument.")
    _say(tank, key, sentence, parameter=parameter, why=why, at=at)


SEEN = timedelta(days=6)


@prepared(equipment=KEY, parameter=WORD, since=MOMENT, until=MOMENT)
def _tested(equipment: Slot, parameter: Slot, since: Slot, until: Slot) -> QuerySet[Reading, datetime]:
    rows = Reading.objects.filter(
        series__source__equipment=equipment, series__parameter=parameter, at__gte=since, at__lte=until
    )
    return rows.order_by("-at", "pk").values_list("at", flat=True)[:MOST_TESTS]


def _collides(tank: Tank, measure: Measure, mixing: Mixing, at: datetime) -> None:
    """Tests that nearly always come before a dose is mixed in, with another time where one is free."""
    key, equipment = f"collides:{measure.pk}", measure.instrument.equipment_id
    within, found = mixing.within.get(equipment, 0), None
    tests: list[datetime] = []
    if within and mixing.doses.get(measure.parameter):
        tests = _tested(equipment=equipment, parameter=measure.parameter, since=at - SEEN, until=at)[::-1]
        found = clash(
            tests=[moment.timestamp() / 60 for moment in tests],
            doses=mixing.doses[measure.parameter],
            within=within,
        )
    if found is None:
        clear_attention(key=key, at=at)
        return
    sentence = _(
        "%(device)s tests %(name)s before a dose is mixed in: %(n)s of its last %(all)s results."
    ) % {
        "device": measure.instrument.equipment.name,
        "name": name_in_words(measure.parameter),
        "n": found.marked,
        "all": found.tests,
    }
    why = _(
        "It says that water is mixed %(minutes)s minutes after a dose; what comes sooner is not judged alone."
    )
    _say(
        tank,
        key,
        f"{sentence} {_other_time(tank, measure, found, tests[-1])}",
        parameter=measure.parameter,
        why=why % {"minutes": within},
        at=at,
    )


def _other_time(tank: Tank, measure: Measure, found: Clash, last: datetime) -> str:
    """What could be set otherwise."""
    if measure.instrument.own_dosing != OwnDosing.NONE:
        return _("It doses by itself: let more time pass between its tests.")
    if not found.later:
        return _("No time between the doses is free: set them further apart.")
    if not found.hourly:
        return _("Set its tests %(later)s minutes later.") % {"later": found.later}
    local = last.astimezone(ZoneInfo(tank.site.zone or business().zone))
    minute = (local.minute + found.later) % AN_HOUR
    return _("Set its tests %(later)s minutes later, to minute %(minute)s of the hour.") % {
        "later": found.later,
        "minute": f"{minute:02d}",
    }
