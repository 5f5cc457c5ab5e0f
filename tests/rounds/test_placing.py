"""The office places and moves visits; technicians are told and, on a round that has begun, asked."""

from datetime import date, time, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.models import Sight
from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Move, Notice, Stop
from servicedesk.rounds.queries import told
from tests.factories.people import make_business, make_client_user, make_owner, make_technician
from tests.factories.stops import make_stop
from tests.factories.tanks import make_contact, make_site, make_tank

pytestmark = pytest.mark.django_db
NOW = timezone.now()
TODAY = NOW.date()
TOMORROW = TODAY + timedelta(days=1)


@pytest.fixture
def owner():
    make_business(zone="UTC")
    return make_owner(zone="UTC")


@pytest.fixture
def ida(owner):
    return make_technician(name="Ida", zone="UTC")


@pytest.fixture
def ben(owner):
    return make_technician(name="Ben", zone="UTC")


@pytest.fixture
def visit(ida):
    return make_stop(ida, make_tank(make_site(name="The Farrow house")))


def owe(site_name="Loose end"):
    tank = make_tank(make_site(name=site_name))
    visit = DueVisit.objects.create(
        key=site_name, cause="call_out", site=tank.site, earliest=TODAY, due=TODAY, latest=TODAY, made_at=NOW
    )
    visit.tanks.set([tank])
    return visit


def place(visit, technician, by, **given):
    rest = {"day": TODAY, "planned_at": time(13, 45), "order": 99, "today": TODAY, "at": NOW, **given}
    return actions.place(due_visit=visit, technician=technician, by=by, **rest)


def begin(technician):
    """The first stop of the technician's day is under way."""
    first = make_stop(technician, make_tank(), order=1)
    actions.arrive(due_visit_id=first.pk, at=NOW)
    return first


def browser_of(user):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def where(visit):
    stop = Stop.objects.select_related("round").get(due_visit=visit)
    return stop.round.technician.name, stop.round.day, stop.planned_at


def test_a_visit_that_has_begun_stays_where_it_is(visit, ida, ben, owner):
    actions.arrive(due_visit_id=visit.pk, at=NOW)

    with pytest.raises(actions.NotPlanned, match="has begun"):
        place(visit, ben, owner)

    assert (where(visit)[0], Move.objects.count()) == ("Ida", 0)


def test_no_visit_is_put_on_a_day_that_is_past(visit, ben, owner):
    with pytest.raises(actions.NotPlanned, match="past"):
        place(visit, ben, owner, day=TODAY - timedelta(days=1))


def test_no_visit_is_given_to_somebody_who_left(visit, owner):
    gone = make_technician(is_active=False)

    with pytest.raises(actions.NotPlanned, match="Only a technician"):
        place(visit, gone, owner)


def test_a_visit_that_was_called_off_for_good_is_not_placed(visit, ben, owner):
    DueVisit.objects.update(called_off_at=NOW)

    with pytest.raises(actions.NotPlanned, match="called off"):
        place(visit, ben, owner)


@pytest.mark.parametrize("who", ["technician", "client"])
def test_only_the_office_places(visit, ida, who):
    contact = make_client_user()
    make_contact(visit.site.client, user=contact)
    browser = browser_of({"technician": ida, "client": contact}[who])

    codes = [getattr(browser, m)(f"/week/visits/{visit.pk}/").status_code for m in ("get", "post")]

    assert (codes, Move.objects.count()) == ([404, 404], 0)


def test_nobody_accepts_for_another(visit, ida, ben, owner):
    begin(ida)
    place(visit, ida, owner)
    notice = Notice.objects.get()

    answer = browser_of(ben).post(f"/round/changes/{notice.pk}/accept/")

    notice.refresh_from_db()
    assert (answer.status_code, notice.accepted_at) == (404, None)


def test_a_form_that_is_refused_keeps_what_was_typed(visit, ida, owner):
    typed = {
        "technician": ida.pk,
        "day": (TODAY - timedelta(days=3)).isoformat(),
        "planned_at": "07:15",
        "order": "2",
    }

    page = browser_of(owner).post(f"/week/visits/{visit.pk}/", typed).content.decode()

    assert "That day is past." in page
    assert 'value="07:15"' in page


def test_a_visit_on_no_round_is_placed_at_once_and_told(ida, owner):
    visit = owe()
    typed = {"technician": ida.pk, "day": TODAY.isoformat(), "planned_at": "13:45", "order": ""}

    answer = browser_of(owner).post(f"/week/visits/{visit.pk}/", typed)

    assert answer.status_code == 302
    assert where(visit) == ("Ida", TODAY, time(13, 45))
    assert [t.said for t in told(ida, today=TODAY)] == ["The office put Loose end on your round: 13:45."]


def test_a_move_on_a_round_not_begun_holds_at_once_and_stands_as_a_banner_until_accepted(visit, ida, owner):
    place(visit, ida, owner)
    browser = browser_of(ida)
    before = browser.get("/round/").content.decode()

    browser.post(f"/round/changes/{Notice.objects.get().pk}/accept/")

    assert where(visit)[2] == time(13, 45)
    assert "The office moved The Farrow house to 13:45." in before
    assert "The office moved" not in browser.get("/round/").content.decode()


def test_a_round_that_has_begun_changes_only_when_accepted(visit, ida, owner):
    begin(ida)

    place(visit, ida, owner)
    before = where(visit)
    actions.accept(notice=Notice.objects.get(), at=NOW)

    assert (before[2], where(visit)[2]) == (time(9, 0), time(13, 45))


def test_what_waits_for_a_word_is_told_as_a_question_and_what_holds_as_done(visit, ida, ben, owner):
    begin(ida)
    place(visit, ben, owner)
    asked = [(t.said, t.text) for who in (ida, ben) for t in told(who, today=TODAY)]

    actions.accept(notice=Notice.objects.get(person=ida), at=NOW)

    assert asked == [
        (
            "The office asks to give The Farrow house to Ben.",
            "It moves when you accept. If it cannot be, ring the office.",
        ),
        ("The office asks to put The Farrow house on your round: 13:45.", "It waits for the other's word."),
    ]
    assert [(t.said, t.text) for t in told(ben, today=TODAY)] == [
        ("The office put The Farrow house on your round: 13:45.", "Nothing else moves.")
    ]


def test_from_one_begun_round_to_another_both_must_accept(visit, ida, ben, owner):
    begin(ida)
    begin(ben)
    place(visit, ben, owner)

    actions.accept(notice=Notice.objects.get(person=ben), at=NOW)
    after_one = where(visit)[0]
    actions.accept(notice=Notice.objects.get(person=ida), at=NOW)

    assert (after_one, where(visit)[0]) == ("Ida", "Ben")


def test_the_one_who_gives_a_visit_away_is_told_too(visit, ida, ben, owner):
    place(visit, ben, owner, day=TOMORROW)

    assert [t.said for t in told(ida, today=TODAY)] == ["The office gave The Farrow house to Ben."]


def test_a_visit_begun_while_the_move_waited_stays_and_the_move_is_withdrawn(visit, ida, owner):
    begin(ida)
    place(visit, ida, owner)
    actions.arrive(due_visit_id=visit.pk, at=NOW)

    move = actions.accept(notice=Notice.objects.get(), at=NOW)

    assert (move.applied_at, move.withdrawn_at, where(visit)[2]) == (None, NOW, time(9, 0))


def test_a_later_move_takes_the_place_of_one_that_waits(visit, ida, owner):
    begin(ida)
    first = place(visit, ida, owner)

    place(visit, ida, owner, planned_at=time(15, 0))

    first.refresh_from_db()
    assert first.withdrawn_at == NOW
    assert [t.said for t in told(ida, today=TODAY)] == ["The office asks to move The Farrow house to 15:00."]


def test_accepting_twice_moves_once(visit, ida, owner):
    begin(ida)
    place(visit, ida, owner)

    first = actions.accept(notice=Notice.objects.get(), at=NOW)
    again = actions.accept(notice=Notice.objects.get(), at=NOW + timedelta(minutes=5))

    assert (first.applied_at, again.applied_at) == (NOW, NOW)


def test_it_never_stands_before_what_has_begun_and_the_others_step_back(ida, owner):
    begun = begin(ida)
    second = make_stop(ida, make_tank(), order=2)
    new = owe()

    place(new, ida, owner, order=1)
    actions.accept(notice=Notice.objects.get(), at=NOW)

    assert list(Stop.objects.order_by("order").values_list("due_visit", "order")) == [
        (begun.pk, 1),
        (new.pk, 2),
        (second.pk, 3),
    ]


def test_a_stop_called_off_is_planned_again_by_placing_it(visit, ben, owner):
    actions.call_off(stop=Stop.objects.get())

    place(visit, ben, owner, day=TOMORROW)

    assert (where(visit)[0], Stop.objects.get().state) == ("Ben", "planned")


def test_sight_of_the_tanks_goes_with_the_visit(visit, ida, ben, owner):
    place(visit, ben, owner)

    assert [s.user.name for s in Sight.objects.filter(cause=visit.pk)] == ["Ben"]


def test_another_day_is_named_in_the_banner(visit, ida, owner):
    day = date(2027, 3, 2)

    place(visit, ida, owner, day=day)

    assert [t.said for t in told(ida, today=TODAY)] == [
        "The office moved The Farrow house to Tuesday 2 March, 13:45."
    ]


def test_what_stands_on_no_round_is_not_taken_off(owner):
    with pytest.raises(actions.NotPlanned, match="no round"):
        actions.take_off(due_visit=owe(), by=owner, at=NOW)


def test_a_visit_that_has_begun_is_not_taken_off(visit, owner):
    actions.arrive(due_visit_id=visit.pk, at=NOW)

    browser_of(owner).post(f"/week/visits/{visit.pk}/", {"off": "1"})

    assert (Stop.objects.get().state, Move.objects.count()) == ("under_way", 0)


def test_a_technician_takes_nothing_off(visit, ida):
    answer = browser_of(ida).post(f"/week/visits/{visit.pk}/", {"off": "1"})

    assert (answer.status_code, Stop.objects.get().state) == (404, "planned")


def test_taken_off_before_the_round_began_it_is_told_stays_owed_and_shuts_the_key(visit, ida, owner):
    answer = browser_of(owner).post(f"/week/visits/{visit.pk}/", {"off": "1"}, follow=True).content.decode()

    assert "it was called off that day" in answer
    assert [t.said for t in told(ida, today=TODAY)] == [
        "The office took The Farrow house off your round of today."
    ]
    assert browser_of(ida).post(f"/stops/{visit.pk}/key/").status_code == 404


def test_a_begun_round_loses_a_stop_only_when_it_is_accepted(visit, ida, owner):
    begin(ida)
    actions.take_off(due_visit=visit, by=owner, at=NOW)
    before = Stop.objects.get(due_visit=visit).state
    said = [t.said for t in told(ida, today=TODAY)]

    actions.accept(notice=Notice.objects.get(), at=NOW)

    assert said == ["The office asks to take The Farrow house off your round of today."]
    assert (before, Stop.objects.get(due_visit=visit).state) == ("planned", "called_off")
