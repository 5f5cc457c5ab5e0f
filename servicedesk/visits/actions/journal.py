"""Taking entries into visits' journals: each in its own savepoint, each answered by one receipt.

The same entry again is `already`; the same id with other content, or by somebody else, is `refused`. A closed visit
takes additions: they make the next version of the report. Nothing is refused for being late."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction
from django.http import Http404
from django.utils.translation import gettext as _

from clients.actions import NotSound
from servicedesk.core.units import NeedsContext, TypedWrong, UnknownParameter, UnknownUnit
from servicedesk.dispatch.actions import ask
from servicedesk.dosing.actions import NotDosed
from servicedesk.instruments.actions import NotLoaded, TrustMoveRefused
from servicedesk.rounds import actions as rounds
from servicedesk.rounds.queries import stop_for
from servicedesk.staff.models import User
from servicedesk.upkeep.actions import NotLeft
from servicedesk.visits.actions.back_on import tell_unchecked
from servicedesk.visits.actions.making import MAKE
from servicedesk.visits.actions.payload import Making
from servicedesk.visits.actions.wire import Refused, Wire, read
from servicedesk.visits.choices import EntryKind, Receipt, VisitState
from servicedesk.visits.models import Entry, Visit
from servicedesk.water.actions import NotWater

CLOCK_SLACK = timedelta(seconds=60)
MOST_ENTRIES = 500
WRONG = (
    Refused,
    NotWater,
    NotDosed,
    NotLoaded,
    NotSound,
    NotLeft,
    TrustMoveRefused,
    TypedWrong,
    UnknownUnit,
    UnknownParameter,
    NeedsContext,
)


class _Batch:
    """Entries that came together, and which visits they closed or added to."""

    def __init__(self, by: User, at: datetime, offset: timedelta) -> None:
        self.by, self.at, self.offset = by, at, offset
        self.closed: list[UUID] = []
        self.added: list[UUID] = []

    def take(self, raw: Any) -> dict[str, str]:
        key = str(raw.get("id", ""))[:60] if isinstance(raw, dict) else ""
        try:
            with transaction.atomic():
                receipt = self._take(read(raw, received_at=self.at, offset=self.offset))
        except Http404:
            return {"id": key, "receipt": Receipt.REFUSED, "reason": _("There is no such visit for you.")}
        except WRONG as wrong:
            return {"id": key, "receipt": Receipt.REFUSED, "reason": str(wrong)}
        except (
            IntegrityError
        ):  # somebody sent the same at the same moment: theirs is stored, ours can come again
            return {
                "id": key,
                "receipt": Receipt.REFUSED,
                "reason": _("It was being stored just then. Send it again."),
            }
        return {"id": key, "receipt": receipt, "reason": ""}

    def _take(self, wire: Wire) -> str:
        before = Entry.objects.filter(pk=wire.id).first()
        if before is not None:
            if before.author_id != self.by.pk or before.sha256 != wire.sha256:
                raise Refused(_("An entry of this id is already there with other content."))
            return Receipt.ALREADY
        visit = self._visit(wire)
        addition = visit.state == VisitState.CLOSED
        Entry.objects.create(
            id=wire.id,
            visit=visit,
            kind=wire.kind,
            payload=wire.payload,
            sha256=wire.sha256,
            author=self.by,
            tablet=wire.tablet,
            seq=wire.seq,
            tablet_time=wire.tablet_time,
            zone=wire.zone,
            clock_offset=wire.clock_offset,
            at=wire.at,
            received_at=self.at,
            addition=addition,
        )
        MAKE[wire.kind](Making(visit=visit, wire=wire, by=self.by, received_at=self.at))
        if addition:
            if wire.kind not in (EntryKind.CLOSE, EntryKind.ARRIVE):
                self.added.append(visit.pk)
        elif wire.kind == EntryKind.CLOSE:
            self._close(visit, wire)
        return Receipt.STORED

    def _visit(self, wire: Wire) -> Visit:
        """The visit, opened by its first entry whichever that is."""
        stop = stop_for(self.by, wire.visit)
        visit, made = Visit.objects.get_or_create(
            pk=wire.visit,
            defaults={
                "due_visit": stop.due_visit,
                "site": stop.due_visit.site,
                "technician": stop.round.technician,
                "arrived_at": wire.at,
            },
        )
        if made:
            rounds.arrive(due_visit_id=wire.visit, at=wire.at)
        return Visit.objects.select_for_update().select_related("site").get(pk=visit.pk)

    def _close(self, visit: Visit, wire: Wire) -> None:
        Visit.objects.filter(pk=visit.pk, state=VisitState.OPEN).update(
            state=VisitState.CLOSED, closed_at=max(wire.at, visit.arrived_at), closed_by=self.by
        )
        rounds.leave(due_visit_id=visit.pk, at=wire.at)
        tell_unchecked(visit=visit, at=wire.at)
        self.closed.append(visit.pk)

    def ask_reports(self) -> None:
        """One new version per visit that was closed or added to in this batch."""
        for key in dict.fromkeys([*self.closed, *self.added]):
            visit = Visit.objects.select_for_update().get(pk=key)
            version = visit.versions + 1
            Visit.objects.filter(pk=key).update(versions=version)
            ask(
                kind="report",
                key=f"report:{key}:{version}",
                args={"visit": str(key), "version": version},
                at=self.at,
            )


def take_entries(
    *, entries: Iterable[Any], by: User, at: datetime, sent_at: datetime | None = None
) -> list[dict[str, str]]:
    """Take a list of entries in wire form; one receipt each, in order: {"id", "receipt", "reason"}.

    `sent_at` is the tablet's clock when it sent the list: a difference of more than a minute is the clock's offset
    and corrects the times of its entries; both times are kept."""
    offset = timedelta(0)
    if sent_at is not None and abs(at - sent_at) > CLOCK_SLACK:
        offset = at - sent_at
    batch = _Batch(by, at, offset)
    with transaction.atomic():
        receipts = [batch.take(raw) for raw in entries]
        batch.ask_reports()
    return receipts
