"""The main job through HTTP: a technician's visit becomes a client's report, is held or mailed, and is read."""

import io
import re
import uuid

import pytest
from django.core import mail
from django.test import Client as Browser
from pypdf import PdfReader

import reports.jobs  # noqa: F401  registers the work that is run here
from reports.models import Report
from servicedesk.dispatch import jobs
from servicedesk.dispatch.models import Job, Message
from tests.factories.people import PASSWORD, make_business, make_client_user, make_owner, make_technician
from tests.factories.stops import make_reef_to_test, make_stop
from tests.factories.tanks import make_contact

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]  # draws real PDFs


def signed_in(user):
    browser = Browser()
    answer = browser.post("/sign-in/", {"username": user.email, "password": PASSWORD}, follow=True)
    assert answer.status_code == 200
    assert answer.request["PATH_INFO"] != "/sign-in/"
    return browser


def fields_of(html, address):
    """The hidden fields of the first form on a page that posts to an address."""
    form = next(f for f in re.findall(r"<form[^>]*>.*?</form>", html, re.S) if f'action="{address}"' in f)
    return dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', form))


def add(browser, visit, kind, **fields):
    return browser.post(
        f"/visits/{visit.pk}/add/", {"entry": str(uuid.uuid4()), "kind": kind, **fields}, follow=True
    )


def run_all():
    """What the worker does when the bell rings."""
    for job in Job.objects.filter(state="queued"):
        jobs.run(str(job.pk))
    for message in Message.objects.filter(state="queued"):
        jobs.deliver(str(message.pk))


def test_a_visit_becomes_a_report_that_waits_is_released_mailed_and_read():
    make_business()
    owner, technician, reader = make_owner(), make_technician(name="Ida Reed"), make_client_user()
    tank = make_reef_to_test()
    contact = make_contact(tank.site.client, user=reader)
    visit = make_stop(technician, tank)
    ida = signed_in(technician)

    page = ida.get("/round/").content.decode()
    assert tank.site.name in page
    look = ida.get(f"/visits/{visit.pk}/").content.decode()
    ida.post(f"/visits/{visit.pk}/arrive/", fields_of(look, f"/visits/{visit.pk}/arrive/"))
    for parameter, value in (("temperature", "25.4"), ("salinity", "35.0"), ("alkalinity", "6.9")):
        address = f"/visits/{visit.pk}/test/"
        drawn = fields_of(ida.get(f"{address}?parameter={parameter}").content.decode(), address)
        ida.post(address, {**drawn, "p_value": value, "then": "judge"})
        ida.post(address, {**drawn, "p_value": value, "then": "judge"})
    advice = ida.get(f"/visits/{visit.pk}/advise/").content.decode()
    add(ida, visit, "water_change", p_tank=str(tank.pk), p_litres="60")
    add(ida, visit, "finding", p_tank=str(tank.pk), p_text="The skimmer ran over a little.")
    add(ida, visit, "recommendation", p_tank=str(tank.pk), p_text="A new skimmer cup", p_price="35")
    add(ida, visit, "close")
    run_all()

    assert "Alkalinity" in advice
    report = Report.objects.get()
    assert report.state == "held"
    assert mail.outbox == []
    boss = signed_in(owner)
    assert "It waits for your word" in boss.get("/today/").content.decode()
    assert boss.post(f"/reports/{report.pk}/release/", follow=True).status_code == 200
    run_all()
    assert [m.to for m in mail.outbox] == [[contact.email]]
    run_all()
    assert len(mail.outbox) == 1
    client = signed_in(reader)
    pdf = b"".join(client.get(f"/reports/{report.pk}/pdf/").streaming_content)
    pages = PdfReader(io.BytesIO(pdf)).pages
    text = "\n".join(p.extract_text() for p in pages)
    assert len(pages) == 2
    assert "Ida Reed" in text
    assert "6.9" in text
    assert "A new skimmer cup" in text
    assert tank.name in client.get(f"/door/tanks/{tank.pk}/").content.decode()

    add(ida, visit, "finding", p_tank=str(tank.pk), p_text="One wavemaker hums.")
    run_all()
    second = Report.objects.get(version=2)
    assert second.changes != []


def test_the_tablets_door_takes_the_same_entries_as_the_forms():
    make_business()
    technician, tank = make_technician(), make_reef_to_test()
    visit = make_stop(technician, tank)
    ida = signed_in(technician)
    token = re.search(
        r'name="csrfmiddlewaretoken" value="([^"]+)"', ida.get(f"/visits/{visit.pk}/").content.decode()
    )
    one = {
        "id": str(uuid.uuid4()),
        "visit": str(visit.pk),
        "kind": "arrive",
        "payload": {},
        "tablet_time": "2026-06-03T10:00:00+00:00",
    }

    first = ida.post("/api/v1/sync/", {"entries": [one, {"id": "x"}]}, content_type="application/json")
    second = ida.post("/api/v1/sync/", {"entries": [one]}, content_type="application/json")

    assert token is not None
    assert [r["receipt"] for r in first.json()["receipts"]] == ["stored", "refused"]
    assert [r["receipt"] for r in second.json()["receipts"]] == ["already"]


def test_the_tablets_door_without_a_token_of_the_page_is_shut():
    technician = make_technician()
    strict = Browser(enforce_csrf_checks=True)
    strict.force_login(technician, backend="django.contrib.auth.backends.ModelBackend")

    assert strict.post("/api/v1/sync/", {"entries": []}, content_type="application/json").status_code == 403
    assert (
        Browser().post("/api/v1/sync/", {"entries": []}, content_type="application/json").status_code == 403
    )
