"""For running: the demo, a business on one machine, or servers behind https (TANKROUND_HTTPS=1)."""

import base64
import os
import re
import secrets
from collections.abc import Callable

from django.core.exceptions import ImproperlyConfigured

from servicedesk.settings.base import *  # noqa: F403
from servicedesk.settings.base import ALLOWED_HOSTS, BASE_URL, PUSH_CONTACT, VAR

P256_ORDER = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551
"""NIST SP 800-186, 3.2.1.3: a private key lies between 1 and this less one."""


def new_push_key() -> str:
    """A private key of P-256: 32 octets in base64 for addresses, without padding."""
    key = (secrets.randbelow(P256_ORDER - 1) + 1).to_bytes(32, "big")
    return base64.urlsafe_b64encode(key).rstrip(b"=").decode()


def kept_secret(variable: str, name: str, make: Callable[[], str]) -> str:
    """The secret that a variable holds, or one made once and kept in the data folder for its owner only."""
    given = os.environ.get(variable)
    if given:
        return given
    path = VAR / name
    if not path.exists():
        VAR.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(f".{os.getpid()}")
        part.write_text(make())
        part.chmod(0o600)
        try:
            os.link(part, path)  # the first of two starters wins
        except FileExistsError:
            pass
        finally:
            part.unlink()
    return path.read_text()


SECRET_KEY = kept_secret("TANKROUND_SECRET_KEY", "secret_key", lambda: secrets.token_urlsafe(64))
PUSH_KEY = kept_secret("TANKROUND_PUSH_KEY", "push_key", new_push_key)
if not re.fullmatch(r"[A-Za-z0-9_-]{43}", PUSH_KEY):
    raise ImproperlyConfigured(
        "TANKROUND_PUSH_KEY is 32 octets in base64 for addresses: 43 signs. Leave it away, and one is made and kept."
    )
if not re.fullmatch(r"(mailto:[^\s@]+@[^\s@]+|https://\S+)", PUSH_CONTACT):
    raise ImproperlyConfigured(
        "TANKROUND_PUSH_CONTACT is whom a push service may write to: mailto:… or https://…"
    )
ALLOWED_HOSTS = ALLOWED_HOSTS + [h for h in os.environ.get("TANKROUND_HOSTS", "").split(",") if h]
HTTPS = os.environ.get("TANKROUND_HTTPS", "") == "1"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
if HTTPS:
    SESSION_COOKIE_NAME = "__Host-session"
    CSRF_COOKIE_NAME = "__Host-csrf"
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True
    SECURE_SSL_REDIRECT = True
    SECURE_HSTS_SECONDS = 31536000
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    CSRF_TRUSTED_ORIGINS = [BASE_URL]
