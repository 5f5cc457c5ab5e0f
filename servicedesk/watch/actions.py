"""The sweep that judges every tank with news, and the list of what wants attention: one open row per cause."""

from datetime import datetime, timedelta
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.db import transaction

from clients.models import Tank
from servicedesk.core import units
from servicedesk.core.metrology.uncertainty import (
    Deviation,
    MethodSpec,
    Replicate,
    deviation,
    reference_value,
)
from servicedesk.dosing.queries import Settings, channels_of
from servicedesk.instruments.actions.trust import move_trust
from servicedesk.instruments.choices import Trust
from servicedesk.instruments.models import Measure
from servicedesk.instruments.queries import instruments_in_use, measures_of, trusts
from servicedesk.staff.queries import business
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.models import Attention
from servicedesk.watch.queries import harm_at, silence_harms_at, word_in
from servicedesk.water.models import Band, Method, Touched
from servicedesk.water.queries import ReadingValue, bands_of, latest_values, readings_of

RECENT = timedelta(days=21)
PAIR = timedelta(days=2)


@transaction.atomic
def raise_attention(*, key: str, at: datetime, **columns: object) -> Attention:
    """Open a row for a cause, or bring the open one up to date; since keeps the first time."""
    row = Attention.objects.select_for_update().filter(key=key, cleared_at__isnull=True).first()
    if row is None:
        return Attention.objects.create(key=key, since=at, **columns)
    Attention.objects.filter(pk=row.pk).update(**columns)
    return row


@transaction.atomic
def clear_attention(*, key: str, at: datetime) -> bool:
    """The cause is gone."""
    return bool(Attention.objects.filter(key=key, cleared_at__isnull=True).update(cleared_at=at))


def _out_of_band(tank: Tank, value: ReadingValue, band: Band, at: datetime) -> None:
    key = f"band:{tank.pk}:{value.parameter}"
    known = units.parameter(value.parameter)
    word = word_in(value.value, band)
    if word == "in_band" or at - value.at > RECENT:
        clear_attention(key=key, at=at)
        return
    limit = word.endswith("limit")
    edge = {
        "above_limit": band.alarm_high,
        "below_limit": band.alarm_low,
        "above": band.high,
        "below": band.low,
    }[word]
    assert edge is not None
    shown, mark = (
        units.show(value.parameter, value.value, band.unit),
        units.show(value.parameter, edge, band.unit),
    )
    side = "over" if word.startswith("above") else "under"
    unit = units.unit_word(band.unit)
    line = "limit" if limit else ("high mark" if side == "over" else "low mark")
    sentence = f"{known.name} {shown} {unit}".strip() + f", {side} the {line} of {mark}."
    why = f"Measured by {value.method_name} on {_local(tank, value.at)}."
    raise_attention(
        key=key,
        at=value.at,
        kind=AttentionKind.BEYOND_LIMIT if limit else AttentionKind.OUT_OF_BAND,
        severity=Severity.NOW if limit else Severity.SOON,
        tank=tank,
        site=tank.site,
        parameter=value.parameter,
        word=word,
        sentence=sentence,
        why=why,
        harm_at=harm_at(tank, value, band),
    )


def _local(tank: Tank, at: datetime) -> str:
    """A moment as the site's people read it."""
    return f"{at.astimezone(ZoneInfo(tank.site.zone or business().zone)):%d %B, %H:%M}"


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
            word="below",
            sentence=f"The container of {channel.solution.item.name} {'is empty' if days <= 0 else 'runs empty today'}, "
            "as far as its settings tell.",
            why="Last refill less what the pump was set to give since.",
            harm_at=harm_at(tank, latest.get(parameter), bands.get(parameter)),
        )


def _pair(tank: Tank, measure: Measure, at: datetime) -> tuple[ReadingValue, ReadingValue] | None:
    """The last test by hand of a measure's parameter, and the instrument's value nearest to it in time."""
    rows = readings_of(tank, parameter=measure.parameter, since=at - RECENT)
    hand = [r for r in rows if r.source_kind == "hand"]
    mine = [r for r in rows if r.equipment_id == measure.instrument.equipment_id]
    near = [r for r in mine if hand and abs(r.at - hand[-1].at) <= PAIR]
    return (hand[-1], min(near, key=lambda r: abs(r.at - hand[-1].at))) if near else None


def _compare(measure: Measure, hand: ReadingValue, shown: ReadingValue) -> Deviation:
    method = Method.objects.get(pk=hand.method_id)
    by_hand = MethodSpec(
        name=method.name,
        kind=method.kind,
        tolerance_abs=method.tolerance_abs,
        tolerance_rel=method.tolerance_rel,
        resolution=method.resolution,
    )
    own = MethodSpec(
        name=measure.method.name,
        kind=measure.method.kind,
        tolerance_abs=measure.method.tolerance_abs,
        tolerance_rel=measure.method.tolerance_rel,
        resolution=measure.method.resolution,
    )
    reference = reference_value([Replicate(hand.value, by_hand)])
    return deviation(instrument_value=shown.value, instrument=own, reference=reference)


def _weigh_trust(
    measure: Measure, found: Deviation, pair: tuple[ReadingValue, ReadingValue], at: datetime
) -> None:
    """A test by hand that contradicts a believed instrument puts it to be checked; one that agrees, both taken after the doubt arose, lets it be believed again (they agree where they differ by no more than their expanded
    uncertainty: E_n of at most 1, ISO 13528). What is not to be acted on stays so until a person says otherwise."""
    agrees = found.verdict != "outside" and abs(found.delta) <= max(found.expanded, found.allowed)
    move = trusts([measure]).get(measure.pk)
    now = move.trust if move else Trust.BELIEVED
    if found.verdict == "outside" and now == Trust.BELIEVED:
        trust, why = Trust.TO_CHECK, "A test by hand contradicts it."
    elif agrees and move and now == Trust.TO_CHECK and min(r.at for r in pair) > move.at:
        trust, why = Trust.BELIEVED, "A test by hand agrees with it."
    else:
        return
    origin = uuid5(measure.pk, f"{pair[0].origin}/{pair[1].origin}/{trust}")
    move_trust(measure=measure, trust=trust, why=why, at=at, origin=origin, received_at=at)


def _disagreement(tank: Tank, at: datetime) -> None:
    """An instrument against the last value tested by hand, when both are close in time."""
    for measure in measures_of([tank]):
        key, pair = f"disagrees:{measure.pk}", _pair(tank, measure, at)
        found = _compare(measure, *pair) if pair else None
        if pair and found:
            _weigh_trust(measure, found, pair, at)
        if found is None or found.verdict != "outside":
            clear_attention(key=key, at=at)
            continue
        name = units.parameter(measure.parameter).name.lower()
        side = "over" if found.delta > 0 else "under"
        raise_attention(
            key=key,
            at=at,
            kind=AttentionKind.DISAGREES,
            severity=Severity.SOON,
            tank=tank,
            site=tank.site,
            parameter=measure.parameter,
            word="check",
            sentence=f"{measure.instrument.equipment.name} is {abs(found.delta):.2f} {side} the last test by hand of "
            f"{name}: look at its reagent and calibration.",
            why=f"Allowed {found.allowed:.2f}, uncertainty of the comparison {found.expanded:.2f}.",
        )


@transaction.atomic
def judge_tank(*, tank: Tank, at: datetime) -> None:
    """Judge one tank's newest values, containers and instruments."""
    bands = bands_of(tank)
    latest = {parameter: value for (_tank, parameter), value in latest_values([tank], until=at).items()}
    for parameter, value in latest.items():
        if parameter in bands:
            _out_of_band(tank, value, bands[parameter], at)
    _containers(tank, at, latest, bands)
    _disagreement(tank, at)


def sweep(*, at: datetime) -> int:
    """Claim every tank with news and judge it; how many. A tank touched again meanwhile stays for the next sweep."""
    done = 0
    for tank_id, since in list(Touched.objects.order_by("since", "pk").values_list("tank", "since")[:500]):
        tank = Tank.objects.select_related("site").get(pk=tank_id)
        with transaction.atomic():
            if not Touched.objects.filter(tank=tank, since=since).delete()[0]:
                continue
            judge_tank(tank=tank, at=at)
        done += 1
    return done


@transaction.atomic
def watch_silence(*, at: datetime) -> list[UUID]:
    """Raise one row per instrument that is later than its interval and grace, clear those that spoke again."""
    silent = []
    for instrument in instruments_in_use():
        key = f"silent:{instrument.pk}"
        late = timedelta(minutes=instrument.interval_minutes + instrument.grace_minutes)
        last = instrument.last_contact_at
        if last is None or at - last <= late:
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
            sentence=f"{instrument.equipment.name} is silent since {_local(instrument.tank, last)}. Power or line first.",
            harm_at=silence_harms_at(instrument, last),
            why=f"It reports every {instrument.interval_minutes} minutes, {instrument.grace_minutes} late at most.",
        )
    return silent
