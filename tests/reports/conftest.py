"""A business, a technician, and a reef at a client with a contact and a key code."""

from dataclasses import dataclass
from datetime import timedelta

import pytest

from clients.models import Client, Contact, Site, Tank
from servicedesk.staff.models import User
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.reported import STEADY, VISIT_AT, hotel, make_reef, past_visit
from tests.factories.tanks import make_contact, make_site
from tests.factories.visited import Journey

KEY_CODE = "4711#blue"


@dataclass
class Scene:
    owner: User
    technician: User
    client: Client
    contact: Contact
    site: Site
    tank: Tank

    def before(self, **values: str) -> None:
        """A steady visit a fortnight before."""
        past_visit(self.tank, technician=self.technician, days=14, values={**STEADY, **values})

    def journey(self, *tanks: Tank, days: int = 0) -> Journey:
        at = VISIT_AT + timedelta(days=days)
        return Journey(*(tanks or (self.tank,)), technician=self.technician, at=at)

    def tested(self, **values: str) -> Journey:
        """Today's visit with a round of tests, not closed yet."""
        journey = self.journey()
        for parameter, value in {**STEADY, **values}.items():
            journey.read(self.tank, parameter, value)
        return journey


@pytest.fixture
def scene(db: None) -> Scene:
    make_business()
    client = hotel()
    site = make_site(client, name="Quay house", address="Quay Row 14", key_code=KEY_CODE)
    contact = make_contact(client, email="front.desk@example.org")
    return Scene(
        owner=make_owner(),
        technician=make_technician(name="Ida Lund"),
        client=client,
        contact=contact,
        site=site,
        tank=make_reef(site),
    )
