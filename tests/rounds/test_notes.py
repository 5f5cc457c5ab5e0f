"""Notes for whoever comes next, and for the office."""

import uuid
from datetime import timedelta

import pytest
from django.db import DatabaseError, transaction
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.rounds import actions
from servicedesk.rounds.models import SiteNote, Stop
from servicedesk.rounds.queries import notes_for_office, standing_notes
from servicedesk.web.facts import AddedOnly
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.stops import make_stop
from tests.factories.tanks import make_site, make_tank

pytestmark = pytest.mark.django_db
NOW = timezone.now()


@pytest.fixture
def ida():
    make_business(zone="UTC")
    return make_technician(name="Ida", zone="UTC")


@pytest.fixture
def mill():
    return make_site(name="Mill")


def write(site, by, text="The valve sticks.", **given):
    rest = {"for_office": False, "origin": uuid.uuid4(), "at": NOW, **given}
    return actions.write_note(site=site, text=text, by=by, **rest)


@pytest.mark.parametrize("text", ["", "   ", "x" * 501])
def test_an_empty_or_endless_note_is_not_kept(ida, mill, text):
    with pytest.raises(actions.NotNoted):
        write(mill, ida, text)

    assert SiteNote.objects.count() == 0


def test_a_note_is_added_and_never_altered(ida, mill):
    note = write(mill, ida)

    with pytest.raises(AddedOnly):
        note.save()
    with pytest.raises(DatabaseError), transaction.atomic():
        SiteNote.objects.update(text="otherwise")

    assert SiteNote.objects.get().text == "The valve sticks."


def test_the_same_form_twice_is_one_note(ida, mill):
    drawn = uuid.uuid4()

    write(mill, ida, origin=drawn)
    write(mill, ida, origin=drawn)

    assert SiteNote.objects.count() == 1


def test_another_text_under_a_form_that_was_sent_is_refused(ida, mill):
    drawn = uuid.uuid4()
    write(mill, ida, origin=drawn)

    with pytest.raises(actions.NotNoted, match="already sent"):
        write(mill, ida, "Something else", origin=drawn)


def test_a_note_stands_until_somebody_came_after_it_and_closed(ida, mill):
    note = write(mill, ida)
    make_stop(ida, make_tank(mill))
    Stop.objects.update(state="under_way", arrived_at=NOW + timedelta(hours=1))
    meanwhile = standing_notes([mill.pk])
    Stop.objects.update(state="closed", left_at=NOW + timedelta(hours=2))

    assert (meanwhile, standing_notes([mill.pk])) == ({mill.pk: [note]}, {})


def test_a_note_written_while_there_outlives_that_visit(ida, mill):
    make_stop(ida, make_tank(mill))
    Stop.objects.update(
        state="closed", arrived_at=NOW - timedelta(hours=1), left_at=NOW + timedelta(minutes=5)
    )
    note = write(mill, ida)

    assert standing_notes([mill.pk]) == {mill.pk: [note]}


def test_a_note_for_the_office_is_read_by_the_office_and_its_writer_only(ida, mill):
    note, other, since = write(mill, ida, for_office=True), make_technician(), NOW - timedelta(days=1)

    found = [notes_for_office(who, since=since) for who in (make_owner(), ida, other)]

    assert (found, standing_notes([mill.pk])) == ([[note], [note], []], {})


def test_the_next_stop_shows_what_was_left_for_it(ida, mill):
    write(mill, make_technician(name="Ben"))
    make_stop(ida, make_tank(mill))
    browser = Browser()
    browser.force_login(ida, backend="django.contrib.auth.backends.ModelBackend")

    page = browser.get("/round/").content.decode()

    assert page.count("The valve sticks.") == 1
    assert "Left for you:" in page
