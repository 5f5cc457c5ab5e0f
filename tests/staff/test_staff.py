import re

import pytest
from django.contrib.sessions.models import Session
from django.test import Client as Browser

from servicedesk.staff import actions
from servicedesk.staff.forms import BusinessForm
from servicedesk.staff.models import User
from tests.factories.people import PASSWORD, make_business, make_owner, make_technician

pytestmark = pytest.mark.django_db


def page_without_token(answer):
    return re.sub(r'name="(csrfmiddlewaretoken|username)"[^>]*', "", answer.content.decode())


def test_an_unknown_address_and_a_wrong_password_get_the_same_page():
    make_business()
    known = make_technician()

    wrong = Browser().post("/sign-in/", {"username": known.email, "password": "wrong"})
    unknown = Browser().post("/sign-in/", {"username": "nobody@example.org", "password": "wrong"})

    assert (wrong.status_code, page_without_token(wrong)) == (
        unknown.status_code,
        page_without_token(unknown),
    )
    assert "do not belong together" in wrong.content.decode()


def test_signing_in_gives_a_new_session():
    make_business()
    person, browser = make_technician(), Browser()
    browser.get("/sign-in/")
    browser.post("/sign-in/", {"username": person.email.upper(), "password": PASSWORD})

    assert Session.objects.count() == 1
    assert browser.get("/round/").status_code == 200


def test_a_person_who_leaves_is_signed_out_everywhere_and_stays_in_the_records():
    make_business()
    person, browsers = make_technician(), [Browser(), Browser()]
    for browser in browsers:
        browser.force_login(person, backend="django.contrib.auth.backends.ModelBackend")

    actions.retire_person(person=person)

    assert [b.get("/round/").status_code for b in browsers] == [302, 302]
    assert Session.objects.count() == 0
    assert User.objects.filter(pk=person.pk, is_active=False).exists()


def test_the_last_owner_can_neither_leave_nor_become_something_else():
    owner = make_owner()

    with pytest.raises(actions.NotHired):
        actions.retire_person(person=owner)
    with pytest.raises(actions.NotHired):
        actions.change_person(person=owner, name="x", email=owner.email, phone="", role="technician")


@pytest.mark.parametrize(
    "target",
    [
        "https://evil.example/",
        "//evil.example",
        "\\\\evil.example",
        "javascript:alert(1)",
        "http:evil.example",
    ],
)
def test_preferences_lead_nowhere_outside(target):
    browser = Browser()
    browser.force_login(make_technician(), backend="django.contrib.auth.backends.ModelBackend")

    answer = browser.post("/preferences/", {"light": "sun", "next": target})

    assert answer["Location"] == "/"
    assert User.objects.get().light == "sun"


def test_an_unsafe_request_without_the_pages_token_is_refused():
    strict = Browser(enforce_csrf_checks=True)
    strict.force_login(make_technician(), backend="django.contrib.auth.backends.ModelBackend")

    assert strict.post("/preferences/", {"light": "sun"}).status_code == 403


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"country": "ZZ"}, "No public holidays are known of “ZZ”"),
        ({"country": "GB", "region": "ZZ"}, "No public holidays are known of “GB-ZZ”"),
        ({"region": "SCT"}, "Say of which country"),
        ({"country": "gb"}, "Enter a valid value"),
    ],
)
def test_a_place_without_known_holidays_is_refused_in_words(typed, said):
    form = BusinessForm({"name": "Reedbank", "zone": "Europe/London", "currency": "EUR", **typed})

    assert not form.is_valid() and said in str(form.errors)


def test_a_country_and_its_region_are_taken():
    form = BusinessForm(
        {"name": "Reedbank", "zone": "Europe/London", "currency": "EUR", "country": "GB", "region": "SCT"}
    )

    assert form.is_valid() and (form.cleaned_data["country"], form.cleaned_data["region"]) == ("GB", "SCT")
