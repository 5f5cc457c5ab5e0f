"""Asking an address that a person typed, or handing it something, shut in: only hosts that are allowed, no private address unless that is set, no redirects, a few
seconds, half a megabyte. The address that was checked is the one that is connected to."""

import http.client
import ipaddress
import socket
import ssl
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings

TIMEOUT_S, LARGEST = 10.0, 512 * 1024
FINE = 200


PASSING = {408, 425, 429}
SERVER_SIDE = 500


class NotFetched(Exception):
    """It was not asked, or did not answer as it should; the sentence says why. `status` is what it answered, `passing` whether it may be
    otherwise in a while."""

    def __init__(self, words: str, *, status: int | None = None, passing: bool = False) -> None:
        super().__init__(words)
        self.status, self.passing = status, passing


def checked(url: str) -> tuple[str, int, str, bool, str]:
    """Host, port, path, whether TLS, and the address to connect to. Raises NotFetched."""
    try:
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        raise NotFetched("This is not an address.") from None
    if parts.scheme not in ("http", "https") or not host or parts.username or parts.password:
        raise NotFetched("An address begins with http:// or https:// and names no user.")
    if host.lower() not in settings.PULL_HOSTS:
        raise NotFetched(f"“{host[:80]}” is not among the hosts that may be asked (TANKROUND_PULL_HOSTS).")
    secure = parts.scheme == "https"
    port = port or (443 if secure else 80)
    try:
        known = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise NotFetched(f"“{host[:80]}” has no address.", passing=True) from None
    addresses = [str(entry[4][0]) for entry in known]
    if not settings.PULL_PRIVATE:
        for text in addresses:
            if not ipaddress.ip_address(text.split("%")[0]).is_global:
                raise NotFetched(
                    f"“{host[:80]}” is a private address, and those are not asked (TANKROUND_PULL_PRIVATE)."
                )
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    if any(sign <= " " or sign > "~" for sign in path):
        raise NotFetched("The address holds a sign that an address cannot have.")
    return host, port, path, secure, addresses[0]


def fetch(url: str, *, headers: Mapping[str, str] | None = None) -> bytes:
    """The body that an address answers with. Raises NotFetched in words."""
    return _exchange("GET", url, None, {"Accept": "application/json, text/csv", **(headers or {})}, {FINE})


def hand_over(url: str, body: bytes, *, headers: Mapping[str, str]) -> None:
    """POST a body to an address, which answers that it took it (200 to 299). Raises NotFetched in words."""
    _exchange("POST", url, body, headers, set(range(FINE, 300)))


def _exchange(
    method: str, url: str, given: bytes | None, headers: Mapping[str, str], fine: set[int]
) -> bytes:
    host, port, path, secure, address = checked(url)

    def connect(_where: Any, timeout: Any = TIMEOUT_S, _source: Any = None) -> socket.socket:
        return socket.create_connection((address, port), TIMEOUT_S)

    line: http.client.HTTPConnection
    if secure:
        line = http.client.HTTPSConnection(
            host, port, timeout=TIMEOUT_S, context=ssl.create_default_context()
        )
    else:
        line = http.client.HTTPConnection(host, port, timeout=TIMEOUT_S)
    line._create_connection = connect  # type: ignore[attr-defined]  # the address that was checked, and no other
    try:
        line.request(method, path, body=given, headers={"User-Agent": "Tankround", **headers})
        answer = line.getresponse()
        if answer.status not in fine:
            later = answer.status in PASSING or answer.status >= SERVER_SIDE
            words = f"It answered {answer.status}; redirects are not followed."
            raise NotFetched(words, status=answer.status, passing=later)
        body = answer.read(LARGEST + 1)
    except (OSError, http.client.HTTPException, ValueError) as wrong:
        raise NotFetched(f"It did not answer: {type(wrong).__name__}.", passing=True) from wrong
    finally:
        line.close()
    if len(body) > LARGEST:
        raise NotFetched("It answered with more than half a megabyte.")
    return body
