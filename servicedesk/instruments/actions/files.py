"""Files as deliveries: uploaded by a person, or found in the inbox, a folder for each instrument by its name on the broker.

What was taken in is moved to `taken`, what could not be read to `refused`, beside a text with the reason: nothing is removed."""

import os
import time
from datetime import datetime
from pathlib import Path

from rest_framework.exceptions import ParseError

from servicedesk.instruments.actions.deliveries import PLAIN, SENML, SENML_CBOR, TABLE, receive
from servicedesk.instruments.adapters.records import NotRead
from servicedesk.instruments.models import Delivery, Instrument

TONGUES = {".csv": TABLE, ".txt": TABLE, ".tsv": TABLE, ".json": PLAIN, ".senml": SENML, ".cbor": SENML_CBOR, ".senmlc": SENML_CBOR}  # fmt: skip
LARGEST = 4 * 1024 * 1024
SETTLED_S = 5.0
"""A file that was written to a moment ago is still being written."""
MOST_AT_ONCE = 200
ROWS_AT_ONCE = 900
TAKEN, REFUSED = "taken", "refused"


def parts_of(body: bytes) -> list[bytes]:
    """A long table in parts, each with its first line; anything else whole."""
    lines = body.splitlines(keepends=True)
    if len(lines) <= ROWS_AT_ONCE + 1:
        return [body]
    head, rest = lines[0], lines[1:]
    return [head + b"".join(rest[n : n + ROWS_AT_ONCE]) for n in range(0, len(rest), ROWS_AT_ONCE)]


def take_file(
    *, instrument: Instrument, name: str, body: bytes, at: datetime, history: bool = False
) -> list[Delivery]:
    """Take in a file by the end of its name; the deliveries it made. Raises NotRead or ParseError in words: then of a table in parts the
    parts before are taken in, and the same file again finds them there already."""
    if len(body) > LARGEST:
        raise NotRead("A file holds at most 4 MB. Send it in parts.")
    tongue = TONGUES.get(Path(name).suffix.lower())
    if tongue is None:
        raise NotRead(f"Files end in one of these: {', '.join(TONGUES)}.")
    if tongue == PLAIN and body.lstrip()[:1] == b"[" and b'"n"' in body[:400]:
        tongue = SENML
    found = []
    for part in parts_of(body) if tongue == TABLE else [body]:
        delivery, _new = receive(instrument=instrument, body=part, at=at, media_type=tongue, history=history)
        assert delivery is not None  # nothing was kept for later here
        found.append(delivery)
    return found


def empty_inbox(*, folder: Path, at: datetime) -> dict[str, int]:
    """Take in what lies in the inbox; how many files were taken, and how many refused."""
    counts = {TAKEN: 0, REFUSED: 0}
    if not folder.is_dir():
        return counts
    names = {row.mqtt_name: row for row in _named()}
    for place in sorted(path for path in folder.iterdir() if path.is_dir()):
        instrument = names.get(place.name)
        if instrument is None:
            continue
        for path in _waiting(place):
            counts[_take(instrument, place, path, at)] += 1
    return counts


def _named() -> list[Instrument]:
    rows = Instrument.objects.exclude(mqtt_name="").filter(equipment__retired_on__isnull=True)
    return list(rows.select_related("equipment", "tank"))


def _waiting(place: Path) -> list[Path]:
    """Whole files that lie there, oldest name first; links and what begins with a dot are left alone."""
    before = time.time() - SETTLED_S
    found = [
        path
        for path in place.iterdir()
        if path.is_file() and not path.is_symlink() and not path.name.startswith(".")
    ]
    return sorted(path for path in found if path.stat().st_mtime <= before)[:MOST_AT_ONCE]


def _take(instrument: Instrument, place: Path, path: Path, at: datetime) -> str:
    try:
        if path.stat().st_size > LARGEST:
            raise NotRead("A file holds at most 4 MB. Send it in parts.")
        take_file(instrument=instrument, name=path.name, body=path.read_bytes(), at=at)
    except (NotRead, ParseError) as wrong:
        reason = str(wrong.detail) if isinstance(wrong, ParseError) else str(wrong)
        moved = _move(path, place / REFUSED, at)
        moved.with_name(f"{moved.name}.why.txt").write_text(f"{reason}\n", encoding="utf-8")
        return REFUSED
    _move(path, place / TAKEN, at)
    return TAKEN


def _move(path: Path, to: Path, at: datetime) -> Path:
    """Out of the way, under a name that nothing has."""
    to.mkdir(exist_ok=True)
    goal = to / f"{at:%Y%m%dT%H%M%S}-{path.name}"
    number = 0
    while goal.exists():
        number += 1
        goal = to / f"{at:%Y%m%dT%H%M%S}-{number}-{path.name}"
    os.replace(path, goal)
    return goal
