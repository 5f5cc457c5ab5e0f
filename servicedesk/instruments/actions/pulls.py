"""Asking instruments that do not send: at their address, on their schedule, with the mapping that was tried on a sample."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from rest_framework.exceptions import ParseError

from servicedesk.instruments.actions.deliveries import PLAIN, TABLE, take
from servicedesk.instruments.adapters import mapped, table
from servicedesk.instruments.adapters.records import NotRead, Record
from servicedesk.instruments.choices import PullShape
from servicedesk.instruments.models import Delivery, Pull
from servicedesk.web.fetching import NotFetched, fetch
from servicedesk.web.posting import NotUsable, header_of

LONGEST_SAMPLE = 2000


@dataclass(frozen=True)
class Tried:
    """What an address answered, and what a mapping makes of it."""

    sample: str
    records: list[Record]


def _read(shape: str, mapping: str, body: bytes, at: datetime) -> list[Record]:
    if shape == PullShape.TABLE:
        return table.parse(body, received_at=at)
    return mapped.parse(body, mapped.read_mapping(mapping), received_at=at)


def attempt(*, url: str, shape: str, mapping: str, at: datetime, header: str = "") -> Tried:
    """Ask once and store nothing. Raises NotFetched, NotRead, ParseError."""
    if shape == PullShape.JSON:
        mapped.read_mapping(mapping)
    body = fetch(url, headers=_headers(header))
    return Tried(body[:LONGEST_SAMPLE].decode("utf-8", "replace"), _read(shape, mapping, body, at))


def _headers(header: str) -> dict[str, str]:
    try:
        return header_of(header)
    except NotUsable as wrong:
        raise NotRead(str(wrong)) from wrong


def pull(*, row: Pull, at: datetime) -> Delivery | None:
    """Ask one instrument's address; what went wrong is kept on it. The answer is a delivery as any."""
    try:
        body = fetch(row.url, headers=_headers(row.header))
        records = _read(row.shape, row.mapping, body, at)
    except (NotFetched, NotRead, ParseError) as wrong:
        words = str(wrong.detail) if isinstance(wrong, ParseError) else str(wrong)
        Pull.objects.filter(pk=row.pk).update(asked_at=at, failed=words[:300])
        return None
    with transaction.atomic():
        Pull.objects.filter(pk=row.pk).update(asked_at=at, failed="")
        delivery, _new = take(
            instrument=row.instrument, records=records, body=body, at=at, media_type=TABLE if row.shape == PullShape.TABLE else PLAIN
        )  # fmt: skip
    return delivery


def pull_due(*, at: datetime) -> dict[str, int]:
    """Ask everybody whose time has come; how many answered, how many did not."""
    counts = {"asked": 0, "failed": 0}
    rows = Pull.objects.filter(instrument__equipment__retired_on__isnull=True)
    for row in rows.select_related("instrument__equipment", "instrument__tank").order_by("pk"):
        if row.asked_at is not None and at - row.asked_at < timedelta(minutes=row.every_minutes):
            continue
        counts["asked" if pull(row=row, at=at) is not None else "failed"] += 1
    return counts
