"""Values held apart wait for a person, who takes them in or leaves them out; either stays on record."""

import json
import uuid
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.instruments.actions import receive
from servicedesk.water import actions as water
from servicedesk.water.actions import NotWater, discard_held, release_held
from servicedesk.water.models import Correction, HeldReading, Reading, Touched
from servicedesk.water.queries import readings_of
from tests.factories.people import make_business, make_owner, make_technician, make_user
from tests.factories.tanks import make_instrument, make_measure, make_reading, make_tank, make_tank_test

pytestmark = pytest.mark.django_db
SIGNED = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture
def owner():
    make_business()
    return make_owner()


@pytest.fixture
def instrument():
    instrument = make_instrument()
    make_measure(instrument, "temperature", sent_name="temp", unit="C")
    return instrument


def send(instrument, *rows):
    pack = [
        {"n": "temp", "t": (timezone.now() - timedelta(hours=n + 1)).timestamp(), **row}
        for n, row in enumerate(rows)
    ]
    return receive(instrument=instrument, body=json.dumps(pack).encode(), at=timezone.now())[0]


def browse(person):
    browser = Browser()
    browser.force_login(person, backend=SIGNED)
    return browser


def group_of(browser):
    return browser.get("/held/").context["groups"][0]


def test_values_with_the_same_fault_stand_together_and_are_taken_in_as_what_they_are(owner, instrument):
    send(instrument, {"u": "degF", "v": 77}, {"u": "degF", "v": 78})
    browser = browse(owner)
    page = browser.get("/held/")
    assert "2 values wait for a decision" in page.content.decode()
    (group,) = page.context["groups"]
    address = f"/held/group/?{group.query}"
    method = instrument.measures.get().method
    assert "77 degF" in browser.get(address).content.decode()

    answer = browser.post(address, {"method": method.pk, "take_as": "F", "why": "", "take": "1"}, follow=True)

    assert "2 values are taken in." in answer.content.decode()
    values = sorted(r.value for r in readings_of(instrument.tank))
    assert values == pytest.approx([25.0, 25.5556], abs=1e-3)
    row = HeldReading.objects.order_by("at").first()
    assert (row.decision, row.decided_by, row.decided_why) == (
        "released",
        owner,
        "Taken in after it was held apart.",
    )
    assert Touched.objects.filter(tank=instrument.tank).exists()
    assert "Nothing is held apart" in answer.content.decode()


def test_values_are_left_out_with_a_reason_only(owner, instrument):
    send(instrument, {"v": 4000})
    browser = browse(owner)
    address = f"/held/group/?{group_of(browser).query}"

    answer = browser.post(address, {"leave": "1", "why": " "})
    assert "Say why they are left out." in answer.content.decode()
    answer = browser.post(address, {"leave": "1", "why": "the probe lay on the bench"}, follow=True)

    assert "One value is left out." in answer.content.decode()
    assert HeldReading.objects.get().decision == "discarded"
    assert not Reading.objects.exists()
    assert browser.get(address).status_code == 404
    assert browser.post(address, {"leave": "1", "why": "again"}).status_code == 302


def test_what_cannot_be_in_the_unit_either_stays_held_and_says_why(owner, instrument):
    send(instrument, {"v": 4000})
    browser = browse(owner)
    method = instrument.measures.get().method

    answer = browser.post(
        f"/held/group/?{group_of(browser).query}", {"method": method.pk, "take_as": "C", "take": "1"}
    )

    assert "cannot be" in answer.content.decode()
    row = HeldReading.objects.get()
    assert (row.decision, row.decided_at) == ("", None)


def test_a_second_value_for_a_moment_corrects_the_first(owner, instrument):
    at = timezone.now() - timedelta(hours=3)
    send(instrument, {"v": 25.0, "t": at.timestamp()})
    send(instrument, {"v": 26.0, "t": at.timestamp()})
    browser = browse(owner)
    method = instrument.measures.get().method
    browser.post(
        f"/held/group/?{group_of(browser).query}",
        {"method": method.pk, "take_as": "C", "take": "1", "why": "sent late"},
    )

    assert Correction.objects.get().why == "sent late"
    assert [r.value for r in readings_of(instrument.tank)] == [26.0]


def test_a_value_by_hand_is_taken_in_by_the_tanks_own_way_of_testing(owner):
    tank = make_tank()
    test = make_tank_test(tank)
    make_reading(tank, "900", method=test.method)
    browser = browse(owner)

    browser.post(
        f"/held/group/?{group_of(browser).query}",
        {"method": test.method.pk, "take_as": "mg/L CaCO3", "take": "1"},
    )

    assert Reading.objects.get().value == pytest.approx(900 / 17.85, rel=0.01)


def test_an_unheard_name_waits_until_it_is_said_what_the_device_measures(owner):
    instrument = make_instrument()
    send(instrument, {"n": "alk", "v": 8})
    browser = browse(owner)
    address = f"/held/group/?{group_of(browser).query}"
    text = browser.get(address).content.decode()
    assert "say that first" in text and "Take them in" not in text
    assert "Say what it is." in browser.post(address, {"take": "1"}).content.decode()

    measure = make_measure(instrument, "alkalinity", sent_name="alk")
    browser.post(address, {"method": measure.method.pk, "take_as": "dKH", "take": "1"})
    assert Reading.objects.get().value == 8


def test_what_has_no_value_or_no_time_can_only_be_left_out(owner, instrument):
    send(instrument, {"vd": "AAAA"})
    method = instrument.measures.get().method
    rows = list(HeldReading.objects.all())

    found = release_held(
        rows=rows, parameter="temperature", unit="C", method=method, by=owner, at=timezone.now()
    )

    assert (found.taken, found.refused) == (0, ["It holds no value with a time: it can only be left out."])


def test_what_was_decided_stays_decided(owner, instrument):
    send(instrument, {"u": "degF", "v": 77})
    method, now = instrument.measures.get().method, timezone.now()
    rows = list(HeldReading.objects.all())
    assert discard_held(rows=rows, by=owner, at=now, why="no") == 1
    assert discard_held(rows=rows, by=owner, at=now, why="no") == 0
    found = release_held(rows=rows, parameter="temperature", unit="F", method=method, by=owner, at=now)
    assert found.refused == ["Somebody has decided before."] and not Reading.objects.exists()
    with pytest.raises(NotWater):
        discard_held(rows=rows, by=owner, at=now, why="")


def test_a_contradicted_value_that_is_gone_is_said(owner, instrument):
    row = HeldReading.objects.create(
        tank=instrument.tank, equipment=instrument.equipment, parameter="temperature", at=timezone.now(), entered="25", entered_unit="C",
        reason=water.intake.ANOTHER, origin=uuid.uuid4(), received_at=timezone.now(),
    )  # fmt: skip
    method = instrument.measures.get().method

    found = release_held(
        rows=[row], parameter="temperature", unit="C", method=method, by=owner, at=timezone.now()
    )

    assert found.refused == ["The value it contradicts is not there any more."]


def test_the_page_is_the_offices_and_an_address_that_names_nothing_is_missing(owner, instrument):
    send(instrument, {"v": 4000})
    assert browse(make_technician()).get("/held/").status_code == 404
    assert browse(make_user("office")).get("/held/").status_code == 200
    assert browse(owner).get("/held/group/").status_code == 404
    assert browse(owner).get(f"/held/group/?tank={uuid.uuid4()}&reason=x").status_code == 404


def test_many_are_shown_in_part_and_decided_whole(owner, instrument):
    send(instrument, *({"u": "degF", "v": 70 + n / 10} for n in range(60)))
    browser = browse(owner)
    address = f"/held/group/?{group_of(browser).query}"
    assert "The newest 50 are shown" in browser.get(address).content.decode()
    method = instrument.measures.get().method

    browser.post(address, {"method": method.pk, "take_as": "F", "take": "1"})

    assert Reading.objects.count() == 60
