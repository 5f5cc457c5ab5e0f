"""The photo by which a tank is known."""

import io
from pathlib import Path
from typing import IO

from django.conf import settings
from django.db import transaction
from PIL import Image

from clients.models import Tank
from servicedesk.web.pictures import rewritten, store

LONGEST_SIDE = 640
"""It is shown as a thumbnail; twice that for fine screens is enough."""


def keep_tank_photo(*, tank: Tank, file: IO[bytes]) -> str:
    """Write the photo anew, small and without metadata, and let it stand for the tank. Raises NoPhoto."""
    body, _width, _height = rewritten(file)
    image, out = Image.open(io.BytesIO(body)), io.BytesIO()
    image.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    image.save(out, "JPEG", quality=82)
    name = store(out.getvalue(), folder="tanks")
    _change(tank, name)
    return name


def take_tank_photo_away(*, tank: Tank) -> None:
    """The tank has no photo any more."""
    _change(tank, "")


@transaction.atomic
def _change(tank: Tank, name: str) -> None:
    before = Tank.objects.select_for_update().values_list("photo", flat=True).get(pk=tank.pk)
    Tank.objects.filter(pk=tank.pk).update(photo=name)
    if before.startswith("tanks/"):
        transaction.on_commit(lambda: (Path(settings.MEDIA_ROOT) / before).unlink(missing_ok=True))
