"""The sweep that judges every tank with news, and the list of what wants attention: one open row per cause."""

from datetime import datetime, timedelta
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils.translation import gettext as _

from clients.models import Equipment, Tank
from clients.queries import name_beside_tank
from servicedesk.core import units
from servicedesk.core.metrology.uncertainty import (
    Deviation,
    Replicate,
    deviation,
    reference_value,
)
from servicedesk.dosing.queries import Settings, channels_of
from servicedesk.instruments.actions.trust import move_trust
from servicedesk.instruments.choices import Trust
from servicedesk.instruments.models import Measure
from servicedesk.instruments.queries import instruments_in_use, measured_by, measures_of, silent_since, trusts
from servicedesk.staff.queries import business
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.models import Attention
from servicedesk.watch.queries import Newest, harm_at, name_in_words, newest_of, silence_harms_at, word_in
from servicedesk.water.models import Band, Method, Touched
from servicedesk.water.queries import ReadingValue, bands_of, readings_of, spec_of

RECENT = timedelta(days=21)
# How near in time a test by hand and an instrument are comparable: what swings by day and night only within like hours
# (common practice).
PAIR, PAIR_OF_SWINGING = timedelta(days=2), timedelta(hours=1)
SWINGS = {"ph", "temperature", "dissolved_oxygen", "carbon_dioxide"}


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


def _beside_mark(name: str, value: ReadingValue, band: Band, word: str) -> str:
    """A value beside the mark that it is beyond, as the rest of a sentence."""
    edges = {
        "above_limit": (band.alarm_high, _("%(value)s, over the limit of %(mark)s.")),
        "below_limit": (band.alarm_low, _("%(value)s, under the limit of %(mark)s.")),
        "above": (band.high, _("%(value)s, over the high mark of %(mark)s.")),
        "below": (band.low, _("%(value)s, under the low mark of %(mark)s.")),
    }
    edge, words = edges[word]
    assert edge is not None
    shown = f"{name} {units.show(value.parameter, value.value, band.unit)} {units.unit_word(band.unit)}"
    return words % {"value": shown.strip(), "mark": units.show(value.parameter, edge, band.unit)}


def _raise_beyond(key: str, tank: Tank, value: ReadingValue, band: Band, *, word: str, sentence: str) -> None:
    limit = word.endswith("limit")
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
        why=_("Measured by %(method)s on %(when)s.")
        % {"method": value.method_name, "when": _local(tank, value.at)},
        harm_at=harm_at(tank, value, band),
    )


def _older_than_row(believed: ReadingValue | None, key: str) -> bool:
    """Whether a row is open that no believed value has been taken since."""
    rows = Attention.objects.filter(key=key, cleared_at__isnull=True)
    return (rows.filter(since__gt=believed.at) if believed else rows).exists()


def _out_of_band(tank: Tank, parameter: str, newest: Newest, band: Band, at: datetime) -> str:
    """The newest believed value decides, however old it is; its word. A row that an instrument raised before it was doubted stands until a
    believed value is newer, or until the instrument's own row takes its place."""
    key, believed, doubted = f"band:{tank.pk}:{parameter}", newest.believed, newest.in_doubt
    word = word_in(believed.value, band) if believed else "in_band"
    if believed is None or word == "in_band":
        calmed = (
            doubted is not None and word_in(doubted.value, band) == "in_band" and at - doubted.at <= RECENT
        )
        if not (calmed and _older_than_row(believed, key)):
            clear_attention(key=key, at=at)
        return "in_band"
    sentence = _beside_mark(units.parameter(parameter).name, believed, band, word)
    if at - believed.at > RECENT:
        sentence += " " + _("Not tested since.")
    _raise_beyond(key, tank, believed, band, word=word, sentence=sentence)
    return word


def _out_of_band_in_doubt(
    tank: Tank, parameter: str, newest: Newest, band: Band, *, told: str, at: datetime
) -> None:
    """A row of its own for what an instrument in doubt shows after the newest believed value, unless that value says
    the same (`told`). A later believed value clears it, the instrument itself never does."""
    key, shown, believed = f"band-in-doubt:{tank.pk}:{parameter}", newest.in_doubt, newest.believed
    if shown is None or shown.equipment_id is None or (believed and believed.at >= shown.at):
        clear_attention(key=key, at=at)
        return
    word = word_in(shown.value, band)
    if word == "in_band" and _older_than_row(believed, key):
        return
    if word == "in_band" or told in (word, f"{word}_limit"):
        clear_attention(key=key, at=at)
        return
    device = Equipment.objects.get(pk=shown.equipment_id)
    rest = _beside_mark(name_in_words(parameter), shown, band, word)
    sentence = _("%(device)s, which is %(trust)s, shows %(rest)s") % {
        "device": device.name,
        "trust": newest.trust.label,
        "rest": rest,
    }
    if at - shown.at > RECENT:
        sentence += " " + _("Not tested since.")
    _raise_beyond(key, tank, shown, band, word=word, sentence=sentence)


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


def _pair(tank: Tank, measure: Measure, at: datetime) -> tuple[ReadingValue, ReadingValue] | None:
    """The last test by hand of a measure's parameter, and the instrument's value nearest to it in time."""
    rows = readings_of(tank, parameter=measure.parameter, since=at - RECENT)
    hand = [r for r in rows if r.source_kind == "hand"]
    mine = [r for r in rows if r.equipment_id == measure.instrument.equipment_id]
    apart = PAIR_OF_SWINGING if measure.parameter in SWINGS else PAIR
    near = [r for r in mine if hand and abs(r.at - hand[-1].at) <= apart]
    return (hand[-1], min(near, key=lambda r: abs(r.at - hand[-1].at))) if near else None


def _compare(measure: Measure, hand: ReadingValue, shown: ReadingValue) -> Deviation:
    by_hand = spec_of(Method.objects.get(pk=hand.method_id))
    reference = reference_value([Replicate(hand.value, by_hand)])
    own = measured_by(measure)
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
        trust, why = Trust.TO_CHECK, _("A test by hand contradicts it.")
    elif agrees and move and now == Trust.TO_CHECK and min(r.at for r in pair) > move.at:
        trust, why = Trust.BELIEVED, _("A test by hand agrees with it.")
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
        over = _(
            "%(device)s is %(delta)s over the last test by hand of %(name)s: look at its reagent and calibration."
        )
        under = _(
            "%(device)s is %(delta)s under the last test by hand of %(name)s: look at its reagent and calibration."
        )
        unit = units.unit_word(units.parameter(measure.parameter).unit)
        raise_attention(
            key=key,
            at=at,
            kind=AttentionKind.DISAGREES,
            severity=Severity.SOON,
            tank=tank,
            site=tank.site,
            parameter=measure.parameter,
            word="check",
            sentence=(over if found.delta > 0 else under)
            % {
                "device": name_beside_tank(measure.instrument.equipment),
                "delta": f"{abs(found.delta):.2f} {unit}".strip(),
                "name": name_in_words(measure.parameter),
            },
            why=_("Allowed %(allowed)s, uncertainty of the comparison %(expanded)s.")
            % {
                "allowed": f"{found.allowed:.2f} {unit}".strip(),
                "expanded": f"{found.expanded:.2f} {unit}".strip(),
            },
        )


@transaction.atomic
def judge_tank(*, tank: Tank, at: datetime) -> None:
    """Judge one tank's instruments first, since they say what is believed, then its newest values and containers."""
    bands = bands_of(tank)
    _disagreement(tank, at)
    found = newest_of(tank, at)
    for parameter, band in bands.items():
        newest = found.get(parameter, Newest())
        told = _out_of_band(tank, parameter, newest, band, at)
        _out_of_band_in_doubt(tank, parameter, newest, band, told=told, at=at)
    _containers(tank, at, {parameter: n.believed for parameter, n in found.items() if n.believed}, bands)


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
            % {"device": instrument.equipment.name, "when": _local(instrument.tank, last)},
            harm_at=silence_harms_at(instrument, last),
            why=_("It reports every %(interval)s minutes, %(grace)s late at most.")
            % {"interval": instrument.interval_minutes, "grace": instrument.grace_minutes},
        )
    return silent


def look(*, at: datetime) -> dict[str, int]:
    """One look at everything: how many tanks with news were judged, how many instruments are silent."""
    return {"judged": sweep(at=at), "silent": len(watch_silence(at=at))}
