"""What a person decided about a visit is held; a plan may owe two visits a week."""

from datetime import date, time, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from clients.models import ServicePlan
from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Pin
from tests.factories.people import make_client_user, make_owner, make_technician
from tests.factories.tanks import make_plan, make_tank

pytestmark = pytest.mark.django_db
NOW = timezone.now()
MONDAY = date(2026, 6, 1)


@pytest.fixture
def visit():
    tank = make_tank()
    row = DueVisit.objects.create(
        key="one", cause="plan", site=tank.site, earliest=MONDAY, due=MONDAY, latest=MONDAY + timedelta(days=2), made_at=NOW
    )  # fmt: skip
    row.tanks.set([tank])
    return row


def held(visit, **given):
    return actions.pin(due_visit=visit, by=given.pop("by", None) or make_owner(), at=NOW, **given)


def test_a_later_pin_takes_the_earlier_ones_place_and_it_can_be_let_go(visit):
    owner, ida = make_owner(), make_technician()
    held(visit, technician=ida, by=owner)
    held(visit, day=MONDAY, begins=time(9, 30), by=owner)

    row = Pin.objects.get()
    assert (row.technician, row.day, row.at, row.made_by) == (None, MONDAY, time(9, 30), owner)
    assert [actions.unpin(due_visit=visit), actions.unpin(due_visit=visit)] == [True, False]
    assert not Pin.objects.exists()


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({}, "by whom"),
        ({"begins": time(9)}, "by whom"),
        ({"day": MONDAY - timedelta(days=1)}, "not due on that day"),
        ({"day": MONDAY + timedelta(days=3)}, "not due on that day"),
    ],
)
def test_what_says_nothing_or_cannot_be_is_refused_in_words(visit, given, said):
    with pytest.raises(actions.NotPlanned, match=said):
        held(visit, **given)
    assert not Pin.objects.exists()


def test_only_who_drives_can_be_named_and_a_time_needs_its_day(visit):
    gone = make_technician(is_active=False)
    for person in (make_client_user(), gone):
        with pytest.raises(actions.NotPlanned, match="technician drives"):
            held(visit, technician=person)
    with pytest.raises(actions.NotPlanned, match="needs its day"):
        held(visit, technician=make_technician(), begins=time(9))
    for wrong in ({}, {"technician": make_technician(), "at": time(9)}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Pin.objects.create(due_visit=visit, made_by=make_owner(), made_at=NOW, **wrong)


def test_a_plan_for_twice_a_week_owes_both_days_in_order():
    tank = make_tank()
    make_plan(tank.site, tank, weekday=3, second_weekday=0, every_weeks=1, tolerance_days=0, starts_on=MONDAY)

    made = actions.owe_visits(first=MONDAY, last=MONDAY + timedelta(days=13), at=NOW)

    days = [visit.due for visit in made]
    assert days == [MONDAY + timedelta(days=n) for n in (0, 3, 7, 10)]
    assert actions.owe_visits(first=MONDAY, last=MONDAY + timedelta(days=13), at=NOW) == []


@pytest.mark.parametrize(
    "wrong", [{"second_weekday": 7}, {"weekday": 2, "second_weekday": 2}, {"people": 0}, {"people": 3}]
)
def test_a_second_day_is_another_day_and_nobody_sends_none_or_three(wrong):
    tank = make_tank()
    with pytest.raises(IntegrityError), transaction.atomic():
        make_plan(tank.site, tank, **wrong)
    assert not ServicePlan.objects.exists()
