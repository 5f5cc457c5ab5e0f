"""Other tongues than SenML in JSON: CBOR, plain JSON, tables. Signs and commanded doses beside values."""

import json
import struct
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import cbor2
import pytest
from django.test import Client as Browser
from django.test import RequestFactory
from django.utils import timezone
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from rest_framework.exceptions import ParseError

from servicedesk.dosing.models import Dose
from servicedesk.dosing.queries import Settings
from servicedesk.instruments import actions, api
from servicedesk.instruments.actions import tokens
from servicedesk.instruments.adapters import plain, senml, table
from servicedesk.instruments.adapters.records import NotRead
from servicedesk.instruments.models import Delivery, SentDose, SentSign, Sign
from servicedesk.water.models import Reading
from tests.factories.tanks import make_channel, make_instrument, make_measure

ADDRESS = "/api/v1/deliveries/"
NOW = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def instrument(db):
    instrument = make_instrument()
    make_measure(instrument, "alkalinity", sent_name="alk", unit="dKH")
    make_measure(instrument, "temperature", sent_name="temp", unit="C")
    return instrument


@pytest.fixture
def post(instrument):
    token = actions.make_token(instrument=instrument, at=timezone.now())[1]

    def send(body, kind):
        return Browser().post(ADDRESS, body, content_type=kind, headers={"Authorization": f"Bearer {token}"})

    return send


def stamp(hours=0.0):
    return (datetime.now(UTC) - timedelta(hours=hours)).isoformat(timespec="seconds")


def test_the_same_pack_in_cbor_with_numbered_labels_is_the_same_reading(post):
    """RFC 8428, table 4: bn -2, bt -3, n 0, u 1, v 2, t 6."""
    then = datetime.now(UTC).timestamp() - 600
    body = cbor2.dumps(
        [{-2: "tank/", -3: then, 0: "alk", 1: "dKH", 2: 8.1}, {0: "temp", 1: "Cel", 2: 25, 6: 60}]
    )

    answer = post(body, "application/senml+cbor")

    assert (answer.status_code, answer.json()["stored"]) == (201, 2)
    assert sorted(Reading.objects.values_list("value", flat=True)) == [8.1, 25.0]
    assert post(body, "application/senml+cbor").status_code == 200
    assert bytes.fromhex(Delivery.objects.get().body) == body


def test_a_decimal_fraction_of_cbor_is_a_number(post):

    body = cbor2.dumps([{0: "alk", 2: Decimal("8.25"), 6: -5}])

    assert post(body, "application/senml+cbor").json()["stored"] == 1


@pytest.mark.parametrize(
    "body",
    [
        b"\xff",
        b"\x81",
        cbor2.dumps({"n": 1}),
        cbor2.dumps([]),
        cbor2.dumps([{0: "alk", 2: float("nan")}]),
        cbor2.dumps([{0: "alk", 2: float("inf")}]),
        cbor2.dumps([{0: "alk", 2: 2**80}]),
        cbor2.dumps([{0: b"alk", 2: 1}]),
        cbor2.dumps([{1.5: "alk"}]),
        cbor2.dumps([{10**6: "alk"}]),
        cbor2.dumps([{True: "alk"}]),
        b"\x81\xa2\x00\x61a\x00\x61b",
        cbor2.dumps([{0: "alk", 2: 1}]) + b"\x00",
        b"\x81" * 100,
        b"\x9b\x7f\xff\xff\xff\xff\xff\xff\xff",
        b"\x5b\x7f\xff\xff\xff\xff\xff\xff\xff",
        cbor2.dumps(cbor2.CBORTag(1, "no time")),
        cbor2.dumps([NOW]),
        b"\xd8\x1c\x81\xd8\x1d\x00",
    ],
)
def test_what_is_no_cbor_pack_is_refused_and_stores_nothing(post, body):
    answer = post(body, "application/senml+cbor")

    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    assert not Reading.objects.exists() and not Delivery.objects.exists()


@hypothesis_settings(max_examples=200, deadline=None)
@given(st.binary(max_size=60))
def test_any_bytes_are_a_pack_or_are_refused_in_words(body):
    for parse in (senml.parse_cbor, senml.parse, plain.parse, table.parse):
        try:
            records = parse(body, received_at=NOW)
        except (NotRead, ParseError) as wrong:
            assert str(wrong)
        else:
            assert all(r.wrong or r.says is not None or r.value is not None for r in records)


def test_plain_json_becomes_readings_and_what_is_wrong_is_named(post):
    rows = [
        {"name": "alk", "value": 8.1, "unit": "dKH", "at": stamp(1)},
        {"name": "temp", "value": 25.2, "at": stamp(1)},
        {"name": "temp", "value": "25"},
        {"name": "temp", "value": 25, "at": "2026-05-01T08:00:00"},
        {"name": "temp", "value": 25, "at": "yesterday"},
        {"name": "temp", "value": 25, "at": 5},
        {"name": "temp", "value": 25, "colour": "red"},
        {"name": 7, "value": 25},
        "text",
        {"name": "unheard", "value": 1},
    ]

    answer = post(json.dumps({"readings": rows}), "application/json").json()

    assert answer["stored"] == 2
    reasons = {held["index"]: held["reason"] for held in answer["held"]}
    assert sorted(reasons) == [2, 3, 4, 5, 6, 7, 8, 9]
    assert "offset" in reasons[3] and "colour" in reasons[6] and "unheard" in reasons[9]


@pytest.mark.parametrize(
    "body",
    [
        b"{}",
        b'{"readings":[]}',
        b'{"rows":[]}',
        b"[]",
        b"5",
        b'{"readings":{"a":1}}',
        b"[1" + b",1" * 1000 + b"]",
    ],
)
def test_plain_json_without_readings_is_refused(post, body):
    assert post(body, "application/json").status_code == 400


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("at,name,value,unit\n{0},alk,8.1,dKH\n{0},temp,25.4,\n", {8.1, 25.4}),
        ("at;name;value\n{0};alk;8,1\n{0};temp;25,4\n", {8.1, 25.4}),
        ("at\talk\ttemp\n{0}\t8.1\t25.4\n\n", {8.1, 25.4}),
        ("\ufeffAt;Alk;Temp\r\n{0};8,1;\r\n", {8.1}),
    ],
)
def test_a_table_is_read_long_and_wide_with_point_and_comma(post, text, values):
    answer = post(text.format(stamp(2)).encode(), "text/csv")

    assert answer.json()["held"] == []
    assert set(Reading.objects.values_list("value", flat=True)) == values


def test_rows_of_a_table_that_are_wrong_are_named_and_the_others_stored(post):
    lines = ["at,name,value", f"{stamp(1)},alk,8.1", f"{stamp(1)},alk,eight", ",alk,8", f"{stamp(1)},temp,1_000", f"{stamp(1)},temp,nan",
             f"{stamp(1)},temp,２５", f"{stamp(1)},temp,25.1"]  # fmt: skip

    answer = post("\n".join(lines).encode(), "text/csv").json()

    assert (answer["stored"], [held["index"] for held in answer["held"]]) == (2, [1, 2, 3, 4, 5])


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"name,value\nalk,8\n",
        b"at,at\n1,2\n",
        b"at\n",
        b"at,name,value\n",
        b"\xff\xfe",
        b"at,alk\x00\n",
        b'at,"alk\n',
        ("at," + ",".join(f"c{n}" for n in range(80))).encode(),
        b"at,alk\n" + b"2026-05-01T00:00:00Z,8\n" * 1001,
        b"at,alk\n" + b'2026-05-01T00:00:00Z,"' + b"x" * 140_000 + b'"\n',
    ],
)
def test_a_table_that_is_none_is_refused(post, body):
    answer = post(body, "text/csv")

    assert answer.status_code in (400, 413)
    assert not Reading.objects.exists()


def test_what_a_device_says_of_itself_is_kept_beside_its_values(instrument, post):
    SentSign.objects.create(instrument=instrument, sent_name="bin", kind="waste_full")
    pack = [
        {"bn": "box/", "n": "alk", "v": 8.1, "t": -60},
        {"n": "bin", "vb": True},
        {"n": "low_sample", "vb": False},
        {"n": "error", "vs": "pump 2 blocked"},
        {"n": "status", "vs": "ok"},
        {"n": "mood", "vs": "fine"},
        {"n": "error", "vs": "old", "t": -200 * 86400},
    ]

    answer = post(json.dumps(pack), "application/senml+json").json()

    assert (answer["stored"], answer["signs"], [h["index"] for h in answer["held"]]) == (1, 4, [5, 6])
    said = {(s.kind, s.on, s.text) for s in Sign.objects.all()}
    assert said == {
        ("waste_full", True, "yes"), ("low_sample", False, "no"), ("error", True, "pump 2 blocked"), ("error", False, "ok"),
    }  # fmt: skip


def test_signs_in_plain_json(post):
    rows = [
        {"name": "error", "on": True, "says": "no water"},
        {"name": "alive", "says": "ok"},
        {"name": "error", "on": 1},
    ]

    answer = post(json.dumps(rows), "application/json").json()

    assert (answer["signs"], len(answer["held"])) == (2, 1)
    assert {(s.kind, s.on) for s in Sign.objects.all()} == {("error", True), ("alive", False)}


def test_a_commanded_dose_becomes_a_fact_of_the_pump_and_empties_its_container(instrument, post):
    channel = make_channel(instrument.tank, driven=True, container_ml=1000)
    SentDose.objects.create(instrument=instrument, sent_name="given", channel=channel)
    now = timezone.now()
    channel.refills.create(at=now - timedelta(days=2), ml_now=500, received_at=now)
    pack = [
        {"n": "given", "u": "mL", "v": 12.5, "t": -3600},
        {"n": "given", "v": 0, "t": -1800},
        {"n": "given", "v": -4, "t": -900},
        {"n": "given", "u": "L", "v": 1, "t": -800},
        {"n": "given", "v": 3, "t": -200 * 86400},
    ]

    answer = post(json.dumps(pack), "application/senml+json").json()

    assert (answer["doses"], [h["index"] for h in answer["held"]]) == (2, [2, 3, 4])
    dose = Dose.objects.get()
    assert (dose.kind, dose.ml, dose.channel) == ("commanded", 12.5, channel)
    settings = Settings([channel], timezone.now())
    assert settings.left_ml(channel) == 487.5
    assert settings.rate(channel) == pytest.approx(12.5)


def test_a_driven_channel_that_never_reported_has_no_rate(instrument):
    channel = make_channel(instrument.tank, driven=True)

    assert Settings([channel], timezone.now()).rate(channel) is None


def test_history_is_taken_in_without_doubt_of_its_age(instrument):
    old = NOW - timedelta(days=400)
    body = json.dumps([{"n": "alk", "v": 8.1, "t": old.timestamp()}]).encode()

    actions.receive(instrument=instrument, body=body, at=NOW, history=True)

    assert Reading.objects.get().flags == 0
    later = json.dumps([{"n": "alk", "v": 8.2, "t": old.timestamp() + 60}]).encode()
    actions.receive(instrument=instrument, body=later, at=NOW)
    assert Reading.objects.order_by("-at").first().flags == 1


def test_a_kind_that_is_not_read_is_refused_in_words(instrument):
    with pytest.raises(NotRead, match="is not read here"):
        actions.receive(instrument=instrument, body=b"x", at=NOW, media_type="image/png")


def test_floats_of_half_precision_and_whole_numbers_are_read():
    body = b"\x81\xa2\x00\x63alk\x02\xf9" + struct.pack(">e", 8.0)

    (record,) = senml.parse_cbor(body, received_at=NOW)

    assert (record.name, record.value, record.at) == ("alk", 8.0, NOW)


def test_an_analogue_line_is_turned_by_its_two_points(instrument, post):
    """0 V at pH 4, 5 V at pH 10: 2.6 V is 7.12; sent as volts, kept as what they mean."""
    make_measure(
        instrument, "ph", sent_name="line", unit="V", low_volts=0, low_value=4, high_volts=5, high_value=10
    )
    pack = [{"n": "line", "u": "V", "v": 2.6}, {"n": "line", "u": "mV", "v": 2600}, {"n": "line", "v": 99}]

    answer = post(json.dumps(pack), "application/senml+json").json()

    row = Reading.objects.get()
    assert (round(row.value, 6), row.entered_unit) == (7.12, "NBS scale")
    assert [h["index"] for h in answer["held"]] == [1, 2]


def test_a_device_that_talks_too_often_is_asked_to_wait_and_no_other_is(instrument, settings):
    settings.DEVICE_A_MINUTE = 5
    noisy, calm = (
        actions.make_token(instrument=row, at=timezone.now())[1] for row in (instrument, make_instrument())
    )
    at = timezone.now().replace(second=1)
    for number in range(5):
        assert actions.use_token(text=noisy, at=at + timedelta(seconds=number)) is not None
    with pytest.raises(actions.TooOften):
        actions.use_token(text=noisy, at=at + timedelta(seconds=10))
    assert actions.use_token(text=calm, at=at + timedelta(seconds=10)) is not None
    assert actions.use_token(text=noisy, at=at + timedelta(seconds=60)) is not None

    settings.DEVICE_A_MINUTE = 0
    answer = Browser().post(
        ADDRESS, b"[]", content_type="application/json", headers={"Authorization": f"Bearer {noisy}"}
    )
    assert answer.status_code == 429 and 0 < int(answer["Retry-After"]) <= 60
    assert answer["Content-Type"] == "application/problem+json"


def test_who_was_told_to_wait_is_told_again_without_the_database_until_the_minute_is_over(
    instrument, settings, monkeypatch, django_assert_num_queries
):
    settings.DEVICE_A_MINUTE = 1
    monkeypatch.setattr(tokens, "MOST_KEPT", 1)
    at = timezone.now().replace(second=1)
    passes = [actions.make_token(instrument=instrument, at=at)[1] for _n in range(2)]
    for text in passes:
        assert actions.use_token(text=text, at=at) is not None
        with pytest.raises(actions.TooOften):
            actions.use_token(text=text, at=at)

    with django_assert_num_queries(0), pytest.raises(actions.TooOften):
        actions.use_token(text=passes[1], at=at + timedelta(seconds=50))
    assert len(tokens._TOO_OFTEN) == 1, "what is kept does not grow for ever"
    assert actions.use_token(text=passes[1], at=at + timedelta(seconds=60)) is not None


def test_what_one_device_sends_at_once_beyond_a_few_is_asked_to_wait_a_moment(instrument, settings):
    settings.DEVICE_AT_ONCE = 2
    noisy, calm = (
        f"Bearer {actions.make_token(instrument=row, at=timezone.now())[1]}"
        for row in (instrument, make_instrument())
    )

    def sent(name):
        return Browser().post(
            ADDRESS, b"[]", content_type="application/senml+json", headers={"Authorization": name}
        )

    held = RequestFactory().post(ADDRESS, headers={"Authorization": noisy})
    with api.one_of_few(held) as first, api.one_of_few(held) as second:
        assert first and second
        answer = sent(noisy)
        assert (answer.status_code, answer["Retry-After"]) == (429, "1")
        assert "one after the other" in answer.json()["detail"]
        assert sent(calm).status_code == 400
    assert sent(noisy).status_code == 400
    assert api.AT_ONCE == {}
