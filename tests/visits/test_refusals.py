"""What an entry may not say is refused in a sentence, and leaves nothing."""

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from servicedesk.dosing.models import PumpCheck
from servicedesk.visits.actions import take_entries
from servicedesk.visits.models import Entry, Visit
from tests.factories.people import make_technician
from tests.factories.scenes import Scene
from tests.factories.stops import entry
from tests.factories.tanks import (
    make_channel,
    make_equipment,
    make_instrument,
    make_livestock,
    make_measure,
    make_tank,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene():
    return Scene()


def refused(scene, kind, **payload):
    """The sentence with which such an entry is refused."""
    found = scene.send(scene.entry(kind, **payload))[0]
    assert found["receipt"] == "refused"
    assert not Entry.objects.exists()
    return found["reason"]


@pytest.mark.parametrize(
    ("kind", "payload", "sentence"),
    [
        ("finding", {"text": 7}, "“text” is not a text of sensible length."),
        ("finding", {"text": "x" * 2001}, "“text” is not a text of sensible length."),
        ("finding", {"text": " "}, "“text” is empty. Say it in a few words."),
        ("finding", {"text": "A crack", "alarm": "yes"}, "“alarm” is yes or no."),
        ("finding", {"text": "A crack", "tank": 5}, "“tank” is not an id."),
        ("recommendation", {"text": "A lid", "price": "cheap"}, "“cheap” is not a price."),
        ("recommendation", {"text": "A lid", "price": "-3"}, "“-3” is not a price."),
        ("recommendation", {"text": "A lid", "price": "Infinity"}, "“Infinity” is not a price."),
        ("recommendation", {"text": "A lid", "price": "NaN"}, "“NaN” is not a price."),
        ("recommendation", {"text": "A lid", "price": "1e9999"}, "“1e9999” is not a price."),
        ("next_visit", {"date": "soon"}, "“date” is not a day. Write it like 2026-11-25."),
        ("next_visit", {"date": "2026-02-31"}, "“date” is not a day. Write it like 2026-11-25."),
        ("next_visit", {"date": "2020-01-01"}, "The next visit cannot lie in the past."),
        ("field", {"name": "poem", "value": ""}, "This field is not known."),
        ("back_on", {"on": "all"}, "“on” and “left” are lists."),
        ("back_on", {"left": ["heater"]}, "What stays off needs its reason."),
        ("back_on", {"left": [{"equipment": str(uuid.uuid4()), "reason": " "}]}, "What stays off needs its reason."),
        ("back_on", {"on": [str(uuid.uuid4())]}, "Some equipment is not at this site."),
        ("photo", {"photo": str(uuid.uuid4())}, "The photo itself has not come yet. Send the photo first."),
        ("task_done", {"task": str(uuid.uuid4())}, "This task is not at this site."),
        ("water_change", {"tank": str(uuid.uuid4()), "litres": "5"}, "This tank is not at this site."),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_its_reason(scene, kind, payload, sentence):
    assert refused(scene, kind, **payload) == sentence


@pytest.mark.parametrize("litres", [None, True, [5]])
def test_an_amount_that_is_no_number_is_missing(scene, litres):
    assert (
        refused(scene, "water_change", tank=str(scene.tank.pk), litres=litres)
        == "“litres” is missing. Type a number."
    )


@pytest.mark.parametrize(
    ("payload", "sentence"),
    [
        ({"change": "flew away", "number": 1}, "Animals are added, die or are moved out."),
        ({"change": "died", "number": "1.5"}, "Say how many animals: one or more."),
        ({"change": "died", "number": 0}, "Say how many animals: one or more."),
    ],
)
def test_animals_are_counted_in_whole_ones(scene, payload, sentence):
    assert refused(scene, "livestock", livestock=str(make_livestock(scene.tank).pk), **payload) == sentence


def test_what_stands_at_another_site_is_not_found_here(scene):
    elsewhere = make_tank()
    measure, channel = make_measure(make_instrument(elsewhere)), make_channel(elsewhere)
    piece = make_equipment(elsewhere)

    assert (
        refused(scene, "reagent_load", measure=str(measure.pk), ml="5") == "This measure is not at this site."
    )
    assert (
        refused(scene, "refill", channel=str(channel.pk), ml_now="5") == "This channel is not at this site."
    )
    assert refused(scene, "back_on", on=[str(piece.pk)]) == "Some equipment is not at this site."


def reading(scene, **given):
    test = scene.tank.tests.get(parameter="alkalinity")
    usual = {
        "tank": str(scene.tank.pk),
        "parameter": "alkalinity",
        "method": str(test.method_id),
        "value": "8",
        "unit": "dKH",
    }
    return {**usual, **given}


@pytest.mark.parametrize("seq", [True, -1, 100, "0"])
def test_replicates_are_counted_from_nought(scene, seq):
    assert refused(scene, "reading", **reading(scene, seq=seq)) == "“seq” counts the replicates from nought."


def test_a_method_for_something_else_does_not_test_it(scene):
    other = scene.tank.tests.get(parameter="salinity").method_id

    assert (
        refused(scene, "reading", **reading(scene, method=str(other)))
        == "This method does not test for that."
    )


def test_a_lot_nobody_knows_is_refused(scene):
    channel = make_channel(scene.tank, container_ml=1000)

    assert (
        refused(scene, "refill", channel=str(channel.pk), ml_now="5", lot=str(uuid.uuid4()))
        == "This lot is not at this site."
    )


def test_a_check_of_the_pump_and_its_setting_are_kept(scene):
    channel = make_channel(scene.tank)
    scene.write("pump_check", channel=str(channel.pk), asked_ml="100", before_ml="84", after_ml="100.5")

    row = PumpCheck.objects.get()
    assert (row.asked_ml, row.before_ml, row.after_ml) == (100, 84, 100.5)


def test_an_earlier_arrival_told_later_counts(scene):
    scene.write("arrive")
    earlier = timezone.now() - timedelta(minutes=40)
    scene.send({**scene.entry("arrive"), "tablet_time": earlier.isoformat()})

    assert Visit.objects.get().arrived_at == earlier


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"id": 5}, "“id” is not an id."),
        ({"tablet_time": "2026-13-45T10:00:00Z"}, "“tablet_time” is not a time with its offset."),
        ({"tablet_time": "0001-01-01T00:00:00+14:00"}, "“tablet_time” cannot be."),
        ({"zone": 7}, "“zone” is not a short text."),
        ({"tablet": "x" * 61}, "“tablet” is not a short text."),
    ],
)
def test_the_frame_of_an_entry_is_checked_too(scene, change, sentence):
    found = scene.send({**scene.entry("arrive"), **change})[0]

    assert (found["receipt"], found["reason"]) == ("refused", sentence)


def test_what_is_no_object_is_no_entry(scene):
    assert [r["reason"] for r in scene.send("arrive")] == ["An entry is an object."]


def test_a_clock_so_wrong_that_no_time_comes_of_it_is_taken_as_now(scene):
    now = timezone.now()
    raw = {**entry(scene.due, "arrive"), "tablet_time": "9999-12-31T23:59:00+00:00"}
    sent_at = now - timedelta(days=400)

    found = take_entries(entries=[raw], by=scene.ida, at=now, sent_at=sent_at)

    assert [r["receipt"] for r in found] == ["stored"]
    assert Entry.objects.get().at == now


def test_another_technicians_visit_takes_nothing(scene):
    found = take_entries(entries=[scene.entry("arrive")], by=make_technician(), at=timezone.now())

    assert [r["reason"] for r in found] == ["There is no such visit for you."]


@pytest.mark.parametrize("price", ["", "0", "240", "19,90", "1000000"])
def test_a_price_with_a_dot_or_a_comma_and_none_at_all_are_kept(scene, price):
    scene.write("recommendation", text="A lid", price=price)

    assert Entry.objects.get().payload["price"] == price
