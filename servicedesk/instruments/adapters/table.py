"""Tables as text (RFC 4180, also with semicolons or tabs): one reading a row, or one column a reading.

With a column “name” and one “value” each row is a reading (“at”, “unit” beside it); else “at” and a column for each name. With a column
“instrument” a relay says whose the row is. `at` is ISO
8601 with its offset from UTC. Where semicolons or tabs part the columns a comma may stand for the decimal point. A row that is not sound
is kept with its reason."""

import csv
import io
import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime

from servicedesk.instruments.adapters.plain import moment_of
from servicedesk.instruments.adapters.records import MOST_RECORDS, NotRead, Record
from servicedesk.instruments.adapters.senml import UNITS

LONGEST_CELL, MOST_COLUMNS = 100, 60
PARTS = ";\t,"
NO_VALUE = ("at", "instrument")


def _rows(body: bytes) -> tuple[list[str], Iterator[list[str]], bool]:
    """Heads, rows, and whether a comma may be a decimal point. Raises NotRead."""
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise NotRead("The table is not UTF-8 text.") from None
    if "\x00" in text:
        raise NotRead("The table holds a sign that cannot be stored.")
    first = text.split("\n", 1)[0]
    part = max(PARTS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=part)
    try:
        heads = [head.strip().lower()[:LONGEST_CELL] for head in next(reader, [])]
    except csv.Error:
        raise NotRead("The first line of the table cannot be read.") from None
    if len(heads) < 2 or len(heads) > MOST_COLUMNS or "at" not in heads or len(set(heads)) != len(heads):
        raise NotRead("The first line names the columns, each once, and “at” among them.")
    return heads, reader, part != ","


def _number(text: str, comma: bool) -> float:
    typed = text.strip()
    if comma and "." not in typed:
        typed = typed.replace(",", ".", 1)
    if not typed.isascii() or "_" in typed or len(typed) > 40:
        raise ValueError(f"“{text[:20]}” is not a number.")
    try:
        value = float(typed)
    except ValueError:
        raise ValueError(f"“{text[:20]}” is not a number.") from None
    if not math.isfinite(value):
        raise ValueError(f"“{text[:20]}” is not a number.")
    return value


def parse(body: bytes, *, received_at: datetime) -> list[Record]:
    """All records of a table, numbered from 0 in its order. Raises NotRead."""
    heads, reader, comma = _rows(body)
    long = {"name", "value"} <= set(heads)
    found: list[Record] = []
    try:
        for row in reader:
            if not any(cell.strip() for cell in row):
                continue
            cells = dict(zip(heads, row, strict=False))
            names = [cells.get("name", "")] if long else [head for head in heads if head not in NO_VALUE]
            for name in names:
                text = cells.get("value" if long else name, "")
                if not long and not text.strip():
                    continue
                unit = cells.get("unit", "") if long else ""
                record = _record(len(found), name, text, unit, cells.get("at", ""), comma, received_at)
                whose = cells.get("instrument", "").strip()[:LONGEST_CELL]
                found.append(replace(record, instrument=whose) if whose else record)
            if len(found) > MOST_RECORDS:
                raise NotRead(f"A table holds at most {MOST_RECORDS} readings. Send it in parts.")
    except csv.Error:
        raise NotRead(f"Line {reader.line_num} of the table cannot be read.") from None  # type: ignore[attr-defined]
    if not found:
        raise NotRead("The table holds no reading.")
    return found


def _record(
    index: int, name: str, text: str, unit: str, at: str, comma: bool, received_at: datetime
) -> Record:
    try:
        if len(name) > LONGEST_CELL or len(unit) > LONGEST_CELL:
            raise ValueError("A name or a unit is too long.")
        value = _number(text, comma)
        when, dated = moment_of(at.strip(), received_at)
        if not dated:
            raise ValueError("The row has no time.")
    except (ValueError, OverflowError) as wrong:
        return Record(index, "", "", None, None, str(wrong)[:200])
    unit = unit.strip()
    return Record(index, name.strip(), UNITS.get(unit, unit), value, when, dated=True)
