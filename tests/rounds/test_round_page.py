"""The technician's round: arriving from it, and the key on a tap."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.models import KeyLook
from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Stop
from servicedesk.visits.models import Entry, Visit
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.stops import make_reef_to_test, make_stop
from tests.factories.tanks import make_site

pytestmark = pytest.mark.django_db
SECRET = "4711 left lock"


def browser_of(user):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


@pytest.fixture
def ida():
    make_business(zone="UTC")
    return make_technician(zone="UTC")


@pytest.fixture
def visit(ida):
    return make_stop(ida, make_reef_to_test(make_site(name="Weir House", key_code=SECRET)))


def arrival_form(browser):
    """The address and the drawn id of the round's form of arrival."""
    page = browser.get("/round/").content.decode()
    return re.search(
        r'action="(/visits/[^"]+/arrive/)">.*?name="entry" value="([^"]+)".*?I have arrived at Weir House',
        page,
        re.S,
    ).groups()


def test_another_technician_cannot_arrive_there(visit):
    browser = browser_of(make_technician(zone="UTC"))

    answer = browser.post(f"/visits/{visit.pk}/arrive/", {"entry": "a7e2f3b0-0000-4000-8000-000000000001"})

    assert (answer.status_code, Visit.objects.count()) == (404, 0)


def test_the_office_looks_at_a_round_and_cannot_arrive_from_it(ida, visit):
    page = browser_of(make_owner(zone="UTC")).get(f"/round/?technician={ida.pk}").content.decode()

    assert "I have arrived" not in page
    assert "Look at Weir House" in page


def test_the_solid_button_of_the_round_arrives_and_lands_on_look(ida, visit):
    browser = browser_of(ida)
    address, drawn = arrival_form(browser)

    answer = browser.post(address, {"entry": drawn}, follow=True)

    assert answer.redirect_chain == [(f"/visits/{visit.pk}/", 302)]
    assert [(e.kind, str(e.pk)) for e in Entry.objects.all()] == [("arrive", drawn)]
    assert Stop.objects.get().state == "under_way"


def test_the_cautions_are_not_taken_as_read_by_arriving_from_the_round(ida):
    site = make_site(name="Weir House", cautions=["mains"])
    make_stop(ida, make_reef_to_test(site))
    browser = browser_of(ida)
    address, drawn = arrival_form(browser)

    answer = browser.post(address, {"entry": drawn}, follow=True)

    ida.refresh_from_db()
    assert ida.cautions_seen_on is None
    assert "I have read this today" in answer.content.decode()


def test_pressing_twice_is_one_arrival(ida, visit):
    browser = browser_of(ida)
    address, drawn = arrival_form(browser)

    browser.post(address, {"entry": drawn})
    first = Stop.objects.get().arrived_at
    browser.post(address, {"entry": drawn})

    assert (Entry.objects.count(), Stop.objects.get().arrived_at) == (1, first)


def test_the_round_has_one_solid_button_and_a_way_to_look_first(ida, visit):
    page = browser_of(ida).get("/round/").content.decode()

    assert page.count("button--solid") == 1
    assert re.search(rf'<a href="/visits/{visit.pk}/">Look first', page)


@pytest.mark.parametrize(("now", "done"), [("07:00", "09:45"), ("09:10", "10:05"), ("12:00", "12:55")])
def test_the_round_says_when_it_is_done_from_now_on_where_it_runs_behind(monkeypatch, ida, now, done):
    hour, minute = map(int, now.split(":"))
    moment = datetime(2026, 6, 1, hour, minute, tzinfo=UTC)
    make_stop(ida, make_reef_to_test(), day=moment.date())  # planned for 09:00: 10 min drive, 45 min there
    monkeypatch.setattr(timezone, "now", lambda: moment)

    page = browser_of(ida).get("/round/").content.decode()

    assert f"done at the last by {done}." in page


def look(user, visit):
    return browser_of(user).post(f"/stops/{visit.pk}/key/")


def test_the_key_is_never_on_the_round_itself(ida, visit):
    assert SECRET not in browser_of(ida).get("/round/").content.decode()


def test_the_key_is_not_shown_by_following_a_link(ida, visit):
    assert browser_of(ida).get(f"/stops/{visit.pk}/key/").status_code == 405
    assert KeyLook.objects.count() == 0


@pytest.mark.parametrize("shift", [-1, 1])
def test_the_key_is_closed_on_other_days(ida, shift):
    day = timezone.now().date() + timedelta(days=shift)
    visit = make_stop(ida, make_reef_to_test(make_site(key_code=SECRET)), day=day)

    assert look(ida, visit).status_code == 404
    assert KeyLook.objects.count() == 0


def test_the_key_is_closed_to_another_technician(visit):
    assert look(make_technician(zone="UTC"), visit).status_code == 404


def test_the_key_closes_when_the_stop_is_called_off_the_same_day(ida, visit):
    assert look(ida, visit).status_code == 200
    actions.call_off(stop=Stop.objects.get())

    answer = look(ida, visit)

    assert answer.status_code == 404
    assert SECRET not in answer.content.decode()
    assert KeyLook.objects.count() == 1


def test_the_key_closes_when_the_visit_itself_is_called_off(ida, visit):
    DueVisit.objects.update(called_off_at=timezone.now())

    assert look(ida, visit).status_code == 404


def test_the_key_goes_with_the_stop_to_the_next_technician(ida, visit):
    other = make_technician(zone="UTC")
    stop = Stop.objects.get()
    actions.put_on_round(
        due_visit=visit, day=stop.round.day, technician=other, order=1, planned_at=stop.planned_at
    )

    assert (look(ida, visit).status_code, look(other, visit).status_code) == (404, 200)
    assert [str(k.user) for k in KeyLook.objects.all()] == [other.name]
