"""How long ways take is set by the owner, and asked of the road router."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from secrets import randbelow
from typing import Any

from django.db import transaction
from django.db.models import F

from servicedesk.core.rounds.router import LARGEST, Block, Leg, Service, Table, blocks_of
from servicedesk.rounds.adapters.roads import NoAnswer, tables_of
from servicedesk.rounds.models import Roads, Router, Way
from servicedesk.rounds.queries.ways import missing_of

KEPT = timedelta(days=90)
"""What a router said longer ago is asked again, and counts until it is answered (common practice)."""
AT_ONCE, LARGEST_MARK = 2000, 2**31 - 1


@dataclass(frozen=True)
class Asked:
    """What came of asking: pairs that are known now, blocks that time did not suffice for, why the router was of no use (empty: it was)."""

    kept: int = 0
    left: int = 0
    error: str = ""


@transaction.atomic
def save_roads(**columns: Any) -> Roads:
    """Set how straight lines become minutes; the next plan reckons with it."""
    return Roads.objects.update_or_create(only=True, defaults=columns)[0]


def ask_ways(
    *,
    service: Service,
    points: Iterable[tuple[float, float]],
    at: datetime,
    stop: Callable[[], bool] = lambda: False,
) -> Asked:
    """Ask the road router for every ordered pair of these places that is not known, block by block, until `stop` says so, and keep each answer as it
    comes. At the first failure nothing more is asked: what is known stays, and the failure is written down. Once all is known, what nobody asked for in a
    long time is forgotten."""
    row = Router.objects.get_or_create(name=service.name[:400])[0]
    blocks = blocks_of(missing_of(row, points, old=at - KEPT), LARGEST[service.kind])
    kept, lost = 0, set[int]()
    for number, whole in enumerate(blocks):
        if stop():
            return Asked(kept, len(blocks) - number)
        block = _without(whole, lost)
        try:
            for table in tables_of(service, block) if block.starts and block.ends else ():
                kept += keep_table(router=row, table=table, at=at)
                lost |= table.lost
        except NoAnswer as wrong:
            Router.objects.filter(pk=row.pk).update(failed_at=at, error=str(wrong)[:300])
            return Asked(kept, len(blocks) - number, str(wrong))
    Way.objects.filter(asked_at__lt=at - 2 * KEPT).delete()
    return Asked(kept)


def _without(block: Block, lost: set[int]) -> Block:
    """A block without places off the router's map."""
    return Block(*(tuple(key for key in keys if key not in lost) for keys in (block.starts, block.ends)))


@transaction.atomic
def keep_table(*, router: Router, table: Table, at: datetime) -> int:
    """Keep what a router said of ordered pairs, each with both its numbers or none; how many."""
    legs = sorted(table.legs.items(), key=lambda item: item[0])
    rows = [_row(router, pair, leg, at) for pair, leg in legs]
    rows += [Way(router=router, start=key, end=key, asked_at=at) for key in sorted(table.lost)]
    near = {key for pair in table.legs for key in pair}
    Way.objects.filter(router=router, start__in=near, end=F("start")).delete()
    Way.objects.bulk_create(
        rows, batch_size=AT_ONCE, update_conflicts=True, unique_fields=["router", "start", "end"], update_fields=["seconds", "metres", "asked_at"]
    )  # fmt: skip
    Router.objects.filter(pk=router.pk).update(
        taught=randbelow(LARGEST_MARK), answered_at=at, failed_at=None, error=""
    )
    return len(rows)


def _row(router: Router, pair: tuple[int, int], leg: Leg | None, at: datetime) -> Way:
    row = Way(router=router, start=pair[0], end=pair[1], asked_at=at)
    if leg is not None:
        row.seconds, row.metres = leg.seconds, leg.metres
    return row
