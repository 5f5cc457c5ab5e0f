"""Today does not go as planned, on pages: said by the office, ways out side by side, one chosen; for nobody else."""

import re
from datetime import time

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.core.rounds.problem import NotPlanned
from servicedesk.dispatch import jobs as queue
from servicedesk.dispatch.models import Job
from servicedesk.rounds import jobs
from servicedesk.rounds.models import DueVisit, Proposal, Stop, Trouble
from servicedesk.rounds.queries import mending
from tests.factories.days import NOW, TODAY, Day, clock
from tests.factories.people import make_client_user

pytestmark = pytest.mark.django_db


def signed_in(user):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


@pytest.fixture
def day(monkeypatch):
    made = Day()
    made.eyes = signed_in(made.owner)
    monkeypatch.setattr(timezone, "now", lambda: NOW)
    monkeypatch.setattr(mending, "SEARCH_S", 0.3)
    return made


def said(day, kind, **given):
    data = {"kind": kind, **{f"{kind}-{name}": value for name, value in given.items()}}
    return day.eyes.post("/week/today/", data)


def test_a_sick_technician_from_the_form_to_the_rounds_in_force(day):
    assert "6 stops of today are still to come" in day.eyes.get("/week/today/").content.decode()
    answer = said(day, "sick", person=day.ben.pk)
    trouble = Trouble.objects.get()
    assert answer["Location"] == f"/week/today/{trouble.pk}/"

    page = day.eyes.get(answer["Location"]).content.decode()
    assert "Ben is sick." in page and "The smallest change" in page
    assert "Still searched for" in page and "Better, with few changes" in page
    searching = day.eyes.get(f"{answer['Location']}search/")
    assert "Location-When-Done" not in searching.headers
    queue.run(str(Job.objects.get(kind="mend_day").pk))
    assert set(Proposal.objects.values_list("kind", flat=True)) == {"smallest", "priced", "free"}
    assert day.eyes.get(f"{answer['Location']}search/")["Location-When-Done"] == answer["Location"]
    page = day.eyes.get(answer["Location"]).content.decode()
    assert page.count("Choose this") == 3 and "Still searched for" not in page
    assert re.search(r"until now Ben at \d", page) and "To be told" in page
    assert 'href="tel:0500"' in page

    page = day.eyes.post(f"{answer['Location']}choose/smallest/", follow=True).content.decode()
    assert "In force: " in page and "Chosen: The smallest change." in page and "It was settled at" in page
    assert "To be told" in page and 'href="tel:0500"' in page  # still there when everything has moved
    assert {who for who, _at in day.where().values()} == {"Ida"}
    page = day.eyes.post(f"{answer['Location']}choose/free/", follow=True).content.decode()
    assert "This was settled already." in page
    assert "Ben is sick." in day.eyes.get("/week/today/").content.decode()


def test_a_call_out_is_said_with_what_is_wrong_and_by_when(day):
    site = day.visits[4].site
    answer = said(day, "call_out", site=site.pk, why="a leak", until="11:00", minutes=30)
    trouble = Trouble.objects.get()

    page = day.eyes.get(answer["Location"]).content.decode()
    assert "Somebody must be at Site 4 by 11:00." in page and "Comes new" in page
    assert (trouble.due_visit.why, trouble.due_visit.minutes) == ("a leak", 30)
    day.eyes.post(f"{answer['Location']}choose/smallest/")
    stop = Stop.objects.get(due_visit=trouble.due_visit)
    assert stop.planned_at <= time(11)


def test_late_and_cancelled_are_said_too(day):
    page = day.eyes.get(said(day, "late", person=day.ida.pk, minutes=40)["Location"]).content.decode()
    assert "Ida runs 40 minutes late." in page
    page = day.eyes.get(said(day, "cancelled", due_visit=day.visits[1].pk)["Location"]).content.decode()
    assert "Site 1 is cancelled." in page and "Nothing else moves." in page
    key = said(day, "call_out", site=day.visits[0].site.pk, why="x", minutes=30)["Location"]
    assert "Somebody must go to Site 0 today." in day.eyes.get(key).content.decode()


@pytest.mark.parametrize(
    ("kind", "given", "words"),
    [
        ("late", {"minutes": 0}, "greater than or equal to 1"),
        ("sick", {"person": "4b5b1a4e-0000-4000-8000-000000000000"}, "Choose one of the technicians."),
        ("cancelled", {"due_visit": "4b5b1a4e-0000-4000-8000-000000000000"}, "still to come"),
        ("call_out", {"why": "a leak at the pump", "until": "06:00", "minutes": 30}, "That time has passed."),
        ("call_out", {"why": "a leak at the pump", "minutes": 1}, "a leak at the pump"),
        ("nonsense", {}, "still to come"),
    ],
)
def test_what_cannot_be_is_said_beside_its_form_and_loses_nothing(day, kind, given, words):
    whole = {"site": day.visits[0].site.pk, **given} if kind == "call_out" else given
    answer = said(day, kind, **whole)

    assert answer.status_code == 200 and words in answer.content.decode()
    assert not Trouble.objects.exists() and not DueVisit.objects.filter(cause="call_out").exists()
    if "why" in given:
        assert 'value="a leak at the pump"' in answer.content.decode()


def test_a_day_that_moved_meanwhile_is_worked_out_again(day):
    key = said(day, "sick", person=day.ben.pk)["Location"]
    day.begin(0, clock(6, 55))

    page = day.eyes.get(key).content.decode()
    assert "The day has moved since this was worked out" in page and "Choose this" not in page
    assert "The day has moved" in day.eyes.post(f"{key}choose/smallest/", follow=True).content.decode()
    fresh = day.eyes.post(f"{key}again/")["Location"]
    assert fresh != key and "Choose this" in day.eyes.get(fresh).content.decode()
    page = day.eyes.post(f"{fresh}choose/smallest/", follow=True).content.decode()
    assert "wait for the word of Ida" in page
    own = signed_in(day.ida).get("/round/").content.decode()
    assert own.count("Accept<") == 1 and "The office asks to put Site 5 on your round" in own
    page = day.eyes.post(f"{fresh}again/", follow=True).content.decode()
    assert "This was settled already." in page


def test_the_day_may_be_left_as_it_is(day):
    key = said(day, "sick", person=day.ben.pk)["Location"]
    before = day.where()

    assert "The day stays as it is." in day.eyes.post(f"{key}drop/", follow=True).content.decode()
    day.eyes.post(f"{key}drop/")
    assert day.where() == before and Trouble.objects.get().state == "dropped"
    assert "It was dropped at" in day.eyes.get(key).content.decode()
    assert queue.run(str(Job.objects.get(kind="mend_day").pk)) is None
    assert not Proposal.objects.filter(kind="free").exists()


def test_nothing_had_to_move(day):
    key = said(day, "late", person=day.ida.pk, minutes=1)["Location"]

    assert (
        "In force: nothing had to move."
        in day.eyes.post(f"{key}choose/smallest/", follow=True).content.decode()
    )


def test_what_stops_the_search_stands_on_the_page(day, monkeypatch):
    def stuck(*given, **more):
        raise NotPlanned("Two places are the same.")

    monkeypatch.setattr(jobs, "way_out", stuck)
    key = said(day, "sick", person=day.ben.pk)["Location"]

    assert "Two places are the same." in day.eyes.get(key).content.decode()
    queue.run(str(Job.objects.get(kind="mend_day").pk))
    assert Trouble.objects.get().error == "Two places are the same." and not Proposal.objects.exists()


def test_it_is_the_offices_alone(day):
    key = said(day, "sick", person=day.ben.pk)["Location"]
    before = day.where()
    for user in (day.ida, make_client_user()):
        browser = signed_in(user)
        for address in ("/week/today/", key, f"{key}search/"):
            assert browser.get(address).status_code == 404
        for address in ("/week/today/", f"{key}again/", f"{key}drop/", f"{key}choose/smallest/"):
            assert browser.post(address).status_code == 404
    assert Browser().get(key).status_code == 302
    assert day.where() == before
    assert day.eyes.post(f"{key}choose/free/").status_code == 404  # not worked out yet
    assert day.eyes.get(f"/week/plan/{Proposal.objects.get().pk}/").status_code == 404
    assert "Today does not go as planned" in day.eyes.get(f"/week/?from={TODAY}").content.decode()
