"""What lies ahead of something that needs somebody: when harm begins, who is there when, and whether that is in time."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Stop
from servicedesk.web.prepared import DAY, KEYS, Slot, prepared

HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class Help:
    """Somebody of ours at a site: who, when, and whether already there."""

    who: str
    at: datetime
    there: bool = False


@dataclass(frozen=True)
class Ahead:
    """What a row says and draws of it: hours until help and until harm (None where there is none in sight)."""

    head: str
    words: str
    help_h: float | None = None
    harm_h: float | None = None


@prepared(sites=KEYS, today=DAY)
def _to_come(sites: Slot, today: Slot) -> QuerySet[Stop, tuple[Any, ...]]:
    rows = Stop.objects.filter(
        due_visit__site__in=sites,
        state__in=[StopState.PLANNED, StopState.UNDER_WAY],
        round__day__gte=today,
    )
    return rows.order_by("round__day", "planned_at", "order", "pk").values_list(
        "due_visit__site", "round__technician__name", "round__day", "planned_at", "state"
    )


def next_help(sites: Iterable[UUID], *, now: datetime, zone: ZoneInfo) -> dict[UUID, Help]:
    """The next stop at each of these sites, in one query: the one under way, else the next that is planned from
    today on. One that was planned for earlier today and has not begun is still to come."""
    found: dict[UUID, Help] = {}
    for site, who, day, planned_at, state in _to_come(sites=set(sites), today=now.astimezone(zone).date()):
        there = state == StopState.UNDER_WAY
        if site not in found or (there and not found[site].there):
            found[site] = Help(who, datetime.combine(day, planned_at, tzinfo=zone), there)
    return found


def ahead_of(harm_at: datetime | None, help_: Help | None, *, now: datetime, zone: ZoneInfo) -> Ahead:
    """Harm and help in words, and in hours for the drawing. Somebody who is late has no square: nobody knows when."""
    harm_h = None if harm_at is None else max(0.0, (harm_at - now) / HOUR)
    help_h = None
    if help_ is not None and (help_.there or help_.at >= now):
        help_h = max(0.0, (help_.at - now) / HOUR)
    return Ahead(_head(harm_h), _words(harm_at, help_, now, zone), help_h, harm_h)


def _head(harm_h: float | None) -> str:
    if harm_h is None:
        return _("Harm is not dated")
    if harm_h < 1:
        return _("Harm begins now") if harm_h > 0 else _("Harm has begun")
    if harm_h < 48:
        return _("Harm in about %(n)s h") % {"n": round(harm_h)}
    days = round(harm_h / 24)
    return ngettext("Harm in about %(n)s day", "Harm in about %(n)s days", days) % {"n": days}


def moment(at: datetime, *, now: datetime, zone: ZoneInfo) -> str:
    """A time as people say it: the hour alone today, with its day otherwise."""
    local = at.astimezone(zone)
    same_day = local.date() == now.astimezone(zone).date()
    return date_format(local, "H:i" if same_day else "l j F, H:i")


def _words(harm_at: datetime | None, help_: Help | None, now: datetime, zone: ZoneInfo) -> str:
    if help_ is None:
        return _("Nobody of ours is planned to be there.")
    said = {"who": help_.who, "when": moment(help_.at, now=now, zone=zone)}
    if help_.there:
        return _("%(who)s is there now.") % said
    if help_.at < now:
        return _("%(who)s was due there at %(when)s and has not begun.") % said
    if harm_at is None:
        return _("%(who)s is there at %(when)s.") % said
    if help_.at <= harm_at:
        return _("Help comes in time: %(who)s is there at %(when)s.") % said
    return _("Nobody is there before %(when)s (%(who)s).") % said
