"""A relay that is silent is one alarm; one that hangs on it and is silent alone has its own; a lost line is that one's sign."""

import json
import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from reports.queries.unwatched import uneasy
from servicedesk.instruments.actions import receive, sign_of_life
from servicedesk.instruments.models import Instrument, Sign
from servicedesk.staff.queries import business_zone
from servicedesk.watch import actions
from servicedesk.watch.models import Attention, Awake
from servicedesk.watch.queries.alarms import grouped, instruments_by_site, open_alarms
from tests.factories.people import make_business
from tests.factories.tanks import NOON, make_instrument, make_measure, make_tank

pytestmark = pytest.mark.django_db
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


@pytest.fixture
def relay():
    make_business()
    return make_instrument(relays=True, interval_minutes=60, grace_minutes=30, last_contact_at=NOON)


@pytest.fixture
def probes(relay):
    found = []
    for number in range(3):
        tank = make_tank(relay.tank.site)
        given = {"interval_minutes": 60, "grace_minutes": 30, "last_contact_at": NOON, "through": relay}
        found.append(make_instrument(tank, relay_name=f"probe-{number}", **given))
        make_measure(found[-1], sent_name="alk")
    return found


def opened(*kinds):
    rows = Attention.objects.filter(cleared_at__isnull=True, kind__in=kinds or ("silent", "useless"))
    return {row.instrument: row for row in rows}


def spoke(at, *instruments):
    Instrument.objects.filter(pk__in=[one.pk for one in instruments]).update(last_contact_at=at)


def test_a_silent_relay_is_one_alarm_that_names_what_hangs_on_it(relay, probes):
    make_measure(probes[1], "leak", sent_name="power", unit="")
    assert actions.watch_silence(at=NOON + 80 * MINUTE) == []

    assert actions.watch_silence(at=NOON + 91 * MINUTE) == [relay.pk]

    (row,) = opened().values()
    assert row.instrument == relay and "what hangs on it cannot be heard" in row.sentence
    assert all(str(probe) in row.why for probe in probes)
    assert row.harm_at == NOON + 2 * HOUR
    (group,) = grouped(open_alarms(at=NOON + 91 * MINUTE), instruments_by_site())
    assert group.kind == "silent"

    spoke(NOON + 100 * MINUTE, relay, *probes)
    assert actions.watch_silence(at=NOON + 101 * MINUTE) == []
    assert not opened()


def test_one_that_is_silent_alone_is_its_own_alarm(relay, probes):
    spoke(NOON + 90 * MINUTE, relay, *probes[1:])

    assert actions.watch_silence(at=NOON + 95 * MINUTE) == [probes[0].pk]
    assert "hangs on it" not in opened()[probes[0]].sentence

    actions.watch_silence(at=NOON + 4 * HOUR)  # now the relay is silent too: one alarm in its place
    assert set(opened()) == {relay}
    spoke(NOON + 5 * HOUR, relay, *probes[1:])
    assert actions.watch_silence(at=NOON + 5 * HOUR) == [probes[0].pk]
    assert set(opened()) == {probes[0]}


def test_several_that_fall_silent_at_once_are_the_relays_silence_before_its_own_time(relay, probes):
    Instrument.objects.filter(pk=relay.pk).update(interval_minutes=6000)
    Instrument.objects.filter(pk=probes[2].pk).update(interval_minutes=6000)

    assert actions.watch_silence(at=NOON + 95 * MINUTE) == [relay.pk]

    spoke(NOON + 96 * MINUTE, relay, probes[2])  # something came through it: it is those two
    assert set(actions.watch_silence(at=NOON + 97 * MINUTE)) == {probes[0].pk, probes[1].pk}
    assert set(opened()) == set(probes[:2])


def test_after_a_pause_of_our_own_a_relay_and_what_hangs_on_it_get_their_time(relay, probes):
    Awake.objects.create(at=NOON + 3 * HOUR)

    assert actions.watch_silence(at=NOON + 4 * HOUR) == []
    assert actions.watch_silence(at=NOON + 5 * HOUR) == [relay.pk]


def send(relay, rows, at):
    pack = [{"t": at.timestamp(), **row} for row in rows]
    receive(instrument=relay, body=json.dumps(pack).encode(), at=at)


def test_a_relay_that_is_alive_and_sends_nothing_usable_is_one_alarm(relay, probes):
    at = NOON + 3 * HOUR
    send(relay, [{"n": "strange/alk", "v": 8}, {"n": "probe-0/strange", "v": 8}], at - 5 * MINUTE)

    assert actions.watch_silence(at=at) == []

    assert {one: row.kind for one, row in opened().items()} == {relay: "useless"}


def test_what_a_relay_repeats_for_one_does_not_make_it_alive(relay, probes):
    row = {"n": "probe-0/alk", "v": 8, "t": NOON.timestamp()}
    send(relay, [row], NOON)
    at = NOON + 3 * HOUR
    others = [{"n": "probe-1/alk", "v": 8}, {"n": "probe-2/alk", "v": 8}]
    send(relay, [row, *others], at)
    assert actions.watch_silence(at=at) == [probes[0].pk]

    send(relay, [{"n": "probe-0/strange", "v": 8}, *others], at + MINUTE)
    assert actions.watch_silence(at=at + MINUTE) == []
    assert {one: row.kind for one, row in opened().items()} == {probes[0]: "useless"}


def test_each_learns_its_own_habit_from_what_came_for_it(relay, probes):
    for number in range(132):
        rows = [{"n": "probe-0/alk", "v": 8 + number / 100}]
        rows += [{"n": "probe-1/alk", "v": 8 + number / 100}] if number % 6 == 0 else []
        send(relay, rows, NOON + number * HOUR)
    actions.learn_habits(at=NOON + 132 * HOUR)

    late = dict(Instrument.objects.values_list("pk", "silent_after_minutes"))
    assert late[probes[1].pk] > 3 * late[probes[0].pk]
    assert late[relay.pk] == late[probes[0].pk]


def test_a_relay_counts_as_one_line_of_its_site(relay, probes):
    direct = make_instrument(relay.tank, interval_minutes=60, grace_minutes=30, last_contact_at=NOON)
    assert instruments_by_site() == {relay.tank.site_id: 2}

    at = NOON + 95 * MINUTE
    assert set(actions.watch_silence(at=at)) == {relay.pk, direct.pk}
    (group,) = grouped(open_alarms(at=at), instruments_by_site())
    assert group.kind == "site_silent"

    spoke(at, relay, direct)
    assert set(actions.watch_silence(at=at)) == {probe.pk for probe in probes}
    groups = grouped(open_alarms(at=at), instruments_by_site())
    assert {found.kind for found in groups} == {"silent"} and len(groups) == 3


def test_a_lost_line_is_said_of_the_instrument_and_of_a_relay_that_measures_nothing(relay, probes):
    now = timezone.now()
    send(relay, [{"n": "probe-0/line_lost", "vb": True}], now)
    sign_of_life(instrument=relay, alive=False, at=now)
    actions.sweep(at=now)
    assert {one: row.sentence for one, row in opened("sign").items()} == {
        probes[0]: f"{probes[0]}: lost its line.", relay: f"{relay}: lost its line.",
    }  # fmt: skip

    send(relay, [{"n": "probe-0/line_lost", "vb": False}], now + MINUTE)
    actions.sweep(at=now + MINUTE)
    assert set(opened("sign")) == {relay}
    actions.judge_tank(tank=relay.tank, at=now + timedelta(days=8))
    assert not opened("sign")


def test_a_sign_of_one_out_of_use_stands_no_more(relay):
    now = timezone.now()
    Sign.objects.create(
        instrument=relay, at=now, kind="error", on=True, text="x", origin=uuid.uuid4(), received_at=now
    )
    actions.judge_tank(tank=relay.tank, at=now)
    assert set(opened("sign")) == {relay}
    type(relay.equipment).objects.filter(pk=relay.equipment_id).update(retired_on=now.date())
    actions.judge_tank(tank=relay.tank, at=now)
    assert not opened("sign")


def test_a_client_is_told_of_the_water_that_nobody_sees_and_not_of_the_relays(relay, probes):
    at, zone = NOON + 9 * HOUR, business_zone()

    assert uneasy(relay.tank, at=at, zone=zone) == []
    assert len(uneasy(probes[0].tank, at=at, zone=zone)) == 1
