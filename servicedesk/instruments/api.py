"""The door for instruments: POST a SenML pack with the device's pass."""

import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO, Any

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework import authentication, exceptions, parsers, permissions
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from servicedesk.instruments import actions
from servicedesk.instruments.models import Token

LARGEST = 512 * 1024


class Device:
    """Who calls: an instrument, by its pass. It may write deliveries and nothing else."""

    is_authenticated = True
    is_active = True

    def __init__(self, token: Token) -> None:
        self.token = token
        self.pk = token.pk


class PassAuthentication(authentication.BaseAuthentication):
    """Reads `Authorization: Bearer …`; cookies open nothing here."""

    def authenticate(self, request: Request) -> tuple[Any, Token] | None:
        kind, _space, text = request.headers.get("Authorization", "").partition(" ")
        if kind.lower() != "bearer" or not text or len(text) > 200:
            return None
        now = timezone.now()
        try:
            token = actions.use_token(text=text.strip(), at=now)
        except actions.TooOften:
            raise exceptions.Throttled(
                wait=60 - now.second, detail=_("Too often for one device: wait for the next minute.")
            ) from None
        if token is None:
            raise exceptions.AuthenticationFailed(_("This pass opens nothing."))
        return Device(token), token

    def authenticate_header(self, request: Request) -> str:
        return "Bearer"


class IsDevice(permissions.BasePermission):
    def has_permission(self, request: Request, view: APIView) -> bool:
        return isinstance(request.user, Device)


class PackParser(parsers.BaseParser):
    """Hands the bytes on: the adapter reads them, and their hash names the delivery."""

    media_type = actions.SENML

    def parse(self, stream: IO[bytes], media_type: str | None = None, parser_context: Any = None) -> Any:
        body = stream.read(LARGEST + 1)
        if len(body) > LARGEST:
            raise TooBig
        return body


class CborParser(PackParser):
    media_type = actions.SENML_CBOR


class PlainParser(PackParser):
    media_type = actions.PLAIN


class TableParser(PackParser):
    media_type = actions.TABLE


class TooBig(exceptions.APIException):
    status_code = 413
    default_detail = _("A pack holds at most half a megabyte. Send it in parts.")


AT_ONCE: Counter[str] = Counter()
LOCK = threading.Lock()
A_MOMENT_S = 1


@contextmanager
def one_of_few(request: HttpRequest) -> Iterator[bool]:
    """Whether a pass is used by no more requests at this moment, in this process, than TANKROUND_DEVICE_AT_ONCE: what one device sends waits
    for its own rows, and would else hold every thread."""
    name = request.headers.get("Authorization", "")[:200]
    with LOCK:
        AT_ONCE[name] += 1
        let = AT_ONCE[name] <= settings.DEVICE_AT_ONCE
    try:
        yield let
    finally:
        with LOCK:
            AT_ONCE[name] -= 1
            if not AT_ONCE[name]:
                del AT_ONCE[name]


class Deliveries(APIView):
    let = True
    authentication_classes = [PassAuthentication]
    permission_classes = [IsDevice]
    parser_classes = [PackParser, CborParser, PlainParser, TableParser]

    def dispatch(self, request: HttpRequest, *args: Any, **given: Any) -> HttpResponseBase:
        with one_of_few(request) as self.let:
            return super().dispatch(request, *args, **given)

    def initial(self, request: Request, *args: Any, **given: Any) -> None:
        if not self.let:
            raise exceptions.Throttled(
                wait=A_MOMENT_S, detail=_("Too much at once for one device: send one after the other.")
            )
        super().initial(request, *args, **given)

    def post(self, request: Request) -> Response:
        body = request.data
        if not isinstance(body, bytes) or not body:
            raise exceptions.ParseError(_("The body is empty."))
        try:
            delivery, new = actions.receive(
                instrument=request.user.token.instrument,
                body=body,
                at=timezone.now(),
                media_type=str(request.content_type).partition(";")[0].strip().lower(),
            )
        except actions.NotRead as wrong:
            raise exceptions.ParseError(str(wrong)) from wrong
        assert delivery is not None  # nothing was kept for later here
        return Response({"delivery": str(delivery.pk), **delivery.answer}, status=201 if new else 200)
