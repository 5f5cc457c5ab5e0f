"""What any door makes of a body: records, each one value, one sign, or the reason why it is neither."""

from dataclasses import dataclass
from datetime import datetime

MOST_RECORDS = 1000


class NotRead(ValueError):
    """The body as a whole cannot be read; the sentence says why."""


@dataclass(frozen=True)
class Record:
    """One resolved record. A measurement has a `value`; a sign (a device's own word about itself) has `says`, its text, and `on`,
    whether that is so, and no value. `at` is aware UTC; `unit` "" when not sent; `dated` says that the body itself told the time, and
    not only how long before its coming; `shown` that it was read off a display, which shows a value even where the line sends volts;
    `wrong` says why it is neither. `instrument` is whose it is, where the body says so beside the name."""

    index: int
    name: str
    unit: str
    value: float | None
    at: datetime | None
    wrong: str = ""
    dated: bool = False
    says: str | None = None
    on: bool = True
    shown: bool = False
    instrument: str = ""
