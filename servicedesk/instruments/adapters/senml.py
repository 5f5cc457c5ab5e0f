"""SenML in JSON and CBOR (RFC 8428): an array of records with base values, resolved into single measurements and signs.

Resolved as section 4.6 says: base name, base time, base unit and base value apply to the records that follow; a time
below 2**28 is relative to when the pack came (section 4.5.3). Text and booleans (vs, vb) are signs: what a device says of
itself. CBOR has numbers for the labels (section 6, table 4). A record that is not sound is kept with its reason."""

from datetime import UTC, datetime, timedelta
from typing import Any

from servicedesk.instruments.adapters.records import MOST_RECORDS, NotRead, Record
from servicedesk.web.parsers import strict_cbor, strict_json

RELATIVE_BELOW = 2**28
UNITS = {"Cel": "C", "K": "K", "pH": "pH", "mS/cm": "mS/cm", "S/m": "S/m", "mV": "mV", "V": "V"}
LABELS = {"bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"}
CBOR_LABELS = {-1: "bver", -2: "bn", -3: "bt", -4: "bu", -5: "bv", -6: "bs", 0: "n", 1: "u", 2: "v", 3: "vs", 4: "vb", 5: "s", 6: "t", 7: "ut", 8: "vd"}  # fmt: skip
QUIET = {"", "ok", "off", "no", "none", "0", "false", "normal", "good"}
"""Texts of a sign that say that nothing is the matter (common practice)."""


def _number(record: dict[str, Any], label: str, default: float = 0.0) -> float:
    value = record.get(label, default)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"“{label}” is not a number.")
    return float(value)


def _text(record: dict[str, Any], label: str) -> str:
    value = record.get(label, "")
    if not isinstance(value, str) or len(value) > 100:
        raise ValueError(f"“{label}” is not a short text.")
    return value


def _time(seconds: float, received_at: datetime) -> datetime:
    if seconds < RELATIVE_BELOW:
        return received_at + timedelta(seconds=seconds)
    return datetime.fromtimestamp(seconds, UTC)


class _Bases:
    def __init__(self) -> None:
        self.name, self.time, self.unit, self.value = "", 0.0, "", 0.0

    def take(self, record: dict[str, Any]) -> None:
        self.name = _text(record, "bn") if "bn" in record else self.name
        self.time = _number(record, "bt") if "bt" in record else self.time
        self.unit = _text(record, "bu") if "bu" in record else self.unit
        self.value = _number(record, "bv") if "bv" in record else self.value


def _resolve(index: int, record: Any, bases: _Bases, received_at: datetime) -> Record | None:
    if not isinstance(record, dict):
        return Record(index, "", "", None, None, "A record is an object.")
    try:
        bases.take(record)
        must = next((label for label in record if label.endswith("_") and label not in LABELS), None)
        if must is not None:
            raise ValueError(f"“{must}” must be understood and is not.")
        if not {"v", "vs", "vb", "vd", "s", "n"} & set(record):
            return None
        name = bases.name + _text(record, "n")
        seconds = bases.time + _number(record, "t")
        at, dated = _time(seconds, received_at), seconds >= RELATIVE_BELOW
        if "v" not in record:
            says, on = _sign(record)
            return Record(index, name, "", None, at, dated=dated, says=says, on=on)
        unit = _text(record, "u") or bases.unit
        value = bases.value + _number(record, "v")
    except (ValueError, OverflowError, OSError) as wrong:
        return Record(index, "", "", None, None, str(wrong)[:200] or "A time cannot be read.")
    return Record(index, name, UNITS.get(unit, unit), value, at, dated=dated)


def _sign(record: dict[str, Any]) -> tuple[str, bool]:
    """What a device says of itself: its text, and whether that is so."""
    if isinstance(record.get("vb"), bool):
        return ("yes" if record["vb"] else "no"), record["vb"]
    if "vs" in record:
        text = _text(record, "vs")
        return text, text.strip().lower() not in QUIET
    raise ValueError("It carries no number (“v”).")


def parse(body: bytes, *, received_at: datetime) -> list[Record]:
    """All records of a pack in JSON, resolved. Raises NotRead, or ParseError for what is not strict JSON."""
    return _all(strict_json(body), received_at)


def parse_cbor(body: bytes, *, received_at: datetime) -> list[Record]:
    """The same of a pack in CBOR. Raises NotRead, or ParseError for what is not strict CBOR."""
    pack = strict_cbor(body)
    if isinstance(pack, list):
        pack = [_named(record) if isinstance(record, dict) else record for record in pack]
    return _all(pack, received_at)


def _named(record: dict[Any, Any]) -> dict[str, Any]:
    """A record with the names of its labels; one that is none of them keeps its own as text."""
    return {
        CBOR_LABELS.get(label, str(label)) if isinstance(label, int) else str(label): value
        for label, value in record.items()
    }


def _all(pack: Any, received_at: datetime) -> list[Record]:
    if not isinstance(pack, list) or not pack:
        raise NotRead("A SenML pack is an array of one or more records.")
    if len(pack) > MOST_RECORDS:
        raise NotRead(f"A pack holds at most {MOST_RECORDS} records. Send it in parts.")
    bases = _Bases()
    resolved = (_resolve(index, record, bases, received_at) for index, record in enumerate(pack))
    return [record for record in resolved if record is not None]
