"""The master round from the page to the plans: asked for, searched by its job on processes of its own, looked at, adopted client by client,
taken back."""

import re
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.models import PlanChange
from servicedesk.dispatch import jobs as queue
from servicedesk.dispatch.models import Job
from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, MasterLine, MasterRound, Notice, Stop
from servicedesk.staff.models import Working
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.tanks import make_client, make_plan, make_site, make_tank

pytestmark = pytest.mark.django_db
TODAY = timezone.now().date()
MONDAY = TODAY + timedelta(days=7 - TODAY.weekday())
"""The Monday after this week."""


class Cycle:
    """Two technicians at two ends of a road. Far in the north three clients are visited on three different weekdays."""

    def __init__(self):
        make_business(zone="UTC")
        self.owner = make_owner(zone="UTC")
        self.ida, self.ben = make_technician(name="Ida"), make_technician(name="Ben")
        for person, lat in ((self.ida, 50.0), (self.ben, 50.6)):
            Working.objects.create(person=person, home_lat=lat, home_lon=10.0)
        self.plans = {}
        for number, weekday in enumerate((0, 0, 2, 4)):
            self.sold(f"North {number}", 51.2 + number / 1000, weekday, self.ben)
        for number in range(3):
            self.sold(f"South {number}", 50.0 + number / 1000, 1, self.ida)
        self.eyes = Browser()
        self.eyes.force_login(self.owner, backend="django.contrib.auth.backends.ModelBackend")

    def sold(self, name, lat, weekday, technician, **given):
        site = make_site(make_client(name=name), name=name, lat=lat, lon=10.0)
        self.plans[name] = make_plan(
            site, make_tank(site), weekday=weekday, technician=technician, minutes=40, tolerance_days=0,
            **{"every_weeks": 1, "starts_on": MONDAY - timedelta(days=70), **given},
        )  # fmt: skip
        return self.plans[name]

    def ask(self, **given):
        answer = self.eyes.post(
            "/week/master/",
            {"first": MONDAY.isoformat(), "weeks": "4", "reluctance": "1", "seconds": "60", **given},
        )
        return MasterRound.objects.get(pk=re.search(r"master/([0-9a-f-]{36})/", answer["Location"])[1])

    def search(self, master, seconds=3):
        """The job, cut to a few seconds."""
        MasterRound.objects.filter(pk=master.pk).update(seconds=seconds)
        queue.run(str(Job.objects.get(key=f"plan_master:{master.pk}").pk))
        master.refresh_from_db()
        return master

    def page(self, master):
        return self.eyes.get(f"/week/master/{master.pk}/").content.decode()

    def line(self, master, name):
        return MasterLine.objects.get(master=master, plan=self.plans[name])

    def decide(self, master, verb, name):
        answer = self.eyes.post(
            f"/week/master/{master.pk}/decide/", {verb: self.line(master, name).pk}, follow=True
        )
        return answer.content.decode()


@pytest.fixture
def cycle():
    return Cycle()


def test_asked_for_searched_looked_at_adopted_and_taken_back(cycle):
    actions.owe_visits(first=TODAY, last=TODAY + timedelta(days=35), at=timezone.now())
    actions.plan_simply(first=TODAY, last=TODAY + timedelta(days=35))
    master = cycle.ask()
    assert "It waits for a free worker" in cycle.page(master)

    cycle.search(master)
    assert master.state == "ready", master.error
    text = cycle.page(master)
    assert re.search(r"4 weeks of 7 clients: \d changes of habit save \d+\.\d hours and \d+ km", text)
    moved = [line.plan.site.name for line in MasterLine.objects.filter(master=master, changes=True)]
    assert moved and all(name.startswith("North") for name in moved)

    name = moved[0]
    line, plan = cycle.line(master, name), cycle.plans[name]
    before = (plan.weekday, plan.starts_on)
    assert f"{name}: as proposed from" in cycle.decide(master, "adopt", name)
    plan.refresh_from_db()
    change = PlanChange.objects.get()
    assert (plan.weekday, plan.starts_on) == (line.weekday, line.starts_on)
    assert (change.was_weekday, change.was_starts_on) == before
    owed = DueVisit.objects.filter(plan=plan, called_off_at=None, due__gte=change.from_on)
    assert {visit.due.weekday() for visit in owed} == {line.weekday}
    assert Notice.objects.filter(person=cycle.ben).exists()
    assert not Stop.objects.filter(
        due_visit__plan=plan, due_visit__called_off_at__isnull=False, state="planned"
    ).exists()

    assert f"{name}: as before from" in cycle.decide(master, "back", name)
    plan.refresh_from_db()
    assert (plan.weekday, plan.starts_on) == before and PlanChange.objects.count() == 2
    owed = DueVisit.objects.filter(plan=plan, called_off_at=None, due__gte=MONDAY)
    assert {visit.due.weekday() for visit in owed} == {before[0]}
    assert {stop.state for stop in Stop.objects.filter(due_visit__in=owed)} == {"planned"}
