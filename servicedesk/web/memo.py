"""What one reading of a page asks again and again, such as the business's own row, is looked up once for that page.

Only while a page is read (GET, HEAD): what writes always asks the database itself, so nothing can be stale."""

from collections.abc import Callable
from contextvars import ContextVar
from typing import Any, TypeVar

from django.http import HttpRequest, HttpResponse

Found = TypeVar("Found")
_held: ContextVar[dict[str, Any] | None] = ContextVar("held", default=None)


def once(name: str, find: Callable[[], Found]) -> Found:
    """What `find` gives, asked once while a page is read, and every time anywhere else."""
    held = _held.get()
    if held is None:
        return find()
    if name not in held:
        held[name] = find()
    found: Found = held[name]
    return found


class OncePerPage:
    """Remembers for the length of one reading request."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        token = _held.set({} if request.method in ("GET", "HEAD") else None)
        try:
            return self.get_response(request)
        finally:
            _held.reset(token)
