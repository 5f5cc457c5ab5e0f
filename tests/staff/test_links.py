"""A link by mail to a new password: for whom, how long, how often."""

import re
from datetime import timedelta

import pytest
from django.contrib.auth import tokens
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.dispatch.models import Job, Message
from servicedesk.staff import actions
from servicedesk.staff.jobs import send_link
from servicedesk.staff.models import User
from tests.factories.people import PASSWORD, make_business, make_client_user, make_owner, make_technician
from tests.factories.tanks import make_client, make_contact

pytestmark = pytest.mark.django_db
NEW = "two herons and a weir"


def signed_in(user):
    make_business()
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def link_in(message):
    return re.search(r"http://[^/\s]+(/password/new/\S+)", message.text)[1]


def link_for(person):
    return link_in(actions.send_link(person=person, at=timezone.now()))


def use(link, password=NEW, browser=None):
    browser = browser or Browser()
    page = browser.get(link, follow=True)
    return browser.post(page.request["PATH_INFO"], {"password": password}, follow=True)


def test_an_unknown_address_gets_the_same_answer_and_writes_the_same_as_a_known_one(
    django_assert_num_queries,
):
    make_business()
    known, answers = make_technician(), []

    for address in (known.email, "nobody@example.org"):
        with django_assert_num_queries(6):
            answers.append(Browser().post("/password/forgotten/", {"email": address}))
    for job in Job.objects.all():
        send_link(job)

    assert [(a.status_code, a["Location"]) for a in answers] == [(302, "/sign-in/")] * 2
    assert [job.kind for job in Job.objects.all()] == ["password_link"] * 2
    assert [m.recipient for m in Message.objects.all()] == [known.email]


def test_asking_over_and_over_sends_one_mail():
    make_business()
    person, now = make_technician(), timezone.now().replace(second=0)

    for _number in range(5):
        actions.ask_for_link(email=person.email.upper(), at=now)

    assert Job.objects.count() == 1


def test_who_has_left_gets_no_link():
    make_business()
    person = make_technician(is_active=False)
    actions.ask_for_link(email=person.email, at=timezone.now())

    send_link(Job.objects.get())

    assert Message.objects.count() == 0
    with pytest.raises(actions.NotChanged):
        actions.send_link(person=person, at=timezone.now())


@pytest.mark.parametrize("link", ["/password/new/bm9ib2R5/abc-def/", "/password/new/%00/set-password/"])
def test_a_link_of_ones_own_making_opens_nothing(link):
    make_business()

    assert "opens nothing any more" in Browser().get(link).content.decode()


def test_a_short_password_is_refused_and_the_link_still_works():
    make_business()
    person, browser = make_technician(), Browser()
    link = link_for(person)

    refused = use(link, password="short", browser=browser)
    kept = use(link, browser=browser)

    assert "at least 15" in refused.content.decode()
    assert "Sign in with it" in kept.content.decode()
    assert User.objects.get(pk=person.pk).check_password(NEW)


def test_a_link_works_once():
    make_business()
    person = make_technician()
    link = link_for(person)

    use(link)
    again = Browser().get(link, follow=True)

    assert "opens nothing any more" in again.content.decode()


def test_a_link_of_yesterday_opens_nothing(monkeypatch):
    make_business()
    person = make_technician()
    link = link_for(person)
    real = tokens.default_token_generator._now

    monkeypatch.setattr(
        tokens.default_token_generator, "_now", lambda: real() + timedelta(hours=24, minutes=1)
    )

    assert "opens nothing any more" in Browser().get(link, follow=True).content.decode()


def test_a_link_to_an_old_address_or_for_one_who_left_opens_nothing():
    make_business()
    moved, left = make_technician(), make_technician()
    links = [link_for(moved), link_for(left)]
    User.objects.filter(pk=moved.pk).update(email="elsewhere@example.org")
    User.objects.filter(pk=left.pk).update(is_active=False)

    pages = [Browser().get(link, follow=True).content.decode() for link in links]

    assert ["opens nothing any more" in page for page in pages] == [True, True]


def test_a_password_set_by_a_link_ends_the_sessions_of_before():
    person = make_technician()
    before = signed_in(person)

    use(link_for(person))

    assert before.get("/round/").status_code == 302


@pytest.mark.parametrize("who", [make_technician, make_client_user])
def test_only_the_owner_sends_a_person_a_link(who):
    person = make_technician()

    assert signed_in(who()).post(f"/people/{person.pk}/link/").status_code == 404
    assert Message.objects.count() == 0


def test_the_owner_sends_a_person_and_a_contact_a_link():
    person, user = make_technician(), make_client_user()
    contact = make_contact(make_client(), user=user)
    browser = signed_in(make_owner())

    browser.post(f"/people/{person.pk}/link/")
    browser.post(f"/contacts/{contact.pk}/link/")
    use(link_in(Message.objects.get(recipient=user.email)))

    assert {m.recipient for m in Message.objects.all()} == {person.email, user.email}
    assert User.objects.get(pk=user.pk).check_password(NEW)


def test_a_new_person_without_a_password_gets_a_link_and_cannot_sign_in_before():
    browser = signed_in(make_owner())

    browser.post("/people/new/", {"name": "Bo", "email": "bo@example.org", "role": "office", "password": ""})
    early = Browser().post("/sign-in/", {"username": "bo@example.org", "password": ""})
    use(link_in(Message.objects.get()))

    assert early.status_code == 200
    assert User.objects.get(email="bo@example.org").check_password(NEW)


def test_a_contact_whose_sign_in_is_given_without_a_password_gets_a_link():
    contact = make_contact(make_client())

    signed_in(make_owner()).post(f"/contacts/{contact.pk}/door/", {"password": ""})
    use(link_in(Message.objects.get()))

    contact.refresh_from_db()
    assert contact.user.check_password(NEW)
    assert not contact.user.check_password(PASSWORD)
