import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from servicedesk.dispatch.models import Message
from servicedesk.dosing.actions import record_refill, set_rate
from servicedesk.supply import actions
from servicedesk.supply.models import Reminder
from servicedesk.supply.queries import needs
from tests.factories.people import make_owner
from tests.factories.tanks import make_channel, make_tank

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
