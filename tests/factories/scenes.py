"""A visit under way, and what is written in it."""

import uuid

from django.test import Client
from django.utils import timezone

from servicedesk.visits.actions import take_entries
from servicedesk.visits.models import Entry
from tests.factories.people import make_technician
from tests.factories.stops import entry, make_reef_to_test, make_stop


class Scene:
    """A visit under way to one reef, and what is written in it."""

    def __init__(self):
        self.ida, self.tank = make_technician(name="Ida"), make_reef_to_test()
        self.due = make_stop(self.ida, self.tank)

    def send(self, *entries):
        return take_entries(entries=entries, by=self.ida, at=timezone.now())

    def entry(self, kind, **payload):
        return entry(self.due, kind, str(uuid.uuid4()), **payload)

    def page(self, name):
        browser = Client()
        browser.force_login(self.ida, backend="django.contrib.auth.backends.ModelBackend")
        return browser.get(f"/visits/{self.due.pk}/{name}").content.decode()

    def write(self, kind, **payload):
        key = str(uuid.uuid4())
        assert [r["reason"] for r in self.send(entry(self.due, kind, key, **payload))] == [""]
        return key

    def take_back(self, key, why="mistyped", **more):
        return self.send(entry(self.due, "correction", entry=key, withdraw=True, why=why, **more))[0]

    @property
    def visit(self):
        return Entry.objects.first().visit
