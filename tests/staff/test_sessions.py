"""Who is signed in, how long, and what ends it."""

import time

import pytest
from django.contrib.sessions.models import Session
from django.test import Client as Browser

from servicedesk.staff import actions
from servicedesk.staff.models import User
from servicedesk.web import sessions
from tests.factories.people import PASSWORD, make_business, make_client_user, make_owner, make_technician
from tests.factories.tanks import make_client, make_contact

pytestmark = pytest.mark.django_db
MINUTE, DAY = 60, 86_400


def signed_in(user, count=1):
    make_business()
    browsers = [Browser() for _number in range(count)]
    for browser in browsers:
        browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browsers[0] if count == 1 else browsers


@pytest.fixture
def later(monkeypatch):
    start = time.time()
    return lambda seconds: monkeypatch.setattr(sessions.time, "time", lambda: start + seconds)


def test_those_of_the_business_are_signed_out_after_an_hour_of_rest(later):
    browser = signed_in(make_technician())

    later(61 * MINUTE)
    answer = browser.get("/round/")

    assert (answer.status_code, answer["Location"]) == (302, "/sign-in/?next=/round/")
    assert Session.objects.count() == 0


def test_what_is_sent_after_the_rest_is_not_taken_and_leads_back_to_its_page_with_a_sentence(later):
    browser = signed_in(make_technician())
    later(61 * MINUTE)

    answer = browser.post(
        "/preferences/", {"light": "sun"}, headers={"Referer": "http://testserver/round/?day=2"}
    )

    assert answer["Location"] == "/sign-in/?next=%2Fround%2F&ended=1"
    assert User.objects.get().light != "sun"
    assert "What you sent last was not kept" in browser.get(answer["Location"]).content.decode()


def test_a_page_of_another_house_is_not_led_back_to(later):
    browser = signed_in(make_technician())
    later(61 * MINUTE)

    answer = browser.post("/preferences/", headers={"Referer": "https://evil.example/round/"})

    assert answer["Location"] == "/sign-in/?next=%2F&ended=1"


@pytest.mark.parametrize("ends", ["sign_out", "new_password", "leaves"])
def test_of_fifty_sessions_none_opens_a_page_once_their_person_is_shut_out(ends):
    person = make_technician()
    browsers = signed_in(person, count=50)
    before = {browser.get("/round/").status_code for browser in browsers}

    if ends == "sign_out":
        [browser.post("/sign-out/") for browser in browsers]
    if ends == "new_password":
        actions.set_password(person=person, password="two herons and a weir")
    if ends == "leaves":
        actions.retire_person(person=person)

    assert before == {200}
    assert {browser.get("/round/").status_code for browser in browsers} == {302}


def test_who_works_on_stays_signed_in_past_the_hour(later):
    browser, codes = signed_in(make_technician()), []

    for minutes in (50, 100, 150):
        later(minutes * MINUTE)
        codes.append(browser.get("/round/").status_code)

    assert codes == [200, 200, 200]


def test_nobody_stays_signed_in_longer_than_thirty_days_however_busy(later):
    browser, codes = signed_in(make_client_user()), []

    for days in (10, 20, 29, 31):
        later(days * DAY)
        codes.append(browser.get("/preferences/").status_code)

    assert codes == [405, 405, 405, 302]


def test_a_clients_contact_may_rest_for_days(later):
    user = make_client_user()
    make_contact(make_client(), user=user)
    browser = signed_in(user)

    later(3 * DAY)

    assert browser.get("/door/").status_code == 200


def test_a_session_of_unknown_age_is_over():
    browser = signed_in(make_owner())
    session = browser.session
    del session["begun"]
    session.save()

    assert browser.get("/people/").status_code == 302


def test_that_somebody_was_here_is_written_once_in_five_minutes_at_most(later, django_assert_num_queries):
    browser = signed_in(make_owner())
    browser.get("/people/")

    later(4 * MINUTE)
    with django_assert_num_queries(4):
        browser.get("/people/")
    later(6 * MINUTE)
    browser.get("/people/")
    later(10 * MINUTE)
    with django_assert_num_queries(4):
        browser.get("/people/")


@pytest.mark.parametrize(
    ("current", "new", "said"),
    [("wrong", "two herons and a weir", "not your password now"), (PASSWORD, "short", "at least 15")],
)
def test_a_password_is_not_changed_without_the_current_one_or_for_a_short_one(current, new, said):
    person = make_technician()

    page = signed_in(person).post("/password/", {"current": current, "password": new}).content.decode()

    person.refresh_from_db()
    assert said in page
    assert person.check_password(PASSWORD)


def test_a_new_password_ends_every_other_session_and_keeps_this_one():
    person = make_technician()
    here, there = signed_in(person, count=2)

    here.post("/password/", {"current": PASSWORD, "password": "two herons and a weir"})

    assert User.objects.get(pk=person.pk).check_password("two herons and a weir")
    assert (here.get("/round/").status_code, there.get("/round/").status_code) == (200, 302)


def test_a_contacts_address_that_somebody_signs_in_with_is_refused_and_nothing_changes():
    owner, user = make_owner(), make_client_user()
    contact = make_contact(make_client(), user=user, email=user.email)

    page = signed_in(owner).post(f"/own/contact/{contact.pk}/", {"name": "Nell", "email": owner.email})

    contact.refresh_from_db()
    assert f"Somebody already signs in with {owner.email}" in page.content.decode()
    assert contact.email == User.objects.get(pk=user.pk).email == user.email


def test_a_contacts_sign_in_follows_the_new_address():
    user = make_client_user()
    contact = make_contact(make_client(), user=user, email=user.email)

    signed_in(make_owner()).post(f"/own/contact/{contact.pk}/", {"name": "Nell", "email": "Nell@example.net"})

    browser = Browser()
    browser.post("/sign-in/", {"username": "nell@example.net", "password": PASSWORD})
    assert browser.get("/door/").status_code == 200
