"""The day is the business's: far from UTC, near midnight, and over a change of the clock."""

import uuid
from datetime import UTC, date, datetime

import pytest

from servicedesk.dosing.actions import record_refill, set_rate
from servicedesk.staff.queries import day_of
from servicedesk.supply.queries import needs, run_out_before
from tests.factories.people import make_business
from tests.factories.tanks import make_channel, make_tank

pytestmark = pytest.mark.django_db


def emptying(at):
    """100 mL a day from 300 mL."""
    channel, rest = make_channel(make_tank(), container_ml=1000), {"at": at, "by": None, "received_at": at}
    set_rate(channel=channel, ml_per_day=100, origin=uuid.uuid4(), **rest)
    record_refill(channel=channel, ml_now=300, origin=uuid.uuid4(), **rest)
    return channel


@pytest.mark.parametrize(
    ("zone", "at", "day"),
    [
        ("Pacific/Auckland", datetime(2026, 6, 3, 12, 30, tzinfo=UTC), date(2026, 6, 4)),
        ("Pacific/Honolulu", datetime(2026, 6, 3, 9, 59, tzinfo=UTC), date(2026, 6, 2)),
        ("Europe/London", datetime(2026, 6, 3, 23, 30, tzinfo=UTC), date(2026, 6, 4)),
        ("Europe/London", datetime(2026, 10, 24, 23, 30, tzinfo=UTC), date(2026, 10, 25)),  # summer time ends
        ("Europe/London", datetime(2026, 10, 25, 23, 30, tzinfo=UTC), date(2026, 10, 25)),
    ],
)
def test_a_moment_falls_on_the_business_own_day(zone, at, day):
    make_business(zone=zone)

    assert day_of(at) == day


@pytest.mark.parametrize(
    ("zone", "at", "empty"),
    [
        ("UTC", datetime(2026, 6, 3, 12, 30, tzinfo=UTC), date(2026, 6, 6)),
        ("Pacific/Auckland", datetime(2026, 6, 3, 12, 30, tzinfo=UTC), date(2026, 6, 7)),
        ("Pacific/Honolulu", datetime(2026, 6, 3, 9, 30, tzinfo=UTC), date(2026, 6, 5)),
        ("Europe/London", datetime(2026, 10, 24, 23, 30, tzinfo=UTC), date(2026, 10, 28)),
    ],
)
def test_the_empty_day_is_counted_from_the_business_own_day(zone, at, empty):
    make_business(zone=zone)
    channel = emptying(at)

    need = needs(at=at, next_visits={})[0]
    out = run_out_before([channel.tank], at=at, day=day_of(at), next_visits={})[0]

    assert (need.empty_on, out.empty_on) == (empty, empty)
