"""Values picked out of any JSON by a mapping that a person wrote: a line each, `name = path`, with a unit after it where it has one.

A path is names and numbers of places with dots between (`data.tanks.0.kh`). One line may name the time: `at = path` (ISO 8601 with its
offset, or seconds since 1970)."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from servicedesk.instruments.adapters.plain import moment_of
from servicedesk.instruments.adapters.records import NotRead, Record
from servicedesk.instruments.adapters.senml import UNITS
from servicedesk.web.parsers import strict_json

MOST_LINES, LONGEST = 60, 120
TIME = "at"
FIRST_SECOND = 2**28


@dataclass(frozen=True)
class Pick:
    """One value: the name it goes by here, where it stands, its unit."""

    name: str
    path: tuple[str, ...]
    unit: str = ""


def read_mapping(text: str) -> list[Pick]:
    """The lines of a mapping. Raises NotRead, naming the line."""
    found: list[Pick] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        name, equals, rest = (part.strip() for part in line.partition("="))
        words = rest.split()
        if not equals or not name or not words or len(words) > 2 or len(line) > LONGEST:
            raise NotRead(f"Line {number} is read as “name = path unit”: “{line.strip()[:40]}” is not.")
        if any(pick.name == name for pick in found):
            raise NotRead(f"Line {number} names “{name[:40]}” a second time.")
        found.append(Pick(name, tuple(words[0].split(".")), words[1] if len(words) > 1 else ""))
    if not [pick for pick in found if pick.name != TIME]:
        raise NotRead("A mapping names one value at least: “alk = data.kh dKH”.")
    if len(found) > MOST_LINES:
        raise NotRead(f"A mapping holds at most {MOST_LINES} lines.")
    return found


def at_path(value: Any, path: Sequence[str]) -> Any:
    """What stands at a path. Raises ValueError naming the first step that is not there."""
    for step in path:
        if isinstance(value, dict) and step in value:
            value = value[step]
        elif (
            isinstance(value, list)
            and step.isascii()
            and step.isdigit()
            and len(step) < 6
            and int(step) < len(value)
        ):
            value = value[int(step)]
        else:
            raise ValueError(f"“{step[:40]}” of “{'.'.join(path)[:80]}” is not there.")
    return value


def _number(value: Any) -> float:
    if isinstance(value, str):
        try:
            value = float(value.strip()) if value.isascii() and "_" not in value else None
        except ValueError:
            value = None
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e300:
        raise ValueError("What stands there is not a number.")
    return float(value)


def _moment(value: Any, received_at: datetime) -> tuple[datetime, bool]:
    if isinstance(value, int | float) and not isinstance(value, bool) and value >= FIRST_SECOND:
        return datetime.fromtimestamp(value, UTC), True
    return moment_of(value, received_at)


def parse(body: bytes, mapping: Sequence[Pick], *, received_at: datetime) -> list[Record]:
    """A record for each line of the mapping. Raises ParseError for what is not strict JSON."""
    whole = strict_json(body)
    at, dated, wrong = received_at, False, ""
    for pick in mapping:
        if pick.name == TIME:
            try:
                at, dated = _moment(at_path(whole, pick.path), received_at)
            except (ValueError, OverflowError, OSError) as said:
                wrong = str(said)[:200] or "The time cannot be read."
    found = []
    for index, pick in enumerate(p for p in mapping if p.name != TIME):
        try:
            if wrong:
                raise ValueError(wrong)
            value = _number(at_path(whole, pick.path))
        except ValueError as said:
            found.append(Record(index, pick.name, pick.unit, None, None, str(said)))
        else:
            found.append(Record(index, pick.name, UNITS.get(pick.unit, pick.unit), value, at, dated=dated))
    return found
