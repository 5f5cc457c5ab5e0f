from datetime import date, time, timedelta

import pytest
from django.utils import timezone

from clients.models import TankStateRow
from servicedesk.rounds import actions
from servicedesk.rounds.choices import STOP_MOVES, StopState
from servicedesk.rounds.models import DueVisit, Stop
from servicedesk.rounds.queries import next_visits_of
from tests.factories.people import make_owner, make_technician
from tests.factories.tanks import make_plan, make_site, make_tank

pytestmark = pytest.mark.django_db
MONDAY = date(2026, 6, 1)


@pytest.fixture
def plan():
    site = make_site()
    return make_plan(
        site,
        make_tank(site),
        make_tank(site),
        every_weeks=2,
        weekday=0,
        starts_on=MONDAY,
        technician=make_technician(),
    )


def owe(days=28):
    return actions.owe_visits(first=MONDAY, last=MONDAY + timedelta(days=days), at=timezone.now())


def test_a_plan_owes_each_slot_once_however_often_it_is_asked(plan):
    first, again = owe(), owe()

    assert ([v.due for v in first], again) == (
        [MONDAY, MONDAY + timedelta(days=14), MONDAY + timedelta(days=28)],
        [],
    )
    assert DueVisit.objects.count() == 3


def test_an_isolated_tank_gets_a_visit_of_its_own_that_stands_last(plan):
    alone = plan.tanks.order_by("pk").first()
    TankStateRow.objects.create(tank=alone, state="isolation", from_on=MONDAY)
    owe(days=1)

    actions.plan_simply(first=MONDAY, last=MONDAY)

    stops = list(Stop.objects.order_by("order"))
    assert [s.due_visit.isolated for s in stops] == [False, True]
    assert list(stops[1].due_visit.tanks.all()) == [alone]


def test_only_a_technician_drives(plan):
    visit = owe(days=1)[0]

    with pytest.raises(actions.NotPlanned):
        actions.put_on_round(
            due_visit=visit, day=MONDAY, technician=make_owner(), order=1, planned_at=time(9)
        )


def test_arriving_and_leaving_move_the_stop_once(plan):
    visit, now = owe(days=1)[0], timezone.now()
    actions.plan_simply(first=MONDAY, last=MONDAY)

    actions.arrive(due_visit_id=visit.pk, at=now)
    actions.arrive(due_visit_id=visit.pk, at=now + timedelta(minutes=9))
    actions.leave(due_visit_id=visit.pk, at=now + timedelta(minutes=30))

    stop = Stop.objects.get()
    assert (stop.state, stop.arrived_at, stop.left_at) == ("closed", now, now + timedelta(minutes=30))


def test_a_closed_stop_cannot_be_called_off(plan):
    visit, now = owe(days=1)[0], timezone.now()
    actions.plan_simply(first=MONDAY, last=MONDAY)
    actions.arrive(due_visit_id=visit.pk, at=now)
    actions.leave(due_visit_id=visit.pk, at=now)

    with pytest.raises(actions.NotPlanned):
        actions.call_off(stop=Stop.objects.get())


def test_the_next_visit_of_a_tank(plan):
    owe()
    tank = plan.tanks.first()

    assert next_visits_of([tank], after=MONDAY) == {tank.pk: MONDAY + timedelta(days=14)}


def test_every_state_stands_in_the_table_of_moves():
    assert set(STOP_MOVES) == set(StopState.values)


def test_a_visit_that_has_begun_is_not_put_on_another_day(plan):
    visit = owe(days=1)[0]
    driver = make_technician()
    put = {"due_visit": visit, "technician": driver, "order": 1, "planned_at": time(9)}
    actions.put_on_round(day=MONDAY, **put)
    actions.arrive(due_visit_id=visit.pk, at=timezone.now())

    with pytest.raises(actions.NotPlanned, match="has begun"):
        actions.put_on_round(day=MONDAY + timedelta(days=1), **put)

    assert Stop.objects.get(due_visit=visit).round.day == MONDAY


def test_leaving_ends_only_what_is_under_way(plan):
    visit = owe(days=1)[0]
    actions.put_on_round(
        due_visit=visit, technician=make_technician(), order=1, planned_at=time(9), day=MONDAY
    )
    now = timezone.now()

    actions.leave(due_visit_id=visit.pk, at=now)
    assert (Stop.objects.get().state, Stop.objects.get().left_at) == (StopState.PLANNED, None)

    actions.arrive(due_visit_id=visit.pk, at=now)
    actions.leave(due_visit_id=visit.pk, at=now + timedelta(hours=1))
    actions.leave(due_visit_id=visit.pk, at=now + timedelta(hours=2))
    assert (Stop.objects.get().state, Stop.objects.get().left_at) == (
        StopState.CLOSED,
        now + timedelta(hours=1),
    )
