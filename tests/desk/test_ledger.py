"""What did not go through, told on the owner's first page, and trying it again."""

import uuid
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.dispatch import actions
from servicedesk.dispatch.models import Job, Message
from tests.factories.people import make_client_user, make_owner, make_technician

pytestmark = pytest.mark.django_db


def signed_in(user):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


@pytest.fixture
def failed_work():
    row = actions.ask(kind="reorder", key="reorder:2026-11-25", args={}, at=timezone.now())
    Job.objects.filter(pk=row.pk).update(
        state="failed", error="Nobody answers.", finished_at=timezone.now(), attempt=5
    )
    return row


@pytest.fixture
def failed_mail():
    row = actions.post(
        key="k", recipient="nell@example.org", subject="All is well", text="…", at=timezone.now()
    )
    Message.objects.filter(pk=row.pk).update(state="failed", error="550 no such person", tries=5)
    return row


@pytest.mark.parametrize("person", [make_technician, make_client_user])
def test_only_the_office_looks_behind_the_scenes(person, failed_work, failed_mail):
    browser = signed_in(person())

    answers = [
        browser.get("/ledger/"),
        browser.post(f"/ledger/work/{failed_work.pk}/again/"),
        browser.post(f"/ledger/mail/{failed_mail.pk}/again/"),
    ]

    assert [a.status_code for a in answers] == [404, 404, 404]
    assert Job.objects.get(pk=failed_work.pk).state == "failed"
    assert Message.objects.get(pk=failed_mail.pk).state == "failed"


def test_trying_again_what_does_not_wait_for_it_is_said():
    page = signed_in(make_owner()).post(f"/ledger/work/{uuid.uuid4()}/again/", follow=True).content.decode()

    assert "somebody was quicker" in page


def test_with_nothing_in_trouble_the_first_page_is_silent_and_the_ledger_calm():
    browser = signed_in(make_owner())

    assert "Did not go through" not in browser.get("/today/").content.decode()
    assert "All work is done and all mail is out." in browser.get("/ledger/").content.decode()


def test_failed_work_and_mail_are_told_with_their_reasons_and_tried_again(failed_work, failed_mail):
    browser = signed_in(make_owner())

    first, page = browser.get("/today/").content.decode(), browser.get("/ledger/").content.decode()
    browser.post(f"/ledger/work/{failed_work.pk}/again/")
    browser.post(f"/ledger/mail/{failed_mail.pk}/again/")

    assert "One piece of work failed." in first
    assert "One letter did not go out as it should." in first
    assert "The daily mail of what to order" in page
    assert "Nobody answers." in page
    assert "550 no such person" in page
    assert Job.objects.get(pk=failed_work.pk).state == "queued"
    assert Message.objects.get(pk=failed_mail.pk).state == "queued"


def test_work_that_has_waited_for_long_tells_that_the_worker_may_be_down():
    row = actions.ask(kind="sweep", key="sweep:1", args={}, at=timezone.now())
    Job.objects.filter(pk=row.pk).update(made_at=timezone.now() - timedelta(minutes=11))

    assert "The worker may be down" in signed_in(make_owner()).get("/ledger/").content.decode()
