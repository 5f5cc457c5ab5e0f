"""Relays on the pages: kept among own data, shown on both sides, and what names nobody is assigned."""

import json
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.desk.actions import own
from servicedesk.desk.forms import KINDS, form_of
from servicedesk.instruments.actions import receive
from servicedesk.instruments.models import Instrument
from servicedesk.water.actions import release_held
from servicedesk.water.models import Correction, HeldReading, Reading
from tests.factories.people import make_business, make_owner
from tests.factories.tanks import make_instrument, make_measure, make_site, make_tank

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner():
    make_business()
    return make_owner()


@pytest.fixture
def page(owner):
    browser = Browser()
    browser.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    return browser


@pytest.fixture
def relay():
    return make_instrument(make_tank(make_site()), relays=True)


def hang(relay, name="probe", **given):
    return make_instrument(make_tank(relay.tank.site), through=relay, relay_name=name, **given)


def typed(row, **given):
    return {
        "equipment": row.equipment_id, "reports_by": "https", "interval_minutes": 360, "grace_minutes": 60, "warm_up_minutes": 0,
        "own_dosing": "none", "after_dose_minutes": 0, **given,
    }  # fmt: skip


def test_an_instrument_is_said_to_come_through_a_relay_of_its_site(page, relay):
    row, far = make_instrument(make_tank(relay.tank.site)), make_instrument(relays=True)
    form = page.get(f"/own/instrument/{row.pk}/").content.decode()
    assert str(relay.pk) in form and str(far.pk) not in form

    answer = page.post(f"/own/instrument/{row.pk}/", typed(row, through=relay.pk, relay_name="probe"))

    assert answer.status_code == 302
    row.refresh_from_db()
    assert (row.through, row.relay_name) == (relay, "probe")


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"relay_name": ""}, "has a name there"),
        ({"through": ""}, "nothing else has one"),
        ({"relays": "on"}, "does not come through another"),
        ({"relay_name": "taken"}, "Another instrument has this name at the relay."),
        ({"relay_name": "status"}, "what a relay says of itself"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_what_was_typed_stays(page, relay, given, words):
    hang(relay, "taken")
    row = make_instrument(make_tank(relay.tank.site))

    answer = page.post(
        f"/own/instrument/{row.pk}/",
        typed(row, **{"through": relay.pk, "relay_name": "probe", "upkeep_words": "rinse it", **given}),
    )

    text = answer.content.decode()
    assert words in text and "rinse it" in text
    row.refresh_from_db()
    assert row.through is None


def test_a_relay_of_another_client_is_no_choice_and_no_value(page, owner, relay):
    far = make_instrument(make_tank())
    answer = page.post(f"/own/instrument/{far.pk}/", typed(far, through=relay.pk, relay_name="probe"))
    assert "through" in answer.context["form"].errors

    with pytest.raises(own.NotKept, match="another site"):
        own.keep(row=far, values={"through": relay, "relay_name": "probe"}, at=timezone.now(), by=owner)
    assert Instrument.objects.get(pk=far.pk).through is None


def test_a_relay_on_which_something_hangs_stays_one(page, relay):
    probe = hang(relay)

    text = page.post(f"/own/instrument/{relay.pk}/", typed(relay)).content.decode()

    assert f"{probe} still comes through it" in text
    assert Instrument.objects.get(pk=relay.pk).relays


def test_a_new_instrument_is_offered_the_relays_of_its_site(relay):
    kind = KINDS["instrument"]
    form = form_of(kind, parent=make_tank(relay.tank.site), row=None, prices=True)
    assert list(form.fields["through"].queryset) == [relay]
    form = form_of(kind, parent=relay.tank, row=relay, prices=True)
    assert list(form.fields["through"].queryset) == []


def test_both_pages_show_what_hangs_on_what(page, relay):
    now = timezone.now()
    fine, silent = (
        hang(relay, "a", last_contact_at=now),
        hang(relay, "b", last_contact_at=now - timedelta(days=3)),
    )
    unheard = hang(relay, "c")

    text = page.get(f"/instruments/{relay.pk}/").content.decode()
    assert all(str(one) in text for one in (fine, silent, unheard)) and "not heard of yet" in text
    assert "Nothing itself." in text and "held apart until you say what it measures" not in text
    assert [h.silent for h in page.get(f"/instruments/{relay.pk}/").context["relayed"]] == [
        False,
        True,
        False,
    ]
    below = page.get(f"/instruments/{fine.pk}/").content.decode()
    assert f"/instruments/{relay.pk}/" in below and "where it is “a”" in below
    every = page.get("/instruments/").content.decode()
    assert "relays others" in every and f"through {relay}" in every
    Instrument.objects.filter(through=relay).update(through=None, relay_name="")
    assert "Nothing yet. Say of an instrument" in page.get(f"/instruments/{relay.pk}/").content.decode()


def send(relay, **row):
    pack = [{"n": "unheard/kh", "t": (timezone.now() - timedelta(hours=1)).timestamp(), "v": 8, **row}]
    return receive(instrument=relay, body=json.dumps(pack).encode(), at=timezone.now())[0]


def test_what_names_nobody_is_assigned_to_the_instrument_it_is_of(page, relay):
    probe = hang(relay)
    measure, mine = make_measure(probe, sent_name="alk"), make_measure(relay, "ph", sent_name="ph", unit="pH")
    send(relay)
    (group,) = page.get("/held/").context["groups"]
    assert group.reason == "“unheard/kh” names nobody who comes through this relay."
    address = f"/held/group/?{group.query}"
    form = page.get(address).context["form"]
    assert dict(form.fields["method"].choices) == {
        str(mine.method_id): f"pH, {mine.method.name}", str(measure.pk): f"{probe}: Alkalinity, {measure.method.name}",
    }  # fmt: skip

    page.post(
        address, {"method": measure.pk, "take_as": "dKH", "take": "1", "why": "the box has a new name for it"}
    )

    row = Reading.objects.get()
    assert (row.series.tank, row.series.source.equipment, row.value) == (probe.tank, probe.equipment, 8)
    assert HeldReading.objects.get().decision == "released"


def test_a_value_that_contradicts_one_of_that_instrument_is_not_taken_twice(owner, page, relay):
    probe = hang(relay)
    measure, at = make_measure(probe, sent_name="alk"), timezone.now() - timedelta(hours=2)
    send(relay, n="probe/alk", v=7, t=at.timestamp())
    send(relay, t=at.timestamp())
    (group,) = page.get("/held/").context["groups"]
    given = {"method": measure.pk, "take_as": "dKH", "take": "1"}

    text = page.post(f"/held/group/?{group.query}", given).content.decode()

    assert "Another value is already stored for this moment." in text
    assert Reading.objects.get().value == 7
    send(relay, n="probe/alk", v=7.5, t=at.timestamp())
    row = HeldReading.objects.get(equipment=probe.equipment)
    found = release_held(
        rows=[row], parameter="alkalinity", unit="dKH", method=measure.method, by=owner, at=timezone.now()
    )
    assert (found.taken, Correction.objects.get().new) == (1, 7.5)
