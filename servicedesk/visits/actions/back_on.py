"""What was left off at a visit, and visits left without the check, are told to the office at once."""

from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from clients.choices import EquipmentKind
from clients.models import Equipment
from servicedesk.visits.choices import EntryKind
from servicedesk.visits.models import Entry, Visit
from servicedesk.watch.actions import clear_attention, raise_attention
from servicedesk.watch.choices import AttentionKind, Severity

KEEPS_ALIVE = (
    EquipmentKind.RETURN_PUMP,
    EquipmentKind.CIRCULATION,
    EquipmentKind.HEATER,
    EquipmentKind.CHILLER,
    EquipmentKind.FILTER,
)
"""Kinds of equipment whose standstill can kill within hours (common practice)."""


def tell_what_is_off(*, visit: Visit, on: list[UUID], left: dict[UUID, str], at: datetime) -> None:
    """Raise attention for each piece that stays off, with its reason, and clear it for what runs again."""
    clear_attention(key=f"unchecked:{visit.site_id}", at=at)
    for key in on:
        clear_attention(key=f"off:{key}", at=at)
    for piece in Equipment.objects.filter(pk__in=left).select_related("tank").order_by("name", "pk"):
        raise_attention(
            key=f"off:{piece.pk}",
            at=at,
            kind=AttentionKind.LEFT_OFF,
            severity=Severity.NOW if piece.kind in KEEPS_ALIVE else Severity.SOON,
            tank=piece.tank,
            site=visit.site,
            word="off",
            sentence=_("%(name)s stays off: %(why)s.")
            % {"name": piece.name, "why": left[piece.pk].rstrip(".")[:200]},
            why=_("Written down by %(who)s on leaving.") % {"who": visit.technician.name},
        )


def tell_unchecked(*, visit: Visit, at: datetime) -> None:
    """Raise attention for a visit that was closed without the check, where there is something to check."""
    keys = visit.due_visit.tanks.values("pk")
    rows = Equipment.objects.filter(site=visit.site, back_on_check=True, retired_on__isnull=True)
    mine = rows.filter(tank__in=keys) | rows.filter(tank__isnull=True)
    if Entry.objects.filter(visit=visit, kind=EntryKind.BACK_ON).exists() or not mine.exists():
        return
    raise_attention(
        key=f"unchecked:{visit.site_id}",
        at=at,
        kind=AttentionKind.LEFT_OFF,
        severity=Severity.SOON,
        site=visit.site,
        word="off",
        sentence=_("Nobody wrote down that everything is back on. Ask %(who)s.")
        % {"who": visit.technician.name},
        why=_("The visit was closed without the check of pumps, heaters and top-up."),
    )
