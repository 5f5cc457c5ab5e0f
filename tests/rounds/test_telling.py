"""Clients whose time moves: listed to be called, or mailed where they agreed; nothing before the office chose, nothing of others."""

from datetime import time, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.dispatch import jobs as queue
from servicedesk.dispatch.models import Job, Message
from servicedesk.rounds import actions, jobs  # noqa: F401  registers the work that is run here
from servicedesk.rounds.models import DueVisit, Move, Proposal, Stop, Tidings
from servicedesk.rounds.queries.mending import sides_of
from servicedesk.rounds.queries.telling import letters_of, to_be_called, worth_a_word
from tests.factories.days import NOW, TODAY, Day, clock
from tests.factories.people import make_client_user
from tests.factories.tanks import make_contact
from tests.rounds.test_planned_week import MONDAY, Week

pytestmark = pytest.mark.django_db


@pytest.fixture
def day():
    return Day()


def agreed(visit, name="Nell"):
    return make_contact(
        visit.site.client, name=name, email=f"{name.lower()}@kettle.example", told_of_moves=True
    )


def written():
    """Runs what was asked for; the mails by their recipients."""
    for job in Job.objects.filter(kind="tell_clients", state="queued").order_by("made_at", "pk"):
        queue.run(str(job.pk))
    assert not Job.objects.filter(kind="tell_clients").exclude(state="done").exists()
    return {row.recipient: row.text for row in Message.objects.all()}


def signed_in(user):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


@pytest.mark.parametrize(
    ("was", "now", "told"),
    [
        ((TODAY, time(9)), (TODAY, time(9, 30)), False),
        ((TODAY, time(9)), (TODAY, time(9, 31)), True),
        ((TODAY, time(9)), (TODAY, time(8, 29)), True),
        ((TODAY, time(9)), (TODAY + timedelta(days=1), time(9)), True),
        ((TODAY, time(9)), None, True),
        (None, (TODAY, time(9)), True),
        (None, None, False),
    ],
)
def test_half_an_hour_or_less_is_not_told(was, now, told):
    assert worth_a_word(was, now) is told


def test_nothing_is_sent_before_the_office_chose_and_then_only_to_who_agreed(day):
    nell = agreed(day.visits[5])
    make_contact(day.visits[5].site.client, name="Ansel", email="ansel@kettle.example")
    trouble = day.say("sick", person=day.ben)
    offer = day.keep(trouble)
    ahead = {call.name: call.mailed for call in sides_of(trouble).sides[0].calls}
    assert ahead["Site 5"] == "Nell" and ahead["Site 4"] == ""
    assert not Tidings.objects.exists() and not Job.objects.filter(kind="tell_clients").exists()

    day.choose(offer)
    was, now = "Wednesday 10 June, 09:00", day.where()["Site 5"][1]
    letters = written()
    assert list(letters) == [nell.email]
    assert f"Site 5: we come on Wednesday 10 June, {now:%H:%M}, not on {was}." in letters[nell.email]
    assert "Site 4" not in letters[nell.email]
    side = sides_of(trouble).sides[0]
    assert {call.name: call.mailed for call in side.calls} == ahead
    assert "Site 5" not in {c.name for c in to_be_called(first=TODAY, last=TODAY, today=TODAY)}


def test_one_mail_a_client_and_change_holds_all_their_visits_and_no_secret(day):
    client = day.visits[5].site.client
    type(day.visits[4].site).objects.filter(pk=day.visits[4].site.pk).update(client=client, key_code="1470#")
    type(day.visits[5].site).objects.filter(pk=day.visits[5].site.pk).update(way_in="the red door")
    nell, bo = agreed(day.visits[5]), agreed(day.visits[5], "Bo")
    day.choose(day.keep(day.say("sick", person=day.ben)))
    letters = written()

    assert set(letters) == {nell.email, bo.email} and Message.objects.count() == 2
    for text in letters.values():
        assert "Site 4: " in text and "Site 5: " in text
        assert "1470#" not in text and "red door" not in text and "Ida" not in text
    assert letters == written()


def test_where_a_round_has_begun_the_mail_waits_for_the_technicians_word(day):
    nell = agreed(day.visits[5])
    day.begin(0, clock(9))
    now = clock(9, 5)
    offer = day.keep(day.say("sick", person=day.ben, at=now), at=now)
    moves = day.choose(offer, at=now)
    assert written() == {}
    calls = sides_of(offer.trouble).sides[0].calls
    assert {(c.note, c.key) for c in calls if c.name == "Site 5"} == {
        ("not before the technician accepts", None)
    }

    notice = moves[0].notices.get(person=day.ida, needed=True)
    actions.accept(notice=notice, at=now)
    assert list(written()) == [nell.email]
    actions.accept(notice=notice, at=now)
    written()
    assert Message.objects.count() == 1


def test_what_stays_after_all_is_not_told(day):
    agreed(day.visits[5])
    day.begin(0, clock(9))
    now = clock(9, 5)
    offer = day.keep(day.say("sick", person=day.ben, at=now), at=now)
    moves = day.choose(offer, at=now)
    actions.arrive(due_visit_id=day.visits[5].pk, at=now)
    actions.accept(notice=moves[0].notices.get(person=day.ida, needed=True), at=now)

    assert Move.objects.get(due_visit=day.visits[5]).withdrawn_at == now
    assert written() == {}
    assert "Site 5" not in {call.name for call in sides_of(offer.trouble).sides[0].calls}


def test_the_mail_says_how_it_stands_when_it_is_written(day):
    nell = agreed(day.visits[5])
    day.choose(day.keep(day.say("sick", person=day.ben)))
    day.put(day.visits[5], day.ida, 9, time(16, 44))
    assert "16:44, not on Wednesday 10 June, 09:00" in written()[nell.email]


def test_a_visit_moved_back_or_called_off_meanwhile_is_told_to_nobody(day):
    agreed(day.visits[5])
    agreed(day.visits[4], "Bo")
    day.choose(day.keep(day.say("sick", person=day.ben)))
    day.put(day.visits[5], day.ida, 9, time(9, 10))
    DueVisit.objects.filter(pk=day.visits[4].pk).update(called_off_at=NOW)
    assert written() == {}


def test_a_call_out_and_a_visit_that_falls_out_are_said_in_a_sentence(day):
    trouble = day.call(until=time(10, 30))
    nell = agreed(trouble.due_visit)
    day.choose(day.keep(trouble))
    at = Stop.objects.get(due_visit=trouble.due_visit).planned_at
    assert f"Call 9: we come on Wednesday 10 June, {at:%H:%M}." in written()[nell.email]

    far = day.call(lat=54.0, until=time(8), at=NOW + timedelta(minutes=1))
    agreed(far.due_visit, "Bo")
    offer = day.keep(far)
    day.choose(offer)
    assert letters_of(offer) == [] and offer.tidings.get(due_visit=far.due_visit).day is None
    gone = offer.tidings.get(due_visit=far.due_visit)
    Tidings.objects.filter(pk=gone.pk).update(was_day=TODAY, was_at=time(9))
    assert "Wednesday 10 June, 09:00 falls out" in letters_of(offer)[0].text


def test_who_cancelled_is_not_told(day):
    agreed(day.visits[1])
    day.choose(day.keep(day.say("cancelled", due_visit=day.visits[1])))
    assert not Tidings.objects.exists() and written() == {}


def test_a_mail_that_could_not_be_sent_is_one_more_to_be_called(day):
    nell = agreed(day.visits[5])
    trouble = day.say("sick", person=day.ben)
    day.choose(day.keep(trouble))
    written()
    Message.objects.filter(recipient=nell.email).update(state="failed")
    call = next(c for c in to_be_called(first=TODAY, last=TODAY, today=TODAY) if c.name == "Site 5")
    assert (call.phone, call.note) == ("0500", "the mail could not be sent")


def test_a_week_put_in_force_tells_whose_visit_moves(monkeypatch):
    week = Week()
    proposal = week.search(week.ask())
    line = proposal.visits.select_related("technician", "due_visit__site").get(due_visit=week.visits[0])
    nell = agreed(week.visits[0])
    was = Stop.objects.get(due_visit=week.visits[0])
    other = time(15, 40) if was.planned_at.hour < 15 else time(9)
    proposal.visits.filter(pk=line.pk).update(planned_at=other, day=MONDAY + timedelta(days=1))
    assert Proposal.objects.get().tidings.count() == 0
    actions.put_in_force(
        proposal=proposal, by=week.owner, today=MONDAY - timedelta(days=1), at=timezone.now()
    )

    assert (
        f"Tuesday {MONDAY + timedelta(days=1):%-d %B}, {other:%H:%M}, not on Monday" in written()[nell.email]
    )
    kept = proposal.tidings.get(due_visit=week.visits[0])
    assert (kept.was_day, kept.was_at, kept.day, kept.at) == (MONDAY, was.planned_at, MONDAY + timedelta(days=1), other)  # fmt: skip


def test_a_work_of_a_change_that_is_not_in_force_is_given_up(day):
    offer = day.keep(day.say("sick", person=day.ben))
    agreed(day.visits[5])
    actions.telling.ask_letters(proposal_id=offer.pk, cause=offer.pk, at=NOW)
    queue.run(str(Job.objects.get(kind="tell_clients").pk))
    assert Job.objects.get(kind="tell_clients").state == "failed" and not Message.objects.exists()


def test_who_was_rung_is_ticked_off_by_the_office_alone(day, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)
    trouble = day.say("sick", person=day.ben)
    day.choose(day.keep(trouble))
    row = Tidings.objects.get(due_visit=day.visits[5])
    address = f"/week/told/{row.pk}/"
    office = signed_in(day.owner)
    page = office.get(f"/week/?from={TODAY}").content.decode()
    assert "To be called: another time" in page and page.count("I have rung them") == Tidings.objects.count()

    for user in (day.ida, make_client_user()):
        assert signed_in(user).post(address).status_code == 404
    assert office.get(address).status_code == 405
    assert office.post(address, {"from": "week"})["Location"] == f"/week/?from={TODAY}"
    row.refresh_from_db()
    assert (row.called_by, row.called_at) == (day.owner, NOW)
    assert office.post(address)["Location"] == f"/week/today/{trouble.pk}/"
    assert f"Rung by {day.owner}" in office.get(f"/week/today/{trouble.pk}/").content.decode()
    page = office.get(f"/week/?from={TODAY}").content.decode()
    assert page.count("I have rung them") == Tidings.objects.count() - 1
    assert not actions.have_rung(tidings=row, by=day.owner, at=NOW)
