import uuid
from dataclasses import replace
from datetime import timedelta

import pytest
from django.utils import timezone

from servicedesk.dispatch.models import Message
from servicedesk.dosing.actions import record_refill, set_rate
from servicedesk.stock.models import Movement
from servicedesk.supply import actions
from servicedesk.supply.models import Reminder, RunOut
from servicedesk.supply.queries import kept, needs
from tests.factories.people import make_owner
from tests.factories.tanks import make_channel, make_place, make_tank

pytestmark = pytest.mark.django_db
NOW = timezone.now()


@pytest.fixture
def channel():
    """100 mL a day from 1000 mL: empty in ten days; five days to come."""
    channel, then = make_channel(make_tank(), container_ml=1000), NOW
    rest = {"at": then, "by": None, "received_at": then}
    set_rate(channel=channel, ml_per_day=100, origin=uuid.uuid4(), **rest)
    record_refill(channel=channel, ml_now=1000, origin=uuid.uuid4(), **rest)
    return channel


@pytest.mark.parametrize(("visit_in", "count"), [(4, 0), (5, 0), (6, 1)])
def test_a_container_is_needed_when_it_runs_empty_before_lead_time_and_the_next_visit(
    channel, visit_in, count
):
    visits = {channel.tank_id: NOW.date() + timedelta(days=visit_in)}

    assert len(needs(at=NOW, next_visits=visits)) == count


def test_the_reminder_is_mailed_once_a_day(channel):
    owner = make_owner()
    found = needs(at=NOW, next_visits={})

    first = actions.remind(needs=found, day=NOW.date(), at=NOW)
    again = actions.remind(needs=found, day=NOW.date(), at=NOW)

    assert (first, again) == (1, 0)
    assert [m.recipient for m in Message.objects.all()] == [owner.email]
    assert Reminder.objects.count() == 1


def test_nothing_needed_mails_nothing():
    make_owner()

    assert actions.remind(needs=[], day=NOW.date(), at=NOW) == 0
    assert Message.objects.count() == 0


def hold(item, ml):
    Movement.objects.create(
        item=item, place=make_place(), amount=ml, reason="received", at=NOW, received_at=NOW
    )


def test_what_the_store_holds_is_brought_and_not_ordered(channel):
    make_owner()
    later = NOW + timedelta(days=6)
    hold(channel.solution.item, 600)

    found = needs(at=later, next_visits={})

    assert [(round(n.fill), n.at_hand, n.late) for n in found] == [(600, True, False)]
    assert actions.remind(needs=found, day=NOW.date(), at=NOW) == 0
    assert Message.objects.count() == 0


def test_one_bottle_in_store_goes_to_what_is_empty_first(channel):
    other = make_channel(make_tank(), solution=channel.solution, container_ml=1000)
    rest = {"at": NOW, "by": None, "received_at": NOW}
    set_rate(channel=other, ml_per_day=110, origin=uuid.uuid4(), **rest)
    record_refill(channel=other, ml_now=1000, origin=uuid.uuid4(), **rest)
    hold(channel.solution.item, 700)

    found = needs(at=NOW + timedelta(days=6), next_visits={})

    assert [(n.tank, n.at_hand) for n in found] == [(other.tank, True), (channel.tank, False)]


def test_a_device_called_after_its_tank_names_the_tank_once(channel):
    found = needs(at=NOW, next_visits={})[0]
    tank = channel.tank
    named = replace(found, what=f"Pump, {tank.name}")

    assert (found.where, named.where) == (
        f"{channel.equipment} · {tank.site.name}, {tank.name}",
        f"Pump, {tank.name} · {tank.site.name}",
    )


def test_what_runs_out_is_written_down_for_the_first_page_and_says_the_same(channel):
    at, visits = NOW + timedelta(days=1), {channel.tank_id: NOW.date() + timedelta(days=6)}

    assert actions.work_out(at=at) == 1

    shown = needs(at=at, next_visits=visits, empties=kept(at=at + timedelta(minutes=9)))
    assert shown == needs(at=at, next_visits=visits)
    assert [need.empty_on for need in shown] == [NOW.date() + timedelta(days=10)]


def test_what_was_written_down_too_long_ago_is_worked_out_anew(channel):
    actions.work_out(at=NOW)
    record_refill(channel=channel, ml_now=500, origin=uuid.uuid4(), at=NOW, by=None, received_at=NOW)

    at = NOW + timedelta(minutes=11)

    assert [row.empty_on for row in kept(at=NOW)] == [NOW.date() + timedelta(days=10)]
    assert [row.empty_on for row in kept(at=at)] == [at.date() + timedelta(days=4)]


def test_what_went_out_of_use_is_written_down_no_more(channel):
    actions.work_out(at=NOW)
    channel.retired_on = NOW.date()
    channel.save()

    assert actions.work_out(at=NOW) == 0
    assert not RunOut.objects.exists()
