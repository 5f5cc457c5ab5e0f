"""Merging two copies of a visit sheet: for a single field the later entry wins and the others are kept.

Later means the larger (corrected time, entry id); so either order of arrival gives the same sheet."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID


@dataclass(frozen=True)
class FieldEntry:
    """Somebody put a value into a field at a corrected time."""

    name: str
    value: str
    entered_at: datetime
    entry_id: UUID


@dataclass(frozen=True)
class FieldState:
    """The value that stands, by which entry, and the entries that differ from it, newest first."""

    value: str
    entry_id: UUID
    others: tuple[FieldEntry, ...]


def winner(entries: Iterable[FieldEntry]) -> dict[str, FieldState]:
    """The standing value of every field."""
    by_name: dict[str, dict[UUID, FieldEntry]] = {}
    for entry in entries:
        by_name.setdefault(entry.name, {})[entry.entry_id] = entry
    sheet = {}
    for name in sorted(by_name):
        ordered = sorted(by_name[name].values(), key=lambda e: (e.entered_at, e.entry_id), reverse=True)
        first = ordered[0]
        others = tuple(e for e in ordered[1:] if e.value != first.value)
        sheet[name] = FieldState(value=first.value, entry_id=first.entry_id, others=others)
    return sheet
