"""Bodies that are too big are refused before anything reads them."""

from collections.abc import Callable

from django.conf import settings
from django.core.exceptions import RequestDataTooBig, SuspiciousOperation
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from servicedesk.web.problems import problem_response


class BodyLimit:
    """Answers 413 to a body longer than BODY_LIMIT_BYTES, 411 to one of unknown length, 415 to a packed one."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        refused = self._refusal(request)
        if refused is not None:
            return refused
        return self.get_response(request)

    def _refusal(self, request: HttpRequest) -> HttpResponse | None:
        if request.method in ("GET", "HEAD", "OPTIONS"):
            return None
        if request.headers.get("Content-Encoding", "identity") != "identity":
            return problem_response(415, _("Packed bodies are not taken. Send it plain."))
        if "chunked" in request.headers.get("Transfer-Encoding", ""):
            return problem_response(411, _("Say the length of the body (Content-Length)."))
        length = request.META.get("CONTENT_LENGTH") or "0"
        if not length.isascii() or not length.isdigit():
            return problem_response(400, _("The length of the body is not a number."))
        if int(length) > settings.BODY_LIMIT_BYTES:
            return problem_response(413, _("The body is too big. Send it in smaller parts."))
        return None

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if isinstance(exception, RequestDataTooBig):
            return problem_response(413, _("The body is too big. Send it in smaller parts."))
        if isinstance(exception, SuspiciousOperation) and request.path.startswith("/api/"):
            return problem_response(400, _("The request was not understood."))
        return None
