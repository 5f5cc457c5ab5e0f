"""One instrument's share of a delivery: which measure a record belongs to, each value stored, each sign and each commanded dose a fact, and
what cannot be held apart with its reason."""

import uuid
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Any

from django.db.models import QuerySet

from servicedesk.core.units import PARAMETERS
from servicedesk.dosing import actions as dosing
from servicedesk.dosing.choices import DoseKind
from servicedesk.instruments.actions.calibrating import AWAY
from servicedesk.instruments.adapters.records import Record
from servicedesk.instruments.choices import SignKind
from servicedesk.instruments.models import Instrument, Measure, Procedure, SentDose, SentSign, Sign
from servicedesk.instruments.queries.displays import shown_unit
from servicedesk.water import actions as water
from servicedesk.water.choices import Flag
from servicedesk.water.models import Source
from servicedesk.web.prepared import KEY, MOMENT, Slot, prepared

FUTURE = timedelta(minutes=5)
PAST = timedelta(days=90)
EVER = datetime(1900, 1, 1, tzinfo=UTC)
USUAL_SIGNS = {kind.value: kind.value for kind in SignKind} | {"status": SignKind.ERROR.value}
"""What a sign means by its name where nobody wrote that down for the instrument."""


def _last(name: str) -> str:
    """The last part of a name: of "tank/alk" and "urn:dev:mac:1:alk" it is "alk"."""
    return name.rsplit("/", 1)[-1].rsplit(":", 1)[-1]


DOUBTFUL, LINES = int(Flag.TIME_DOUBTFUL), (SignKind.LINE_LOST, SignKind.ALIVE)


@prepared(instrument=KEY)
def _measures(instrument: Slot) -> QuerySet[Measure]:
    return Measure.objects.filter(instrument=instrument).select_related("method")


@prepared(instrument=KEY)
def _sent_doses(instrument: Slot) -> QuerySet[SentDose]:
    return SentDose.objects.filter(instrument=instrument).select_related("channel__solution")


@prepared(instrument=KEY)
def _sent_signs(instrument: Slot) -> QuerySet[SentSign, tuple[Any, ...]]:
    return SentSign.objects.filter(instrument=instrument).values_list("sent_name", "kind")


@prepared(instrument=KEY, since=MOMENT)
def _away(instrument: Slot, since: Slot) -> QuerySet[Procedure, tuple[Any, ...]]:
    """When what was sensed was a standard and not the tank's water."""
    rows = Procedure.objects.filter(instrument=instrument, measure__isnull=False, away_to__gte=since)
    return rows.order_by("pk").values_list("measure", "away_from", "away_to")


def _turned(measure: Measure, volts: float) -> float:
    """What a line's volts mean, by its two calibrated points."""
    v0, v1, y0, y1 = (
        float(getattr(measure, name) or 0.0)
        for name in ("low_volts", "high_volts", "low_value", "high_value")
    )
    return y0 + (volts - v0) * (y1 - y0) / (v1 - v0)


class Taking:
    """One instrument's records being taken: which measure each belongs to, and what becomes of it."""

    def __init__(self, instrument: Instrument, origin: uuid.UUID, at: datetime, *, history: bool) -> None:
        self.instrument, self.origin, self.at = instrument, origin, at
        self.newest, self.oldest = at + FUTURE, EVER if history else at - PAST
        self.measures = {m.sent_name: m for m in _measures(instrument=instrument.pk)}
        known = getattr(instrument.equipment, "source", None)
        self.source: Source = known or water.source_of(instrument.equipment)
        was_away = getattr(instrument, "was_away", True)  # told by whoever locked the row; else asked
        self.away = _away(instrument=instrument.pk, since=at - PAST) if was_away else []
        self.incoming: list[water.Incoming] = []
        self.apart: list[water.Apart] = []
        self.signed: list[Sign] = []
        self.dosed = 0

    @cached_property
    def doses(self) -> dict[str, SentDose]:
        return {d.sent_name: d for d in _sent_doses(instrument=self.instrument.pk)}

    @cached_property
    def signs(self) -> dict[str, str]:
        return USUAL_SIGNS | dict(_sent_signs(instrument=self.instrument.pk))

    def hold(self, record: Record, reason: str, parameter: str = "") -> None:
        entered = "" if record.value is None else f"{record.value:g}"
        self.apart.append(water.Apart(record.index, parameter, record.at, entered, record.unit, reason))

    def _doubtful(self, at: datetime) -> bool:
        return not self.oldest <= at <= self.newest

    def knows(self, name: str) -> bool:
        """Whether it sends anything under just this name."""
        return name in self.measures or name in self.doses or name in self.signs

    def spoke(self, answer: dict[str, Any]) -> bool:
        """Whether something new of its own came; that its line is there or lost is none."""
        return bool(answer["stored"] or self.dosed or any(sign.kind not in LINES for sign in self.signed))

    def _another(self, record: Record) -> bool:
        """Whether a record names an instrument, and that is not this one."""
        mine = {self.instrument.mqtt_name.lower(), self.instrument.equipment.name.lower()}
        return record.instrument.lower() not in mine

    def take(self, record: Record) -> None:
        name, at, value = record.name, record.at, record.value
        if record.instrument and self._another(record):
            return self.hold(record, f"It names “{record.instrument}”, and this instrument relays nothing.")
        if value is None or at is None:
            if record.says is not None and at is not None:
                return self._sign(record, at, record.says)
            return self.hold(record, record.wrong)
        measure = self.measures.get(name) or self.measures.get(_last(name))
        if measure is None:
            dose = self.doses.get(name) or self.doses.get(_last(name))
            if dose is not None:
                return self._dose(record, dose.channel, value, at)
            return self.hold(record, f"“{name}” is not something this instrument measures.")
        unit = shown_unit(measure) if record.shown else measure.unit
        if record.unit and record.unit != unit:
            reason = f"It came in “{record.unit}”; this instrument was registered with “{unit}”."
            return self.hold(record, reason, measure.parameter)
        if any(key == measure.pk and first <= at <= last for key, first, last in self.away):
            return self.hold(record, AWAY, measure.parameter)
        if measure.low_volts is not None and not record.shown:
            value, unit = _turned(measure, value), PARAMETERS[measure.parameter].unit
        flags = 0 if self.oldest <= at <= self.newest else DOUBTFUL
        self.incoming.append(
            water.Incoming(record.index, measure.parameter, measure.method, at, value, unit, flags)
        )
        return None

    def _sign(self, record: Record, at: datetime, says: str) -> None:
        kind = self.signs.get(record.name) or self.signs.get(_last(record.name))
        if kind is None:
            return self.hold(record, f"“{record.name}” is not something this instrument says of itself.")
        if self._doubtful(at):
            return self.hold(record, "The time of what it says of itself cannot be.")
        self.signed.append(
            Sign(
                instrument=self.instrument,
                at=at,
                kind=kind,
                on=record.on,
                text=says[:100],
                origin=self.origin,
                part=record.index,
                received_at=self.at,
            )
        )
        return None

    def _dose(self, record: Record, channel: Any, ml: float, at: datetime) -> None:
        """What it commanded a pump to give: a fact of the pump's room. Nothing given is no news."""
        if record.unit not in ("", "mL", "ml"):
            return self.hold(record, f"What was dosed came in “{record.unit}”; it is told in mL.")
        if self._doubtful(at):
            return self.hold(record, "The time of a dose cannot be.")
        if ml == 0:
            self.dosed += 1
            return None
        try:
            dosing.record_dose(
                tank=self.instrument.tank,
                solution=channel.solution,
                ml=ml,
                at=at,
                by=None,
                origin=self.origin,
                part=record.index,
                received_at=self.at,
                channel=channel,
                kind=DoseKind.COMMANDED,
            )
        except dosing.NotDosed as wrong:
            return self.hold(record, str(wrong))
        self.dosed += 1
        return None

    def store(self) -> dict[str, Any]:
        """Write what was sorted; the answer."""
        tank, origin, at = self.instrument.tank, self.origin, self.at
        if self.apart:
            water.hold_apart(tank=tank, source=self.source, rows=self.apart, origin=origin, received_at=at)
        taken = water.Taken()
        if self.incoming:
            taken = water.take_in(
                tank=tank, source=self.source, rows=self.incoming, origin=origin, received_at=at
            )
        if self.signed:
            Sign.objects.bulk_create(self.signed)
            water.touch(tank=tank, at=min(sign.at for sign in self.signed))
        held = sorted([*((a.part, a.reason) for a in self.apart), *taken.held])
        answer: dict[str, Any] = {
            "stored": len(taken.stored),
            "already": len(taken.already),
            "held": [{"index": index, "reason": reason} for index, reason in held],
        }
        if self.signed:
            answer["signs"] = len(self.signed)
        if self.dosed:
            answer["doses"] = self.dosed
        return answer
