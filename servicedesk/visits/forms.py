"""A drawn form as a journal entry: the same wire form that a tablet sends, with the id drawn into the page."""

import uuid
from datetime import datetime
from typing import Any

from django.http import QueryDict

WHOLE = {"seq"}
TICKS = {"alarm", "dispute", "internal", "withdraw", "given", "carbon", "uv"}


class Fresh:
    """Draws a new id each time a template asks for it, so that sending a form twice is one entry."""

    def __str__(self) -> str:
        return str(uuid.uuid4())


def _payload(posted: QueryDict) -> dict[str, Any]:
    payload: dict[str, Any] = {}
    for name in posted:
        if not name.startswith("p_"):
            continue
        key, value = name[2:], str(posted[name])
        if key in TICKS:
            payload[key] = value == "on"
        elif key in WHOLE and value.isascii() and value.isdigit():
            payload[key] = int(value)
        elif value.strip():
            payload[key] = value.replace("\r\n", "\n")
    return payload


def entry_from(posted: QueryDict, *, visit: uuid.UUID, at: datetime, zone: str) -> dict[str, Any]:
    """The wire form of what was posted: `entry` the drawn id, `kind`, and fields p_… as the payload."""
    return {
        "id": posted.get("entry", ""),
        "visit": str(visit),
        "kind": posted.get("kind", ""),
        "payload": _payload(posted),
        "tablet": "form",
        "seq": 0,
        "tablet_time": at.isoformat(),
        "zone": zone,
    }


def back_on_entry(
    posted: QueryDict, equipment: list[str], *, visit: uuid.UUID, at: datetime, zone: str
) -> dict[str, Any]:
    """The everything-back-on check: what is ticked is on, the rest is left with its reason."""
    entry = entry_from(posted, visit=visit, at=at, zone=zone)
    on = [key for key in equipment if posted.get(f"on_{key}") == "on"]
    left = [
        {"equipment": key, "reason": posted.get(f"why_{key}", "").strip()}
        for key in equipment
        if key not in on
    ]
    entry["payload"] = {"on": on, "left": left}
    return entry
