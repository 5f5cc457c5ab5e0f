"""The pages of this room. A tank's photo is served only to those who may see the tank."""

from pathlib import Path
from uuid import UUID

from django.conf import settings
from django.contrib.auth.decorators import login_required
from django.http import FileResponse, Http404, HttpRequest
from django.utils import timezone
from django.views.decorators.http import require_GET

from clients.queries import get_tank_for
from servicedesk.staff.models import User
from servicedesk.web.zones import day_of


@login_required
@require_GET
def tank_photo(request: HttpRequest, key: UUID) -> FileResponse:
    user = request.user
    assert isinstance(user, User)
    tank = get_tank_for(user, key, on=day_of(timezone.now()))
    root = Path(settings.MEDIA_ROOT).resolve()
    path = (root / tank.photo).resolve()
    if not tank.photo or not path.is_relative_to(root) or not path.is_file():
        raise Http404
    response = FileResponse(path.open("rb"), content_type="image/jpeg")
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Disposition"] = "inline; filename=tank.jpg"
    return response
