"""Asking an address that came from outside, or handing it something, shut in: only hosts that are allowed, no private address unless that is set, no redirects, a few
seconds, half a megabyte. The address that was checked is the one that is connected to."""

import http.client
import ipaddress
import socket
import ssl
import time
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings

TIMEOUT_S, LARGEST = 10.0, 512 * 1024
WHOLE_S = 30.0
"""So long a body may take altogether, however steadily it comes."""
FINE = 200
WORDS = 2000


PASSING = {408, 425, 429}
SERVER_SIDE = 500


class NotFetched(Exception):
    """It was not asked, or did not answer as it should; the sentence says why. `status` is what it answered, `passing` whether it may be
    otherwise in a while, `headers` what it said beside, by names in small letters, `body` the beginning of what it said."""

    def __init__(
        self,
        words: str,
        *,
        status: int | None = None,
        passing: bool = False,
        headers: Mapping[str, str] | None = None,
        body: bytes = b"",
    ) -> None:
        super().__init__(words)
        self.status, self.passing, self.headers, self.body = status, passing, headers or {}, body


@dataclass(frozen=True)
class Where:
    """Which addresses may be asked: `hosts` (None is any; “.example.net” is whatever is below it), `private` ones or those of the hosts
    `inside`, `plain` http beside https, `ports` (none named is any); the settings' names for the sentence."""

    hosts: Collection[str] | None
    private: bool
    plain: bool
    ports: Collection[int] = ()
    inside: Collection[str] = ()
    hosts_set_by: str = "TANKROUND_PULL_HOSTS"
    private_set_by: str = "TANKROUND_PULL_PRIVATE"


def pulled() -> Where:
    """Addresses that a person typed: devices that are asked, gateways."""
    return Where(settings.PULL_HOSTS, settings.PULL_PRIVATE, plain=True)


def pushed() -> Where:
    """Addresses that a browser named: push services. Only https; hosts that the installation names, and one named in full may be inside the
    house; where it names none, any public one at its usual port."""
    name = "TANKROUND_PUSH_HOSTS"
    hosts = settings.PUSH_HOSTS
    return Where(hosts or None, False, False, () if hosts else (443,), hosts, name, name)


def named(url: str, *, private: bool, private_set_by: str) -> Where:
    """The one host that the installation itself names, any port of it; a private address only where that is set beside."""
    try:
        host = (urlsplit(url).hostname or "").lower()
    except ValueError:
        host = ""
    return Where({host}, private, plain=True, private_set_by=private_set_by)


def _is_named(host: str, hosts: Collection[str]) -> bool:
    return host in hosts or any(name.startswith(".") and host.endswith(name) for name in hosts)


def _is_private(address: str) -> bool:
    return not ipaddress.ip_address(address.split("%")[0]).is_global


def allowed(url: str, where: Where) -> tuple[str, int, str, bool]:
    """Host, port, path and whether TLS of an address that may be asked, without looking it up. Raises NotFetched."""
    try:
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        raise NotFetched("This is not an address.") from None
    schemes = ("http", "https") if where.plain else ("https",)
    if parts.scheme not in schemes or not host or parts.username or parts.password:
        begins = " or ".join(f"{scheme}://" for scheme in schemes)
        raise NotFetched(f"An address begins with {begins} and names no user.")
    if where.hosts is not None and not _is_named(host, where.hosts):
        raise NotFetched(f"“{host[:80]}” is not among the hosts that may be asked ({where.hosts_set_by}).")
    secure = parts.scheme == "https"
    port = port or (443 if secure else 80)
    if where.ports and port not in where.ports:
        raise NotFetched(f"Port {port} is not among those that may be asked ({where.hosts_set_by}).")
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    if any(sign <= " " or sign > "~" for sign in path):
        raise NotFetched("The address holds a sign that an address cannot have.")
    return host, port, path, secure


def checked(url: str, where: Where) -> tuple[str, int, str, bool, str]:
    """Host, port, path, whether TLS, and the address to connect to: looked up once. Raises NotFetched."""
    host, port, path, secure = allowed(url, where)
    try:
        known = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise NotFetched(f"“{host[:80]}” has no address.", passing=True) from None
    addresses = [str(entry[4][0]) for entry in known]
    if not where.private and host not in where.inside and any(_is_private(text) for text in addresses):
        words = f"“{host[:80]}” is a private address, and those are not asked ({where.private_set_by})."
        raise NotFetched(words)
    return host, port, path, secure, addresses[0]


def fetch(url: str, *, headers: Mapping[str, str] | None = None) -> bytes:
    """The body that an address answers with. Raises NotFetched in words."""
    return _exchange(
        "GET", url, None, {"Accept": "application/json, text/csv", **(headers or {})}, {FINE}, pulled()
    )


def hand_over(url: str, body: bytes, *, headers: Mapping[str, str], where: Where | None = None) -> None:
    """POST a body to an address, which answers that it took it (200 to 299). Raises NotFetched in words."""
    _exchange("POST", url, body, headers, set(range(FINE, 300)), where or pulled())


def ask(url: str, body: bytes | None, *, headers: Mapping[str, str], where: Where) -> bytes:
    """What an address answers to a question: a GET, or a POST with a body. Raises NotFetched in words."""
    return _exchange("GET" if body is None else "POST", url, body, headers, {FINE}, where)


def _read(answer: http.client.HTTPResponse, until: float) -> bytes:
    """The body, up to one byte more than is allowed; it may not come for ever."""
    parts, size = [], 0
    while size <= LARGEST and (part := answer.read1(LARGEST + 1 - size)):
        parts.append(part)
        size += len(part)
        if time.monotonic() > until:
            raise TimeoutError
    return b"".join(parts)


def _beginning(answer: http.client.HTTPResponse) -> bytes:
    """The first words of a refusal; none where they do not come."""
    try:
        return answer.read1(WORDS)
    except (OSError, http.client.HTTPException, ValueError):
        return b""


def _exchange(
    method: str, url: str, given: bytes | None, headers: Mapping[str, str], fine: set[int], where: Where
) -> bytes:
    host, port, path, secure, address = checked(url, where)

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
            beside = {name.lower(): value for name, value in answer.headers.items()}
            raise NotFetched(
                words, status=answer.status, passing=later, headers=beside, body=_beginning(answer)
            )
        body = _read(answer, time.monotonic() + WHOLE_S)
    except (OSError, http.client.HTTPException, ValueError) as wrong:
        raise NotFetched(f"It did not answer: {type(wrong).__name__}.", passing=True) from wrong
    finally:
        line.close()
    if len(body) > LARGEST:
        raise NotFetched("It answered with more than half a megabyte.")
    return body
