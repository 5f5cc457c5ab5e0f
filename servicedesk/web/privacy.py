"""Pages with somebody's data are not kept by caches."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse


class NoStore:
    """Marks every answer private and not to be stored, unless the view said otherwise."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Cache-Control", "private, no-store")
        return response
