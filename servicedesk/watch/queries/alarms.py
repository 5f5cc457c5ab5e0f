"""Alarms as people meet them: what stands open by site, what whoever is nearest can do, who answers now."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import F, Q, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients.models import Site
from servicedesk.core.tables import read_json
from servicedesk.instruments.queries import instruments_in_use
from servicedesk.staff.choices import Role
from servicedesk.staff.models import User
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.models import Attention, Away, Duty

ALARMS = (Severity.NOW, Severity.SOON)
"""What somebody is told of; the rest waits on the page."""
NOT_TOLD = (AttentionKind.REPORT, AttentionKind.PLAN, AttentionKind.LEFT_OFF, AttentionKind.FORESEEN)
"""What has its own place and wakes nobody."""
STALE = timedelta(hours=24)
A_WHOLE_SITE = 3
"""So many instruments of one site silent at once, or all of two or more, are power or line (common practice)."""


def open_alarms(*, at: datetime) -> QuerySet[Attention]:
    """What stands open and somebody should be told of, and was not set aside."""
    return (
        Attention.objects.filter(cleared_at__isnull=True, severity__in=ALARMS)
        .exclude(kind__in=NOT_TOLD)
        .exclude(shelved_until__gt=at)
        .select_related("tank__site", "site", "instrument__equipment", "seen_by", "acted_by", "handed_to")
        .order_by(F("harm_at").asc(nulls_last=True), "severity", "since", "pk")
    )


def alarms_for(user: User) -> QuerySet[Attention]:
    """Every alarm a person may open: everything for the office, for a technician what they were told of or handed."""
    rows = Attention.objects.exclude(kind__in=NOT_TOLD).select_related(
        "tank__site", "site", "instrument__equipment"
    )
    if user.is_office:
        return rows
    if user.is_technician:
        return rows.filter(Q(tellings__person=user) | Q(handed_to=user)).distinct()
    return rows.none()


@dataclass(frozen=True)
class Group:
    """Alarms of one site with one cause: a single one, or a site whose instruments fell silent together."""

    site: Site
    rows: tuple[Attention, ...]
    sentence: str
    kind: str

    @property
    def lead(self) -> Attention:
        """The one that harms first."""
        return self.rows[0]

    @property
    def severity(self) -> int:
        return min(row.severity for row in self.rows)

    @property
    def since(self) -> datetime:
        return min(row.since for row in self.rows)


def grouped(rows: Iterable[Attention], instruments: dict[UUID, int]) -> list[Group]:
    """By site and cause. `instruments`: how many with a line of their own are fitted at each site."""
    silent: dict[UUID, list[Attention]] = defaultdict(list)
    found: list[Group] = []
    known = list(rows)
    for row in known:
        site = row.tank.site if row.tank else row.site
        if site is not None and row.kind == AttentionKind.SILENT and row.word == "silent":
            silent[site.pk].append(row)
    lines = {key: [row for row in some if _has_line(row)] for key, some in silent.items()}
    whole = {
        key
        for key, some in lines.items()
        if len(some) >= A_WHOLE_SITE or (len(some) >= 2 and len(some) == instruments.get(key, 0))
    }
    done: set[UUID] = set()
    for row in known:
        site = row.tank.site if row.tank else row.site
        if site is None:
            continue
        if row.kind == AttentionKind.SILENT and row.word == "silent" and site.pk in whole:
            if site.pk not in done:
                done.add(site.pk)
                some = tuple(silent[site.pk])
                words = _("%(n)s instruments at %(site)s are silent: power or line, look there first.")
                found.append(Group(site, some, words % {"n": len(some), "site": site.name}, "site_silent"))
            continue
        found.append(Group(site, (row,), row.sentence, str(row.kind)))
    return found


def _has_line(row: Attention) -> bool:
    """Whether it is of an instrument with a line of its own: one that comes through a relay tells nothing of the site's."""
    return row.instrument is None or row.instrument.through_id is None


def instruments_by_site() -> dict[UUID, int]:
    """How many instruments with a line of their own are fitted at each site."""
    found: dict[UUID, int] = defaultdict(int)
    for instrument in instruments_in_use():
        found[instrument.tank.site_id] += instrument.through_id is None
    return found


def first_hands(row: Attention) -> list[str]:
    """What whoever is nearest can do until one of ours is there."""
    cards: dict[str, Any] = read_json("first_hands.json")["cards"]
    side = row.word.removesuffix("_limit")
    for key in (f"{row.parameter}:{side}", row.parameter, str(row.kind)):
        if key in cards:
            return [*cards[key], *cards["any"]]
    return list(cards["any"])


def how_sure(row: Attention) -> str:
    """How far it can be believed, in words."""
    if row.chatters:
        return _("It comes and goes: opened %(n)s times.") % {"n": row.opened}
    if row.kind == AttentionKind.SILENT:
        return _("Sure: nothing came.")
    if row.kind in (AttentionKind.BEYOND_LIMIT, AttentionKind.OUT_OF_BAND):
        if row.key.startswith("band-in-doubt"):
            return _("Not sure: its instrument is not believed now.")
        return _("As sure as the value that stands behind it.")
    if row.kind == AttentionKind.RUNNING_OUT:
        return _("By reckoning, not by sight.")
    return _("Likely: see why.")


def must_go(row: Attention, *, at: datetime) -> str:
    """Whether somebody must go now, in words."""
    if row.harm_at is not None:
        hours = (row.harm_at - at).total_seconds() / 3600
        if hours <= 0:
            return _("Somebody must go now: harm may have begun.")
        whole = max(1, round(hours))
        words = ngettext(
            "Somebody must be there within an hour.", "Somebody must be there within %(n)s hours.", whole
        )
        return words % {"n": whole}
    if row.severity == Severity.NOW:
        return _("Somebody must look now.")
    return _("Nobody must go at night for this.")


def is_stale(row: Attention, *, at: datetime) -> bool:
    """Whether it stands for more than a day."""
    return at - row.since > STALE


def on_duty(*, at: datetime, zone: ZoneInfo) -> list[User]:
    """Who answers now, in order: by the rota, those on holiday left out; the owners where nobody is on it."""
    local = at.astimezone(zone)
    away = set(
        Away.objects.filter(
            retired_on__isnull=True, from_on__lte=local.date(), until_on__gte=local.date()
        ).values_list("person", flat=True)
    )
    rows = Duty.objects.filter(retired_on__isnull=True, person__is_active=True).select_related("person")
    found = [
        row.person
        for row in rows.order_by("order", "person__name", "pk")
        if row.person_id not in away and covers(row, local)
    ]
    unique = list(dict.fromkeys(found))
    owners = User.objects.filter(role=Role.OWNER, is_active=True).order_by("pk")
    return unique or [owner for owner in owners if owner.pk not in away] or list(owners)


def covers(row: Duty, local: datetime) -> bool:
    """Whether a line of the rota holds at a local time. Hours over midnight belong to the day on which they begin."""
    now, today = local.time(), local.weekday()
    if row.begins == row.ends:
        return today in row.weekdays
    if row.begins < row.ends:
        return today in row.weekdays and row.begins <= now < row.ends
    if now >= row.begins:
        return today in row.weekdays
    return now < row.ends and (today - 1) % 7 in row.weekdays


QUIET = (time(21, 0), time(7, 0))
"""At night only what must be looked at now is told (common practice)."""


def is_quiet(at: datetime, zone: ZoneInfo) -> bool:
    """Whether it is night where the business is."""
    now = at.astimezone(zone).time()
    return now >= QUIET[0] or now < QUIET[1]


def holidays(day: date) -> list[Away]:
    """Who is away that day."""
    rows = Away.objects.filter(retired_on__isnull=True, from_on__lte=day, until_on__gte=day)
    return list(rows.select_related("person").order_by("person__name", "pk"))
