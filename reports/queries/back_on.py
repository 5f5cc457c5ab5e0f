"""Everything back on: what runs again, what stays off, and what nobody checked before leaving."""

from dataclasses import dataclass, field
from uuid import UUID

from django.utils.translation import gettext as _

from clients.models import Equipment, Tank
from clients.queries import name_beside_tank
from reports.queries.done import Journal
from reports.queries.words import listed
from servicedesk.upkeep.choices import reason_words
from servicedesk.visits.choices import EntryKind
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.pages import back_on_list


@dataclass
class BackOn:
    """The equipment of one tank as it was left; `off` has its reasons."""

    on: list[Equipment] = field(default_factory=list)
    off: list[tuple[Equipment, str]] = field(default_factory=list)
    unchecked: list[Equipment] = field(default_factory=list)

    @property
    def did(self) -> list[str]:
        if not self.on:
            return []
        head = _("Back on") if self.off or self.unchecked else _("Everything back on")
        return [f"{head}: {', '.join(name_beside_tank(piece) for piece in self.on)}"]

    @property
    def did_not(self) -> list[str]:
        lines = [_("%(name)s stays off: %(why)s") % {"name": e.name, "why": why} for e, why in self.off]
        if self.unchecked:
            said = {"names": listed([name_beside_tank(piece) for piece in self.unchecked])}
            lines.append(_("Everything back on: not checked before we left (%(names)s)") % said)
        return lines

    @property
    def sentences(self) -> list[str]:
        """What is uneasy about it, for the verdict."""
        lines = [_("%(name)s stays off.") % {"name": piece.name} for piece, _why in self.off]
        if self.unchecked:
            lines.append(_("Nobody wrote down that everything is back on."))
        return lines


def back_on_of(journal: Journal, visit: Visit, tanks: list[Tank]) -> dict[UUID, BackOn]:
    """How the equipment was left, by tank; what serves the whole site is told with the first tank. Of several checks
    the last word on each piece counts."""
    said: dict[UUID, str | None] = {}
    whose: dict[UUID, UUID | None] = {}
    checked: set[UUID | None] = set()
    for entry in journal.of(EntryKind.BACK_ON):
        key = journal.tank_key(entry.payload)
        checked.add(key)
        words = {UUID(k): None for k in entry.payload.get("on", [])} | {
            UUID(row["equipment"]): reason_words(row["reason"]) for row in entry.payload.get("left", [])
        }
        said |= words
        whose |= dict.fromkeys(words, key)
    found = {tank.pk: BackOn() for tank in tanks}
    if not found:
        return found

    def home(piece: Equipment) -> BackOn:
        keys = (piece.tank_id, whose.get(piece.pk))
        return found[next((k for k in keys if k in found), tanks[0].pk)]

    pieces = Equipment.objects.select_related("tank").in_bulk(said)
    for key, why in said.items():
        piece = pieces[key]
        if why is None:
            home(piece).on.append(piece)
        else:
            home(piece).off.append((piece, journal.scrub(why)))
    for piece in back_on_list(visit, tanks):
        seen = bool(checked) if piece.tank_id is None else bool(checked & {None, piece.tank_id})
        if piece.pk not in said and not seen:
            home(piece).unchecked.append(piece)
    return found
