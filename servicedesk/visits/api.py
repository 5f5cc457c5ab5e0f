"""The tablet's door: journal entries as a list, photos one by one."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.files.uploadedfile import UploadedFile
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from rest_framework import exceptions, parsers, permissions
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from servicedesk.staff.models import User
from servicedesk.visits import actions
from servicedesk.visits.actions.journal import MOST_ENTRIES


class IsStaff(permissions.BasePermission):
    """Technicians, office and owner: never a client's contact."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        user = request.user
        return bool(user and user.is_authenticated and (user.is_office or user.is_technician))


def _person(request: Request) -> User:
    assert isinstance(request.user, User)
    return request.user


def _moment(value: Any, name: str) -> datetime | None:
    if value in (None, ""):
        return None
    try:
        moment = parse_datetime(value) if isinstance(value, str) else None
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise exceptions.ValidationError({name: _("This is not a time with its offset.")})
    return moment


class Sync(APIView):
    """POST {"entries": […], "sent_at": time} → {"receipts": […]}: one receipt per entry, in order."""

    permission_classes = [IsStaff]

    def post(self, request: Request) -> Response:
        body = request.data
        if not isinstance(body, dict) or not isinstance(body.get("entries"), list):
            raise exceptions.ValidationError({"entries": _("A list of entries is missing.")})
        unknown = sorted(set(body) - {"entries", "sent_at", "tablet"})
        if unknown:
            raise exceptions.ValidationError({unknown[0][:40]: _("This is not part of it.")})
        if len(body["entries"]) > MOST_ENTRIES:
            raise exceptions.ValidationError({"entries": _("At most 500 entries at once.")})
        receipts = actions.take_entries(
            entries=body["entries"],
            by=_person(request),
            at=timezone.now(),
            sent_at=_moment(body.get("sent_at"), "sent_at"),
        )
        return Response({"receipts": receipts})


class PhotoDoor(APIView):
    """PUT a photo under an id made on the tablet: multipart with file, visit, tank, caption, taken_at."""

    permission_classes = [IsStaff]
    parser_classes = [parsers.MultiPartParser]

    def put(self, request: Request, key: UUID) -> Response:
        sent: Any = request.data
        file = sent.get("file")
        if not isinstance(file, UploadedFile):
            raise exceptions.ValidationError({"file": _("The photo is missing.")})
        try:
            visit = UUID(str(sent.get("visit", "")))
            tank = UUID(str(sent["tank"])) if sent.get("tank") else None
        except ValueError:
            raise exceptions.ValidationError({"visit": _("This is not an id.")}) from None
        caption = str(sent.get("caption", ""))
        if "\x00" in caption:
            raise exceptions.ValidationError({"caption": _("It holds a sign that cannot be stored.")})
        try:
            photo = actions.keep_photo(
                key=key,
                visit_id=visit,
                tank_id=tank,
                file=file,
                caption=caption,
                taken_at=_moment(sent.get("taken_at"), "taken_at") or timezone.now(),
                by=_person(request),
            )
        except actions.NoPhoto as wrong:
            raise exceptions.ValidationError({"file": str(wrong)}) from wrong
        return Response({"photo": str(photo.pk), "width": photo.width, "height": photo.height})
