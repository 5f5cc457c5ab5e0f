"""A browser and its push service as they stand outside: keys, opening what was sealed (written anew from the RFCs, with HMAC by hand), checking the
signed word, and a service on this machine behind real TLS."""

import base64
import hashlib
import hmac
import json
import re
import secrets
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

VECTORS: dict[str, Any] = json.loads(
    (Path(__file__).resolve().parents[2] / "fixtures/push/vectors.json").read_text()
)


def b64(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


def unb64(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "==")


def hmac_sha256(key: bytes, data: bytes) -> bytes:
    return hmac.new(key, data, hashlib.sha256).digest()


def record_keys(secret: bytes, salt: bytes) -> tuple[bytes, bytes]:
    """Content key and first nonce (RFC 8188, 2.2 and 2.3; one block of RFC 5869 each)."""
    prk = hmac_sha256(salt, secret)
    key = hmac_sha256(prk, b"Content-Encoding: aes128gcm\0\1")[:16]
    return key, hmac_sha256(prk, b"Content-Encoding: nonce\0\1")[:12]


def head_of(body: bytes) -> tuple[bytes, int, bytes, bytes]:
    """Salt, record size, key id and what follows (RFC 8188, 2.1)."""
    end = 21 + body[20]
    return body[:16], int.from_bytes(body[16:20], "big"), body[21:end], body[end:]


def decoded(body: bytes, secret: bytes) -> bytes:
    """What was coded, record by record."""
    salt, size, _key_id, rest = head_of(body)
    key, nonce = record_keys(secret, salt)
    plain, number = b"", 0
    while rest:
        record, rest = rest[:size], rest[size:]
        mask = number.to_bytes(12, "big")
        opened = AESGCM(key).decrypt(bytes(a ^ b for a, b in zip(nonce, mask, strict=True)), record, None)
        opened = opened.rstrip(b"\0")
        assert opened[-1:] == (b"\1" if rest else b"\2"), "the mark of a record, or of the last"
        plain, number = plain + opened[:-1], number + 1
    return plain


class Keys:
    """A browser's own keys: what it tells and what it keeps."""

    def __init__(self, private: str = "", auth: str = "") -> None:
        number = int.from_bytes(unb64(private), "big") if private else secrets.randbelow(2**255) + 1
        self.private = ec.derive_private_key(number, ec.SECP256R1())
        self.secret = unb64(auth) if auth else secrets.token_bytes(16)
        self.auth = b64(self.secret)
        self.point = self.private.public_key().public_bytes(
            serialization.Encoding.X962, serialization.PublicFormat.UncompressedPoint
        )
        self.p256dh = b64(self.point)

    def shared(self, their_point: bytes) -> bytes:
        theirs = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), their_point)
        return self.private.exchange(ec.ECDH(), theirs)

    def secret_for(self, their_point: bytes) -> bytes:
        """The input keying material (RFC 8291, 3.4)."""
        prk = hmac_sha256(self.secret, self.shared(their_point))
        return hmac_sha256(prk, b"WebPush: info\0" + self.point + their_point + b"\1")

    def opened(self, body: bytes) -> bytes:
        return decoded(body, self.secret_for(head_of(body)[2]))


def claims_of(authorization: str) -> tuple[dict[str, Any], str]:
    """What a signed word says, and the key that signed it; fails where the signature is not that key's."""
    found = re.fullmatch(r"vapid t=([\w-]+)\.([\w-]+)\.([\w-]+), k=([\w-]+)", authorization)
    assert found, authorization
    head, body, mark, key = found.groups()
    assert json.loads(unb64(head)) == {"typ": "JWT", "alg": "ES256"}
    signature = unb64(mark)
    assert len(signature) == 64
    whole = encode_dss_signature(int.from_bytes(signature[:32], "big"), int.from_bytes(signature[32:], "big"))
    public = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), unb64(key))
    public.verify(whole, f"{head}.{body}".encode(), ec.ECDSA(hashes.SHA256()))
    return json.loads(unb64(body)), key


def certificate(folder: Path) -> Path:
    """A certificate for this machine and its key, in one file."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("localhost")]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    path = folder / "push.pem"
    secret = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    path.write_bytes(made.public_bytes(serialization.Encoding.PEM) + secret)
    return path


class PushService:
    """Takes what is pushed and answers as it is told."""

    def __init__(self) -> None:
        self.status, self.headers, self.url = 201, {}, ""
        self.got: list[tuple[str, dict[str, str], bytes]] = []


@contextmanager
def push_service(folder: Path) -> Iterator[PushService]:
    """A push service at https://localhost with a certificate of its own (folder/push.pem)."""
    service = PushService()

    class Door(BaseHTTPRequestHandler):
        def do_POST(self) -> None:  # noqa: N802  the library's name
            body = self.rfile.read(int(self.headers["Content-Length"]))
            said = {name.lower(): value for name, value in self.headers.items()}
            service.got.append((self.path, said, body))
            self.send_response(service.status)
            for name, value in {"Content-Length": "0", **service.headers}.items():
                self.send_header(name, value)
            self.end_headers()

        def log_message(self, *given: Any) -> None:
            pass

    server = ThreadingHTTPServer(("localhost", 0), Door)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate(folder))
    server.socket = context.wrap_socket(server.socket, server_side=True)
    threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True).start()
    service.url = f"https://localhost:{server.server_port}"
    yield service
    server.shutdown()
    server.server_close()
