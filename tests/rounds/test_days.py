"""A technician's day and the nightly work run by the business's clock."""

from datetime import UTC, date, datetime

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.rounds import jobs
from servicedesk.rounds.models import DueVisit
from servicedesk.upkeep import jobs as upkeep_jobs
from servicedesk.upkeep.models import Task, TaskRule
from tests.factories.people import make_business, make_technician
from tests.factories.stops import make_stop
from tests.factories.tanks import make_plan, make_site, make_tank

pytestmark = pytest.mark.django_db
LATE = datetime(2026, 6, 3, 12, 30, tzinfo=UTC)
"""Half an hour into the 4th of June in Auckland."""


@pytest.fixture
def at_late(monkeypatch):
    make_business(zone="Pacific/Auckland")
    monkeypatch.setattr(timezone, "now", lambda: LATE)


def test_the_round_after_midnight_is_the_new_days(at_late):
    ida = make_technician(zone="Pacific/Auckland")
    make_stop(ida, make_tank(make_site(name="Yesterday's place")), day=date(2026, 6, 3))
    make_stop(ida, make_tank(make_site(name="The new day's place")), day=date(2026, 6, 4))
    browser = Browser()
    browser.force_login(ida, backend="django.contrib.auth.backends.ModelBackend")

    page = browser.get("/round/").content.decode()

    assert ("Yesterday" in page, "The new day" in page) == (False, True)


def test_visits_are_owed_from_the_business_own_day_on(at_late):
    site = make_site()
    make_plan(site, make_tank(site), every_weeks=1, weekday=2, starts_on=date(2026, 6, 3))  # a Wednesday

    jobs.owe_visits(None)

    assert DueVisit.objects.order_by("due").first().due == date(2026, 6, 10)


def test_tasks_are_made_up_to_thirty_five_days_from_the_business_own_day(at_late):
    TaskRule.objects.create(
        tank=make_tank(), title="Daily look", every=1, unit="days", starts_on=date(2026, 6, 4)
    )

    upkeep_jobs.make_tasks(None)

    assert Task.objects.order_by("-due").first().due == date(2026, 7, 9)
