"""The journal as a person reads it back: what each entry says, with names in the place of ids."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils.dateparse import parse_date
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from clients.choices import LivestockChange
from clients.models import Livestock, Tank
from servicedesk.dosing.models import Channel, Solution
from servicedesk.instruments.models import Measure
from servicedesk.upkeep.choices import reason_words
from servicedesk.upkeep.models import Task
from servicedesk.visits.choices import TAKEN_BACK, EntryKind, back_words
from servicedesk.visits.models import Entry

Payload = dict[str, Any]


@dataclass(frozen=True)
class Told:
    """One line: the kind of entry, what it says, when and by whom; `gone` is why it was taken back, `may_go` whether it
    can be."""

    kind: str
    text: str
    at: datetime
    by: str
    entry: UUID
    gone: str = ""
    may_go: bool = False


def key_in(payload: Payload, name: str) -> str:
    """The id of that name, as text in one form; empty where there is none. Parts that a kind does not know are kept
    in the journal as they came, so anything may stand there."""
    try:
        return str(UUID(payload[name]))
    except (KeyError, TypeError, ValueError, AttributeError):
        return ""


class _Names:
    """The names that the payloads' ids stand for, one query for each kind of id that occurs."""

    def __init__(self, entries: list[Entry]) -> None:
        self.entries = entries
        self.tanks = self._named(Tank, "tank", lambda row: row.name)
        self.tasks = self._named(Task, "task", lambda row: row.title)
        self.solutions = self._named(Solution, "solution", lambda row: row.item.name, "item")
        self.channels = self._named(Channel, "channel", lambda row: row.solution.item.name, "solution__item")
        self.measures = self._named(
            Measure, "measure", lambda row: row.instrument.equipment.name, "instrument__equipment"
        )
        self.animals = self._named(Livestock, "livestock", lambda row: row.name)

    def _named(self, model: Any, key: str, name: Callable[[Any], str], related: str = "") -> dict[str, str]:
        ids = {key_in(e.payload, key) for e in self.entries} - {""}
        if not ids:
            return {}
        rows = model.objects.select_related(related) if related else model.objects.all()
        return {str(row.pk): name(row) for row in rows.filter(pk__in=ids)}


def _amounts(payload: Payload, *parts: tuple[str, str]) -> str:
    """The amounts that were given, each with its unit."""
    return ", ".join(
        f"{payload[key]} {unit}".strip() for key, unit in parts if payload.get(key) not in (None, "")
    )


def _said(entry: Entry, names: _Names) -> list[str]:
    p: Payload = entry.payload
    said: dict[str, Callable[[], list[str]]] = {
        EntryKind.TASK_DONE: lambda: [names.tasks.get(key_in(p, "task"), "")],
        EntryKind.TASK_LEFT: lambda: [names.tasks.get(key_in(p, "task"), ""), reason_words(p["reason"])],
        EntryKind.WATER_CHANGE: lambda: [names.tanks.get(key_in(p, "tank"), ""), _amounts(p, ("litres", "L"))],
        EntryKind.DOSE: lambda: [names.tanks.get(key_in(p, "tank"), ""), names.solutions.get(key_in(p, "solution"), ""), _amounts(p, ("ml", "mL"))],
        EntryKind.RATE: lambda: [names.channels.get(key_in(p, "channel"), ""), _amounts(p, ("ml_per_day", _("mL a day"))), p.get("why", "")],
        EntryKind.REFILL: lambda: [names.channels.get(key_in(p, "channel"), ""), _amounts(p, ("ml_now", "mL"))],
        EntryKind.PUMP_CHECK: lambda: [names.channels.get(key_in(p, "channel"), ""), _amounts(p, ("asked_ml", _("mL asked for")), ("before_ml", _("mL came")), ("after_ml", _("mL after setting")))],
        EntryKind.REAGENT_LOAD: lambda: [names.measures.get(key_in(p, "measure"), ""), _amounts(p, ("ml", "mL"))],
        EntryKind.CALIBRATION: lambda: [names.measures.get(key_in(p, "measure"), ""), _amounts(p, ("reference", _("as reference")), ("before", _("before")), ("after", _("after")))],
        EntryKind.TREATMENT: lambda: [names.tanks.get(key_in(p, "tank"), ""), p["product"], _("by order of %(vet)s") % {"vet": p["vet"]}, p["dose"]],
        EntryKind.LIVESTOCK: lambda: [names.animals.get(key_in(p, "livestock"), ""), f"{p['number']} {LivestockChange(p['change']).label}", p.get("cause", "")],
        EntryKind.PHOTO: lambda: [names.tanks.get(key_in(p, "tank"), ""), p.get("caption", "")],
        EntryKind.FINDING: lambda: [names.tanks.get(key_in(p, "tank"), ""), p["text"]],
        EntryKind.RECOMMENDATION: lambda: [names.tanks.get(key_in(p, "tank"), ""), p["text"]],
        EntryKind.FIELD: lambda: [p.get("value", "")],
        EntryKind.NEXT_VISIT: lambda: [date_format(parse_date(p["date"]) or entry.at, "l j F")],
        EntryKind.CORRECTION: lambda: [_("taken back") if p.get("withdraw") else str(p.get("value", "")), back_words(p["why"])],
        EntryKind.BACK_ON: lambda: [_("all on") if not p.get("left") else _("%(n)s stay off") % {"n": len(p["left"])}],
    }  # fmt: skip
    return said.get(entry.kind, list)()


def told(entries: Iterable[Entry]) -> list[Told]:
    """What each entry says, in the order of the journal."""
    rows = list(entries)
    names = _Names(rows)
    return [
        Told(
            kind=capfirst(str(entry.get_kind_display())),
            text=": ".join(part for part in map(str, _said(entry, names)) if part),
            at=entry.at,
            by=entry.author.name,
            entry=entry.pk,
            gone=back_words(why),
            may_go=entry.kind in TAKEN_BACK and not why,
        )
        for entry in rows
        for why in [getattr(entry, "gone", None) or ""]
    ]
