"""Water that was changed."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from clients.models import Tank
from servicedesk.staff.models import User
from servicedesk.water.actions.readings import NotWater, touch
from servicedesk.water.models import WaterChange


@transaction.atomic
def record_water_change(
    *,
    tank: Tank,
    litres: float,
    at: datetime,
    by: User | None,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
    salinity: float | None = None,
    temperature_c: float | None = None,
) -> WaterChange:
    """So many litres were replaced. More than the tank's gross volume is refused in words."""
    if not 0 < litres <= 10 * tank.gross_l:
        raise NotWater(f"{litres:g} L cannot be: say how much water was replaced.")
    row, made = WaterChange.objects.get_or_create(
        origin=origin,
        part=part,
        defaults={
            "tank": tank,
            "litres": litres,
            "at": at,
            "by": by,
            "salinity": salinity,
            "temperature_c": temperature_c,
            "received_at": received_at,
        },
    )
    if made:
        touch(tank=tank, at=at)
    return row
