"""Relays: a delivery is put to the instruments it names, each value once; what names nobody is held apart and can be assigned."""

import json
import random
from datetime import UTC, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from servicedesk.dosing.models import Dose
from servicedesk.instruments import actions
from servicedesk.instruments.actions import NotRelayed, check_relay, commissioning
from servicedesk.instruments.management.listening import take as heard
from servicedesk.instruments.models import Delivery, Instrument, SentDose, SentSign, Sign
from servicedesk.water import actions as water
from servicedesk.water.models import HeldReading, Reading, Touched
from tests.factories.people import make_owner
from tests.factories.tanks import make_channel, make_instrument, make_measure, make_site, make_tank

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)
THEN = NOW.timestamp() - 600


@pytest.fixture
def site():
    return make_site()


@pytest.fixture
def relay(site):
    return make_instrument(make_tank(site), relays=True, mqtt_name="box")


def hang(relay, name, *measures, tank=None, **given):
    """An instrument that comes through a relay, at a tank of its own."""
    instrument = make_instrument(tank or make_tank(relay.tank.site), through=relay, relay_name=name, **given)
    for parameter, sent, unit in measures:
        make_measure(instrument, parameter, sent_name=sent, unit=unit)
    return instrument


ALK, TEMP = ("alkalinity", "alk", "dKH"), ("temperature", "temp", "C")


@pytest.fixture
def probe(relay):
    return hang(relay, "probe-1", ALK, TEMP)


@pytest.fixture
def titrator(relay):
    return hang(relay, "titrator", ALK)


def send(relay, rows, *, at=NOW, kind=actions.SENML, **given):
    body = rows if isinstance(rows, bytes) else json.dumps(rows).encode()
    delivery, new = actions.receive(instrument=relay, body=body, at=at, media_type=kind, **given)
    return delivery, new


def stored_of(instrument):
    rows = Reading.objects.filter(
        series__source__equipment=instrument.equipment, series__tank=instrument.tank
    )
    return {row.series.parameter: row.value for row in rows.select_related("series")}


def test_a_pack_with_base_names_is_put_to_each_instrument_at_its_own_tank(relay, probe, titrator):
    rows = [
        {"bn": "probe-1/", "bt": THEN, "n": "alk", "u": "dKH", "v": 8.1},
        {"n": "temp", "u": "Cel", "v": 25.4},
        {"bn": "titrator:", "n": "alk", "v": 7.7},
    ]

    delivery, new = send(relay, rows)

    assert new and (delivery.stored, delivery.held) == (3, 0)
    assert delivery.answer["instruments"] == {"probe-1": 2, "titrator": 1}
    assert stored_of(probe) == {"alkalinity": 8.1, "temperature": 25.4}
    assert stored_of(titrator) == {"alkalinity": 7.7}
    assert {row.last_contact_at for row in Instrument.objects.all()} == {NOW}
    parts = {part.instrument: (part.stored, part.body) for part in delivery.parts.all()}
    assert parts == {probe: (2, ""), titrator: (1, "")}
    assert set(Touched.objects.values_list("tank", flat=True)) == {probe.tank_id, titrator.tank_id}


def test_plain_json_and_tables_say_beside_the_name_whose_it_is(relay, probe, titrator):
    at = (NOW - timedelta(hours=1)).isoformat()
    plain = [
        {"instrument": "probe-1", "name": "tank/alk", "value": 8.2, "at": at},
        {"instrument": "titrator", "name": "error", "says": "no water", "at": at},
        {"instrument": "nobody", "name": "alk", "value": 5, "at": at},
    ]
    delivery, _new = send(relay, plain, kind=actions.PLAIN)
    assert (delivery.stored, delivery.answer["signs"]) == (1, 1)
    assert delivery.answer["held"] == [
        {"index": 2, "reason": "“nobody” is nobody who comes through this relay."}
    ]
    assert Sign.objects.get().instrument == titrator

    long = f"at;instrument;name;value\n{at};PROBE-1;temp;25,1\n{at};titrator;alk;7,5\n{at};;alk;1\n"
    delivery, _new = send(relay, long.encode(), kind=actions.TABLE)
    assert (delivery.stored, [one["index"] for one in delivery.answer["held"]]) == (2, [2])
    wide = f"at,instrument,alk\n{(NOW - timedelta(minutes=5)).isoformat()},titrator,7.6\n"
    heads = f"at,Titrator/alk,probe-1/alk\n{(NOW - timedelta(minutes=4)).isoformat()},7.4,8.4\n"
    assert send(relay, wide.encode(), kind=actions.TABLE)[0].stored == 1
    assert send(relay, heads.encode(), kind=actions.TABLE)[0].stored == 2
    assert Reading.objects.filter(series__source__equipment=titrator.equipment).count() == 3


def test_a_name_in_large_letters_is_told_in_the_small_ones_of_a_tables_head(relay):
    large = hang(relay, "Probe-A", ALK)
    head = f"at,Probe-A/alk\n{(NOW - timedelta(minutes=4)).isoformat()},7.4\n"

    assert send(relay, head.encode(), kind=actions.TABLE)[0].stored == 1
    assert stored_of(large) == {"alkalinity": 7.4}


def test_two_that_differ_in_large_letters_only_are_not_guessed(relay):
    hang(relay, "Probe", ALK), hang(relay, "probe", ALK)

    delivery, _new = send(
        relay, [{"n": "PROBE/alk", "v": 8, "t": THEN}, {"n": "probe/alk", "v": 8, "t": THEN}]
    )

    assert (delivery.stored, [one["index"] for one in delivery.answer["held"]]) == (1, [0])


def test_one_that_sends_a_single_value_may_send_it_under_its_own_name(relay, probe, titrator):
    delivery, _new = send(
        relay, [{"n": "titrator", "v": 7.7, "t": THEN}, {"n": "probe-1", "v": 8, "t": THEN}]
    )

    assert stored_of(titrator) == {"alkalinity": 7.7}
    assert delivery.answer["held"] == [
        {"index": 1, "reason": "“” is not something this instrument measures."}
    ]


def test_what_a_relay_measures_itself_goes_by_its_whole_name(relay, probe):
    """By the end of a name alone "second/alk" would be the relay's own."""
    make_measure(relay, "alkalinity", sent_name="alk", unit="dKH")
    rows = [
        {"n": "alk", "v": 8, "t": THEN},
        {"n": "second/alk", "v": 4, "t": THEN + 1},
        {"n": "probe-1/2/alk", "v": 5, "t": THEN + 2},
        {"n": "error", "vs": "blocked"},
        {"n": "alk", "vd": "AAAA"},
    ]

    delivery, _new = send(relay, rows)

    reasons = {one["index"]: one["reason"] for one in delivery.answer["held"]}
    assert stored_of(relay) == {"alkalinity": 8} and stored_of(probe) == {}
    assert reasons[1] == "“second/alk” names nobody who comes through this relay."
    assert reasons[2] == "“2/alk” is not something this instrument measures."
    assert set(reasons) == {1, 2, 4}
    assert Sign.objects.get().instrument == relay
    assert HeldReading.objects.get(part=2).equipment == probe.equipment


def test_a_longer_name_that_nobody_has_is_not_the_shorter_ones(relay, probe, titrator):
    rows = [
        {"n": "titrator-2/alk", "v": 8, "t": THEN},
        {"n": "titrator/2/alk", "v": 8, "t": THEN},
        {"n": "titrator_alk", "v": 7, "t": THEN},
    ]

    assert not send(relay, [rows[0]], at=NOW - timedelta(hours=1))[0].parts.exists()
    HeldReading.objects.all().delete()
    send(relay, rows)

    held = {row.part: row.equipment for row in HeldReading.objects.select_related("equipment")}
    assert held == {0: relay.equipment, 1: titrator.equipment}
    assert stored_of(titrator) == {"alkalinity": 7}


def test_one_that_is_out_of_use_gets_nothing_any_more(relay, probe):
    type(probe.equipment).objects.filter(pk=probe.equipment_id).update(retired_on=NOW.date())

    delivery, _new = send(relay, [{"n": "probe-1/alk", "v": 8, "t": THEN}])

    assert delivery.answer["held"] == [{"index": 0, "reason": "“probe-1” is out of use."}]
    assert HeldReading.objects.get().equipment == relay.equipment


def test_the_same_body_again_is_one_delivery_and_in_another_batch_each_is_there_already(
    relay, probe, titrator
):
    rows = [{"n": "probe-1/alk", "v": 8, "t": THEN}, {"n": "titrator/alk", "v": 7, "t": THEN}]
    first, _new = send(relay, rows)
    assert send(relay, rows, at=NOW + timedelta(days=1)) == (first, False)
    later = NOW + timedelta(hours=5)

    again, new = send(relay, [*rows, {"n": "titrator/alk", "v": 7.1, "t": THEN + 60}], at=later)

    assert new and (again.stored, again.answer["already"]) == (1, 2)
    assert Reading.objects.count() == 3
    probe.refresh_from_db(), titrator.refresh_from_db(), relay.refresh_from_db()
    assert (probe.last_contact_at, titrator.last_contact_at, relay.last_contact_at) == (NOW, later, later)


def test_what_a_relay_only_repeats_is_its_own_word_and_not_the_instruments(relay, probe):
    rows = [{"n": "probe-1/alk", "v": 8, "t": THEN}]
    send(relay, rows)
    send(relay, [*rows, {"n": "probe-1/line_lost", "vb": True}], at=NOW + timedelta(hours=9))

    probe.refresh_from_db(), relay.refresh_from_db()
    assert (probe.last_contact_at, relay.last_contact_at) == (NOW, NOW + timedelta(hours=9))
    sign = Sign.objects.get()
    assert (sign.instrument, sign.kind, sign.on) == (probe, "line_lost", True)
    send(relay, [{"n": "probe-1/low_sample", "vb": False}], at=NOW + timedelta(hours=10))
    probe.refresh_from_db()
    assert probe.last_contact_at == NOW + timedelta(hours=10)


def test_good_values_are_stored_and_bad_ones_apart_each_at_its_instrument(relay, probe, titrator):
    rows = [
        {"n": "probe-1/alk", "u": "mg/L", "v": 8, "t": THEN},
        {"n": "probe-1/alk", "v": 8, "t": THEN},
        {"n": "titrator/alk", "v": 4000, "t": THEN},
        {"n": "titrator/alk", "t": THEN},
        {"n": "unheard/x", "v": 1, "t": THEN},
    ]

    delivery, _new = send(relay, rows)

    assert (delivery.stored, delivery.held) == (1, 4)
    places = {row.part: row.equipment for row in HeldReading.objects.select_related("equipment")}
    assert {part: place for part, place in places.items() if part != 3} == {
        0: probe.equipment, 2: titrator.equipment, 4: relay.equipment,
    }  # fmt: skip


def test_a_dose_of_a_relayed_pump_is_a_fact_of_its_tank(relay):
    pump = hang(relay, "pump")
    channel = make_channel(pump.tank, driven=True)
    SentDose.objects.create(instrument=pump, sent_name="given", channel=channel)

    delivery, _new = send(relay, [{"n": "pump/given", "u": "mL", "v": 3, "t": THEN}])

    assert delivery.answer["doses"] == 1
    assert (Dose.objects.get().tank, Dose.objects.get().channel) == (pump.tank, channel)


def test_a_failure_on_the_way_leaves_nothing_of_any_instrument(relay, probe, titrator, monkeypatch):
    rows = [
        {"n": "probe-1/alk", "v": 8, "t": THEN},
        {"n": "titrator/alk", "v": 7, "t": THEN},
        {"n": "x", "v": 1},
    ]
    real, calls = water.take_in, []

    def fails(**given):
        calls.append(given)
        if len(calls) == 2:
            raise RuntimeError("planted")
        return real(**given)

    monkeypatch.setattr(water, "take_in", fails)
    with pytest.raises(RuntimeError), transaction.atomic():
        send(relay, rows)

    for model in (Reading, HeldReading, Delivery, Touched):
        assert not model.objects.exists()
    assert not Instrument.objects.filter(last_contact_at__isnull=False).exists()
    monkeypatch.setattr(water, "take_in", real)
    assert send(relay, rows)[0].stored == 2


def test_an_ordinary_instrument_takes_nothing_that_names_another(probe):
    own = make_instrument(mqtt_name="hall")
    make_measure(own, "alkalinity", sent_name="alk")
    rows = [
        {"name": "alk", "value": 8, "instrument": "probe-1"},
        {"name": "alk", "value": 8.1, "instrument": "HALL"},
        {"name": "alk", "value": 8.2, "instrument": own.equipment.name, "at": "2026-05-01T10:00:00Z"},
    ]

    delivery, _new = send(own, rows, kind=actions.PLAIN)

    assert (delivery.stored, [one["index"] for one in delivery.answer["held"]]) == (2, [0])
    assert "relays nothing" in delivery.answer["held"][0]["reason"]


def test_an_ordinary_delivery_asks_the_database_no_more_for_relays_being_there(
    django_assert_num_queries, probe
):
    """A savepoint opened and closed, four questions, four writes: none of them for relays."""
    own = make_instrument()
    make_measure(own, "alkalinity", sent_name="alk")
    send(own, [{"n": "alk", "v": 8, "t": THEN - 60}])

    with django_assert_num_queries(10):
        send(own, [{"n": "alk", "v": 8, "t": THEN}])


def test_a_level_of_the_topic_names_whose_it_is(relay, probe, titrator):
    pack = json.dumps([{"n": "alk", "v": 8.1, "t": THEN}]).encode()

    def said(topic, payload=pack, **given):
        return heard(topic=topic, payload=payload, at=NOW, **given)

    assert [said("box/probe-1"), said("box/titrator"), said("box/probe-1")] == ["taken", "taken", "already"]
    assert (stored_of(probe), stored_of(titrator)) == ({"alkalinity": 8.1}, {"alkalinity": 8.1})
    undated = json.dumps([{"n": "alk", "v": 8.3}]).encode()
    assert [said("box/probe-1", undated), said("box/titrator", undated)] == ["taken", "taken"]
    assert said("box/probe-1", undated) == "already"
    assert said("box/somebody", pack) == "taken"
    assert "“somebody” is nobody" in HeldReading.objects.get().reason
    assert said("box/probe-1", b"[nonsense") == "refused"
    assert said("box/titrator", b"[nonsense") == "refused"
    assert {d.under for d in Delivery.objects.filter(state="refused")} == {"probe-1", "titrator"}
    assert said("box/" + "x" * 101) == "ignored"
    assert Delivery.objects.filter(under="probe-1").exists()


def test_a_line_that_is_lost_behind_a_relay_is_a_sign_of_that_instrument(relay, probe):
    def life(topic, payload=b"offline", **given):
        return heard(topic=topic, payload=payload, at=NOW, **given)

    assert life("box/probe-1/status") == "life"
    assert life("box/status") == "life"
    assert life("box/nobody/status") == "unknown"
    assert life("box/probe-1/status", b"dancing") == "ignored"
    assert life("box/probe-1/status", kept=True) == "ignored"
    Instrument.objects.filter(pk=probe.pk).update(through=None, relay_name="", mqtt_name="own")
    assert life("own/box/status") == "ignored"

    assert [(s.instrument, s.kind, s.on) for s in Sign.objects.order_by("pk")] == [
        (probe, "line_lost", True), (relay, "line_lost", True),
    ]  # fmt: skip


def test_a_topic_that_names_somebody_else_inside_goes_by_what_is_inside(relay, probe, titrator):
    body = json.dumps([{"name": "alk", "value": 7, "instrument": "titrator"}]).encode()

    assert heard(topic="box/probe-1", payload=body, at=NOW) == "taken"
    assert stored_of(titrator) == {"alkalinity": 7}


def refused(match, **given):
    row = Instrument(**given) if "pk" not in given else Instrument.objects.get(pk=given.pop("pk"))
    for name, value in given.items():
        setattr(row, name, value)
    with pytest.raises(NotRelayed, match=match), transaction.atomic():
        check_relay(row)


def test_what_cannot_come_through_a_relay_is_refused_in_words(relay, probe):
    plain, other = make_instrument(relay.tank), make_instrument(make_tank(), relays=True)
    refused("through itself", pk=relay.pk, through=relay, relay_name="me")
    refused("relays nothing", pk=plain.pk, through=probe, relay_name="x")
    refused("another site", pk=plain.pk, through=other, relay_name="x")
    refused("still comes through it", pk=relay.pk, relays=False)
    new = Instrument(equipment=plain.equipment, tank=plain.tank, through=relay, relay_name="new")
    check_relay(new)
    type(relay.equipment).objects.filter(pk=relay.equipment_id).update(retired_on=NOW.date())
    refused("out of use", pk=plain.pk, through=relay, relay_name="x")
    check_relay(plain)


@pytest.mark.parametrize(
    "given",
    [
        {"relays": True},
        {"relay_name": ""},
        {"through": None},
        {"relay_name": "titrator"},
    ],
)
def test_the_database_refuses_chains_and_names_that_do_not_fit(relay, probe, titrator, given):
    with pytest.raises(IntegrityError), transaction.atomic():
        Instrument.objects.filter(pk=probe.pk).update(**given)


@pytest.mark.parametrize("name", ["a+", "#", "/a", "a:", " a", "a\n", "status", "Status"])
def test_a_name_by_which_a_relay_tells_nobody_is_refused(name):
    with pytest.raises(ValidationError):
        Instrument(relay_name=name).clean_fields(exclude=["equipment", "tank"])


def test_what_comes_through_a_relay_is_brought_into_use_without_a_pass_and_a_relay_without_a_test(
    relay, probe
):
    owner = make_owner()
    assert "pass" not in commissioning.needed_for(probe) and "agrees" in commissioning.needed_for(probe)
    assert "agrees" not in commissioning.needed_for(relay)
    row = commissioning.begin(instrument=probe, by=owner, at=timezone.now())
    with pytest.raises(commissioning.NotCommissioned, match="its name at the relay"):
        commissioning.heard(row=row, by=owner, at=timezone.now())

    row = commissioning.begin(instrument=relay, by=owner, at=NOW)
    commissioning.placed(row=row, by=owner, at=NOW, where="on the wall")
    commissioning.give_pass(row=row, by=owner, at=NOW)
    send(relay, [{"n": "probe-1/alk", "v": 8, "t": THEN}], at=NOW + timedelta(minutes=1))
    commissioning.heard(row=row, by=owner, at=NOW + timedelta(minutes=2))
    assert "sends us what" in commissioning.end(row=row, by=owner, at=NOW + timedelta(minutes=3)).note


TONGUES = (actions.SENML, actions.PLAIN)


def mixed_body(rng, names):
    """A body of everything at once, and of each record whose it is if it is anybody's."""
    rows, whose = [], []
    for number in range(rng.randint(1, 120)):
        name = rng.choice([*names, "nobody", "probe", "", None])
        sent = rng.choice(["alk", "alk", "temp", "given", "error", "strange", "a/alk", ""])
        row = {"v": round(rng.uniform(5, 12), 3), "t": THEN - 60 * number}
        row |= rng.choice(
            [{}, {}, {}, {"u": "dKH"}, {"u": "furlong"}, {"v": 1e9}, {"v": "eight"}, {"t": -1e18}]
        )
        if rng.random() < 0.15:
            del row["v"]
            row["vb"] = rng.random() < 0.5
        row["n"] = sent if name is None else f"{name}/{sent}" if sent else name
        if rng.random() < 0.1 and rows:  # the same once more in one body
            row, name = dict(rows[-1]), whose[-1]
        rows.append(row)
        whose.append(name)
    return rows, whose


@pytest.mark.parametrize("run", range(6))
def test_every_value_of_a_mixed_body_is_stored_once_or_held_apart_once(relay, probe, titrator, seed, run):
    rng = random.Random(seed + run)
    pump = hang(relay, "pump")
    SentDose.objects.create(instrument=pump, sent_name="given", channel=make_channel(pump.tank, driven=True))
    SentSign.objects.create(instrument=titrator, sent_name="alk", kind="waste_full")
    make_measure(relay, "temperature", sent_name="temp", unit="C")
    by_name = {"probe-1": probe, "titrator": titrator, "pump": pump, None: relay}
    for number in range(4):
        rows, whose = mixed_body(rng, ["probe-1", "titrator", "pump"])
        at = NOW + timedelta(minutes=number)
        delivery, new = send(relay, rows, at=at)
        assert new
        origins = [delivery.pk, *delivery.parts.values_list("pk", flat=True)]
        stored = list(
            Reading.objects.filter(origin__in=origins).values_list("part", "series__source__equipment")
        )
        held = list(HeldReading.objects.filter(origin__in=origins).values_list("part", flat=True))
        signs = list(Sign.objects.filter(origin__in=origins).values_list("part", "instrument__equipment"))
        doses = list(Dose.objects.filter(origin__in=origins).values_list("part", flat=True))
        answer = delivery.answer
        found = [part for part, _e in stored] + held + [part for part, _e in signs] + doses
        assert len(found) == len(set(found))
        assert len(found) + answer["already"] == len(rows)
        assert (answer["stored"], len(answer["held"])) == (len(stored), len(held))
        assert {one["index"] for one in answer["held"]} == set(held)
        for part, equipment in [*stored, *signs]:
            assert equipment == by_name[whose[part]].equipment_id, (rows[part], whose[part])
        before = (
            Reading.objects.count(),
            HeldReading.objects.count(),
            Sign.objects.count(),
            Dose.objects.count(),
        )
        assert send(relay, rows, at=at + timedelta(seconds=10))[1] is False
        assert (
            Reading.objects.count(), HeldReading.objects.count(), Sign.objects.count(), Dose.objects.count()
        ) == before  # fmt: skip
