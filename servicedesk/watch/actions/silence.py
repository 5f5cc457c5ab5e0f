"""Instruments that nobody hears, each by its own habit; those that are heard and say nothing that can be used."""

from collections import defaultdict
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from servicedesk.core.tracking.habit import longest_silence
from servicedesk.core.tracking.relayed import relay_late_after
from servicedesk.instruments.choices import DISPLAY, READ_BY_EYE, Reports
from servicedesk.instruments.models import Delivery, Instrument
from servicedesk.instruments.queries import (
    bottles_left,
    instruments_in_use,
    late_after,
    measures_of,
)
from servicedesk.watch.actions.rows import clear_attention, local, raise_attention
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.models import Attention, Awake
from servicedesk.watch.queries import silence_harms_at
from servicedesk.water import actions as water

KEPT_GAPS = 400
JUDGED_ANEW = timedelta(days=60)
A_MINUTE = 60.0


def learn_habits(*, at: datetime) -> int:
    """Learn of every instrument how long it is usually silent, from its last deliveries; how many changed. Its tank is judged whole once
    more: what was taken back, or hangs on the day, is then seen too."""
    changed = 0
    for instrument in instruments_in_use():
        water.touch(tank=instrument.tank, at=at - JUDGED_ANEW)
        came = list(
            _by_line(instrument)
            .filter(stored__gt=0, received_at__lte=at)
            .order_by("-received_at")
            .values_list("received_at", flat=True)[: KEPT_GAPS + 1]
        )
        gaps = [(new - old).total_seconds() / A_MINUTE for new, old in zip(came, came[1:], strict=False)]
        late = longest_silence(
            gaps=gaps, interval=max(1, instrument.interval_minutes), grace=instrument.grace_minutes
        )
        rows = Instrument.objects.filter(pk=instrument.pk).exclude(silent_after_minutes=round(late))
        changed += rows.update(silent_after_minutes=round(late))
    return changed


@transaction.atomic
def watch_silence(*, at: datetime) -> list[UUID]:
    """Raise one row per instrument that is later than is usual for it, clear those that spoke again. After a pause of our own each has its usual
    time from then on; what stood open stays. A relay that is silent is one row: what comes through it has none of its own meanwhile."""
    known = set(
        Attention.objects.filter(
            kind__in=(AttentionKind.SILENT, AttentionKind.USELESS), cleared_at__isnull=True
        ).values_list("key", flat=True)
    )
    awake = Awake.objects.filter(at__lte=at).order_by("-at").values_list("at", flat=True).first()
    fitted = instruments_in_use()
    hanging: dict[UUID | None, list[Instrument]] = defaultdict(list)
    for instrument in fitted:
        hanging[instrument.through_id].append(instrument)
    silent, gone = list[UUID](), set[UUID]()
    fitted.sort(key=lambda one: one.through_id is not None)  # relays before what hangs on them
    for instrument in fitted:
        some = hanging[instrument.pk]
        last, late = instrument.last_contact_at, _late(instrument, some, at)
        if last is not None and at - last > late and instrument.through_id not in gone:
            if awake is not None and at - awake <= late:
                continue  # we did not hear ourselves: it gets its time from there
            gone.add(instrument.pk)
            if not _judge_silent(instrument, some, last, late, at):
                silent.append(instrument.pk)
            continue
        for key in {f"silent:{instrument.pk}", f"useless:{instrument.pk}"} & known:
            clear_attention(key=key, at=at)
    return silent


def _late(instrument: Instrument, some: list[Instrument], at: datetime) -> timedelta:
    """After how long it is silent; a relay also where several that hang on it are."""
    others = [
        (None if (last := one.last_contact_at) is None else (at - last).total_seconds() / A_MINUTE, late_after(one))
        for one in some
    ]  # fmt: skip
    return timedelta(minutes=relay_late_after(late_min=late_after(instrument), others=others))


def _judge_silent(
    instrument: Instrument, some: list[Instrument], last: datetime, late: timedelta, at: datetime
) -> bool:
    """Say that it is silent, or alive and useless; whether the latter."""
    if _heard(instrument, at - late):
        clear_attention(key=f"silent:{instrument.pk}", at=at)
        _say_useless(instrument, some, last, late)
        return True
    clear_attention(key=f"useless:{instrument.pk}", at=at)
    _say_silent(instrument, some, last, late)
    return False


def _heard(instrument: Instrument, since: datetime) -> bool:
    """Whether it sent anything at all, usable or not. Of what a relay sends for one, what is no value of its own is only the relay's word."""
    rows = _by_line(instrument).filter(received_at__gt=since)
    return (rows if instrument.through_id is None else rows.filter(held__gt=0)).exists()


def _by_line(instrument: Instrument) -> QuerySet[Delivery]:
    """What came of it, without what a person read off the display of one that has a line: that says nothing about the line."""
    rows = Delivery.objects.filter(instrument=instrument)
    return rows if instrument.reports_by in READ_BY_EYE else rows.exclude(media_type=DISPLAY)


def _harms_at(instrument: Instrument, some: list[Instrument], last: datetime) -> datetime | None:
    """When animals may suffer unseen, by it or by what hangs on it."""
    times = [silence_harms_at(one, last) for one in (instrument, *some)]
    return min((time for time in times if time is not None), default=None)


def _say_useless(instrument: Instrument, some: list[Instrument], last: datetime, late: timedelta) -> None:
    raise_attention(
        key=f"useless:{instrument.pk}",
        at=last + late,
        kind=AttentionKind.USELESS,
        severity=Severity.SOON,
        tank=instrument.tank,
        site=instrument.tank.site,
        instrument=instrument,
        word="silent",
        sentence=_("%(device)s is alive and has sent nothing that can be used since %(when)s.")
        % {"device": instrument.equipment.name, "when": local(instrument.tank, last)},
        harm_at=_harms_at(instrument, some, last),
        why=_("What it sends is held apart: look there why."),
    )


def _say_silent(instrument: Instrument, some: list[Instrument], last: datetime, late: timedelta) -> None:
    empty = "" if some else _no_reagent(instrument, last)
    words = _("%(device)s is silent since %(when)s. Power or line first.")
    if empty:
        words = _("%(device)s is silent since %(when)s: by its schedule its %(bottle)s is used up.")
    elif instrument.reports_by == Reports.PHOTO:
        words = _("%(device)s was last read %(when)s. Somebody reads its display, or asks for a photo of it.")
    elif some:
        words = _(
            "The relay %(device)s is silent since %(when)s: what hangs on it cannot be heard. Power or line first."
        )
    why = _("It reports every %(interval)s minutes; that it was silent for %(late)s was not usual.")
    if some:
        why = _("Nothing came for %(late)s. Through it come %(names)s.")
    raise_attention(
        key=f"silent:{instrument.pk}",
        at=last + late,
        kind=AttentionKind.SILENT,
        severity=Severity.SOON,
        tank=instrument.tank,
        site=instrument.tank.site,
        instrument=instrument,
        word="no_reagent" if empty else "silent",
        sentence=words
        % {
            "device": instrument.equipment.name,
            "when": local(instrument.tank, last),
            "bottle": empty or "",
        },
        harm_at=_harms_at(instrument, some, last),
        why=(
            why
            % {
                "interval": instrument.interval_minutes,
                "late": _hours(late),
                "names": ", ".join(str(one) for one in some),
            }
        )[:400],
    )


def _hours(span: timedelta) -> str:
    hours = span.total_seconds() / 3600
    return (
        _("%(n)s hours") % {"n": f"{hours:.0f}"}
        if hours >= HOURS_FROM
        else _("%(n)s minutes") % {"n": f"{60 * hours:.0f}"}
    )


HOURS_FROM = 2


def _no_reagent(instrument: Instrument, last: datetime) -> str:
    """The bottle that was used up when it fell silent, by its schedule; "" where none was."""
    left = bottles_left(measures_of([instrument.tank]), last)
    empty = [
        measure
        for measure, tests in left
        if measure.instrument_id == instrument.pk and tests < max(1.0, measure.tests_per_day)
    ]
    return str(empty[0].reagent or _("reagent")) if empty else ""
