"""Errors of the interfaces as problem documents (RFC 9457): what happened, never a trace, never what was sent."""

from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.http import Http404, JsonResponse
from django.utils.translation import gettext as _
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import exception_handler

TITLES = {
    400: _("Not understood"),
    401: _("Sign in"),
    403: _("Not allowed"),
    404: _("Not here"),
    405: _("Not done this way"),
    409: _("Under way"),
    411: _("Length missing"),
    413: _("Too big"),
    415: _("Wrong kind of body"),
    422: _("Same name, other content"),
    429: _("Too often"),
    503: _("Not now"),
    507: _("No room"),
}


def problem(status: int, detail: str, errors: list[dict[str, str]] | None = None) -> dict[str, Any]:
    """A problem document: type, title, status, detail and, per field, errors of {pointer, code}."""
    return {
        "type": "about:blank",
        "title": str(TITLES.get(status, _("It did not work"))),
        "status": status,
        "detail": detail,
        "errors": errors or [],
    }


def problem_response(status: int, detail: str, errors: list[dict[str, str]] | None = None) -> JsonResponse:
    """The same as an answer for plain Django."""
    return JsonResponse(
        problem(status, detail, errors), status=status, content_type="application/problem+json"
    )


def _errors(detail: Any, pointer: str = "") -> list[dict[str, str]]:
    if isinstance(detail, dict):
        return [e for key, value in detail.items() for e in _errors(value, f"{pointer}/{key}")]
    if isinstance(detail, list):
        out = []
        for number, value in enumerate(detail):
            deeper = isinstance(value, dict | list)
            out += _errors(value, f"{pointer}/{number}" if deeper else pointer)
        return out
    return [{"pointer": pointer or "/", "code": getattr(detail, "code", "invalid"), "detail": str(detail)}]


def answer(exc: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler: every refusal becomes a problem document."""
    if isinstance(exc, RequestDataTooBig):
        exc = _Big()
    response = exception_handler(exc, context)
    if response is None:
        return None
    errors: list[dict[str, str]] = []
    if isinstance(exc, exceptions.ValidationError):
        errors = _errors(exc.detail)
        detail = _("Something in it cannot be taken.")
    elif isinstance(exc, Http404 | exceptions.NotFound):
        detail = _("There is nothing here for you.")
    elif isinstance(exc, PermissionDenied):
        detail = _("You may not do this.")
    else:
        detail = str(getattr(exc, "detail", exc))
    response.data = problem(response.status_code, detail, errors)
    response.content_type = "application/problem+json"
    return response


class _Big(exceptions.APIException):
    status_code = 413
    default_detail = _("The body is too big. Send it in smaller parts.")
