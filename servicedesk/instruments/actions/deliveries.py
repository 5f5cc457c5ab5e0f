"""Taking in what an instrument sends, by whichever door: kept as it came; each value stored, each sign and each commanded dose a fact,
and what cannot be held apart with its reason."""

import hashlib
import uuid
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet

from servicedesk.core.units import PARAMETERS
from servicedesk.dosing import actions as dosing
from servicedesk.dosing.choices import DoseKind
from servicedesk.instruments.actions.calibrating import AWAY
from servicedesk.instruments.adapters import plain, senml, table
from servicedesk.instruments.adapters.records import NotRead, Record
from servicedesk.instruments.choices import DISPLAY, READ_BY_EYE, DeliveryState, SignKind
from servicedesk.instruments.models import Delivery, Instrument, Measure, Procedure, SentDose, SentSign, Sign
from servicedesk.instruments.queries.displays import shown_unit
from servicedesk.water import actions as water
from servicedesk.water.choices import Flag
from servicedesk.water.models import Source
from servicedesk.web.prepared import KEY, MOMENT, WORD, Slot, prepared

SENML, SENML_CBOR, PLAIN, TABLE = (
    "application/senml+json",
    "application/senml+cbor",
    "application/json",
    "text/csv",
)
READERS: dict[str, Callable[..., list[Record]]] = {
    SENML: senml.parse,
    SENML_CBOR: senml.parse_cbor,
    PLAIN: plain.parse,
    TABLE: table.parse,
}
FUTURE = timedelta(minutes=5)
PAST = timedelta(days=90)
LONGEST_KEPT = 4000
EVER = datetime(1900, 1, 1, tzinfo=UTC)
RETRY = timedelta(seconds=60)
"""A pack that tells no time counts as sent again only within this time (common practice); later it is news."""
USUAL_SIGNS = {kind.value: kind.value for kind in SignKind} | {"status": SignKind.ERROR.value}
"""What a sign means by its name where nobody wrote that down for the instrument."""


def _last(name: str) -> str:
    """The last part of a name: of "tank/alk" and "urn:dev:mac:1:alk" it is "alk"."""
    return name.rsplit("/", 1)[-1].rsplit(":", 1)[-1]


DOUBTFUL = int(Flag.TIME_DOUBTFUL)


@prepared(instrument=KEY)
def _locked(instrument: Slot) -> QuerySet[Instrument]:
    rows = Instrument.objects.select_for_update(of=("self",)).filter(pk=instrument)
    return rows.select_related("equipment__source", "tank")


@prepared(instrument=KEY, sha256=WORD)
def _same(instrument: Slot, sha256: Slot) -> QuerySet[Delivery]:
    return Delivery.objects.filter(instrument=instrument, sha256=sha256)


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


class _Taking:
    """One delivery being taken: which measure a record belongs to, and what becomes of it."""

    def __init__(self, instrument: Instrument, origin: uuid.UUID, at: datetime, *, history: bool) -> None:
        self.instrument, self.origin, self.at = instrument, origin, at
        self.newest, self.oldest = at + FUTURE, EVER if history else at - PAST
        self.measures = {m.sent_name: m for m in _measures(instrument=instrument.pk)}
        known = getattr(instrument.equipment, "source", None)
        self.source: Source = known or water.source_of(instrument.equipment)
        self.away = _away(instrument=instrument.pk, since=at - PAST)
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

    def take(self, record: Record) -> None:
        name, at, value = record.name, record.at, record.value
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


def read(body: bytes, *, media_type: str, at: datetime) -> list[Record]:
    """The records of a body. Raises NotRead, or ParseError, in words."""
    reader = READERS.get(media_type)
    if reader is None:
        raise NotRead(f"“{media_type}” is not read here. It reads {', '.join(READERS)}.")
    return reader(body, received_at=at)


def _kept(body: bytes, media_type: str) -> str:
    """A body as it is kept: text, or the hexadecimal digits of what is none."""
    return body.hex() if media_type == SENML_CBOR else body.decode("utf-8-sig")


def _known(
    instrument: Instrument, records: Sequence[Record], body: bytes, kept: str, at: datetime
) -> tuple[Delivery | None, str]:
    """The delivery that the same body made before, and the hash that names it."""
    dated = all(record.dated for record in records)
    sha256 = hashlib.sha256(body if dated else body + f" {at.isoformat()}".encode()).hexdigest()
    if dated:
        return next(iter(_same(instrument=instrument.pk, sha256=sha256)), None), sha256
    rows = Delivery.objects.filter(instrument=instrument, received_at__gt=at - RETRY, received_at__lte=at)
    return rows.filter(body=kept).order_by("received_at", "pk").first(), sha256


@transaction.atomic
def receive(
    *,
    instrument: Instrument,
    body: bytes,
    at: datetime,
    media_type: str = SENML,
    history: bool = False,
    kept: bool = False,
) -> tuple[Delivery | None, bool]:
    """Take one body of an instrument; the delivery and whether it is new. The same body again changes nothing and gives the first answer:
    for ever where it tells its times, else only soon after, since a steady tank is told in the same words each time. `history`: what is
    old is no news, and no reason for doubt. `kept`: somebody kept it for later, so that what tells no time of its own is of nobody knows
    when, and is left (None). A body that cannot be read raises (NotRead, ParseError) and stores nothing."""
    records = read(body, media_type=media_type, at=at)
    if kept and not all(record.dated for record in records):
        return None, False
    return take(
        instrument=instrument, records=records, body=body, at=at, media_type=media_type, history=history
    )


@transaction.atomic
def take(
    *,
    instrument: Instrument,
    records: Sequence[Record],
    body: bytes,
    at: datetime,
    media_type: str = SENML,
    history: bool = False,
) -> tuple[Delivery, bool]:
    """The same from records that were read already."""
    kept = _kept(body, media_type)
    (instrument,) = _locked(instrument=instrument.pk)
    before, sha256 = _known(instrument, records, body, kept, at)
    if before is not None:
        return before, False
    taking = _Taking(instrument, uuid.uuid4(), at, history=history)
    for record in records:
        taking.take(record)
    answer = taking.store()
    delivery = Delivery.objects.create(
        id=taking.origin,
        instrument=instrument,
        sha256=sha256,
        media_type=media_type,
        body=kept,
        received_at=at,
        state=DeliveryState.TAKEN,
        stored=answer["stored"],
        held=len(answer["held"]),
        answer=answer,
    )
    if answer["stored"] or answer["already"] or taking.signed or taking.dosed:
        _hear(instrument, records, at, by_line=media_type != DISPLAY)
    return delivery, True


def _hear(instrument: Instrument, records: Sequence[Record], at: datetime, *, by_line: bool) -> None:
    """It was heard of now. What a person read off its display tells of when that was, and nothing of a line that it has."""
    rows = Instrument.objects.filter(pk=instrument.pk)
    if by_line:
        rows.update(last_contact_at=at)
    elif instrument.reports_by in READ_BY_EYE:
        seen = max(record.at for record in records if record.at is not None)
        rows.filter(Q(last_contact_at__isnull=True) | Q(last_contact_at__lt=seen)).update(
            last_contact_at=seen
        )


@transaction.atomic
def refuse(*, instrument: Instrument, body: bytes, at: datetime, media_type: str, reason: str) -> Delivery:
    """Keep a body that could not be read, with its reason, where nobody can be answered; the same again is the same."""
    text = body[:LONGEST_KEPT].decode("utf-8", "backslashreplace").replace("\x00", "\\x00")
    row, _made = Delivery.objects.get_or_create(
        instrument=instrument,
        sha256=hashlib.sha256(body).hexdigest(),
        defaults={
            "media_type": media_type[:60],
            "body": text,
            "received_at": at,
            "state": DeliveryState.REFUSED,
            "held": 1,
            "answer": {"refused": reason[:300]},
        },
    )
    return row


@transaction.atomic
def sign_of_life(*, instrument: Instrument, alive: bool, at: datetime) -> Sign:
    """Its line is there, or was lost: as its last will says. Being there is no value: silence counts from what it measured."""
    sign = Sign.objects.create(
        instrument=instrument,
        at=at,
        kind=SignKind.LINE_LOST,
        on=not alive,
        text="online" if alive else "offline",
        origin=uuid.uuid4(),
        received_at=at,
    )
    water.touch(tank=instrument.tank, at=at)
    return sign
