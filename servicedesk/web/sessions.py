"""How long somebody stays signed in: 30 days at most, and for those of the business one hour without a request.

Shared devices are the reason for the hour. The clock starts when somebody signs in; that somebody was here is written
once in five minutes at most, so a session ends 55 to 60 minutes after the last request."""

import time
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth import SESSION_KEY, logout
from django.contrib.sessions.backends.base import SessionBase
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.http import HttpRequest, HttpResponse

BEGUN, SEEN = "begun", "seen"
WRITTEN_EVERY = 300


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
            elif now - request.session[SEEN] >= WRITTEN_EVERY:
                request.session[SEEN] = int(now)
        return self.get_response(request)
