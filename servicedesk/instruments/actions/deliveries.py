"""Taking in what an instrument sends, by whichever door: kept as it came; each value stored, each sign and each commanded dose a fact,
and what cannot be held apart with its reason."""

import hashlib
import uuid
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from servicedesk.instruments.actions.relaying import Body, take_relayed
from servicedesk.instruments.actions.taking import Taking
from servicedesk.instruments.adapters import plain, senml, table
from servicedesk.instruments.adapters.records import NotRead, Record
from servicedesk.instruments.choices import DISPLAY, READ_BY_EYE, DeliveryState, SignKind
from servicedesk.instruments.models import Delivery, Instrument, Procedure, Sign
from servicedesk.water import actions as water
from servicedesk.web.prepared import KEY, WORD, Slot, prepared

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
LONGEST_KEPT = 4000
RETRY = timedelta(seconds=60)
"""A pack that tells no time counts as sent again only within this time (common practice); later it is news."""


@prepared(instrument=KEY)
def _locked(instrument: Slot) -> QuerySet[Instrument]:
    rows = Instrument.objects.select_for_update(of=("self",)).filter(pk=instrument)
    away = Procedure.objects.filter(instrument=OuterRef("pk"), away_to__isnull=False)
    return rows.select_related("equipment__source", "tank").annotate(was_away=Exists(away))


@prepared(instrument=KEY, sha256=WORD)
def _same(instrument: Slot, sha256: Slot) -> QuerySet[Delivery]:
    return Delivery.objects.filter(instrument=instrument, sha256=sha256)


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
    instrument: Instrument, records: Sequence[Record], body: bytes, kept: str, at: datetime, under: str
) -> tuple[Delivery | None, str]:
    """The delivery that the same body made before, and the hash that names it. Under another topic it is another."""
    dated = all(record.dated for record in records)
    named = body + f" {under}".encode() if under else body
    sha256 = hashlib.sha256(named if dated else named + f" {at.isoformat()}".encode()).hexdigest()
    if dated:
        return next(iter(_same(instrument=instrument.pk, sha256=sha256)), None), sha256
    rows = Delivery.objects.filter(instrument=instrument, received_at__gt=at - RETRY, received_at__lte=at)
    return rows.filter(body=kept, under=under).order_by("received_at", "pk").first(), sha256


def receive(
    *,
    instrument: Instrument,
    body: bytes,
    at: datetime,
    media_type: str = SENML,
    history: bool = False,
    kept: bool = False,
    under: str = "",
) -> tuple[Delivery | None, bool]:
    """Take one body of an instrument; the delivery and whether it is new. The same body again changes nothing and gives the first answer:
    for ever where it tells its times, else only soon after, since a steady tank is told in the same words each time. `history`: what is
    old is no news, and no reason for doubt. `kept`: somebody kept it for later, so that what tells no time of its own is of nobody knows
    when, and is left (None). `under`: of a relay, whom the topic it came under was for. A body that cannot be read raises (NotRead, ParseError)
    and stores nothing."""
    records = read(body, media_type=media_type, at=at)
    if kept and not all(record.dated for record in records):
        return None, False
    if under:
        records = [replace(record, instrument=record.instrument or under) for record in records]
    return take(
        instrument=instrument, records=records, body=body, at=at, media_type=media_type, history=history, under=under
    )  # fmt: skip


@transaction.atomic
def take(
    *,
    instrument: Instrument,
    records: Sequence[Record],
    body: bytes,
    at: datetime,
    media_type: str = SENML,
    history: bool = False,
    under: str = "",
) -> tuple[Delivery, bool]:
    """The same from records that were read already. What a relay sends is put to those who come through it."""
    kept = _kept(body, media_type)
    (instrument,) = _locked(instrument=instrument.pk)
    before, sha256 = _known(instrument, records, body, kept, at, under)
    if before is not None:
        return before, False
    if instrument.relays:
        whole = Body(sha256, media_type, kept, under)
        return take_relayed(relay=instrument, records=records, body=whole, at=at, history=history), True
    taking = Taking(instrument, uuid.uuid4(), at, history=history)
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
def refuse(
    *, instrument: Instrument, body: bytes, at: datetime, media_type: str, reason: str, under: str = ""
) -> Delivery:
    """Keep a body that could not be read, with its reason, where nobody can be answered; the same again is the same."""
    text = body[:LONGEST_KEPT].decode("utf-8", "backslashreplace").replace("\x00", "\\x00")
    row, _made = Delivery.objects.get_or_create(
        instrument=instrument,
        sha256=hashlib.sha256(body + under.encode()).hexdigest(),
        defaults={
            "under": under,
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
