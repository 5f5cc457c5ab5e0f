"""SenML in JSON (RFC 8428): an array of records with base values, resolved into single measurements.

Resolved as section 4.6 says: base name, base time, base unit and base value apply to the records that follow; a time
below 2**28 is relative to when the pack came (section 4.5.3). A record that is not sound is kept with its reason."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from servicedesk.web.parsers import strict_json

RELATIVE_BELOW = 2**28
UNITS = {"Cel": "C", "K": "K", "pH": "pH", "mS/cm": "mS/cm", "S/m": "S/m", "mV": "mV", "V": "V"}
LABELS = {"bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"}
MOST_RECORDS = 1000


class NotSenML(ValueError):
    """The body is not a SenML pack; the sentence says why."""


@dataclass(frozen=True)
class Record:
    """One resolved measurement, or the reason why it is none. `at` is aware UTC; `unit` "" when not sent; `dated` says
    that the pack itself told the time, and not only how long before its coming."""

    index: int
    name: str
    unit: str
    value: float | None
    at: datetime | None
    wrong: str = ""
    dated: bool = False


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
        if "v" not in record:
            raise ValueError("It carries no number (“v”).")
        unit = _text(record, "u") or bases.unit
        value = bases.value + _number(record, "v")
        seconds = bases.time + _number(record, "t")
        at = _time(seconds, received_at)
    except (ValueError, OverflowError, OSError) as wrong:
        return Record(index, "", "", None, None, str(wrong)[:200] or "A time cannot be read.")
    return Record(index, name, UNITS.get(unit, unit), value, at, dated=seconds >= RELATIVE_BELOW)


def parse(body: bytes, *, received_at: datetime) -> list[Record]:
    """All records of a pack, resolved. Raises NotSenML, or ParseError for what is not strict JSON."""
    pack = strict_json(body)
    if not isinstance(pack, list) or not pack:
        raise NotSenML("A SenML pack is an array of one or more records.")
    if len(pack) > MOST_RECORDS:
        raise NotSenML(f"A pack holds at most {MOST_RECORDS} records. Send it in parts.")
    bases = _Bases()
    resolved = (_resolve(index, record, bases, received_at) for index, record in enumerate(pack))
    return [record for record in resolved if record is not None]
