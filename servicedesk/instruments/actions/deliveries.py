"""Taking in what an instrument sends: kept as it came, each record stored, or held apart with its reason."""

import hashlib
import uuid
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from servicedesk.instruments.adapters.senml import Record, parse
from servicedesk.instruments.choices import DeliveryState
from servicedesk.instruments.models import Delivery, Instrument, Measure
from servicedesk.water import actions as water
from servicedesk.water.choices import Flag
from servicedesk.water.models import HeldReading

MEDIA_TYPE = "application/senml+json"
FUTURE = timedelta(minutes=5)
PAST = timedelta(days=90)
RETRY = timedelta(seconds=60)
"""A pack that tells no time counts as sent again only within this time (common practice); later it is news."""


class _Taking:
    """One delivery being taken: which measure a record belongs to, and what becomes of it."""

    def __init__(self, instrument: Instrument, origin: uuid.UUID, at: datetime) -> None:
        self.instrument, self.origin, self.at = instrument, origin, at
        rows = instrument.measures.select_related("method")
        self.measures = {measure.sent_name: measure for measure in rows}
        self.source = water.source_of(instrument.equipment)
        self.stored: list[int] = []
        self.already: list[int] = []
        self.held: list[dict[str, Any]] = []

    def hold(self, record: Record, reason: str, parameter: str = "") -> None:
        HeldReading.objects.get_or_create(
            origin=self.origin,
            part=record.index,
            defaults={
                "tank": self.instrument.tank,
                "equipment": self.instrument.equipment,
                "parameter": parameter,
                "at": record.at,
                "entered": "" if record.value is None else f"{record.value:g}"[:40],
                "entered_unit": record.unit[:20],
                "reason": reason[:200],
                "received_at": self.at,
            },
        )
        self.held.append({"index": record.index, "reason": reason})

    def _measure(self, record: Record) -> Measure | None:
        known = self.measures.get(record.name)
        return known or self.measures.get(record.name.rsplit("/", 1)[-1].rsplit(":", 1)[-1])

    def take(self, record: Record) -> None:
        if record.wrong or record.value is None or record.at is None:
            return self.hold(record, record.wrong)
        measure = self._measure(record)
        if measure is None:
            return self.hold(record, f"“{record.name}” is not something this instrument measures.")
        if record.unit and record.unit != measure.unit:
            reason = f"It came in “{record.unit}”; this instrument was registered with “{measure.unit}”."
            return self.hold(record, reason, measure.parameter)
        doubtful = record.at > self.at + FUTURE or record.at < self.at - PAST
        try:
            row = water.record_reading(
                tank=self.instrument.tank,
                parameter=measure.parameter,
                method=measure.method,
                source=self.source,
                at=record.at,
                entered=f"{record.value:.9f}".rstrip("0").rstrip("."),
                unit=measure.unit,
                by=None,
                origin=self.origin,
                part=record.index,
                received_at=self.at,
                flags=Flag.TIME_DOUBTFUL if doubtful else 0,
            )
        except water.NotWater as wrong:
            return self.hold(record, str(wrong), measure.parameter)
        if isinstance(row, HeldReading):
            self.held.append({"index": record.index, "reason": row.reason})
        elif row.origin == self.origin:
            self.stored.append(record.index)
        else:
            self.already.append(record.index)
        return None


@transaction.atomic
def receive(
    *, instrument: Instrument, body: bytes, at: datetime, media_type: str = MEDIA_TYPE
) -> tuple[Delivery, bool]:
    """Take one SenML pack of an instrument; the delivery and whether it is new. The same body again changes nothing
    and gives the first answer: for ever where the pack tells its times, else only soon after, since a steady tank is
    told in the same words each time. A body that is no pack raises (NotSenML, ParseError) and stores nothing."""
    records = parse(body, received_at=at)
    dated = all(record.dated for record in records)
    sha256 = hashlib.sha256(body if dated else body + f" {at.isoformat()}".encode()).hexdigest()
    instrument = Instrument.objects.select_for_update().get(pk=instrument.pk)
    known = Delivery.objects.filter(instrument=instrument)
    same = known.filter(sha256=sha256)
    if not dated:
        same = known.filter(received_at__gt=at - RETRY, received_at__lte=at, body=body.decode("utf-8"))
    before = same.order_by("received_at", "pk").first()
    if before is not None:
        return before, False
    taking = _Taking(instrument, uuid.uuid4(), at)
    for record in records:
        taking.take(record)
    delivery = Delivery.objects.create(
        id=taking.origin,
        instrument=instrument,
        sha256=sha256,
        media_type=media_type,
        body=body.decode("utf-8"),
        received_at=at,
        state=DeliveryState.TAKEN,
        stored=len(taking.stored),
        held=len(taking.held),
        answer={"stored": len(taking.stored), "already": len(taking.already), "held": taking.held},
    )
    if taking.stored or taking.already:
        Instrument.objects.filter(pk=instrument.pk).update(last_contact_at=at)
    return delivery, True
