"""What is known of a tank's instruments, read once, and their judgement: beside the tests by hand, by their own habit, by what they say."""

from collections import defaultdict
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from django.db.models import Max, Min, QuerySet
from django.utils.translation import gettext as _

from clients.models import Tank
from clients.queries import name_beside_tank
from servicedesk.core import units
from servicedesk.core.tracking.habit import Stuck, stuck
from servicedesk.dispatch.queries import standing
from servicedesk.instruments.actions.trust import move_trust
from servicedesk.instruments.choices import SignKind, Trust
from servicedesk.instruments.models import Calibration, Instrument, Measure, Sign
from servicedesk.instruments.queries import loads_of, measured_by, trusts
from servicedesk.instruments.queries.mixing import mixing_of
from servicedesk.watch.actions.agreement import RECENT, Known, judge_agreement
from servicedesk.watch.actions.rows import clear_attention, local, open_keys, raise_attention
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.queries import name_in_words
from servicedesk.water.models import Reading
from servicedesk.water.queries import readings_of
from servicedesk.web.prepared import KEY, KEYS, MOMENT, Slot, prepared

LEAST_STUCK, HABIT = timedelta(hours=20), timedelta(days=50)
OFTEN_MINUTES, HAIR = 30, 1e-9
SIGN_STANDS = timedelta(days=7)


@prepared(measures=KEYS, at=MOMENT)
def _calibrations(measures: Slot, at: Slot) -> QuerySet[Calibration]:
    return standing(Calibration.objects.filter(measure__in=measures, at__lte=at)).order_by("at", "pk")


def _known_of(tank: Tank, measures: list[Measure], at: datetime) -> list[Known]:
    keys, moves, loads = [m.pk for m in measures], trusts(measures), loads_of(measures, at)
    by_measure: dict[UUID, list[Calibration]] = defaultdict(list)
    for row in _calibrations(measures=keys, at=at):
        by_measure[row.measure_id].append(row)
    hand = readings_of(tank, since=at - RECENT, until=at, by_hand=True)
    mixing = mixing_of(tank, measures, since=at - RECENT, until=at)
    return [
        Known(
            measure=measure,
            hand=[row for row in hand if row.parameter == measure.parameter],
            calibrations=by_measure[measure.pk],
            loaded_at=loads[measure.pk].at if measure.pk in loads else None,
            move=moves.get(measure.pk),
            mixing=mixing,
        )
        for measure in measures
    ]


def judge_devices(tank: Tank, measures: list[Measure], at: datetime, since: datetime | None = None) -> None:
    """Every measure of the tank's instruments; `since` the earliest news of the tank, None to judge everything."""
    _signs(tank, {measure.instrument_id: measure.instrument for measure in measures}, at)
    if not measures:
        return
    ranges = {
        (e, p): (least, most) for e, p, least, most in _ranges(tank=tank.pk, since=at - LEAST_STUCK, until=at)
    }
    for known in _known_of(tank, measures, at):
        judge_agreement(known, at, since)
        _stuck(known, ranges.get((known.measure.instrument.equipment_id, known.measure.parameter)), at)


@prepared(tank=KEY, since=MOMENT, until=MOMENT)
def _ranges(tank: Slot, since: Slot, until: Slot) -> QuerySet[Reading, tuple[Any, ...]]:
    rows = Reading.objects.filter(
        series__tank=tank, series__source__equipment__isnull=False, at__gte=since, at__lte=until
    )
    named = rows.values_list("series__source__equipment", "series__parameter").order_by()
    return named.annotate(least=Min("value"), most=Max("value"))


def _habit(measure: Measure, at: datetime) -> list[tuple[datetime, float]]:
    """Its results of the last fifty days in order of time; of one that reports more often than every half hour those of each hour's
    beginning."""
    rows = Reading.objects.filter(
        series__source__equipment=measure.instrument.equipment_id,
        series__parameter=measure.parameter,
        at__gte=at - HABIT,
        at__lte=at,
    )
    often = measure.instrument.interval_minutes
    if often < OFTEN_MINUTES:
        rows = rows.filter(at__minute__lt=max(1, often))
    return list(rows.order_by("at", "pk").values_list("at", "value"))


def _stuck(known: Known, lately: tuple[float, float] | None, at: datetime) -> None:
    """It shows the same for longer than it ever did. Its habit is looked into only where all of the last twenty hours (`lately`: least and
    most) lies within two steps. A different value clears it."""
    measure = known.measure
    key, step = f"stuck:{measure.pk}", measured_by(measure).resolution
    if units.parameter(measure.parameter).signal:
        return  # power that stays on is not stuck
    alike = lately is not None and lately[1] - lately[0] <= 2 * step + HAIR
    rows = _habit(measure, at) if alike else []
    days = [(moment - at).total_seconds() / 86400 for moment, _value in rows]
    least = LEAST_STUCK.total_seconds() / 86400
    found = stuck(values=[value for _at, value in rows], days=days, step=step, least_days=least)
    if found is None:
        clear_attention(key=key, at=at)
        return
    since = rows[found.since][0]
    _say_stuck(measure, found, since)
    if (known.move.trust if known.move else Trust.BELIEVED) == Trust.BELIEVED:
        why = _("It shows the same for longer than it ever did.")
        origin = uuid5(measure.pk, f"stuck/{since.isoformat()}")
        move_trust(measure=measure, trust=Trust.TO_CHECK, why=why, at=at, origin=origin, received_at=at)


def _say_stuck(measure: Measure, found: Stuck, since: datetime) -> None:
    device = name_beside_tank(measure.instrument.equipment)
    raise_attention(
        key=f"stuck:{measure.pk}",
        at=since,
        kind=AttentionKind.STUCK,
        severity=Severity.SOON,
        tank=measure.instrument.tank,
        site=measure.instrument.tank.site,
        instrument=measure.instrument,
        parameter=measure.parameter,
        word="check",
        sentence=_("%(device)s shows the same %(name)s since %(when)s: it does not measure.")
        % {
            "device": device,
            "name": name_in_words(measure.parameter),
            "when": local(measure.instrument.tank, since),
        },
        why=_("%(n)s results alike; before, it never showed more than %(before)s alike.")
        % {"n": found.alike, "before": found.before},
    )


@prepared(tank=KEY, since=MOMENT, until=MOMENT)
def _said(tank: Slot, since: Slot, until: Slot) -> QuerySet[Sign]:
    rows = Sign.objects.filter(instrument__tank=tank, at__gte=since, at__lte=until)
    rows = rows.filter(instrument__equipment__retired_on__isnull=True).select_related("instrument__equipment")
    return rows.order_by("at", "pk")


def _signs(tank: Tank, measuring: dict[UUID, Instrument], at: datetime) -> None:
    """What instruments say of themselves, those that measure nothing too: the newest of each kind stands, for a week."""
    newest: dict[tuple[UUID, str], Sign] = {}
    by_key = dict(measuring)
    for sign in _said(tank=tank.pk, since=at - SIGN_STANDS, until=at):
        newest[sign.instrument_id, sign.kind] = sign
        by_key.setdefault(sign.instrument_id, sign.instrument)
    for instrument in by_key.values():
        for kind in set(SignKind) - {SignKind.ALIVE, SignKind.NOTE}:
            _say_sign(instrument, tank, kind, newest.get((instrument.pk, kind)), at)
    for key in open_keys("sign:"):  # of one that measures nothing, and said nothing for a week
        if UUID(key.split(":")[1]) not in by_key:
            clear_attention(key=key, at=at)


def _say_sign(instrument: Instrument, tank: Tank, kind: SignKind, said: Sign | None, at: datetime) -> None:
    key = f"sign:{instrument.pk}:{kind}"
    if said is None or not said.on:
        clear_attention(key=key, at=at)
        return
    raise_attention(
        key=key,
        at=said.at,
        kind=AttentionKind.SIGN,
        severity=Severity.SOON,
        tank=tank,
        site=tank.site,
        instrument=instrument,
        word="check",
        sentence=_("%(device)s: %(what)s.")
        % {"device": name_beside_tank(instrument.equipment), "what": kind.label},
        why=_("It says “%(text)s”, %(when)s.")
        % {"text": said.text or kind.label, "when": local(tank, said.at)},
    )
