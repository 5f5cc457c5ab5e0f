"""What is sent to a browser that asked for alarms: sealed for that browser, signed by this installation. Plain functions; nothing is sent here.

Sources: RFC 8030 (HTTP push: TTL, Urgency, Topic), RFC 8188 (the coding aes128gcm), RFC 8291 (keys from the browser's subscription), RFC 8292
(the signed word by which a push service knows who sends)."""

import base64
import binascii
import json
import re
import secrets
import uuid
from collections.abc import Mapping
from datetime import datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Any
from urllib.parse import urlsplit

from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from servicedesk.web.posting import NotUsable

SALT, AUTH, POINT, SCALAR = 16, 16, 65, 32
"""Octets of a salt (RFC 8188), of a browser's secret (RFC 8291), of a point of P-256 uncompressed, of its private key."""
RECORD = 4096
"""Octets of the one record: what a push service must take (RFC 8030, 7.2; RFC 8291, 4)."""
LAST = b"\x02"
LONGEST = RECORD - (SALT + 4 + 1 + POINT) - len(LAST) - 16
"""Octets that fit into one message (RFC 8291, 4): 3993."""
TTL = {True: timedelta(hours=4), False: timedelta(hours=24)}
"""How long a push service keeps it for a browser that is away: what cannot wait is old after hours (common practice)."""
SIGNED_FOR = timedelta(hours=12)
"""A signed word ends within a day (RFC 8292, 2)."""
TITLE, LINE = 120, 240
"""Most signs of what is shown."""


def text_of(data: bytes) -> str:
    """Base64 for addresses, without padding (RFC 7515, 2)."""
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def bytes_of(text: str, length: int) -> bytes:
    """The octets that such a text holds, so many. Raises NotUsable."""
    if not re.fullmatch(r"[A-Za-z0-9_-]+", text):
        raise NotUsable("This key holds signs that no key has.")
    try:
        found = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except (binascii.Error, ValueError):
        raise NotUsable("This key is cut off.") from None
    if len(found) != length:
        raise NotUsable(f"This key has {len(found)} octets, not {length}.")
    return found


def point_of(text: str) -> ec.EllipticCurvePublicKey:
    """A browser's public key (`p256dh`). Raises NotUsable where it is no point of P-256."""
    try:
        return ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), bytes_of(text, POINT))
    except ValueError:
        raise NotUsable("This key is no point of the curve P-256.") from None


def key_of(text: str) -> ec.EllipticCurvePrivateKey:
    """This installation's own key. Raises NotUsable."""
    try:
        return ec.derive_private_key(int.from_bytes(bytes_of(text, SCALAR), "big"), ec.SECP256R1())
    except ValueError:
        raise NotUsable("This key is none of the curve P-256.") from None


def public_of(key: ec.EllipticCurvePrivateKey) -> bytes:
    """The public half as a point uncompressed, 65 octets."""
    return key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


def coded(plain: bytes, *, secret: bytes, salt: bytes, key_id: bytes, record: int = RECORD) -> bytes:
    """The coding aes128gcm with one record (RFC 8188, 2). `secret` is the input keying material."""
    room = record - len(LAST) - 16
    if len(plain) > room:
        raise NotUsable(f"It has {len(plain)} octets, and {room} fit into one record.")
    content_key = HKDF(hashes.SHA256(), 16, salt, b"Content-Encoding: aes128gcm\x00").derive(secret)
    nonce = HKDF(hashes.SHA256(), 12, salt, b"Content-Encoding: nonce\x00").derive(secret)
    head = salt + record.to_bytes(4, "big") + bytes([len(key_id)]) + key_id
    return head + AESGCM(content_key).encrypt(nonce, plain + LAST, None)


def sealed(
    plain: bytes,
    *,
    p256dh: str,
    auth: str,
    once: ec.EllipticCurvePrivateKey | None = None,
    salt: bytes | None = None,
) -> bytes:
    """Sealed so that only that browser opens it (RFC 8291, 3). `once` and `salt` are new for each message; only the published example
    gives them."""
    if len(plain) > LONGEST:
        raise NotUsable(f"It has {len(plain)} octets, and {LONGEST} fit into one message.")
    theirs = point_of(p256dh)
    ours = once or ec.generate_private_key(ec.SECP256R1())
    their_point = theirs.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    shared = ours.exchange(ec.ECDH(), theirs)
    info = b"WebPush: info\x00" + their_point + public_of(ours)
    secret = HKDF(hashes.SHA256(), 32, bytes_of(auth, AUTH), info).derive(shared)
    return coded(plain, secret=secret, salt=salt or secrets.token_bytes(SALT), key_id=public_of(ours))


def origin_of(endpoint: str) -> str:
    """Scheme, host and a port that is not the usual one (RFC 6454, 6.2)."""
    parts = urlsplit(endpoint)
    host = f"[{parts.hostname}]" if ":" in (parts.hostname or "") else parts.hostname
    return f"https://{host}" + ("" if parts.port in (None, 443) else f":{parts.port}")


def signed_word(endpoint: str, *, key: ec.EllipticCurvePrivateKey, contact: str, at: datetime) -> str:
    """The header Authorization (RFC 8292, 2 and 3): for the push service's origin, until in twelve hours, whom it may write to."""
    claims = {
        "aud": origin_of(endpoint),
        "exp": int((at + SIGNED_FOR).timestamp()),
        "sub": contact,
    }
    said = ".".join(
        text_of(json.dumps(part, separators=(",", ":")).encode())
        for part in ({"typ": "JWT", "alg": "ES256"}, claims)
    )
    r, s = decode_dss_signature(key.sign(said.encode(), ec.ECDSA(hashes.SHA256())))
    mark = text_of(r.to_bytes(SCALAR, "big") + s.to_bytes(SCALAR, "big"))
    return f"vapid t={said}.{mark}, k={text_of(public_of(key))}"


def words_of(*, title: str, line: str, link: str, message: uuid.UUID, urgent: bool) -> bytes:
    """What the browser shows: a title, one line, where it leads, and the id under which a second one takes the first one's place."""
    said: dict[str, Any] = {
        "title": title[:TITLE],
        "line": line[:LINE],
        "link": link,
        "id": str(message),
        "urgent": urgent,
    }
    return json.dumps(said, ensure_ascii=False, separators=(",", ":")).encode()


def headers_of(*, message: uuid.UUID, urgent: bool, left: timedelta) -> dict[str, str]:
    """TTL in whole seconds, Urgency and Topic (RFC 8030, 5.2 to 5.4). The topic is the message's own, so that one sent again replaces the one
    that still waits at the push service."""
    return {
        "Content-Type": "application/octet-stream",
        "Content-Encoding": "aes128gcm",
        "TTL": str(int(left.total_seconds())),
        "Urgency": "high" if urgent else "normal",
        "Topic": text_of(message.bytes),
    }


def wait_of(headers: Mapping[str, str], *, at: datetime) -> timedelta | None:
    """For how long an answer asks to wait: Retry-After in seconds or as a date (RFC 9110, 10.2.3). None where it does not say."""
    said = headers.get("retry-after", "").strip()
    if re.fullmatch(r"[0-9]{1,9}", said):
        return timedelta(seconds=int(said))
    try:
        return max(timedelta(0), parsedate_to_datetime(said) - at)
    except (TypeError, ValueError):  # no date, or one without its zone
        return None
