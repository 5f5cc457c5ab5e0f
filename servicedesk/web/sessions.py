"""How long somebody stays signed in: 30 days at most, and for those of the business one hour without a request.

Shared devices are the reason for the hour. The clock starts when somebody signs in; that somebody was here is written
once in five minutes at most, so a session ends 55 to 60 minutes after the last request."""

import time
from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode, urlsplit

from django.conf import settings
from django.contrib.auth import SESSION_KEY, logout
from django.contrib.sessions.backends.base import SessionBase
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, resolve_url

BEGUN, SEEN = "begun", "seen"
WRITTEN_EVERY = 300
SAFE = ("GET", "HEAD", "OPTIONS")


class SessionStore(DatabaseStore):
    """Django's session in the database that knows since when somebody is signed in."""

    def __setitem__(self, key: str, value: Any) -> None:
        super().__setitem__(key, value)
        if key == SESSION_KEY:
            now = int(time.time())
            super().__setitem__(BEGUN, now)
            super().__setitem__(SEEN, now)


def is_over(session: SessionBase, *, rests: bool, now: float) -> bool:
    """Whether a session has ended: too old, at rest too long (where `rests` counts), or of unknown age."""
    begun, seen = session.get(BEGUN), session.get(SEEN)
    if not isinstance(begun, int) or not isinstance(seen, int):
        return True
    too_old = now - begun > settings.SESSION_COOKIE_AGE
    return too_old or (rests and now - seen > settings.SESSION_REST)


def _ended(request: HttpRequest) -> HttpResponse:
    """What was sent is not taken: say so, and lead back to the page it was typed on, never to an address that only
    takes what is sent."""
    before = urlsplit(request.headers.get("Referer", ""))
    back = before.path if before.netloc == request.get_host() else "/"
    return redirect(f"{resolve_url(settings.LOGIN_URL)}?{urlencode({'next': back, 'ended': '1'})}")


class SessionEnds:
    """Signs out whoever's session has ended, before anything is answered."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        if user.is_authenticated:
            now = time.time()
            if is_over(request.session, rests=getattr(user, "role", "") != "client", now=now):
                logout(request)
                if request.method not in SAFE and not request.path.startswith("/api/"):
                    return _ended(request)
            elif now - request.session[SEEN] >= WRITTEN_EVERY:
                request.session[SEEN] = int(now)
        return self.get_response(request)
