"""What must not become a flood: our own outage, old values that come late, a site that loses its line, a value that crosses its limit again and
again. Looked at as the house does, minute by minute."""

import json
import random
from datetime import UTC, datetime, timedelta

import pytest

from servicedesk.dispatch import actions as dispatch
from servicedesk.dispatch.models import Message
from servicedesk.instruments.actions import receive
from servicedesk.instruments.models import Instrument
from servicedesk.watch import actions
from servicedesk.watch.models import Attention, Telling
from servicedesk.water.models import Reading
from tests.factories.people import make_business, make_owner
from tests.factories.tanks import make_band, make_instrument, make_measure, make_reading, make_site, make_tank

pytestmark = [pytest.mark.django_db, pytest.mark.slow]  # hours go by, minute by minute
NOON = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


@pytest.fixture(autouse=True)
def owner():
    make_business(zone="Europe/London")
    return make_owner()


def swept(at):
    """One slot of the sweep, asked for, claimed and finished as the ledger does it."""
    asked = dispatch.ask(kind="sweep", key=f"sweep:{int(at.timestamp()) // 60}", args={}, at=at)
    job = dispatch.claim(job_id=asked.pk, at=at)
    actions.wake(at=at)
    actions.look(at=at)
    actions.tell(at=at)
    dispatch.finish(job=job, at=at, result={})


def minutes(begin, end):
    while begin < end:
        yield begin
        begin += MINUTE


def fleet(number, *, site=None, interval=10, grace=5):
    site = site or make_site()
    return [
        make_instrument(make_tank(site), interval_minutes=interval, grace_minutes=grace)
        for _n in range(number)
    ]


def heard(instruments, at, step):
    """Each of these speaks in the minute in which its turn is."""
    turn = [i.pk for n, i in enumerate(instruments) if (int(at.timestamp()) // 60 + n) % step == 0]
    Instrument.objects.filter(pk__in=turn).update(last_contact_at=at - timedelta(seconds=10))


def silent():
    return Attention.objects.filter(kind="silent")


def test_after_three_hours_of_our_own_outage_only_the_dead_are_silent_and_each_in_its_time():
    instruments = fleet(30)
    dead, alive = instruments[:2], instruments[2:]
    for at in minutes(NOON, NOON + 30 * MINUTE):
        heard(instruments, at, 10)
        swept(at)
    back = NOON + 30 * MINUTE + 3 * HOUR

    first = {}
    for at in minutes(back, back + 40 * MINUTE):
        heard(alive, at, 10)
        swept(at)
        for pk in silent().values_list("instrument", flat=True):
            first.setdefault(pk, at)

    assert set(first) == {i.pk for i in dead}
    assert set(first.values()) == {back + 16 * MINUTE}, "interval and grace, counted from the first look"
    assert silent().count() == 2


def test_without_knowing_that_it_slept_the_watch_would_raise_a_wave(monkeypatch):
    monkeypatch.setattr(actions, "wake", lambda *, at: False)
    instruments = fleet(10)
    for at in minutes(NOON, NOON + 12 * MINUTE):
        heard(instruments, at, 10)
        swept(at)

    swept(NOON + 4 * HOUR)

    assert silent().count() == 10


def test_a_site_that_loses_its_line_is_one_letter_within_two_minutes_and_sixty_alarms_on_record(owner):
    instruments = fleet(60)
    for n, instrument in enumerate(instruments):
        Instrument.objects.filter(pk=instrument.pk).update(last_contact_at=NOON - timedelta(seconds=10 * n))
    first_due = NOON - timedelta(seconds=590) + 15 * MINUTE

    for at in minutes(NOON, NOON + HOUR):
        swept(at)

    (letter,) = Message.objects.all()
    assert letter.recipient == owner.email and "power or line" in letter.subject
    assert letter.made_at - first_due <= 2 * MINUTE + MINUTE, "two minutes, and the look that comes then"
    assert (silent().count(), Telling.objects.count()) == (60, 60)
    heard(instruments, NOON + HOUR, 1)
    swept(NOON + HOUR)
    assert not silent().filter(cleared_at__isnull=True).exists()


def send(instrument, values, at):
    """A pack of (moment, value) pairs."""
    rows = [{"n": "alkalinity", "u": "dKH", "v": value, "t": moment.timestamp()} for moment, value in values]
    return receive(instrument=instrument, body=json.dumps(rows).encode(), at=at)


def measured():
    tank = make_tank()
    make_band(tank)
    measure = make_measure(make_instrument(tank, interval_minutes=10, grace_minutes=5))
    return tank, measure.instrument


@pytest.mark.parametrize("by", ["hand", "itself"])
def test_two_days_of_old_values_at_once_raise_nothing_that_is_now(by):
    tank, instrument = measured()
    if by == "hand":
        make_reading(tank, "8.0", at=NOON - HOUR)
    else:
        send(instrument, [(NOON - n * MINUTE, 8.0 + n / 100) for n in range(30, 40)], NOON - 30 * MINUTE)
    swept(NOON - MINUTE)
    begun = NOON - 50 * HOUR

    old = [(begun + n * MINUTE, 5.0 if n % 2 else 5.1) for n in range(2880)]
    for part in range(0, 2880, 500):
        send(instrument, old[part : part + 500], NOON)
    for at in minutes(NOON, NOON + 10 * MINUTE):
        swept(at)

    assert Reading.objects.count() >= 2880
    assert not Attention.objects.filter(severity=1).exists()
    assert not Message.objects.filter(subject__startswith="Now").exists()

    send(instrument, [(NOON + 9 * MINUTE, 5.0), (NOON + 10 * MINUTE, 5.0)], NOON + 10 * MINUTE)
    for at in minutes(NOON + 10 * MINUTE, NOON + 12 * MINUTE):
        swept(at)
    assert Attention.objects.filter(severity=1).exists(), "the same value of now is an alarm"


def test_an_instrument_that_crosses_its_limit_three_times_a_minute_is_one_alarm_that_chatters(seed):
    chance = random.Random(seed)
    _tank, instrument = measured()
    send(instrument, [(NOON - n * 10 * MINUTE, 8.0 + n / 100) for n in range(1, 12)], NOON - MINUTE)
    for at in minutes(NOON, NOON + HOUR):
        shift = chance.randrange(6)
        moments = [(at + timedelta(seconds=10 * n), 5.9 if (n + shift) % 2 else 8.0) for n in range(6)]
        send(instrument, moments, at + timedelta(seconds=55))
        swept(at + timedelta(seconds=56))

    (row,) = Attention.objects.filter(kind="beyond_limit")
    assert row.chatters and row.cleared_at is None
    assert Message.objects.filter(subject__startswith="Now").count() == 1
