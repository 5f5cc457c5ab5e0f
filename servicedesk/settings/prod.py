"""For running: the demo, a business on one machine, or servers behind https (TANKROUND_HTTPS=1)."""

import os

from servicedesk.settings.base import *  # noqa: F403
from servicedesk.settings.base import ALLOWED_HOSTS, BASE_URL, VAR


def kept_secret() -> str:
    """The key from TANKROUND_SECRET_KEY, or one made once and kept in the data folder for its owner only."""
    given = os.environ.get("TANKROUND_SECRET_KEY")
    if given:
        return given
    path = VAR / "secret_key"
    if not path.exists():
        import secrets  # noqa: PLC0415  only the first start needs it

        VAR.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(f".{os.getpid()}")
        part.write_text(secrets.token_urlsafe(64))
        part.chmod(0o600)
        try:
            os.link(part, path)  # the first of two starters wins
        except FileExistsError:
            pass
        finally:
            part.unlink()
    return path.read_text()


SECRET_KEY = kept_secret()
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
