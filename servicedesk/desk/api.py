"""Worksheets for machines: the same questions, answers and refusals as on the page."""

from uuid import UUID

from django.http import Http404
from django.utils import timezone
from rest_framework import exceptions, permissions
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from clients.queries import get_tank_for
from servicedesk.core.worksheets import Refused, answer
from servicedesk.desk.queries.worksheets import filled, sheets_for
from servicedesk.staff.models import User
from servicedesk.web.zones import day_of


class IsStaff(permissions.BasePermission):
    """Technicians, office and owner: never a client's contact."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        user = request.user
        return isinstance(user, User) and (user.is_office or user.is_technician)


class WorksheetDoor(APIView):
    """GET /api/v1/worksheets/KEY/?tank=…&for=…&name=text → what was asked, what was taken, and what came out."""

    permission_classes = [IsStaff]

    def get(self, request: Request, sheet: str) -> Response:
        now = timezone.now()
        assert isinstance(request.user, User)
        tank = None
        if asked := request.query_params.get("tank"):
            try:
                tank = get_tank_for(request.user, UUID(asked), on=day_of(now))
            except ValueError:
                raise Http404 from None
        page = sheets_for(tank).get(sheet)
        if page is None:
            raise Http404
        typed = filled(page, tank, parameter=request.query_params.get("for", ""), at=now)
        typed |= {
            ask.key: request.query_params[ask.key] for ask in page.asks if ask.key in request.query_params
        }
        try:
            result = answer(page, typed)
        except Refused as refused:
            raise exceptions.ValidationError({key or "_": words for key, words in refused.fields.items()})
        return Response(
            {
                "worksheet": page.key,
                "taken": typed,
                "word": result.word,
                "sentence": result.sentence,
                "values": result.values,
                "said": [
                    {"label": s.label, "value": s.value, "unit": s.unit, "note": s.note} for s in result.said
                ],
                "why": result.why,
                "mind": result.mind,
                "sources": page.sources,
            }
        )
