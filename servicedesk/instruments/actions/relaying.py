"""A relay's delivery: each value goes to the instrument that it names, at whose tank it is stored; what names nobody who comes through the
relay is held apart at the relay."""

import hashlib
import uuid
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any, NamedTuple

from django.db.models import QuerySet

from servicedesk.core.tracking.relayed import LEVELS, one_of, told_apart
from servicedesk.instruments.actions.taking import Taking
from servicedesk.instruments.adapters.records import Record
from servicedesk.instruments.choices import DeliveryState
from servicedesk.instruments.models import Delivery, Instrument
from servicedesk.web.prepared import KEY, Slot, prepared


class NotRelayed(Exception):
    """What is said of a relay cannot be; the sentence says why."""


def check_relay(row: Instrument) -> None:
    """Whether what is to be kept of an instrument fits its relay, which is locked meanwhile; call it in the transaction that keeps it. The database
    itself refuses a relay that comes through another. Raises NotRelayed."""
    locked = Instrument.objects.select_for_update(of=("self",)).select_related("equipment", "tank")
    relay = locked.get(pk=row.through_id) if row.through_id else None  # the relay first, as a delivery does
    locked.filter(pk=row.pk).first()
    if not row.relays:
        hanging = [str(one) for one in row.relayed.select_related("equipment").order_by("relay_name")]
        if hanging:
            raise NotRelayed(f"{', '.join(hanging)} still comes through it: change that first.")
    if relay is None:
        return
    if relay.pk == row.pk:
        raise NotRelayed("An instrument does not come through itself.")
    if not relay.relays:
        raise NotRelayed(f"{relay} relays nothing: say first, among its own data, that it does.")
    if relay.tank.site_id != row.tank.site_id:
        raise NotRelayed(f"{relay} stands at another site: a relay and what comes through it stand at one.")
    if relay.equipment.retired_on is not None:
        raise NotRelayed(f"{relay} is out of use.")


@prepared(relay=KEY)
def _relayed(relay: Slot) -> QuerySet[Instrument]:
    rows = Instrument.objects.select_for_update(of=("self",)).filter(through=relay)
    return rows.select_related("equipment__source", "tank").order_by("tank", "pk")


class Body(NamedTuple):
    """What came: its hash, tongue, text as it is kept, and whom the topic was for."""

    sha256: str
    media_type: str
    text: str
    under: str


class _Sorting:
    """A relay's records, each put to the instrument it names."""

    def __init__(self, relay: Instrument, at: datetime, *, history: bool) -> None:
        self.at, self.history = at, history
        self.relayed = {row.relay_name: row for row in _relayed(relay=relay.pk)}
        named = {name: one_of(name.lower(), self.relayed) for name in self.relayed}
        self.small = {name.lower(): name for name, meant in named.items() if meant == name}
        self.own = Taking(relay, uuid.uuid4(), at, history=history)
        self.takings = {relay.pk: self.own}
        self._told: dict[str, tuple[str, str] | None] = {}

    def put(self, record: Record) -> None:
        """Whose it is: as the record names it, else as its name begins."""
        if record.instrument:
            name = one_of(record.instrument, self.relayed)
            if name is None:
                return self.own.hold(record, f"“{record.instrument}” is nobody who comes through this relay.")
            return self._take(name, record, record.name)
        found = self._told_apart(record.name)
        if found is not None:
            return self._take(found[0], record, found[1])
        if record.wrong or self.own.knows(record.name):
            return self.own.take(record)  # by its whole name: the end of one alone could be another's
        return self.own.hold(record, f"“{record.name}” names nobody who comes through this relay.")

    def _told_apart(self, name: str) -> tuple[str, str] | None:
        if name not in self._told:
            found = told_apart(name, self.relayed)
            if found is None:  # a table's columns are read in small letters
                alike = told_apart(name, self.small)
                found = alike and (self.small[alike[0]], alike[1])
            self._told[name] = found
        return self._told[name]

    def _take(self, name: str, record: Record, rest: str) -> None:
        instrument = self.relayed[name]
        if instrument.equipment.retired_on is not None:
            return self.own.hold(record, f"“{name}” is out of use.")
        taking = self._taking(instrument)
        if not rest and len(taking.measures) == 1:  # it sends one value, under the name of its own
            rest = next(iter(taking.measures))
        if not record.instrument and not record.wrong and not taking.knows(rest):
            if (
                rest and record.name[-len(rest) - 1] not in LEVELS
            ):  # "sump-2/temp" may be another's than "sump"
                return self.own.hold(record, f"“{record.name}” names nobody who comes through this relay.")
            return taking.hold(record, f"“{rest}” is not something this instrument measures.")
        return taking.take(replace(record, name=rest, instrument=""))

    def _taking(self, instrument: Instrument) -> Taking:
        if instrument.pk not in self.takings:
            self.takings[instrument.pk] = Taking(instrument, uuid.uuid4(), self.at, history=self.history)
        return self.takings[instrument.pk]

    def store(self) -> list[tuple[Taking, dict[str, Any]]]:
        """Write everything; what became of each one's. Whoever writes for several tanks does so in one order."""
        order = sorted(
            self.takings.values(), key=lambda one: (str(one.instrument.tank_id), str(one.instrument.pk))
        )
        return [(taking, taking.store()) for taking in order]


def take_relayed(
    *, relay: Instrument, records: Sequence[Record], body: Body, at: datetime, history: bool
) -> Delivery:
    """Take one body of a relay, whose row is locked: one delivery of its own, and one of each instrument that is named in it. Of an instrument
    something was heard where it was new: what a relay repeats, or says of a line, is no word from there."""
    sorting = _Sorting(relay, at, history=history)
    for record in records:
        sorting.put(record)
    found = sorting.store()
    answers = [answer for _taking, answer in found]
    others = [(one, answer) for one, answer in found if one is not sorting.own and any(answer.values())]
    held = sorted((one for answer in answers for one in answer["held"]), key=lambda one: one["index"])
    whole = {name: sum(answer.get(name, 0) for answer in answers) for name in COUNTED}
    delivery = Delivery.objects.create(
        id=sorting.own.origin,
        instrument=relay,
        sha256=body.sha256,
        media_type=body.media_type,
        body=body.text,
        under=body.under,
        received_at=at,
        state=DeliveryState.TAKEN,
        stored=whole["stored"],
        held=len(held),
        answer={
            **whole,
            "held": held,
            "instruments": {taking.instrument.relay_name: answer["stored"] for taking, answer in others},
        },
    )
    Delivery.objects.bulk_create([_part(taking, answer, delivery) for taking, answer in others])
    heard = [taking.instrument.pk for taking, answer in others if taking.spoke(answer)]
    heard += [relay.pk] if any(whole.values()) else []
    Instrument.objects.filter(pk__in=heard).update(last_contact_at=at)
    return delivery


COUNTED = ("stored", "already", "signs", "doses")


def _part(taking: Taking, answer: dict[str, Any], whole: Delivery) -> Delivery:
    """What a relay's delivery was for one instrument."""
    instrument = taking.instrument
    return Delivery(
        id=taking.origin,
        instrument=instrument,
        sha256=hashlib.sha256(f"{whole.sha256} {instrument.pk}".encode()).hexdigest(),
        media_type=whole.media_type,
        body="",
        received_at=taking.at,
        state=DeliveryState.TAKEN,
        stored=answer["stored"],
        held=len(answer["held"]),
        answer=answer,
        via=whole,
    )
