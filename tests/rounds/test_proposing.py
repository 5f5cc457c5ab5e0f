"""A week is proposed beside the week in force, and put in force whole or not at all."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import IntegrityError, transaction
from django.test import Client as Browser

from clients.models import Site
from servicedesk.dispatch.models import Job
from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Move, Notice, Pin, Proposal, Proposed, Stop
from servicedesk.rounds.queries.found import Line
from servicedesk.rounds.queries.placed import elsewhere
from servicedesk.rounds.queries.proposed import beside
from servicedesk.rounds.queries.stamps import stamp_now, stamp_of
from servicedesk.staff.models import User
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.tanks import make_site, make_tank

pytestmark = pytest.mark.django_db
ZONE = ZoneInfo("UTC")
NOW = datetime(2026, 6, 5, 12, 0, tzinfo=ZONE)
TODAY, MONDAY, TUESDAY = date(2026, 6, 5), date(2026, 6, 8), date(2026, 6, 9)
SUNDAY = date(2026, 6, 14)


class Week:
    """Three sites, two technicians; the first two visits stand on Ida's Monday, the third nowhere."""

    def __init__(self):
        make_business(zone="UTC")
        self.owner = make_owner(zone="UTC")
        self.ida, self.ben = make_technician(name="Ida"), make_technician(name="Ben")
        self.visits = []
        for number, name in enumerate(("Ashpond", "Birchwell", "Cold Spring")):
            tank = make_tank(make_site(name=name))
            visit = DueVisit.objects.create(
                key=name,
                cause="plan",
                site=tank.site,
                earliest=MONDAY,
                due=MONDAY,
                latest=SUNDAY,
                made_at=NOW,
            )
            visit.tanks.set([tank])
            self.visits.append(visit)
            if number < 2:
                actions.put_on_round(
                    due_visit=visit,
                    day=MONDAY,
                    technician=self.ida,
                    order=number + 1,
                    planned_at=time(9 + number),
                )

    def ask(self, **given):
        rest = {"first": MONDAY, "last": SUNDAY, "by": self.owner, "today": TODAY, "at": NOW, **given}
        return actions.ask_proposal(**rest)

    def line(self, number, who=None, day=MONDAY, order=1, at=time(9), **given):
        if who is None:
            return Line(self.visits[number], **given)
        return Line(self.visits[number], who, day, order, at, 45, 10, **given)

    def keep(self, proposal, *lines):
        return actions.keep_proposal(
            proposal=proposal, lines=list(lines), before={"visits": 2, "driving": 7200}, after={"visits": 3, "driving": 3600},
            said=[], stamp=stamp_of(line.due_visit for line in lines), at=NOW,
        )  # fmt: skip

    def put(self, proposal, **given):
        return actions.put_in_force(
            proposal=proposal, **{"by": self.owner, "today": TODAY, "at": NOW, **given}
        )

    def where(self):
        rows = Stop.objects.exclude(state="called_off").order_by("due_visit__key")
        return [
            (row.due_visit.key, row.round.technician.name, row.round.day, row.order, row.planned_at)
            for row in rows
        ]


@pytest.fixture
def week():
    return Week()


def test_asking_twice_for_the_same_days_is_asking_once(week):
    first, second = week.ask(), week.ask()

    assert first == second
    assert list(Job.objects.values_list("kind", "args")) == [("plan_week", {"proposal": str(first.pk)})]
    assert week.ask(last=TUESDAY) != first
    assert actions.stop_search(row=first, at=NOW) and not actions.stop_search(row=first, at=NOW)
    assert week.ask() != first


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"last": MONDAY - timedelta(days=1)}, "before the first"),
        ({"first": TODAY}, "tomorrow at the earliest"),
        ({"last": MONDAY + timedelta(days=28)}, "Four weeks"),
        ({"seconds": 0}, "one second"),
        ({"seconds": 301}, "five minutes"),
    ],
)
def test_days_that_cannot_be_planned_are_refused_in_words(week, given, said):
    with pytest.raises(actions.NotPlanned, match=said):
        week.ask(**given)
    assert not Proposal.objects.exists() and not Job.objects.exists()


def test_put_in_force_it_moves_what_moves_and_tells_those_concerned(week):
    proposal = week.ask()
    kept = week.keep(
        proposal,
        week.line(0, week.ida),
        week.line(1, week.ben, TUESDAY, 1, time(10)),
        week.line(2, week.ben, TUESDAY, 2, time(11)),
    )
    assert kept and week.put(proposal) == 2

    assert week.where() == [
        ("Ashpond", "Ida", MONDAY, 1, time(9)),
        ("Birchwell", "Ben", TUESDAY, 1, time(10)),
        ("Cold Spring", "Ben", TUESDAY, 2, time(11)),
    ]
    proposal.refresh_from_db()
    assert (proposal.state, proposal.ended_by) == ("in_force", week.owner)
    move = Move.objects.get()  # who was new on a round was told nothing by a move: it stood nowhere
    assert (move.due_visit.key, move.from_technician, move.technician, move.off) == (
        "Birchwell",
        week.ida,
        week.ben,
        False,
    )
    assert set(Notice.objects.values_list("person__name", "needed")) == {("Ida", False), ("Ben", False)}


def test_a_little_later_with_the_same_person_is_told_to_that_person_once(week):
    proposal = week.ask()
    week.keep(proposal, week.line(0, week.ida, at=time(9, 10)), week.line(1, week.ida, MONDAY, 2, time(10)))

    assert week.put(proposal) == 1
    assert list(Notice.objects.values_list("person__name", flat=True)) == ["Ida"]


def test_only_other_minutes_or_another_drive_move_nothing_worth_a_word(week):
    proposal = week.ask()
    week.keep(proposal, week.line(0, week.ida), week.line(1, week.ida, MONDAY, 2, time(10), why="x"))
    Stop.objects.update(drive_minutes=3)

    actions.drop_search(row=proposal, by=week.owner, at=NOW)
    again = week.ask()
    week.keep(again, week.line(0, week.ida), week.line(1, week.ida, MONDAY, 2, time(10)))
    assert week.put(again) == 0
    assert not Notice.objects.exists() and set(Stop.objects.values_list("drive_minutes", flat=True)) == {10}


def test_what_finds_no_place_is_taken_off_its_round_and_stays_owed(week):
    proposal = week.ask()
    week.keep(
        proposal, week.line(0, week.ida), week.line(1, why="the day is full"), week.line(2, why="no skill")
    )

    assert week.put(proposal) == 1
    assert [row[0] for row in week.where()] == ["Ashpond"]
    assert Stop.objects.get(due_visit=week.visits[1]).state == "called_off"
    assert (Move.objects.get().off, Notice.objects.get().person) == (True, week.ida)
    assert DueVisit.objects.filter(called_off_at__isnull=True).count() == 3


def test_a_move_that_waits_for_a_word_is_overtaken(week):
    waiting = Move.objects.create(
        due_visit=week.visits[1], technician=week.ben, day=MONDAY, order=1, planned_at=time(8), asked_by=week.owner, asked_at=NOW
    )  # fmt: skip
    proposal = week.ask()
    week.keep(proposal, week.line(0, week.ida), week.line(1, week.ben, TUESDAY, 1, time(10)))

    week.put(proposal)
    waiting.refresh_from_db()
    assert waiting.withdrawn_at == NOW


def moved_meanwhile(week, proposal):
    actions.put_on_round(
        due_visit=week.visits[2], day=TUESDAY, technician=week.ben, order=1, planned_at=time(8)
    )


def called_off_meanwhile(week, proposal):
    DueVisit.objects.filter(pk=week.visits[2].pk).update(called_off_at=NOW)


def dropped(week, proposal):
    assert actions.drop_search(row=proposal, by=week.owner, at=NOW)
    assert not actions.drop_search(row=proposal, by=week.owner, at=NOW)


def put_already(week, proposal):
    week.put(proposal)


@pytest.mark.parametrize(
    ("happens", "said"),
    [
        (moved_meanwhile, "Rounds have moved"),
        (called_off_meanwhile, "Rounds have moved"),
        (dropped, "dropped already"),
        (put_already, "put in force already"),
    ],
)
def test_what_is_out_of_date_or_ended_is_refused_whole(week, happens, said):
    proposal = week.ask()
    week.keep(proposal, *(week.line(n, week.ben, TUESDAY, n + 1, time(9 + n)) for n in range(3)))
    happens(week, proposal)
    before, moves = week.where(), Move.objects.count()

    with pytest.raises(actions.NotPlanned, match=said):
        week.put(proposal)
    assert (week.where(), Move.objects.count()) == (before, moves)


def test_a_week_whose_first_day_has_come_is_planned_again(week):
    proposal = week.ask()
    week.keep(proposal, week.line(0, week.ben))

    with pytest.raises(actions.NotPlanned, match="first day has come"):
        week.put(proposal, today=MONDAY)


def test_nothing_of_a_week_holds_where_one_of_its_visits_cannot_be_put(week):
    proposal = week.ask()
    week.keep(
        proposal, week.line(0, week.ben, TUESDAY, 1, time(9)), week.line(1, week.ben, TUESDAY, 2, time(10))
    )
    week.ben.is_active = False
    week.ben.save()
    before = week.where()

    with pytest.raises(actions.NotPlanned, match="Only a technician"):
        week.put(proposal)
    assert week.where() == before and not Move.objects.exists()
    proposal.refresh_from_db()
    assert proposal.state == "ready"


def test_the_others_of_the_same_days_fall_away_when_one_is_put_in_force(week):
    first, other = week.ask(), week.ask(last=TUESDAY)
    far = week.ask(first=MONDAY + timedelta(days=7), last=SUNDAY + timedelta(days=7))
    for row in (first, other, far):
        week.keep(row, week.line(0, week.ida))
    week.put(first)

    states = dict(Proposal.objects.values_list("pk", "state"))
    assert (states[other.pk], states[far.pk]) == ("dropped", "ready")


def test_what_nobody_waits_for_any_more_is_not_kept(week):
    proposal = week.ask()
    actions.drop_search(row=proposal, by=week.owner, at=NOW)

    assert not week.keep(proposal, week.line(0, week.ida))
    assert not actions.fail_search(row=proposal, error="x", at=NOW)
    assert not Proposed.objects.exists()


def test_a_search_that_fails_says_why(week):
    proposal = week.ask()

    assert actions.fail_search(row=proposal, error="e" * 400, at=NOW)
    proposal.refresh_from_db()
    assert (proposal.state, len(proposal.error)) == ("failed", 300)


def test_beside_the_week_in_force_stand_changes_numbers_and_what_finds_no_place(week):
    proposal = week.ask()
    week.keep(
        proposal,
        week.line(0, week.ida, at=time(9, 20)),
        week.line(1, week.ben, TUESDAY, 1, time(10)),
        week.line(2, why="no skill", ways=("one day more",)),
    )
    proposal.refresh_from_db()

    shown = beside(proposal, zone=ZONE)
    assert [(c.name, c.was, c.now, c.person, c.day, c.hour) for c in shown.changes] == [
        ("Birchwell", "Ida, Monday 8 June at 10:00", "Ben, Tuesday 9 June at 10:00", True, True, False)
    ]
    assert [(h.name, h.why, h.ways, h.stands) for h in shown.homeless] == [
        ("Cold Spring", "no skill", ["one day more"], False)
    ]
    assert shown.lead == "3 visits placed, one finds no place." and shown.may_begin
    assert shown.numbers[:2] == [
        ("Visits on rounds", "2", "3", "1 more"),
        ("At the wheel", "2 h 0 min", "1 h 0 min", "1 h 0 min less"),
    ]
    assert [(d.name, d.day, len(d.stops)) for d in shown.days] == [("Ida", MONDAY, 1), ("Ben", TUESDAY, 1)]
    Stop.objects.filter(due_visit=week.visits[0]).update(planned_at=time(8))
    assert beside(proposal, zone=ZONE).outdated


def test_elsewhere_is_all_but_what_stays_to_the_minute(week):
    proposal, third = week.ask(), week.visits[2]
    where = [(week.ida, MONDAY, time(9)), (week.ida, MONDAY, time(10)), (week.ida, MONDAY, time(11))]

    def told():
        rows = elsewhere(proposal.pk).rows
        return {week.visits.index(DueVisit.objects.get(pk=row.due_visit)): row.stands for row in rows}

    week.keep(proposal, *(week.line(n, who, day, n + 1, at) for n, (who, day, at) in enumerate(where)))
    assert told() == {2: False}
    actions.put_on_round(due_visit=third, day=MONDAY, technician=week.ida, order=3, planned_at=time(11))
    assert told() == {}
    for changed in ({"planned_at": time(11, 1)}, {"day": TUESDAY}, {"technician": week.ben}, {"technician": None, "day": None, "planned_at": None}):  # fmt: skip
        lines = Proposed.objects.filter(proposal=proposal, due_visit=third)
        kept = lines.values(*changed).get()
        lines.update(**changed)
        assert told() == {2: True}
        lines.update(**kept)
    Stop.objects.filter(due_visit=third).update(state="called_off")
    assert told() == {2: False}


def test_the_stamp_of_a_proposal_is_that_of_its_visits(week):
    proposal = week.ask()
    week.keep(proposal, *(week.line(n, week.ida, order=n + 1) for n in range(3)))
    seen = {stamp_now(proposal.pk)}
    assert seen == {stamp_of(week.visits)}
    for changed in ({"planned_at": time(9, 0, 1)}, {"order": 7}, {"state": "called_off"}):
        Stop.objects.filter(due_visit=week.visits[0]).update(**changed)
        seen.add(stamp_now(proposal.pk))
        assert stamp_now(proposal.pk) == stamp_of(week.visits)
    DueVisit.objects.filter(pk=week.visits[2].pk).update(called_off_at=NOW)
    assert stamp_now(proposal.pk) == stamp_of(week.visits)
    assert len(seen | {stamp_now(proposal.pk)}) == 5


@pytest.mark.parametrize(
    ("model", "changed", "said"),
    [
        (Site, {"name": "Pond <2>"}, "Pond &lt;2&gt;"),
        (Proposed, {"planned_at": time(9, 47)}, "09:47"),
        (Proposed, {"minutes": 77}, "77 min"),
        (Proposed, {"why": "salt & light"}, "salt &amp; light"),
        (Proposed, {"slack_minutes": 33}, "33 min to spare"),
        (Proposed, {"technician": None, "day": None, "planned_at": None, "why": "no skill"}, "Finds no place"),
        (Stop, {"planned_at": time(7)}, "until now Ida, Monday 8 June at 07:00"),
        (Stop, {"minutes": 50, "order": 9}, "cannot be put in force any more"),
        (DueVisit, {"isolated": True}, "in isolation"),
        (User, {"name": "Ida & Ben"}, "Ida &amp; Ben"),
        (Proposal, {"after": {"visits": 3, "driving": 3600, "rounds": [{"broken": [{"words": "Too <late>."}]}]}}, "Too &lt;late&gt;."),
    ],
)  # fmt: skip
def test_a_proposal_that_was_looked_at_says_at_once_what_has_changed(week, model, changed, said):
    proposal, browser = week.ask(), Browser()
    week.keep(proposal, *(week.line(n, week.ida, order=n + 1, at=time(9 + n)) for n in range(3)))
    browser.force_login(week.owner, backend="django.contrib.auth.backends.ModelBackend")
    before = browser.get(f"/week/plan/{proposal.pk}/").content.decode()
    if "after" in changed:
        changed["after"]["rounds"][0].update(technician=str(week.ida.pk), day=MONDAY.isoformat(), begins=28800, ends=61200, travel=60, overtime=0)  # fmt: skip

    rows = (
        model.objects.exclude(pk__in=[week.owner.pk, week.ben.pk]) if model is User else model.objects.all()
    )
    rows.update(**changed)

    assert said not in before
    assert said in browser.get(f"/week/plan/{proposal.pk}/").content.decode()


def test_a_proposal_that_was_looked_at_says_at_once_who_held_and_who_moved(week):
    proposal, browser = week.ask(), Browser()
    week.keep(proposal, *(week.line(n, week.ida, order=n + 1, at=time(9 + n)) for n in range(3)))
    browser.force_login(week.owner, backend="django.contrib.auth.backends.ModelBackend")
    page = f"/week/plan/{proposal.pk}/"
    before = browser.get(page).content.decode()
    pin = Pin.objects.create(due_visit=week.visits[0], technician=week.ida, made_by=week.owner, made_at=NOW)
    person = browser.get(page).content.decode()
    Pin.objects.filter(pk=pin.pk).update(day=MONDAY, at=time(9, 13))
    Proposed.objects.filter(due_visit=week.visits[1]).update(moved_by=week.ben)
    after = browser.get(page).content.decode()

    said = ("Held to this person", "Held here", "09:13", "Moved by Ben", "Let go")
    assert [[words in text for words in said] for text in (before, person, after)] == [
        [False, False, False, False, False],
        [True, False, False, False, True],
        [False, True, True, True, True],
    ]


@pytest.mark.parametrize("wrong", [{"technician": None}, {"day": None}, {"planned_at": None}])
def test_half_a_place_is_no_place(week, wrong):
    whole = {
        "proposal": week.ask(),
        "due_visit": week.visits[0],
        "technician": week.ida,
        "day": MONDAY,
        "planned_at": time(9),
    }
    with pytest.raises(IntegrityError), transaction.atomic():
        Proposed.objects.create(**{**whole, **wrong})
