"""Instruments that nobody hears, each by its own habit; those that are heard and say nothing that can be used."""

from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from servicedesk.core.tracking.habit import longest_silence
from servicedesk.instruments.models import Delivery, Instrument
from servicedesk.instruments.queries import (
    bottles_left,
    held_while_looked_at,
    instruments_in_use,
    late_after,
    measures_of,
    silent_since,
)
from servicedesk.watch.actions.rows import clear_attention, local, raise_attention
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.models import Attention, Awake
from servicedesk.watch.queries import silence_harms_at
from servicedesk.water import actions as water

KEPT_GAPS = 400
JUDGED_ANEW = timedelta(days=60)
A_MINUTE = 60.0
ANEW_MINUTES = 10
"""What stands open and has nothing new is brought up to date in every tenth minute: a fleet that is silent as a whole costs little to look at."""


def learn_habits(*, at: datetime) -> int:
    """Learn of every instrument how long it is usually silent, from its last deliveries; how many changed. Its tank is judged whole once
    more: what was taken back, or hangs on the day, is then seen too."""
    changed = 0
    for instrument in instruments_in_use():
        water.touch(tank=instrument.tank, at=at - JUDGED_ANEW)
        came = list(
            Delivery.objects.filter(instrument=instrument, stored__gt=0, received_at__lte=at)
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
    """Raise one row per instrument that is later than is usual for it, clear those that spoke again: one that has not spoken since its row was
    raised stays silent, whatever became of its habit meanwhile. After a pause of our own each has its usual time from then on; what stood open
    stays. Several watchers may look at once: each instrument is held by one of them."""
    standing = Attention.objects.filter(
        kind__in=(AttentionKind.SILENT, AttentionKind.USELESS), cleared_at__isnull=True
    )
    held = held_while_looked_at(
        at=at, also=standing.filter(instrument__isnull=False).values_list("instrument", flat=True)
    )
    known = dict(standing.values_list("key", "changed_at"))
    awake = Awake.objects.filter(at__lte=at).order_by("-at").values_list("at", flat=True).first()
    heard = _heard(held, at)
    silent = [i.pk for i in held if _judge(i, at, known, awake, heard.get(i.pk))]
    _clear_those_out_of_use(held, known, at)
    return silent


def _judge(
    instrument: Instrument,
    at: datetime,
    known: dict[str, datetime | None],
    awake: datetime | None,
    heard: datetime | None,
) -> bool:
    """One instrument; whether it is silent."""
    silent, useless = f"silent:{instrument.pk}", f"useless:{instrument.pk}"
    last, late = silent_since(instrument, at), timedelta(minutes=late_after(instrument))
    if last is None:
        spoke = instrument.last_contact_at
        for key in {silent, useless} & set(known):
            raised = known[key]
            if spoke is None or raised is None or spoke >= raised:
                clear_attention(key=key, at=at)
        return False
    if awake is not None and at - awake <= late:
        return False  # we did not hear ourselves: it gets its time from there
    if heard is not None and heard > at - late:
        if silent in known:
            clear_attention(key=silent, at=at)
        _say_useless(instrument, last, late)
        return False
    if useless in known:
        clear_attention(key=useless, at=at)
    raised = known.get(silent)
    if raised is None or last >= raised or at.minute % ANEW_MINUTES == 0:
        _say_silent(instrument, last, late)
    return True


def _clear_those_out_of_use(held: list[Instrument], known: dict[str, datetime | None], at: datetime) -> None:
    """Of an instrument that was taken out of use nothing is expected any more."""
    there = {str(instrument.pk) for instrument in held}
    for key in known:
        if key.partition(":")[2] not in there:
            clear_attention(key=key, at=at)


def _heard(instruments: list[Instrument], at: datetime) -> dict[UUID, datetime]:
    """When each of these last sent anything at all, usable or not, as far back as counts."""
    longest = max((late_after(instrument) for instrument in instruments), default=0)
    rows = Delivery.objects.filter(
        instrument__in=instruments, received_at__gt=at - timedelta(minutes=longest)
    )
    return dict(rows.order_by().values_list("instrument").annotate(last=Max("received_at")))


def _say_useless(instrument: Instrument, last: datetime, late: timedelta) -> None:
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
        harm_at=silence_harms_at(instrument, last),
        why=_("What it sends is held apart: look there why."),
    )


def _say_silent(instrument: Instrument, last: datetime, late: timedelta) -> None:
    empty = _no_reagent(instrument, last)
    words = (
        _("%(device)s is silent since %(when)s: by its schedule its %(bottle)s is used up.")
        if empty
        else _("%(device)s is silent since %(when)s. Power or line first.")
    )
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
        harm_at=silence_harms_at(instrument, last),
        why=_("It reports every %(interval)s minutes; that it was silent for %(late)s was not usual.")
        % {"interval": instrument.interval_minutes, "late": _hours(late)},
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
