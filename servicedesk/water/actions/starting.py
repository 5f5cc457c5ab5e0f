"""What a new tank starts with: the bands of its kind of water, and what is tested."""

from django.db import transaction

from clients.models import Tank
from servicedesk.core import units
from servicedesk.core.tables import read_csv
from servicedesk.water.models import Band, Method, TankTest


def _number(text: str) -> float | None:
    return float(text) if text.strip() else None


@transaction.atomic
def set_default_bands(*, tank: Tank) -> list[Band]:
    """Give a tank the starting bands of its water type (core/tables/bands.csv: common practice). Bands it already
    has stay as they are."""
    made = []
    for row in read_csv("bands.csv"):
        if row["water_type"] != tank.water_type:
            continue
        parameter = units.parameter(row["parameter"])
        limits = {
            name: _number(row[name])
            for name in (
                "low",
                "target",
                "high",
                "alarm_low",
                "alarm_high",
                "max_rise_per_day",
                "max_fall_per_day",
            )
        }
        band, new = Band.objects.get_or_create(
            tank=tank, parameter=parameter.key, defaults={"unit": parameter.unit, **limits}
        )
        if new:
            made.append(band)
    return made


@transaction.atomic
def set_default_tests(*, tank: Tank) -> list[TankTest]:
    """Put every banded parameter that some method can test on the tank's list, in the usual order."""
    made = []
    methods: dict[str, Method] = {}
    for method in (
        Method.objects.filter(retired_on__isnull=True).exclude(kind="titrator").order_by("name", "pk")
    ):
        methods.setdefault(method.parameter, method)
    for band in Band.objects.filter(tank=tank):
        usual = methods.get(band.parameter)
        if usual is None:
            continue
        row, new = TankTest.objects.get_or_create(
            tank=tank,
            parameter=band.parameter,
            defaults={"method": usual, "order": units.parameter(band.parameter).order},
        )
        if new:
            made.append(row)
    return made
