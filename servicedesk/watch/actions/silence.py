"""Instruments that nobody hears, each by its own habit; those that are heard and say nothing that can be used."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Max, Q
from django.utils.translation import gettext as _

from servicedesk.core.tracking.habit import longest_silence
from servicedesk.core.tracking.relayed import relay_late_after
from servicedesk.instruments.choices import DISPLAY, READ_BY_EYE, Reports
from servicedesk.instruments.models import Delivery, Instrument
from servicedesk.instruments.queries import (
    bottles_left,
    held_while_looked_at,
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
ANEW_MINUTES = 10
"""What stands open and has nothing new is brought up to date in every tenth minute: a fleet that is silent as a whole costs little to look at."""

BY_EYE = Q(instrument__reports_by__in=READ_BY_EYE) | ~Q(media_type=DISPLAY)
"""What came by an instrument's own way: what a person read off the display of one that has a line says nothing about the line."""


def learn_habits(*, at: datetime) -> int:
    """Learn of every instrument how long it is usually silent, from its last deliveries; how many changed. Its tank is judged whole once
    more: what was taken back, or hangs on the day, is then seen too."""
    changed = 0
    for instrument in instruments_in_use():
        water.touch(tank=instrument.tank, at=at - JUDGED_ANEW)
        came = list(
            Delivery.objects.filter(BY_EYE, instrument=instrument, stored__gt=0, received_at__lte=at)
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
    raised stays silent, whatever became of its habit meanwhile. A relay that is silent is one row: what comes through it has none of its own
    meanwhile. After a pause of our own each has its usual time from then on; what stood open stays. Several watchers may look at once: each
    instrument is held by one of them."""
    standing = Attention.objects.filter(
        kind__in=(AttentionKind.SILENT, AttentionKind.USELESS), cleared_at__isnull=True
    )
    held = held_while_looked_at(
        at=at, also=standing.filter(instrument__isnull=False).values_list("instrument", flat=True)
    )
    known = dict(standing.values_list("key", "changed_at"))
    awake = Awake.objects.filter(at__lte=at).order_by("-at").values_list("at", flat=True).first()
    look = _Look(at, known, awake, _heard(held, at), _hanging(held))
    held.sort(key=lambda one: one.through_id is not None)  # relays before what hangs on them
    silent = [instrument.pk for instrument in held if look.judge(instrument)]
    _clear_those_out_of_use(held, known, at)
    return silent


def _hanging(held: list[Instrument]) -> dict[UUID | None, list[Instrument]]:
    """What comes through each relay among these."""
    relays, found = [one.pk for one in held if one.relays], defaultdict(list)
    for one in [one for one in instruments_in_use() if one.through_id in relays] if relays else []:
        found[one.through_id].append(one)
    return found


def _late(instrument: Instrument, some: list[Instrument], at: datetime) -> timedelta:
    """After how long it is silent; a relay also where several that hang on it are."""
    others = [
        (None if (last := one.last_contact_at) is None else (at - last).total_seconds() / A_MINUTE, late_after(one))
        for one in some
    ]  # fmt: skip
    return timedelta(minutes=relay_late_after(late_min=late_after(instrument), others=others))


@dataclass
class _Look:
    """One look at all that may be silent: rows that stand open with when they changed, when we ourselves woke, when each was heard last, what hangs on
    each relay, which relays turned out to be gone."""

    at: datetime
    known: dict[str, datetime | None]
    awake: datetime | None
    heard: dict[UUID, datetime]
    hanging: dict[UUID | None, list[Instrument]]
    gone: set[UUID] = field(default_factory=set)

    def judge(self, instrument: Instrument) -> bool:
        """One instrument; whether it is silent."""
        some = self.hanging[instrument.pk]
        last, late = instrument.last_contact_at, _late(instrument, some, self.at)
        if instrument.through_id in self.gone:
            self._clear(instrument, always=True)
            return False
        if instrument.reports_by == Reports.MANUAL or last is None or self.at - last <= late:
            self._clear(instrument, always=False)
            return False
        if self.awake is not None and self.at - self.awake <= late:
            return False  # we did not hear ourselves: it gets its time from there
        self.gone.add(instrument.pk)
        return self._judge_silent(instrument, some, last, late)

    def _clear(self, instrument: Instrument, *, always: bool) -> None:
        """What stands open of it, where it spoke since."""
        spoke = instrument.last_contact_at
        for key in {f"silent:{instrument.pk}", f"useless:{instrument.pk}"} & set(self.known):
            raised = self.known[key]
            if always or spoke is None or raised is None or spoke >= raised:
                clear_attention(key=key, at=self.at)

    def _judge_silent(
        self, instrument: Instrument, some: list[Instrument], last: datetime, late: timedelta
    ) -> bool:
        """Say that it is silent, or alive and useless; whether the first."""
        silent, useless = f"silent:{instrument.pk}", f"useless:{instrument.pk}"
        heard = self.heard.get(instrument.pk)
        if heard is not None and heard > self.at - late:
            if silent in self.known:
                clear_attention(key=silent, at=self.at)
            _say_useless(instrument, some, last, late)
            return False
        if useless in self.known:
            clear_attention(key=useless, at=self.at)
        raised = self.known.get(silent)
        if raised is None or last >= raised or self.at.minute % ANEW_MINUTES == 0:
            _say_silent(instrument, some, last, late)
        return True


def _clear_those_out_of_use(held: list[Instrument], known: dict[str, datetime | None], at: datetime) -> None:
    """Of an instrument that was taken out of use nothing is expected any more."""
    there = {str(instrument.pk) for instrument in held}
    for key in known:
        if key.partition(":")[2] not in there:
            clear_attention(key=key, at=at)


def _heard(instruments: list[Instrument], at: datetime) -> dict[UUID, datetime]:
    """When each of these last sent anything at all, usable or not, as far back as counts. Of what a relay sends for one, what is no value of its own
    is only the relay's word."""
    longest = max((late_after(instrument) for instrument in instruments), default=0)
    own = Q(instrument__through__isnull=True) | Q(held__gt=0)
    rows = Delivery.objects.filter(
        BY_EYE, own, instrument__in=instruments, received_at__gt=at - timedelta(minutes=longest)
    )
    return dict(rows.order_by().values_list("instrument").annotate(last=Max("received_at")))


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
