"""Values against their bands: what is believed decides, what is in doubt is told beside it."""

from dataclasses import replace
from datetime import datetime, timedelta

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from clients.models import Equipment, Tank
from servicedesk.core import units
from servicedesk.core.tracking.habit import jumped
from servicedesk.core.tracking.pace import Pace, began, pace
from servicedesk.dispatch.queries import standing
from servicedesk.dosing.choices import DoseKind
from servicedesk.dosing.models import Dose
from servicedesk.instruments.queries.mixing import MIXED, Mixing
from servicedesk.watch.actions.rows import clear_attention, is_open, local, raise_attention
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.models import Attention
from servicedesk.watch.queries import Newest, harm_at, last_of, name_in_words, word_in
from servicedesk.water.actions import touch
from servicedesk.water.models import Band, Method, Reading
from servicedesk.water.queries import ReadingValue, water_changes_of
from servicedesk.web.prepared import MOMENT, NUMBER, Slot, prepared

RECENT = timedelta(days=21)


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
        % {"method": value.method_name, "when": local(tank, value.at)},
        harm_at=harm_at(tank, value, band),
    )


def _older_than_row(believed: ReadingValue | None, key: str) -> bool:
    """Whether a row is open that no believed value has been taken since."""
    rows = Attention.objects.filter(key=key, cleared_at__isnull=True)
    return (rows.filter(since__gt=believed.at) if believed else rows).exists()


def judge_value(tank: Tank, parameter: str, newest: Newest, band: Band, at: datetime) -> str:
    """The newest believed value decides, however old it is; its word. A row that an instrument raised before it was doubted stands until a
    believed value is newer, or until the instrument's own row takes its place."""
    key, believed, doubted = f"band:{tank.pk}:{parameter}", newest.believed, newest.in_doubt
    word = word_in(believed.value, band) if believed else "in_band"
    if believed is not None and word == "in_band" and _on_the_edge(key, believed, band):
        return word
    if believed is None or word == "in_band":
        calmed = (
            doubted is not None and word_in(doubted.value, band) == "in_band" and at - doubted.at <= RECENT
        )
        if not (calmed and _older_than_row(believed, key)):
            clear_attention(key=key, at=at)
        return "in_band"
    if _has_to_wait(key, believed, band, at):
        touch(tank=tank, at=believed.at)  # looked at again, whether or not it sends anything more
        return "in_band"
    sentence = _beside_mark(units.parameter(parameter).name, believed, band, word)
    if at - believed.at > RECENT:
        sentence += " " + _("Not tested since.")
    _raise_beyond(key, tank, believed, band, word=word, sentence=sentence)
    return word


DEADBAND_STEPS = 2
"""An instrument's value is back only where it is inside by two steps of its display, unless its band says by how much (common practice): else
it would come and go."""


def _on_the_edge(key: str, value: ReadingValue, band: Band) -> bool:
    """Whether an instrument's value lies inside by no more than the deadband of the mark beyond which it was."""
    if value.equipment_id is None or not is_open(key):
        return False
    word = Attention.objects.filter(key=key, cleared_at__isnull=True).values_list("word", flat=True).first()
    edges = {
        "above": band.high,
        "below": band.low,
        "above_limit": band.alarm_high,
        "below_limit": band.alarm_low,
    }
    edge = edges.get(word or "")
    inside = band.deadband
    if inside is None:
        inside = DEADBAND_STEPS * Method.objects.values_list("resolution", flat=True).get(pk=value.method_id)
    return edge is not None and abs(value.value - edge) < inside


def _has_to_wait(key: str, value: ReadingValue, band: Band, at: datetime) -> bool:
    """Whether an instrument has not been beyond its mark for as long as the band waits. What was said already waits for nothing, nor does a
    test by hand."""
    if value.equipment_id is None or not band.wait_minutes or is_open(key):
        return False
    begins = at - timedelta(minutes=band.wait_minutes)
    before = list(last_of(series=value.series_id, until=begins))[:1]
    within = _day_of(series=value.series_id, since=begins, until=value.at)
    side = word_in(value.value, band).removesuffix("_limit")
    rows = sorted({*before, *within, (value.at, value.value)})
    return began(rows, beyond=lambda number: word_in(number, band).removesuffix("_limit") == side) > begins


def judge_doubted(tank: Tank, parameter: str, newest: Newest, band: Band, *, told: str, at: datetime) -> None:
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


def _of_mixed_water(
    rows: list[tuple[datetime, float]], value: ReadingValue, mixing: Mixing
) -> list[tuple[datetime, float]]:
    """What counts of a series up to a value that was found to count."""
    counts = mixing.counting(value.equipment_id, value.parameter, rows)
    return [row for place, row in enumerate(rows) if counts[place] or place == len(rows) - 1]


def settled(tank: Tank, value: ReadingValue, band: Band, mixing: Mixing = MIXED) -> ReadingValue:
    """The value to judge by: the instrument's own, or the one before it where the last stands alone, far from its history and from what water
    can do in that time: then it is said, and the next result decides."""
    key = f"jump:{tank.pk}:{value.parameter}:{value.equipment_id}"
    if value.equipment_id is None or units.parameter(value.parameter).signal:
        return value
    rows = _of_mixed_water(list(last_of(series=value.series_id, until=value.at))[::-1], value, mixing)
    if len(rows) < 2 or not _alone(rows, band):
        clear_attention(key=key, at=value.at)
        return value
    (before_at, before), (at, last) = rows[-2:]
    shown = [units.show(value.parameter, number, band.unit) for number in (before, last)]
    raise_attention(
        key=key,
        at=at,
        kind=AttentionKind.JUMP,
        severity=Severity.WATCH,
        tank=tank,
        site=tank.site,
        parameter=value.parameter,
        word="again",
        sentence=_(
            "%(name)s jumped from %(before)s to %(last)s %(unit)s in one result: wait for the next, or test by hand."
        )
        % {
            "name": units.parameter(value.parameter).name,
            "before": shown[0],
            "last": shown[1],
            "unit": units.unit_word(band.unit),
        },
        why=_("Measured by %(method)s on %(when)s.") % {"method": value.method_name, "when": local(tank, at)},
    )
    return replace(value, value=before, at=before_at)


def _alone(rows: list[tuple[datetime, float]], band: Band) -> bool:
    """Whether the last value stands far from those before it, and the one before is not out on the same side already."""
    (before_at, before), (at, last) = rows[-2:]
    steepest = max(band.max_rise_per_day or 0.0, band.max_fall_per_day or 0.0)
    allowed = steepest * (at - before_at).total_seconds() / 86400
    if word_in(before, band).removesuffix("_limit") == word_in(last, band).removesuffix("_limit"):
        return False
    return jumped(values=[number for _at, number in rows], allowed=allowed)


A_DAY = timedelta(hours=26)


@prepared(series=NUMBER, since=MOMENT, until=MOMENT)
def _day_of(series: Slot, since: Slot, until: Slot) -> QuerySet[Reading, tuple[datetime, float]]:
    rows = Reading.objects.filter(series=series, at__gte=since, at__lte=until)
    return rows.order_by("at", "pk").values_list("at", "value")


def judge_speed(
    tank: Tank, value: ReadingValue | None, band: Band, at: datetime, mixing: Mixing = MIXED
) -> None:
    """Whether what an instrument shows moved faster over a day than is safe, scatter taken off, and nobody did it on purpose: a change of water or
    a dose by hand in that time explains it."""
    key = f"speed:{tank.pk}:{band.parameter}"
    found = None
    if (
        value is not None
        and value.equipment_id is not None
        and (band.max_rise_per_day or band.max_fall_per_day)
    ):
        day = list(_day_of(series=value.series_id, since=value.at - A_DAY, until=value.at))
        rows = _of_mixed_water(day, value, mixing)
        found = pace([((moment - value.at).total_seconds() / 3600, number) for moment, number in rows])
    safe = (band.max_rise_per_day if found and found.moved > 0 else band.max_fall_per_day) or 0.0
    if (
        found is None
        or value is None
        or not safe
        or abs(found.sure_per_day) <= safe
        or _explained(tank, value)
    ):
        clear_attention(key=key, at=at)
        return
    _say_speed(tank, value, band, found, safe)


def _say_speed(tank: Tank, value: ReadingValue, band: Band, found: Pace, safe: float) -> None:
    rose = _("%(name)s rose by %(moved)s in %(hours)s hours; %(safe)s a day is safe.")
    fell = _("%(name)s fell by %(moved)s in %(hours)s hours; %(safe)s a day is safe.")
    unit = units.unit_word(band.unit)
    raise_attention(
        key=f"speed:{tank.pk}:{band.parameter}",
        at=value.at,
        kind=AttentionKind.SPEED,
        severity=Severity.WATCH,
        tank=tank,
        site=tank.site,
        parameter=band.parameter,
        word="check",
        sentence=(rose if found.moved > 0 else fell)
        % {
            "name": units.parameter(band.parameter).name,
            "moved": f"{_span(band, abs(found.moved))} {unit}".strip(),
            "hours": f"{found.hours:.0f}",
            "safe": f"{_span(band, safe)} {unit}".strip(),
        },
        why=_("Nobody changed water or dosed by hand meanwhile."),
    )


def _span(band: Band, span: float) -> str:
    """A difference in the unit in which the tank is read."""
    factor, _offset = units.factor_of(parameter=band.parameter, unit=band.unit)
    return f"{span / factor:.{units.decimals_in(parameter=band.parameter, unit=band.unit)}f}"


def _explained(tank: Tank, value: ReadingValue) -> bool:
    since = value.at - A_DAY
    changed = any(change.at <= value.at for change in water_changes_of(tank, since))
    return (
        changed
        or standing(
            Dose.objects.filter(
                tank=tank,
                kind=DoseKind.BY_HAND,
                solution__parameter=value.parameter,
                at__gte=since,
                at__lte=value.at,
            )
        ).exists()
    )
