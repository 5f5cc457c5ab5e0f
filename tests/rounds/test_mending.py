"""A running day breaks: what is done stays, ways out change as little as they must, and one is put in force whole."""

from datetime import time, timedelta

import pytest
from django.db import IntegrityError, transaction

from clients.models import Site
from servicedesk.core.rounds.keeping import Budget
from servicedesk.dispatch.models import Job
from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Move, Notice, Proposal, Stop, Trouble
from servicedesk.rounds.queries.broken import broken
from servicedesk.rounds.queries.mending import sides_of
from servicedesk.rounds.queries.moves import told
from servicedesk.staff.models import Skill, Working
from servicedesk.watch.models import Away
from tests.factories.days import NOW, TODAY, Day, clock
from tests.factories.people import make_technician
from tests.factories.tanks import make_plan, make_site

pytestmark = pytest.mark.django_db
QUICK = Budget(iterations=60)


@pytest.fixture
def day():
    return Day()


def test_a_cancelled_visit_leaves_and_nothing_else_moves(day):
    trouble = day.say("cancelled", due_visit=day.visits[1])
    before = day.where()
    offer = day.keep(trouble)

    expected = {name: place for name, place in before.items() if name != "Site 1"}
    assert day.lines(offer) == {**expected, "Site 1": None}
    moves = day.choose(offer)
    assert [(move.due_visit, move.off) for move in moves] == [(day.visits[1], True)]
    assert day.where() == expected
    assert DueVisit.objects.get(pk=day.visits[1].pk).called_off_at is None  # still owed
    side = sides_of(trouble).sides[0]
    assert side.homeless == [] and [c.name for c in side.calls] == []


def test_a_sick_technicians_visits_go_to_the_others_whose_order_stays(day):
    trouble = day.say("sick", person=day.ben)
    offer = day.keep(trouble)
    lines = day.lines(offer)

    assert {who for who, _at in lines.values()} == {"Ida"}
    own = sorted((f"Site {n}" for n in range(3)), key=lambda name: lines[name][1])
    assert own == ["Site 0", "Site 1", "Site 2"]
    day.choose(offer)
    assert day.where() == lines
    assert [s.order for s in Stop.objects.filter(round__technician=day.ida).order_by("planned_at")] == [
        1,
        2,
        3,
        4,
        5,
        6,
    ]
    assert set(Notice.objects.values_list("person__name", "needed")) == {("Ida", False), ("Ben", False)}
    again = broken(day.say("late", person=day.ida, minutes=10), NOW)
    assert [shift.technician for shift in again.week.problem.shifts] == [
        str(day.ida.pk)
    ]  # he is sick all day


def test_forty_minutes_late_moves_only_what_must_of_that_person():
    day = Day(apart=100)
    before = day.where()
    trouble = day.say("late", person=day.ida, minutes=40)
    lines = day.lines(day.keep(trouble))

    assert lines["Site 0"] == ("Ida", time(9, 40))
    for name, (who, at) in lines.items():
        if before[name][0] == "Ben":
            assert (who, at) == before[name]
        else:
            assert who == "Ida" and at >= before[name][1]
    assert lines["Site 1"] == before["Site 1"]  # the room between them took up the delay


def test_a_call_out_is_come_to_in_time_and_nobody_sooner_than_said(day):
    before = day.where()
    trouble = day.call(until=time(10, 30))
    offer = day.keep(trouble)
    lines = day.lines(offer)

    assert lines["Call 9"][1] <= time(10, 30)
    for name, (who, at) in before.items():
        assert lines[name][0] == who and lines[name][1] >= at
    day.choose(offer)
    assert day.where() == lines
    stop = Stop.objects.get(due_visit=trouble.due_visit)
    assert (stop.minutes, stop.due_visit.cause) == (30, "call_out")
    later = broken(day.say("late", person=day.ben, minutes=5), NOW)
    window = later.week.problem.visit[str(trouble.due_visit_id)].windows
    assert max(w.latest for w in window) == 10 * 3600 + 1800  # its latest time is remembered


@pytest.mark.parametrize("kind", ["smallest", "priced", "free"])
def test_each_way_out_has_every_visit_once_and_can_be_chosen(day, kind):
    trouble = day.say("sick", person=day.ben)
    offer = day.keep(trouble, kind, budget=QUICK)

    assert sorted(day.lines(offer)) == [f"Site {n}" for n in range(6)]
    day.choose(offer)
    assert all(who == "Ida" for who, _at in day.where().values())
    offer.refresh_from_db()
    assert (offer.state, Trouble.objects.get().state) == ("in_force", "settled")


def test_what_is_done_and_under_way_stays_and_everybody_goes_on_from_there(day):
    day.begin(0, clock(9), left=clock(9, 50))
    day.begin(1, clock(10, 30))
    now = clock(10, 40)
    trouble = day.say("sick", person=day.ben, at=now)
    there = broken(trouble, now)
    ida = there.week.problem.shifts[0]

    assert set(there.week.visits) == {str(day.visits[n].pk) for n in (2, 3, 4, 5)}
    assert ida.earliest == 11 * 3600 + 600  # the stop under way is expected to take its forty minutes
    assert there.week.problem.names[ida.start] == "Site 1"
    offer = day.keep(trouble, at=now)
    assert min(at for _who, at in day.lines(offer).values()) >= time(11, 10)


def test_a_round_that_has_begun_waits_for_one_word_for_all_of_it(day):
    day.begin(0, clock(9))
    now = clock(9, 5)
    trouble = day.say("sick", person=day.ben, at=now)
    offer = day.keep(trouble, at=now)
    lines = day.lines(offer)
    before = day.where()
    moves = day.choose(offer, at=now)

    assert day.where() == before and day.waiting() == len(moves) >= 3
    banners = told(day.ida, today=TODAY)
    assert len(banners) == 1 and len(banners[0].more) == len(moves) - 1
    assert banners[0].text.startswith("All of it moves when you accept")
    actions.accept(notice=banners[0].notice, at=now)
    assert day.where() == {**before, **lines} and day.waiting() == 0
    assert told(day.ida, today=TODAY) == []
    open_ = Stop.objects.filter(round__technician=day.ida, state="planned").order_by("planned_at")
    assert [stop.order for stop in open_] == [2, 3, 4, 5, 6]
    held = Stop.objects.get(due_visit=day.visits[5])
    assert held.minutes == 40 and held.drive_minutes != 10


def test_a_change_of_one_round_asks_nobody_else(day):
    day.begin(0, clock(9))
    day.begin(5, clock(9))
    now = clock(9, 5)
    Working.objects.filter(person=day.ida).update(shift_ends=time(12))
    offer = day.keep(day.call(lat=50.29, at=now, until=time(10, 30)), at=now)
    assert day.lines(offer)["Call 9"][0] == "Ben"
    moves = day.choose(offer, at=now)

    assert {n.person.name for n in Notice.objects.filter(move__in=moves)} == {"Ben"}


def test_a_visit_begun_meanwhile_stays_and_its_move_falls_away(day):
    day.begin(0, clock(9))
    now = clock(9, 5)
    moves = day.choose(day.keep(day.say("sick", person=day.ben, at=now), at=now), at=now)
    gone = next(move for move in moves if move.due_visit == day.visits[5])
    actions.arrive(due_visit_id=day.visits[5].pk, at=now)

    other = next(move for move in moves if move.due_visit == day.visits[4])
    actions.accept(notice=other.notices.get(person=day.ida), at=now)
    gone.refresh_from_db()
    assert gone.withdrawn_at == now and day.where()["Site 5"][0] == "Ben"
    assert day.where()["Site 4"][0] == "Ida"


def moved(day):
    day.put(day.visits[2], day.ben, 4, time(15))


def begun(day):
    day.begin(0, NOW)


def called_off(day):
    DueVisit.objects.filter(pk=day.visits[0].pk).update(called_off_at=NOW)


@pytest.mark.parametrize("happens", [moved, begun, called_off])
def test_where_the_day_has_moved_it_is_refused_whole(day, happens):
    trouble = day.say("sick", person=day.ben)
    offer = day.keep(trouble)
    happens(day)
    before = day.where()

    with pytest.raises(actions.NotPlanned, match="The day has moved"):
        day.choose(offer)
    assert day.where() == before and not Move.objects.exists()
    assert sides_of(trouble).sides[0].may_be_chosen is False
    fresh = actions.say_again(trouble=trouble, day=TODAY, by=day.owner, at=NOW + timedelta(minutes=1))
    day.choose(day.keep(fresh, at=NOW + timedelta(minutes=1)))
    trouble.refresh_from_db()
    assert (trouble.state, fresh.kind, fresh.person) == ("dropped", "sick", day.ben)


def test_a_change_that_waits_is_one_more_thing_that_moved(day):
    day.begin(0, clock(9))
    first, second = day.say("sick", person=day.ben), day.say("sick", person=day.ben)
    one, two = day.keep(first, at=clock(9, 5)), day.keep(second, at=clock(9, 5))
    day.choose(one)
    assert day.waiting()

    with pytest.raises(actions.NotPlanned, match="The day has moved"):
        day.choose(two)
    fresh = actions.say_again(trouble=second, day=TODAY, by=day.owner, at=NOW)
    assert sides_of(fresh).waiting == Move.objects.filter(withdrawn_at=None, applied_at=None).count()
    waited = set(Move.objects.filter(applied_at=None).values_list("pk", flat=True))
    day.choose(day.keep(fresh, at=clock(9, 6)), at=clock(9, 6))
    assert not Move.objects.filter(pk__in=waited, withdrawn_at=None).exists()


def test_of_two_who_choose_at_once_one_is_refused(day):
    trouble = day.say("sick", person=day.ben)
    one, two = day.keep(trouble), day.keep(trouble, "priced", budget=QUICK)
    day.choose(one)

    for offer in (one, two):
        with pytest.raises(actions.NotPlanned, match="settled already"):
            day.choose(offer)
    assert dict(Proposal.objects.values_list("kind", "state")) == {
        "smallest": "in_force",
        "priced": "dropped",
    }
    with pytest.raises(actions.NotPlanned, match="settled already"):
        actions.say_again(trouble=trouble, day=TODAY, by=day.owner, at=NOW)


def test_a_day_that_is_past_is_not_mended(day):
    trouble = day.say("sick", person=day.ben)
    offer = day.keep(trouble)
    tomorrow = TODAY + timedelta(days=1)

    with pytest.raises(actions.NotPlanned, match="past"):
        day.choose(offer, today=tomorrow)
    with pytest.raises(actions.NotPlanned, match="past"):
        actions.say_again(trouble=trouble, day=tomorrow, by=day.owner, at=NOW)


def test_what_nobody_waits_for_is_not_kept(day):
    trouble = day.say("sick", person=day.ben)
    assert day.keep(trouble) and day.keep(trouble) is None
    assert actions.drop_trouble(trouble=trouble, by=day.owner, at=NOW)
    assert not actions.drop_trouble(trouble=trouble, by=day.owner, at=NOW)
    assert day.keep(trouble, "priced", budget=QUICK) is None
    assert set(Proposal.objects.values_list("kind", "state")) == {("smallest", "dropped")}
    assert actions.end_search(trouble=trouble, at=NOW, error="e" * 400)
    assert not actions.end_search(trouble=trouble, at=NOW)
    assert len(Trouble.objects.get().error) == 300


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (lambda d: {"kind": "late", "person": d.ida, "minutes": 0}, "one minute"),
        (lambda d: {"kind": "late", "person": d.ida}, "one minute"),
        (lambda d: {"kind": "late", "person": d.ida, "minutes": 481}, "eight hours"),
        (lambda d: {"kind": "sick", "person": d.owner}, "no stop to come"),
        (lambda d: {"kind": "cancelled", "due_visit": d.owe("Stray 7")}, "not to come today"),
    ],
)
def test_what_cannot_be_is_refused_in_words(day, given, said):
    with pytest.raises(actions.NotPlanned, match=said):
        day.say(**given(day))
    assert not Trouble.objects.exists() and not Job.objects.exists()


def test_a_call_out_needs_a_tank_and_a_time_to_come(day):
    with pytest.raises(actions.NotPlanned, match="has passed"):
        day.call(until=time(6, 59))
    site = make_site(name="Dry")
    with pytest.raises(actions.NotPlanned, match="No tank is kept at Dry"):
        actions.say_call_out(site=site, why="x", minutes=30, until=None, day=TODAY, by=day.owner, at=NOW)
    assert not DueVisit.objects.filter(cause="call_out").exists()


def test_a_call_out_nobody_can_reach_stays_owed_and_is_to_be_called(day):
    trouble = day.call(lat=54.0, until=time(8))
    offer = day.keep(trouble)
    side = sides_of(trouble).sides[0]

    assert [line.due_visit for line in side.homeless] == [trouble.due_visit_id] and side.homeless[0].why
    assert [(call.name, call.about) for call in side.calls] == [("Call 9", "not today")]
    assert day.choose(offer) == []
    assert not Stop.objects.filter(due_visit=trouble.due_visit).exists()


def test_a_visit_that_finds_no_place_leaves_its_round(day):
    Working.objects.filter(person=day.ida).update(
        shift_begins=time(9), shift_ends=time(12, 50), lunch_minutes=0
    )
    trouble = day.say("sick", person=day.ben)
    offer = day.keep(trouble)
    lost = [name for name, place in day.lines(offer).items() if place is None]

    assert lost and all(name in ("Site 3", "Site 4", "Site 5") for name in lost)
    moves = day.choose(offer)
    assert sorted(m.due_visit.site.name for m in moves if m.off) == sorted(lost)
    assert not set(lost) & set(day.where())


def plan_of(day, number, **given):
    visit = day.visits[number]
    plan = make_plan(visit.site, *visit.tanks.all(), **given)
    DueVisit.objects.filter(pk=visit.pk).update(plan=plan)
    return plan


def test_what_a_person_decided_is_believed(day):
    """A visit given to somebody without its skill, one pinned, one for two, one outside its hours: none of them is taken apart."""
    plan_of(day, 0).skills.add(Skill.objects.create(name="Diving"))
    plan_of(day, 1, people=2)
    actions.pin(due_visit=day.visits[2], technician=day.ida, by=day.owner, at=NOW)
    Site.objects.filter(pk=day.visits[3].site.pk).update(opens=time(14), closes=time(15))
    before = day.where()
    offer = day.keep(day.say("cancelled", due_visit=day.visits[5]))

    assert day.lines(offer) == {**before, "Site 5": None}
    assert [line for line in offer.said if "for two" in line] == [
        "Site 1 is a visit for two: only the first person is planned here. Tell the second by word of mouth."
    ]
    lines = day.lines(day.keep(day.say("sick", person=day.ida)))
    assert lines["Site 0"] is None and lines["Site 2"] is None  # nobody else dives; she alone was to go there
    assert lines["Site 1"][0] == "Ben"


def test_who_is_away_or_free_today_drives_only_what_stands(day):
    cid = make_technician(name="Cid")

    def names():
        today = broken(day.say("late", person=day.ida, minutes=9), NOW)
        return {shift.technician for shift in today.week.problem.shifts}

    assert names() == {str(p.pk) for p in (day.ida, day.ben, cid)}
    for person in (day.ben, cid):
        Away.objects.create(person=person, from_on=TODAY, until_on=TODAY)
    assert names() == {str(p.pk) for p in (day.ida, day.ben)}
    Working.objects.filter(person=day.ida).update(weekdays=[0])
    assert names() == {str(p.pk) for p in (day.ida, day.ben)}


def test_a_day_put_together_by_hand_says_what_gives_way(day):
    Working.objects.filter(person=day.ben).update(shift_ends=time(12))
    offer = day.keep(day.say("cancelled", due_visit=day.visits[0]))

    assert offer.said == [
        "The day of Ben is longer than the shift as it stands: it may stay as long, not longer."
    ]
    assert day.lines(offer)["Site 3"] == ("Ben", time(12))


def test_where_a_place_stands_nowhere_it_is_said_and_the_day_is_mended(day):
    Site.objects.filter(pk=day.visits[4].site.pk).update(lat=None)
    offer = day.keep(day.say("sick", person=day.ben))

    assert any(line.startswith("It is not written down where Site 4 stands") for line in offer.said)
    assert day.lines(offer)["Site 4"][0] == "Ida"


def test_after_the_last_stop_nobody_is_late(day):
    trouble = day.say("late", person=day.ida, minutes=30)
    for number in range(3):
        day.begin(number, clock(7, number), left=clock(7, 30))
    later = broken(trouble, clock(8))
    ida = next(shift for shift in later.week.problem.shifts if shift.technician == str(day.ida.pk))

    assert (ida.earliest, later.week.problem.names[ida.start]) == (8 * 3600, "Site 2")
    assert broken(trouble, clock(16, 30)).week.problem.shifts[0].lunch is None  # its time is over


def test_a_trouble_names_whom_or_what(day):
    for wrong in (
        {"kind": "sick"},
        {"kind": "call_out", "person": day.ida},
        {"kind": "late", "person": day.ida},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            Trouble.objects.create(day=TODAY, asked_by=day.owner, asked_at=NOW, **wrong)


def test_a_week_is_not_put_in_force_by_a_day(day):
    offer = day.keep(day.say("sick", person=day.ben))

    with pytest.raises(actions.NotPlanned, match="mends one day"):
        actions.put_in_force(proposal=offer, by=day.owner, today=TODAY - timedelta(days=1), at=NOW)
