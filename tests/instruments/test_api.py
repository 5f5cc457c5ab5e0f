import json
from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.instruments import actions
from servicedesk.instruments.models import Delivery
from servicedesk.water.models import HeldReading, Reading
from tests.factories.tanks import make_instrument, make_measure

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/deliveries/"


@pytest.fixture
def instrument():
    instrument = make_instrument()
    make_measure(instrument, "alkalinity", sent_name="alk", unit="dKH")
    make_measure(instrument, "temperature", sent_name="temp", unit="C")
    return instrument


@pytest.fixture
def token(instrument):
    return actions.make_token(instrument=instrument, at=timezone.now())[1]


def post(pack, token, **rest):
    body = pack if isinstance(pack, bytes) else json.dumps(pack).encode()
    headers = {"Authorization": f"Bearer {token}"} if token else {}
    kind = rest.pop("content_type", "application/senml+json")
    return Browser().post(ADDRESS, body, content_type=kind, headers=headers, **rest)


def now() -> float:
    return datetime.now(UTC).timestamp()


def test_deliveries_without_a_pass_answers_401_as_a_problem():
    answer = post([{"n": "alk", "v": 8}], None)

    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"
    assert answer["WWW-Authenticate"] == "Bearer"


def test_deliveries_with_a_revoked_pass_answers_401(instrument):
    row, text = actions.make_token(instrument=instrument, at=timezone.now())
    actions.revoke_token(token=row, at=timezone.now())

    assert post([{"n": "alk", "v": 8}], text).status_code == 401
    assert Reading.objects.count() == 0


def test_deliveries_with_an_ended_pass_answers_401(instrument):
    then = timezone.now() - timedelta(days=2)
    text = actions.make_token(instrument=instrument, at=then, expires_at=then + timedelta(days=1))[1]

    assert post([{"n": "alk", "v": 8}], text).status_code == 401


def test_deliveries_cannot_be_read(token):
    answer = Browser().get(ADDRESS, headers={"Authorization": f"Bearer {token}"})

    assert answer.status_code == 405


def test_a_pack_with_base_values_becomes_readings(token):
    then = now() - 600

    answer = post(
        [
            {"bn": "tank/", "bt": then, "n": "alk", "u": "dKH", "v": 8.1},
            {"n": "temp", "u": "Cel", "v": 25.4, "t": 60},
        ],
        token,
    )

    assert answer.status_code == 201
    rows = Reading.objects.order_by("series__parameter").values_list(
        "series__parameter", "value", "entered", "entered_unit"
    )
    assert list(rows) == [("alkalinity", 8.1, "8.1", "dKH"), ("temperature", 25.4, "25.4", "C")]
    times = list(Reading.objects.order_by("series__parameter").values_list("at", flat=True))
    assert (times[1] - times[0]).total_seconds() == pytest.approx(60, abs=0.001)


def test_the_same_post_twice_is_one_reading_and_the_same_answer(token):
    pack = [{"n": "alk", "v": 8.1, "t": now()}]

    first, second = post(pack, token), post(pack, token)

    assert (first.status_code, second.status_code) == (201, 200)
    assert first.json() == second.json()
    assert Reading.objects.count() == Delivery.objects.count() == 1


def test_the_same_reading_in_another_pack_is_already_there(token):
    record = {"n": "alk", "v": 8.1, "t": now()}
    post([record], token)

    answer = post([record, {"n": "temp", "v": 25, "t": now()}], token).json()

    assert (answer["stored"], answer["already"], answer["held"]) == (1, 1, [])


def test_another_value_for_the_same_moment_is_held_apart(token):
    then = now()
    post([{"n": "alk", "v": 8.1, "t": then}], token)

    answer = post([{"n": "alk", "v": 9.9, "t": then}], token).json()

    assert answer["held"] == [{"index": 0, "reason": "Another value is already stored for this moment."}]
    assert [r.value for r in Reading.objects.all()] == [8.1]


def test_bad_records_are_named_and_the_others_stored(token):
    then = now()
    pack = [{"n": "alk", "v": 8 + n / 100, "t": then - 60 * n} for n in range(20)]
    pack[3] = {"n": "alk", "v": True, "t": then - 1}
    pack[7] = {"n": "unheard", "v": 3, "t": then}
    pack[9] = {"n": "alk", "u": "meq/L", "v": 3, "t": then}
    pack[11] = {"n": "alk", "v": 4000, "t": then - 2}
    pack[13] = "text"

    answer = post(pack, token).json()

    assert answer["stored"] == 15
    assert [h["index"] for h in answer["held"]] == [3, 7, 9, 11, 13]
    assert HeldReading.objects.count() == 5
    assert post(pack, token).json() == answer


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{}",
        b"[]",
        b"nonsense",
        b'[{"n":"alk","v":NaN}]',
        b'[{"n":"alk","v":1e999}]',
        b'[{"n":"alk","v":1,"v":2}]',
        b'[{"n":"alk\\u0000","v":1}]',
        b'[{"n":"\\ud800","v":1}]',
        b"[" * 100_000,
        b'[{"n":"alk","v":' + b"9" * 5000 + b"}]",
        b"\xff\xfe[",
    ],
)
def test_a_body_that_is_no_pack_is_refused_and_nothing_stored(token, body):
    answer = post(body, token)

    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    assert (Reading.objects.count(), Delivery.objects.count(), HeldReading.objects.count()) == (0, 0, 0)


@pytest.mark.parametrize("value", [10**18, -(10**18), 253402300800 * 2])
def test_a_time_that_cannot_be_is_held_apart(token, value):
    answer = post([{"n": "alk", "v": 8, "t": value}], token)

    assert (answer.status_code, len(answer.json()["held"])) == (201, 1 if abs(value) >= 2**28 else 0)


def test_a_time_in_the_future_is_stored_and_flagged(token):
    post([{"n": "alk", "v": 8, "t": now() + 86400}], token)

    assert [r.flags for r in Reading.objects.all()] == [1]


def test_a_pack_of_another_kind_is_refused(token):
    assert post(b"[]", token, content_type="text/xml").status_code == 415


def test_a_pack_that_is_too_big_is_refused(token):
    assert post(b" " * (600 * 1024), token).status_code == 413


UNDATED = b'[{"n": "alk", "u": "dKH", "v": 7.9}]'
NOON = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)


def received(instrument, body, *minutes):
    """Whether each coming of the same body, so many minutes after noon, was news."""
    return [
        actions.receive(instrument=instrument, body=body, at=NOON + timedelta(minutes=m))[1] for m in minutes
    ]


def test_a_pack_without_a_time_is_a_repeat_soon_after_and_news_later(instrument):
    assert received(instrument, UNDATED, 0, 0.5, 9, 9.1) == [True, False, True, False]

    assert sorted(r.at for r in Reading.objects.all()) == [NOON, NOON + timedelta(minutes=9)]
    instrument.refresh_from_db()
    assert instrument.last_contact_at == NOON + timedelta(minutes=9)


def test_a_pack_that_tells_how_long_ago_is_news_later_too(instrument):
    assert received(instrument, b'[{"n": "alk", "v": 7.9, "t": -60}]', 0, 10) == [True, True]


def test_a_pack_that_tells_its_times_is_a_repeat_for_ever(instrument):
    body = json.dumps([{"n": "alk", "v": 7.9, "t": NOON.timestamp()}]).encode()

    assert received(instrument, body, 0, 60 * 24 * 30) == [True, False]
    assert Reading.objects.count() == 1


def test_one_record_without_a_time_makes_the_whole_pack_news_and_keeps_the_dated_one_once(instrument):
    body = json.dumps([{"n": "alk", "v": 7.9, "t": NOON.timestamp()}, {"n": "temp", "v": 25}]).encode()

    assert received(instrument, body, 0, 10) == [True, True]
    assert Reading.objects.count() == 3
