"""Letters with tables: which instrument a letter is for, and what is attached to it. Plain functions; nothing is fetched here.

An instrument's address is the mailbox's own with a tag, as RFC 5233 describes it: readings+TAG@example.org. The tag is a secret of
the instrument: whoever knows it may write its values, whatever stands under From."""

import email.policy
import re
from dataclasses import dataclass
from email import message_from_bytes

from servicedesk.instruments.adapters.records import NotRead

TAG = re.compile(r"\+([a-z2-7]{20})@", re.IGNORECASE)
HEADERS = ("To", "Cc", "Delivered-To", "X-Original-To", "Envelope-To")


@dataclass(frozen=True)
class Attached:
    """One attachment: its name and what is in it."""

    name: str
    body: bytes


@dataclass(frozen=True)
class Letter:
    """The tags of the addresses it went to, and what is attached."""

    tags: tuple[str, ...]
    attached: tuple[Attached, ...]


def read_letter(raw: bytes) -> Letter:
    """Read a letter (RFC 5322, MIME). Raises NotRead where it cannot be taken apart."""
    try:
        letter = message_from_bytes(raw, policy=email.policy.default)
        lines = [str(value) for name in HEADERS for value in letter.get_all(name, [])]
        found = [
            Attached(part.get_filename("") or "", body)
            for part in letter.walk()
            if part.get_filename() and isinstance(body := part.get_payload(decode=True), bytes)
        ]
    except Exception as wrong:  # noqa: BLE001  mangled headers make the library fail in every way, unbound names among them
        raise NotRead("The letter cannot be taken apart.") from wrong
    tags = dict.fromkeys(tag.lower() for line in lines for tag in TAG.findall(line))
    return Letter(tuple(tags), tuple(found))
