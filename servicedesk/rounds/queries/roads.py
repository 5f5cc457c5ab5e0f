"""What the page of ways shows: the road router, and what the business's own drives say beside what was reckoned."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from math import ceil

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from clients.models import Site
from servicedesk.core.rounds.hours import Drive, Hours, LearnedWay, band_of
from servicedesk.rounds.models import Router, Way
from servicedesk.rounds.queries.actuals import actuals
from servicedesk.rounds.queries.ways import router, service, ways_between

MOST = 30
"""So many pairs are shown, those driven most often first."""
REASONS = {
    "short": gettext_noop("less than a third of it"),
    "long": gettext_noop("more than three times as long"),
    "wait": gettext_noop("there was time to wait for the next visit"),
    "lunch": gettext_noop("lunch was eaten on the way"),
}


@dataclass(frozen=True)
class Asked:
    """The road router that is set: its row once it was asked, and how many ways it knows."""

    name: str
    row: Router | None
    known: int


@dataclass(frozen=True)
class Driven:
    """An ordered pair of sites: minutes as reckoned and as learned (as a rule, in the morning, around midday, in the afternoon; None where no drive
    of that part of the day counts), drives that count, those left out in words by reason."""

    start: str
    end: str
    reckoned: int
    minutes: int
    bands: tuple[int | None, ...]
    drives: int
    left_out: list[str]

    @property
    def hours(self) -> list[str]:
        """Parts of the day in words, those of which a drive counts."""
        told = (_("before 10:00 %(m)s min"), _("10:00 to 15:00 %(m)s min"), _("from 15:00 %(m)s min"))
        return [words % {"m": m} for words, m in zip(told, self.bands, strict=True) if m is not None]


def asked_router() -> Asked | None:
    """The road router of this installation; None where none is set."""
    known, row = service(), router()
    if known is None:
        return None
    return Asked(known.name, row, Way.objects.filter(router=row).count() if row else 0)


def driven_ways(now: datetime) -> list[Driven]:
    """Pairs of sites that somebody drove between in the last half year, most often driven first."""
    drives = dict(sorted(actuals(until=now).ways.items(), key=lambda item: -len(item[1]))[:MOST])
    rows = Site.objects.filter(pk__in={site for pair in drives for site in pair}).order_by("name", "pk")
    sites = [row for row in rows if row.lat is not None and row.lon is not None]
    points = [(row.lat, row.lon) for row in sites if row.lat is not None and row.lon is not None]
    number = {row.pk: n for n, row in enumerate(sites)}
    if not points:
        return []
    ways = ways_between(points, points, [row.name for row in sites], number, drives)
    found = [_driven(sites, pair, told, ways.hours) for pair, told in ways.learned.items()]
    return sorted(found, key=lambda row: (-row.drives, row.start, row.end))


def _driven(sites: list[Site], pair: tuple[int, int], told: tuple[int, LearnedWay], hours: Hours) -> Driven:
    reckoned, way = told
    seen = {band_of(drive.at) for drive in way.kept}
    bands = hours.pairs.get(pair, (0.0, 0.0, 0.0))
    return Driven(
        start=sites[pair[0]].name,
        end=sites[pair[1]].name,
        reckoned=ceil(reckoned / 60),
        minutes=ceil(way.value / 60),
        bands=tuple(ceil(value / 60) if band in seen else None for band, value in enumerate(bands)),
        drives=way.seen,
        left_out=[
            _left_out([drive for drive, reason in way.left_out if reason == why], why)
            for why in dict.fromkeys(reason for _drive, reason in way.left_out)
        ],
    )


def _left_out(drives: list[Drive], why: str) -> str:
    """Drives that do not count, and why: one with its time, several with the shortest and the longest."""
    minutes = sorted(ceil(drive.seconds / 60) for drive in drives)
    told = {"n": len(drives), "m": minutes[0], "most": minutes[-1], "why": _(REASONS[why])}
    if len(drives) > 1:
        return _("%(n)s drives of %(m)s to %(most)s min: %(why)s") % told
    told["at"] = f"{drives[0].at // 3600:02}:{drives[0].at // 60 % 60:02}"
    return _("%(m)s min begun at %(at)s: %(why)s") % told
