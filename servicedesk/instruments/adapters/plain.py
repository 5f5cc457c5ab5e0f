"""Plain JSON for whoever cannot write SenML: {"readings": [{"name": …, "value": …, "unit": …, "at": …}, …]}, or the list alone.

`at` is ISO 8601 with its offset from UTC; without it the value is of now. A sign, what a device says of itself, has "on" (true or false)
or "says" (a text) in place of "value". A relay says with "instrument" whose it is. Nothing else is read; a record that is not sound is kept with its reason."""

from datetime import UTC, datetime
from typing import Any

from servicedesk.instruments.adapters.records import MOST_RECORDS, NotRead, Record
from servicedesk.instruments.adapters.senml import QUIET, UNITS
from servicedesk.web.parsers import strict_json

KNOWN = {"name", "value", "unit", "at", "on", "says", "instrument"}
LONGEST = 100


def moment_of(text: Any, received_at: datetime) -> tuple[datetime, bool]:
    """A moment as it was written, and whether it was. Raises ValueError in words."""
    if text is None or text == "":
        return received_at, False
    if not isinstance(text, str) or len(text) > LONGEST:
        raise ValueError("“at” is not a time.")
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError("“at” is not a time: write it as 2026-03-01T08:30:00+01:00.") from None
    if at.tzinfo is None:
        raise ValueError("“at” does not say its offset from UTC.")
    return at.astimezone(UTC), True


def _text(row: dict[str, Any], name: str) -> str:
    value = row.get(name, "")
    if not isinstance(value, str) or len(value) > LONGEST:
        raise ValueError(f"“{name}” is not a short text.")
    return value


def _record(index: int, row: Any, received_at: datetime) -> Record:
    try:
        if not isinstance(row, dict):
            raise ValueError("A reading is an object.")
        strange = sorted(set(row) - KNOWN)
        if strange:
            raise ValueError(f"“{strange[0][:40]}” is not known.")
        name, unit, whose = _text(row, "name"), _text(row, "unit"), _text(row, "instrument")
        at, dated = moment_of(row.get("at"), received_at)
        if "value" not in row and ("on" in row or "says" in row):
            says = _text(row, "says")
            on = row.get("on", says.strip().lower() not in QUIET)
            if not isinstance(on, bool):
                raise ValueError("“on” is true or false.")
            says = says or ("yes" if on else "no")
            return Record(index, name, "", None, at, dated=dated, says=says, on=on, instrument=whose)
        value = row.get("value")
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ValueError("“value” is not a number.")
    except (ValueError, OverflowError) as wrong:
        return Record(index, "", "", None, None, str(wrong)[:200])
    return Record(index, name, UNITS.get(unit, unit), float(value), at, dated=dated, instrument=whose)


def parse(body: bytes, *, received_at: datetime) -> list[Record]:
    """All records. Raises NotRead, or ParseError for what is not strict JSON."""
    rows = strict_json(body)
    if isinstance(rows, dict):
        strange = sorted(set(rows) - {"readings"})
        if strange:
            raise NotRead(f"“{strange[0][:40]}” is not known: readings stand under “readings”.")
        rows = rows.get("readings")
    if not isinstance(rows, list) or not rows:
        raise NotRead("There is no reading in it: “readings” is a list of one or more.")
    if len(rows) > MOST_RECORDS:
        raise NotRead(f"It holds more than {MOST_RECORDS} readings. Send it in parts.")
    return [_record(index, row, received_at) for index, row in enumerate(rows)]
