"""Silence of a whole fleet over virtual days: each outage that is longer than an instrument's own limit is one alarm at the next look, and one
all-clear at the first look after it spoke; none is missed, none is false. One watcher, two in turn, two at the same moment."""

import random
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from threading import Barrier

import pytest
from django.db import connection, connections
from django.utils import timezone

from servicedesk.dispatch.models import Message
from servicedesk.instruments.models import Delivery, Instrument
from servicedesk.watch import actions
from servicedesk.watch.models import Attention, Telling
from tests.factories.people import make_business, make_owner
from tests.factories.tanks import make_instrument
from tests.watch.outages import Watching, make_fleet

START = datetime(2026, 5, 1, tzinfo=UTC)
BY_DAY = START.replace(hour=8)
"""Before anybody's quiet hours."""
STANDS = timedelta(minutes=10)
"""Who stands open for so long by day is told to somebody."""
IN_TURN = (0.0, 29.0)
SIZE, DAYS, SELDOM = 500, 30, 0.25
FEW, A_DAY, OFTEN = 8, 0.4, 6.0
HOURS = 0.25
MINUTE = timedelta(minutes=1)
pytestmark = pytest.mark.slow  # days go by, look by look


def watched(seed, number, days, a_day, start=START, **given):
    began = time.monotonic()
    watching = Watching(make_fleet(random.Random(seed), number, days, start, a_day=a_day), **given)
    watching.play()
    looks = len(watching.offsets) * (watching.fleet.seconds // 60 + 1)
    print(
        f"{number} instruments, {days} days, {len(watching.todo)} words, {watching.outages()} outages, {looks} looks, {time.monotonic() - began:.0f} s"
    )
    return watching


@pytest.mark.django_db
@pytest.mark.parametrize("offsets", [(0.0,), IN_TURN])
def test_each_outage_of_a_small_fleet_is_noticed_once(seed, offsets):
    watching = watched(seed, FEW, A_DAY, OFTEN, offsets=offsets)

    assert watching.differences() == {}


@pytest.mark.django_db
@pytest.mark.long
@pytest.mark.parametrize("offsets", [(0.0,), IN_TURN])
def test_each_outage_of_five_hundred_instruments_in_a_month_is_noticed_once(seed, offsets):
    watching = watched(seed, SIZE, DAYS, SELDOM, offsets=offsets)

    assert watching.differences() == {}
    assert watching.outages() > SIZE


@pytest.mark.django_db
def test_the_account_sees_what_is_missed_false_and_cleared_too_soon():
    fleet = make_fleet(random.Random(3), 4, HOURS, START, a_day=3 * OFTEN)

    def planted(wrong):
        Attention.objects.all().delete()
        Delivery.objects.all().delete()
        Instrument.objects.update(last_contact_at=START, silent_after_minutes=None)
        watching = Watching(fleet, look=wrong)
        watching.play()
        return set(watching.differences())

    def forgetful(at):
        actions.watch_silence(at=at)
        Attention.objects.filter(cleared_at__isnull=True, since__lt=at - 20 * MINUTE).update(cleared_at=at)

    def nervous(at):
        actions.watch_silence(at=at)
        if at == START + 45 * MINUTE:
            row = fleet.devices[0].row
            actions.raise_attention(
                key=f"silent:{row.pk}", at=at, kind="silent", severity=2, instrument=row, sentence="x"
            )

    assert planted(lambda at: None) == {"missed"}
    assert "all-clear" in planted(forgetful)
    assert "false" in planted(nervous)


def last_heard(minutes, now):
    Instrument.objects.update(last_contact_at=now - minutes * MINUTE)


def open_rows():
    return Attention.objects.filter(cleared_at__isnull=True)


@pytest.mark.django_db
def test_a_habit_learned_anew_clears_nothing_that_has_not_spoken():
    now = timezone.now()
    make_instrument(interval_minutes=60, grace_minutes=10)
    last_heard(75, now)
    actions.watch_silence(at=now)
    Instrument.objects.update(silent_after_minutes=120)

    assert actions.watch_silence(at=now + MINUTE) == []
    assert open_rows().count() == 1

    last_heard(0, now + 2 * MINUTE)
    actions.watch_silence(at=now + 3 * MINUTE)
    assert (Attention.objects.count(), open_rows().count()) == (1, 0)


@pytest.mark.django_db
def test_a_watcher_whose_clock_is_behind_clears_nothing():
    now = timezone.now()
    make_instrument(interval_minutes=60, grace_minutes=10)
    last_heard(71, now)
    actions.watch_silence(at=now)

    actions.watch_silence(at=now - 2 * MINUTE)

    assert open_rows().get().opened == 1


@pytest.mark.django_db
def test_of_an_instrument_out_of_use_nothing_is_expected_any_more():
    now = timezone.now()
    instrument = make_instrument(interval_minutes=60, grace_minutes=10)
    last_heard(71, now)
    actions.watch_silence(at=now)
    type(instrument.equipment).objects.update(retired_on=now.date())

    actions.watch_silence(at=now + MINUTE)

    assert (Attention.objects.count(), open_rows().count()) == (1, 0)


@pytest.mark.django_db
def test_what_stands_open_is_brought_up_to_date_every_ten_minutes():
    now = START.replace(hour=12)
    instrument = make_instrument(interval_minutes=60, grace_minutes=10)
    last_heard(71, now)
    actions.watch_silence(at=now)
    type(instrument.equipment).objects.update(name="the old box")

    actions.watch_silence(at=now + MINUTE)
    assert "the old box" not in open_rows().get().sentence
    actions.watch_silence(at=now + 10 * MINUTE)
    assert "the old box" in open_rows().get().sentence


class AtOnce:
    """Two watchers that look, and tell, at the same moment, each on a connection of its own."""

    def __init__(self):
        self.pool = ThreadPoolExecutor(2)

    def one(self, at):
        actions.watch_silence(at=at)
        actions.tell(at=at)

    def __call__(self, at):
        for done in [self.pool.submit(self.one, at) for _n in range(2)]:
            done.result()

    def end(self):
        both = Barrier(2)
        for done in [self.pool.submit(lambda: (both.wait(), connections.close_all())) for _n in range(2)]:
            done.result()
        self.pool.shutdown()


def at_once(seed, number, days, a_day):
    if connection.vendor == "sqlite":
        pytest.skip("On SQLite one writer waits for the other, and the tests' database is in memory.")
    make_business(zone="Europe/London")
    owner = make_owner()
    two = AtOnce()
    try:
        watching = watched(seed, number, days, a_day, start=BY_DAY, look=two)
    finally:
        two.end()
    assert watching.differences() == {}
    assert set(Attention.objects.values_list("opened", flat=True)) == {1}
    told = Counter(Telling.objects.filter(person=owner).values_list("attention", flat=True))
    letters = Message.objects.filter(recipient=owner.email)
    print(f"{Attention.objects.count()} alarms, {len(told)} told, {letters.count()} letters")
    stood = {row.pk for row in Attention.objects.all() if (row.cleared_at or row.since) - row.since > STANDS}
    assert set(told) >= stood
    assert set(told.values()) <= {1}
    assert set(letters.values_list("key", flat=True)) == set(
        Telling.objects.values_list("message_key", flat=True)
    )


@pytest.mark.django_db(transaction=True)
def test_two_watchers_at_the_same_moment_say_each_outage_once(seed):
    at_once(seed, FEW, HOURS, 3 * OFTEN)


@pytest.mark.django_db(transaction=True)
@pytest.mark.long
def test_two_watchers_at_the_same_moment_say_each_outage_of_five_hundred_once(seed):
    at_once(seed, SIZE, DAYS, SELDOM)
