"""A reef with three months of results and a photo, ready for a visit that is reported."""

import uuid
from datetime import UTC, datetime, timedelta
from io import BytesIO

from django.core.files.base import ContentFile
from PIL import Image, ImageDraw

from clients.actions import record_livestock
from clients.models import Client, Site, Tank
from servicedesk.staff.models import User
from servicedesk.visits.actions import keep_photo
from servicedesk.visits.models import Visit
from servicedesk.water import actions as water
from servicedesk.water.models import Method
from tests.factories.tanks import make_client, make_livestock, make_method, make_site, make_tank
from tests.factories.visited import Journey

VISIT_AT = datetime(2026, 11, 25, 10, 4, tzinfo=UTC)
KIND = {"temperature": "probe", "salinity": "probe", "calcium": "kit", "nitrate": "kit"}
STEADY = {
    "temperature": "25.3",
    "salinity": "35.1",
    "alkalinity": "7.9",
    "calcium": "428",
    "nitrate": "9",
}


def methods() -> dict[str, Method]:
    found = {m.parameter: m for m in Method.objects.all()}
    for parameter in STEADY:
        if parameter not in found:
            found[parameter] = make_method(
                parameter, kind=KIND.get(parameter, "photometer"), name=f"usual {parameter}"
            )
    return found


def make_reef(site: Site | None = None, **given: object) -> Tank:
    """A stony reef with bands, tests and 23 fish."""
    methods()
    tank = make_tank(site or make_site(), **{"name": "The long reef behind reception", **given})
    water.set_default_bands(tank=tank)
    water.set_default_tests(tank=tank)
    fish = make_livestock(tank, name="green chromis")
    at = VISIT_AT - timedelta(days=200)
    record_livestock(
        livestock=fish, change="added", number=23, at=at, by=None, origin=uuid.uuid4(), received_at=at
    )
    return tank


def picture(shade: int) -> bytes:
    image = Image.new("RGB", (1280, 800), (20, 60 + shade, 60))
    ImageDraw.Draw(image).rectangle((80, 80, 1200, 720), fill=(30, 110 + shade, 100))
    out = BytesIO()
    image.save(out, "JPEG")
    return out.getvalue()


def add_photo(journey: Journey, tank: Tank, *, shade: int = 0) -> None:
    """The journey's photo of the tank, from the usual place."""
    key = uuid.uuid4()
    keep_photo(
        key=key,
        visit_id=journey.due.pk,
        tank_id=tank.pk,
        file=ContentFile(picture(shade), name="photo.jpg"),
        caption="from the sofa",
        taken_at=journey.at + timedelta(minutes=30),
        by=journey.technician,
    )
    journey.write("photo", photo=str(key), tank=str(tank.pk), caption="from the sofa")


def past_visit(*tanks: Tank, technician: User, days: int, values: dict[str, str] = STEADY) -> Visit:
    """A closed visit so many days before."""
    journey = Journey(*tanks, technician=technician, at=VISIT_AT - timedelta(days=days))
    for tank in tanks:
        for parameter, value in values.items():
            journey.read(tank, parameter, value)
        add_photo(journey, tank)
    return journey.close()


def history(*tanks: Tank, technician: User) -> None:
    """Six fortnights of steady results."""
    for fortnight in range(6, 0, -1):
        swing = {"alkalinity": f"{7.9 + 0.1 * (fortnight % 3):.1f}"}
        past_visit(*tanks, technician=technician, days=14 * fortnight, values={**STEADY, **swing})


def hotel() -> Client:
    return make_client(name="The Three Herons", internal_notes="pays late, haggles")
