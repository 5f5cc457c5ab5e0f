"""A technician's day and the nightly work run by the business's clock."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.rounds import jobs
from servicedesk.rounds.models import DueVisit
from servicedesk.upkeep import jobs as upkeep_jobs
from servicedesk.upkeep.models import Task, TaskRule
from tests.factories.people import make_business, make_technician
from tests.factories.stops import make_stop
from tests.factories.tanks import make_item, make_plan, make_site, make_tank

pytestmark = pytest.mark.django_db
LATE = datetime(2026, 6, 3, 12, 30, tzinfo=UTC)
"""Half an hour into the 4th of June in Auckland."""


@pytest.fixture
def at_late(monkeypatch):
    make_business(zone="Pacific/Auckland")
    monkeypatch.setattr(timezone, "now", lambda: LATE)


@pytest.mark.parametrize(
    ("zone", "at", "day"),
    [
        ("Pacific/Auckland", LATE, date(2026, 6, 4)),
        ("Pacific/Honolulu", datetime(2026, 6, 3, 9, 59, tzinfo=UTC), date(2026, 6, 2)),
        ("Europe/London", datetime(2026, 10, 24, 23, 30, tzinfo=UTC), date(2026, 10, 25)),  # summer time ends
        ("Europe/London", datetime(2026, 10, 25, 23, 30, tzinfo=UTC), date(2026, 10, 25)),
        (
            "Pacific/Auckland",
            datetime(2026, 9, 26, 12, 30, tzinfo=UTC),
            date(2026, 9, 27),
        ),  # summer time begins
    ],
)
@pytest.mark.parametrize("page", ["round", "load", "hand-over"])
def test_the_pages_of_the_day_turn_over_at_the_business_own_midnight(monkeypatch, page, zone, at, day):
    make_business(zone=zone)
    monkeypatch.setattr(timezone, "now", lambda: at)
    ida = make_technician(zone=zone)
    floss = make_item(name="Floss", unit="pcs")
    for name, shift in (("Yesterday", -1), ("Today", 0), ("Tomorrow", 1)):
        on = day + timedelta(days=shift)
        tank = make_tank(make_site(name=f"{name}'s place"))
        make_stop(ida, tank, day=on)
        rule = TaskRule.objects.create(tank=tank, title="Floss", starts_on=on, carry=floss, carry_amount=1)
        Task.objects.create(
            key=name, rule=rule, tank=tank, title="Floss", earliest=on, due=on, latest=on, made_at=at
        )
    browser = Browser()
    browser.force_login(ida, backend="django.contrib.auth.backends.ModelBackend")

    answer = browser.get(f"/{page}/").content.decode().split('<form method="post" class="form"')[0]

    assert [n for n in ("Yesterday", "Today", "Tomorrow") if n in answer] == ["Today"]


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
