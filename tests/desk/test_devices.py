"""All instruments at once, led by a sentence."""

import uuid
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.instruments.actions import record_calibration, record_load
from servicedesk.instruments.models import Instrument, TrustMove
from servicedesk.watch.actions import watch_silence
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.tanks import make_instrument, make_item, make_measure

pytestmark = pytest.mark.django_db


@pytest.fixture
def page():
    make_business()
    browser = Browser()
    browser.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")
    return lambda: browser.get("/instruments/")


def test_no_instrument_is_said(page):
    assert page().context["sentence"] == "No instrument is fitted yet."


def test_one_that_is_heard_believed_and_not_due_is_said_so(page):
    make_measure(make_instrument(last_contact_at=timezone.now()))

    assert page().context["sentence"] == "1 instrument: every one is heard, believed and not due."


def test_silent_doubted_and_due_ones_lead_in_that_order(page):
    now = timezone.now()
    calm, due, doubted, silent = (make_measure(make_instrument(last_contact_at=now)) for _ in range(4))
    Instrument.objects.filter(pk=silent.instrument_id).update(last_contact_at=now - timedelta(days=3))
    watch_silence(at=now)
    TrustMove.objects.create(
        measure=doubted, at=now, trust="not_to_act_on", why="it leaks", origin=uuid.uuid4(), received_at=now
    )
    then = now - timedelta(days=25)
    record_calibration(
        measure=due, reference=8, before=8, at=then, by=None, origin=uuid.uuid4(), received_at=then
    )
    TrustMove.objects.create(
        measure=due, at=now, trust="believed", why="agrees", origin=uuid.uuid4(), received_at=now
    )
    type(due).objects.filter(pk=due.pk).update(
        ml_per_test=5, tests_per_day=2, reagent=make_item(name="titrant")
    )
    record_load(
        measure=due, ml=101, at=now - timedelta(days=1), by=None, origin=uuid.uuid4(), received_at=now
    )
    TrustMove.objects.create(
        measure=due,
        at=now + timedelta(seconds=1),
        trust="believed",
        why="agrees",
        origin=uuid.uuid4(),
        received_at=now,
    )

    answer = page()

    order = [d.instrument.pk for d in answer.context["devices"]]
    assert order[:2] == [silent.instrument_id, doubted.instrument_id] and order[-1] == calm.instrument_id
    assert answer.context["sentence"] == "4 instruments: 1 silent, 1 not believed now, 1 due this week."
    text = answer.content.decode()
    assert "it leaks" in text
    assert {d.instrument.pk: d.tests_left for d in answer.context["devices"]}[due.instrument_id] == 18
    assert "18 tests left" in text
    assert "is silent since" in text


def test_a_technician_has_no_such_page():
    make_business()
    browser = Browser()
    browser.force_login(make_technician(), backend="django.contrib.auth.backends.ModelBackend")

    assert browser.get("/instruments/").status_code == 404
