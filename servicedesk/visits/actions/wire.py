"""The wire form of a journal entry, read strictly: what is not sound is refused with a sentence, and loses nothing."""

import hashlib
import json
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import available_timezones

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from servicedesk.visits.choices import EntryKind

MOST_BYTES = 20_000
FIELDS = {"id", "visit", "kind", "payload", "tablet", "seq", "tablet_time", "zone"}


class Refused(Exception):
    """This entry is not taken; the sentence says why and what to do."""


@dataclass(frozen=True)
class Wire:
    """One entry as it came, checked. `at` is the tablet's time corrected by the clock offset, aware UTC."""

    id: UUID
    visit: UUID
    kind: str
    payload: dict[str, Any]
    sha256: str
    tablet: str
    seq: int
    tablet_time: datetime
    zone: str
    clock_offset: float
    at: datetime


def key_of(value: Any, name: str) -> UUID:
    """A canonical id from a text."""
    if not isinstance(value, str):
        raise Refused(_("“%(name)s” is not an id.") % {"name": name})
    try:
        return UUID(value)
    except ValueError:
        raise Refused(_("“%(name)s” is not an id.") % {"name": name}) from None


def _time(value: Any) -> datetime:
    try:
        moment = parse_datetime(value) if isinstance(value, str) else None
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise Refused(_("“tablet_time” is not a time with its offset."))
    try:
        return moment.astimezone(UTC)
    except OverflowError:
        raise Refused(_("“tablet_time” cannot be.")) from None


def _short(raw: dict[str, Any], name: str) -> str:
    value = raw.get(name, "")
    if not isinstance(value, str) or len(value) > 60:
        raise Refused(_("“%(name)s” is not a short text.") % {"name": name})
    return value


def digest(kind: str, visit: UUID, payload: dict[str, Any]) -> str:
    """SHA-256 of what an entry says."""
    text = json.dumps([kind, str(visit), payload], sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _said(raw: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    kind, payload = raw.get("kind"), raw.get("payload", {})
    if kind not in EntryKind.values:
        raise Refused(_("This kind of entry is not known. Update the tablet's page."))
    if not isinstance(payload, dict) or len(json.dumps(payload)) > MOST_BYTES:
        raise Refused(_("“payload” is not an object of sensible size."))
    return str(kind), payload


def read(raw: Any, *, received_at: datetime, offset: timedelta) -> Wire:
    """Check one raw entry. Raises Refused."""
    if not isinstance(raw, dict):
        raise Refused(_("An entry is an object."))
    unknown = sorted(set(raw) - FIELDS)
    if unknown:
        raise Refused(_("“%(name)s” is not part of an entry.") % {"name": unknown[0][:40]})
    kind, payload = _said(raw)
    seq = raw.get("seq", 0)
    if isinstance(seq, bool) or not isinstance(seq, int) or not 0 <= seq < 2**31:
        raise Refused(_("“seq” is not a whole number."))
    zone = _short(raw, "zone")
    moment = _time(raw.get("tablet_time"))
    try:
        at = min(moment + offset, received_at)
    except OverflowError:
        at = received_at
    visit = key_of(raw.get("visit"), "visit")
    return Wire(
        id=key_of(raw.get("id"), "id"),
        visit=visit,
        kind=kind,
        payload=payload,
        sha256=digest(kind, visit, payload),
        tablet=_short(raw, "tablet"),
        seq=seq,
        tablet_time=moment,
        zone=zone if zone in available_timezones() else "",
        clock_offset=offset.total_seconds(),
        at=at,
    )
