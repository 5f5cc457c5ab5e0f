"""Hand over: what the next person must know."""

import re
import uuid

import pytest
from django.test import Client as Browser
from django.utils import timezone

from reports.models import Report
from servicedesk.rounds.models import SiteNote
from servicedesk.upkeep.models import Task
from servicedesk.visits.actions import take_entries
from servicedesk.visits.models import Visit
from tests.factories.people import make_business, make_client_user, make_owner, make_technician
from tests.factories.stops import entry, make_reef_to_test, make_stop
from tests.factories.tanks import make_contact, make_site, make_tank

pytestmark = pytest.mark.django_db
NOW = timezone.now()


def browser_of(user):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


@pytest.fixture
def ida():
    make_business(zone="UTC")
    return make_technician(name="Ida", zone="UTC")


@pytest.fixture
def visit(ida):
    """One visit with a finding, a task left and a report held; another one not begun."""
    tank = make_reef_to_test(make_site(name="Mill House"))
    visit = make_stop(ida, tank)
    make_stop(ida, make_tank(make_site(name="Far Quay")), order=2)
    day = NOW.date()
    task = Task.objects.create(
        key="t", tank=tank, title="Change carbon", earliest=day, due=day, latest=day, made_at=NOW
    )
    entries = [
        entry(visit, "finding", text="The overflow gurgles"),
        entry(visit, "task_left", task=str(task.pk), reason="a part was missing"),
    ]
    receipts = take_entries(entries=entries, by=ida, at=NOW)
    assert [r["receipt"] for r in receipts] == ["stored", "stored"]
    row = Visit.objects.get()
    Report.objects.create(
        visit=row, version=1, number="R-7", state="held", sentence="x", made_at=NOW, data_at=NOW
    )
    return visit


def test_a_clients_contact_hands_nothing_over(visit):
    user = make_client_user()
    make_contact(visit.site.client, user=user)

    assert browser_of(user).get("/hand-over/").status_code == 404


def test_another_technician_sees_nothing_of_it_whatever_is_asked(visit, ida):
    page = browser_of(make_technician(zone="UTC")).get(f"/hand-over/?technician={ida.pk}").content.decode()

    assert re.findall("Mill House|Far Quay|gurgles|carbon|R-7", page) == []


def test_a_note_on_a_site_out_of_sight_is_refused(visit):
    stranger = make_technician(zone="UTC")
    posted = {"entry": str(uuid.uuid4()), "site": visit.site_id, "text": "I was here"}

    page = browser_of(stranger).post("/hand-over/", posted).content.decode()

    assert "Choose one of your sites." in page
    assert "I was here" in page
    assert SiteNote.objects.count() == 0


@pytest.mark.parametrize("drawn", ["", "no id", "../../"])
def test_a_form_with_a_broken_id_keeps_what_was_typed(visit, ida, drawn):
    posted = {"entry": drawn, "site": visit.site_id, "text": "Ring twice"}

    answer = browser_of(ida).post("/hand-over/", posted)

    assert (answer.status_code, SiteNote.objects.count()) == (200, 0)
    assert "Ring twice" in answer.content.decode()


def test_everything_that_is_left_stands_there(visit, ida):
    page = browser_of(ida).get("/hand-over/").content.decode()

    said = ["2 stops of today are left", "not begun, planned for 09:00", "not closed", "The overflow gurgles",
            "Change carbon", "left because: a part was missing", "Report R-7", "waits for your word"]  # fmt: skip
    assert [s for s in said if s not in page] == []


def test_the_office_reads_a_technicians_day_and_the_notes_for_it(visit, ida):
    browser_of(ida).post(
        "/hand-over/",
        {"entry": str(uuid.uuid4()), "site": visit.site_id, "text": "Call them first", "for_office": "on"},
    )

    page = browser_of(make_owner(zone="UTC")).get(f"/hand-over/?technician={ida.pk}").content.decode()

    assert ("The overflow gurgles" in page, "Call them first" in page) == (True, True)


def test_the_note_of_a_drawn_form_is_kept_once(visit, ida):
    browser = browser_of(ida)
    drawn = re.search(r'name="entry" value="([^"]+)"', browser.get("/hand-over/").content.decode()).group(1)
    posted = {"entry": drawn, "site": visit.site_id, "text": "Ring twice"}

    codes = [browser.post("/hand-over/", posted).status_code for _n in range(2)]

    assert codes == [302, 302]
    assert [(n.text, n.by, str(n.origin)) for n in SiteNote.objects.all()] == [("Ring twice", ida, drawn)]


@pytest.mark.parametrize("stops", [1, 3])
def test_it_asks_the_same_number_of_questions_for_one_and_three_stops(ida, stops, django_assert_num_queries):
    for order in range(1, stops + 1):
        make_stop(ida, make_tank(), order=order)
    browser = browser_of(ida)
    browser.get("/hand-over/")

    with django_assert_num_queries(10):
        browser.get("/hand-over/")
