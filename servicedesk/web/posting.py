"""What is sent to a gateway: its template filled in, its line, its signature. Plain functions; nothing is sent here.

The signature is that of the Standard Webhooks specification 1.0: `webhook-id`, `webhook-timestamp` (Unix seconds) and
`webhook-signature`, "v1," and the base64 of HMAC-SHA256 over id.timestamp.body. The id stays the same when a message has to be sent
again, so that whoever receives it can leave out the second."""

import base64
import binascii
import hmac
import json
import re
from urllib.parse import quote_plus

from django.utils.translation import gettext as _

WORD = re.compile(r"\{(to|subject|text|id)\}")
JSON, FORM, TEXT = "application/json", "application/x-www-form-urlencoded", "text/plain; charset=utf-8"
PREFIX = "whsec_"
SHORTEST_KEY, LONGEST_KEY = 24, 64
"""Bytes of a signing key (Standard Webhooks 1.0)."""


class NotUsable(Exception):
    """A gateway cannot be used as it is written down; the sentence says why."""


def _escaped(words: str, body: str) -> str:
    if body == JSON:
        return json.dumps(words)[1:-1]
    return quote_plus(words) if body == FORM else words


def filled(template: str, body: str, words: dict[str, str]) -> bytes:
    """The body: each of {to}, {subject}, {text}, {id} is replaced once, so that no word can bring in another or leave its place."""
    return WORD.sub(lambda found: _escaped(words[found[1]], body), template).encode()


def check_template(template: str, body: str) -> None:
    """Raises NotUsable where nothing would be said, or where JSON would be none."""
    if not {"subject", "text"} & set(WORD.findall(template)):
        raise NotUsable(_("The template holds {subject} or {text}: otherwise nothing is said."))
    if body == JSON:
        sample = dict.fromkeys(("to", "subject", "text", "id"), 'a "word"\nand another')
        try:
            json.loads(filled(template, body, sample))
        except ValueError:
            raise NotUsable(
                _(
                    'Filled in, this is no JSON. The words stand in quotes: {"to": "{to}", "text": "{subject}"}'
                )
            ) from None


def header_of(line: str) -> dict[str, str]:
    """The line it wants, as a header; empty for none. Raises NotUsable."""
    if not line.strip():
        return {}
    name, colon, value = line.partition(":")
    if not colon or not re.fullmatch(r"[A-Za-z0-9-]+", name.strip()) or not value.strip():
        raise NotUsable(_("The line is a name, a colon and a value, as “X-Key: …”."))
    if any(not " " <= sign <= "~" for sign in value.strip()):
        raise NotUsable(_("The line holds a sign that a header cannot have."))
    return {name.strip(): value.strip()}


def key_of(text: str) -> bytes:
    """The bytes of a signing key; empty for none. Raises NotUsable."""
    if not text.strip():
        return b""
    try:
        key = base64.b64decode(text.strip().removeprefix(PREFIX), validate=True)
    except (binascii.Error, ValueError):
        raise NotUsable(_("A signing key is “whsec_” and base64.")) from None
    if not SHORTEST_KEY <= len(key) <= LONGEST_KEY:
        raise NotUsable(_("A signing key holds 24 to 64 bytes."))
    return key


def signed(*, key: bytes, message: str, seconds: int, body: bytes) -> dict[str, str]:
    """The three headers of Standard Webhooks 1.0; without a key the first two."""
    headers = {"webhook-id": message, "webhook-timestamp": str(seconds)}
    if key:
        mark = hmac.digest(key, f"{message}.{seconds}.".encode() + body, "sha256")
        headers["webhook-signature"] = f"v1,{base64.b64encode(mark).decode()}"
    return headers
