"""A person moves a stop of a proposed week: new times, what it costs, which rules it breaks, and what nobody is believed in."""

from datetime import time, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Pin, Proposal, Proposed, Stop
from servicedesk.rounds.views.moving import cost_words
from servicedesk.staff.models import Skill, Working
from tests.factories.people import make_client_user
from tests.factories.tanks import make_place, make_plan
from tests.rounds.test_planned_week import MONDAY, TODAY, Week

pytestmark = pytest.mark.django_db
TUESDAY, WEDNESDAY, SATURDAY = (MONDAY + timedelta(days=n) for n in (1, 2, 5))


class Moving(Week):
    """A week that was searched, its stops to be moved."""

    def __init__(self, sites=6):
        super().__init__(sites)
        self.proposal = self.search(self.ask())

    def line(self, number):
        return Proposed.objects.select_related("technician", "due_visit__site").get(
            proposal=self.proposal, due_visit=self.visits[number]
        )

    def move(self, number, technician, day=MONDAY, **given):
        rest = {"by": self.owner, "today": TODAY, "at": timezone.now(), **given}
        return actions.move_in_proposal(
            proposal=self.proposal,
            due_visit=self.visits[number],
            technician=technician,
            day=day,
            **rest,
        )

    def after(self):
        self.proposal.refresh_from_db()
        return self.proposal.after

    def order(self, technician, day):
        rows = self.proposal.visits.filter(technician=technician, day=day).order_by("order")
        assert [row.order for row in rows] == list(range(1, len(rows) + 1))
        assert [row.planned_at for row in rows] == sorted(row.planned_at for row in rows)
        return [row.due_visit.key for row in rows]


@pytest.fixture
def week():
    return Moving()


def test_a_stop_goes_to_another_day_and_its_cost_is_the_difference_of_both_weeks(week):
    before = week.after()
    told = week.move(0, week.ben, WEDNESDAY)

    line, after = week.line(0), week.after()
    assert (line.technician, line.day, line.order, line.moved_by) == (week.ben, WEDNESDAY, 1, week.owner)
    assert told.driving == after["driving"] - before["driving"] > 3600  # Ben lives 67 km away
    assert told.overtime == 0 and told.broken == () and told.anew
    assert after["metres"] > before["metres"] and after["visits"] == 6 and after["moves"] == 1
    assert after["driving"] == sum(row["travel"] for row in after["rounds"])
    assert week.order(week.ben, WEDNESDAY) == ["Site 0"]
    assert "Site 0" not in week.order(week.ida, MONDAY)
    assert not week.proposal.visits.exclude(due_visit=week.visits[0]).filter(moved_by__isnull=False).exists()


def test_a_stop_changes_its_place_in_the_order_and_the_others_step_aside(week):
    for number in range(3):
        week.move(number, week.ida, TUESDAY, order=99)
    week.move(2, week.ida, TUESDAY, order=1)
    assert week.order(week.ida, TUESDAY) == ["Site 2", "Site 0", "Site 1"]
    week.move(2, week.ida, TUESDAY, order=2)
    assert week.order(week.ida, TUESDAY) == ["Site 0", "Site 2", "Site 1"]
    week.move(0, week.ida, TUESDAY, order=99)
    assert week.order(week.ida, TUESDAY) == ["Site 2", "Site 1", "Site 0"]


def test_left_to_itself_a_stop_goes_where_it_does_best(week):
    for number in (0, 2):
        week.move(number, week.ida, TUESDAY, order=99)
    week.move(1, week.ida, TUESDAY)
    before = week.after()["driving"]

    assert week.order(week.ida, TUESDAY).index("Site 1") in (0, 1, 2)
    week.move(1, week.ida, TUESDAY, order=3)
    assert week.after()["driving"] >= before


def test_asking_twice_is_moving_once(week):
    week.move(0, week.ben, WEDNESDAY, moves=0)
    again = week.move(
        0, week.ben, WEDNESDAY, moves=0
    )  # the second of a double press was drawn before the first

    assert not again.anew and (again.driving, again.broken) == (0, ())
    assert week.after()["moves"] == 1


def test_the_second_of_two_people_is_told_that_somebody_moved_a_stop(week):
    week.move(0, week.ben, WEDNESDAY, moves=0)
    with pytest.raises(actions.NotPlanned, match="since you looked"):
        week.move(1, week.ben, TUESDAY, moves=0)
    with pytest.raises(actions.NotPlanned, match="since you looked"):
        actions.put_in_force(proposal=week.proposal, by=week.owner, today=TODAY, at=timezone.now(), moves=0)
    assert week.line(1).day != TUESDAY or week.line(1).technician != week.ben
    week.move(1, week.ben, TUESDAY, moves=1)
    assert actions.put_in_force(
        proposal=week.proposal, by=week.owner, today=TODAY, at=timezone.now(), moves=2
    )
    assert Stop.objects.get(due_visit=week.visits[1]).round.day == TUESDAY


def test_rules_that_a_move_breaks_are_said_and_may_stay(week):
    skill = Skill.objects.create(name="Diving")
    plan = make_plan(week.visits[0].site, week.visits[0].tanks.get())
    plan.skills.add(skill)
    DueVisit.objects.filter(pk=week.visits[0].pk).update(plan=plan)

    told = week.move(0, week.ben, SATURDAY - timedelta(days=1))
    assert told.broken == ("Site 0 needs Diving, which Ben cannot.",)
    assert week.after()["broken"] == ["skill"]
    DueVisit.objects.filter(pk=week.visits[1].pk).update(latest=MONDAY)
    told = week.move(1, week.ida, TUESDAY)
    assert len(told.broken) == 1 and told.broken[0].startswith("Site 1 is due on ")
    assert sorted(week.after()["broken"]) == ["day", "skill"]
    assert actions.put_in_force(proposal=week.proposal, by=week.owner, today=TODAY, at=timezone.now())


def says(answer):
    return " ".join(answer.content.decode().split())


def test_without_javascript_a_stop_is_moved_by_buttons_and_by_a_form(week):
    page = f"/week/plan/{week.proposal.pk}/"
    text = says(week.eyes.get(page))
    assert "Hold here" in text and "Elsewhere" in text and "Every shift, and what fills it" in text

    form = week.eyes.get(f"{page}move/?visit={week.visits[0].pk}")
    assert "Proposed for Ida" in says(form)
    typed = {"visit": week.visits[0].pk, "technician": week.ben.pk, "day": WEDNESDAY, "order": "", "moves": 0}
    answer = week.eyes.post(f"{page}move/", typed, follow=True)
    text = says(answer)
    assert "Site 0: Ben, Wednesday" in text and "more at the wheel, overtime as before" in text
    assert "Moved by" in text and f"at={week.visits[0].pk}#stop-" in answer.redirect_chain[0][0]

    order = week.order(week.ida, week.line(1).day)
    typed = {"technician": week.ida.pk, "day": week.line(1).day, "moves": 1, "put": f"{week.visits[1].pk}:99"}
    week.eyes.post(f"{page}move/", typed)
    assert week.order(week.ida, week.line(1).day) == [name for name in order if name != "Site 1"] + ["Site 1"]
    assert "stands there already" in says(week.eyes.post(f"{page}move/", {**typed, "put": f"{week.visits[1].pk}:{week.line(1).order}"}, follow=True))  # fmt: skip


def test_what_is_refused_loses_nothing_typed(week):
    page = f"/week/plan/{week.proposal.pk}/move/"
    week.move(1, week.ben, TUESDAY)
    typed = {"visit": week.visits[0].pk, "technician": week.ben.pk, "day": WEDNESDAY, "order": 1, "moves": 0}
    answer = week.eyes.post(page, typed)
    assert answer.status_code == 200 and "since you looked" in says(answer)
    form = answer.context["form"]
    assert (form["day"].value(), form["order"].value(), form["moves"].value()) == (
        WEDNESDAY.isoformat(),
        "1",
        "1",
    )
    assert week.eyes.post(page, {**typed, "moves": form["moves"].value()}).status_code == 302

    for wrong, said in (({"day": "2020-01-01"}, "not in this week"), ({"technician": week.owner.pk}, "Choose one"), ({"day": SATURDAY}, "does not work that day")):  # fmt: skip
        assert said in says(week.eyes.post(page, {**typed, "moves": 2, **wrong}))
    for unknown in ({"visit": "x"}, {"visit": week.proposal.pk}):
        assert week.eyes.post(page, {**typed, **unknown}).status_code == 404


def test_a_stop_is_held_where_it_stands_and_let_go(week):
    page = f"/week/plan/{week.proposal.pk}/"
    line = week.line(0)
    text = says(week.eyes.post(f"{page}hold/", {"visit": week.visits[0].pk, "at": "10:30"}, follow=True))
    assert "Site 0 is held: Ida, " in text and "at 10:30" in text and "Plan again around what is held" in text
    pin = Pin.objects.get()
    assert (pin.technician, pin.day, pin.at) == (line.technician, line.day, time(10, 30))
    with pytest.raises(actions.NotPlanned, match="Let it go first"):
        week.move(0, week.ben, WEDNESDAY)
    assert "Let go" in says(week.eyes.get(f"{page}move/?visit={week.visits[0].pk}"))

    again = week.search(week.ask())
    kept = again.visits.get(due_visit=week.visits[0])
    assert (kept.technician, kept.day, kept.planned_at) == (line.technician, line.day, time(10, 30))

    text = says(week.eyes.post(f"{page}hold/", {"off": week.visits[0].pk}, follow=True))
    assert "left to planning again" in text and not Pin.objects.exists()
    assert "left to planning" not in says(week.eyes.post(f"{page}hold/", {"off": week.visits[0].pk}, follow=True))  # fmt: skip


def test_what_cannot_be_held_says_why(week):
    page = f"/week/plan/{week.proposal.pk}/hold/"
    visit = week.visits[0]
    assert "Type a time" in says(week.eyes.post(page, {"visit": visit.pk, "at": "soon"}, follow=True))
    DueVisit.objects.filter(pk=visit.pk).update(earliest=SATURDAY, due=SATURDAY, latest=SATURDAY)
    assert "not due on that day" in says(week.eyes.post(page, {"visit": visit.pk}, follow=True))
    past = TODAY - timedelta(days=3)
    DueVisit.objects.filter(pk=visit.pk).update(earliest=past, due=past, latest=past)
    assert "its last day is past" in says(
        week.eyes.post(page, {"visit": visit.pk, "at": "9:00"}, follow=True)
    )
    assert (Pin.objects.get().day, Pin.objects.get().technician) == (None, week.ida)
    actions.drop_search(row=week.proposal, by=week.owner, at=timezone.now())
    assert "stands nowhere in an open week" in says(week.eyes.post(page, {"visit": visit.pk}, follow=True))


def test_only_the_office_holds_and_moves(week):
    page = f"/week/plan/{week.proposal.pk}/"
    typed = {"visit": week.visits[0].pk, "technician": week.ben.pk, "day": WEDNESDAY}
    for person in (week.ida, make_client_user()):
        eyes = Browser()
        eyes.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        assert {eyes.post(f"{page}{verb}/", typed).status_code for verb in ("move", "hold")} == {404}
        assert eyes.get(f"{page}move/", typed).status_code == 404
    assert not Pin.objects.exists() and "moves" not in week.after()


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"technician": "owner"}, "Only a technician"),
        ({"day": MONDAY + timedelta(days=7)}, "not in this week"),
        ({"day": SATURDAY}, "Ben does not work that day"),
        ({"today": MONDAY}, "first day has come"),
    ],
)
def test_what_nobody_is_believed_in_is_refused_and_changes_nothing(week, given, said):
    before = list(week.proposal.visits.order_by("pk").values_list("technician", "day", "order", "planned_at"))
    given = {"technician": week.ben, "day": WEDNESDAY, **given}
    who = week.owner if given["technician"] == "owner" else given["technician"]
    with pytest.raises(actions.NotPlanned, match=said):
        week.move(0, who, given["day"], **{k: v for k, v in given.items() if k == "today"})
    after = list(week.proposal.visits.order_by("pk").values_list("technician", "day", "order", "planned_at"))
    assert before == after and "moves" not in week.after()


def test_a_week_that_ended_or_is_out_of_date_is_not_changed(week):
    other = week.owe("New")
    with pytest.raises(actions.NotPlanned, match="no visit of this week"):
        week.move(week.visits.index(other), week.ben, WEDNESDAY)
    Stop.objects.filter(due_visit=week.visits[1]).update(planned_at=time(15))
    with pytest.raises(actions.NotPlanned, match="Rounds have moved"):
        week.move(0, week.ben, WEDNESDAY)
    actions.drop_search(row=week.proposal, by=week.owner, at=timezone.now())
    with pytest.raises(actions.NotPlanned, match="dropped already"):
        week.move(0, week.ben, WEDNESDAY)


def test_a_visit_that_planning_no_longer_knows_of_ends_the_week(week):
    """Held to another week since: it is none of this one's any more."""
    Pin.objects.create(due_visit=week.visits[1], day=MONDAY - timedelta(days=7), made_by=week.owner, made_at=timezone.now())  # fmt: skip
    with pytest.raises(actions.NotPlanned, match="Rounds have moved"):
        week.move(0, week.ben, WEDNESDAY)
    Proposal.objects.filter(pk=week.proposal.pk).update(after={})
    with pytest.raises(actions.NotPlanned, match="Rounds have moved"):
        week.move(0, week.ben, WEDNESDAY)


def test_a_hold_to_a_day_alone_lets_another_person_come_and_one_to_a_person_another_day(week):
    actions.pin(due_visit=week.visits[0], day=MONDAY, by=week.owner, at=timezone.now())
    assert week.move(0, week.ben, MONDAY).broken == ()
    with pytest.raises(actions.NotPlanned, match="Let it go first"):
        week.move(0, week.ben, TUESDAY)
    actions.pin(due_visit=week.visits[0], technician=week.ben, by=week.owner, at=timezone.now())
    assert week.move(0, week.ben, TUESDAY).broken == ()


def test_hours_shift_lunch_load_isolation_and_another_ones_hold_are_said_in_words(week):
    Working.objects.filter(person=week.ida).update(shift_ends=time(16), overtime_minutes=0)
    for number in range(6):
        if (week.line(number).technician, week.line(number).day) != (week.ida, WEDNESDAY):
            week.move(number, week.ida, WEDNESDAY, order=99)
    DueVisit.objects.filter(pk=week.visits[5].pk).update(minutes=120)
    told = week.move(5, week.ida, WEDNESDAY, order=1)
    assert any(words.startswith("Ida is back at ") and words.endswith("min after the longest shift.") for words in told.broken)  # fmt: skip

    site = week.visits[0].site
    site.opens, site.closes = time(8), time(9)
    site.save()
    week.move(4, week.ben, TUESDAY)
    told = week.move(0, week.ida, WEDNESDAY, order=99)
    assert any("Site 0 is begun at " in words and "too late" in words for words in told.broken)
    text = says(week.eyes.get(f"/week/plan/{week.proposal.pk}/"))
    assert (
        "would be in force" in text
        and "Put it in force all the same" in text
        and "are broken." in text
        and "The week works" not in text
    )

    DueVisit.objects.filter(pk=week.visits[4].pk).update(isolated=True)
    told = week.move(3, week.ben, TUESDAY, order=99)
    assert "Site 3 comes after a place in isolation, or under treatment." in told.broken


def test_a_shut_day_and_a_small_van_are_said(week):
    site = week.visits[0].site
    site.closed_days.create(from_on=WEDNESDAY, until_on=WEDNESDAY)
    told = week.move(0, week.ben, WEDNESDAY)
    assert [words[:40] for words in told.broken] == ["Nobody is let in at Site 0 then on Wedne"]
    make_place(kind="van", keeper=week.ida, name="Van", most_kg=0, boxes=0, water_l=0)
    from servicedesk.rounds.queries import ground  # noqa: PLC0415

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ground.Ground, "loads", lambda self, row, tanks: (25, 3, 0))
        told = week.move(1, week.ida, TUESDAY, order=99)
    assert "The van takes 25 L of mixed water less than Ida would need." in told.broken


def test_a_week_kept_without_its_orders_is_moved_from_its_lines(week):
    rounds = [{k: v for k, v in row.items() if k not in ("order", "starts", "broken", "metres")} for row in week.after()["rounds"]]  # fmt: skip
    before = {"driving": week.after()["driving"]}
    Proposal.objects.filter(pk=week.proposal.pk).update(
        after={**week.after(), "rounds": rounds, "shifts": []}
    )
    told = week.move(0, week.ben, WEDNESDAY)
    assert told.driving == week.after()["driving"] - before["driving"] > 3600
    assert week.order(week.ben, WEDNESDAY) == ["Site 0"]


def test_what_found_no_place_is_put_somewhere(week):
    Proposed.objects.filter(due_visit=week.visits[0]).update(technician=None, day=None, planned_at=None, order=0, why="full", ways=["x"])  # fmt: skip
    after = week.after()
    for row in after["rounds"]:
        kept = [
            (n, s) for n, s in zip(row["order"], row["starts"], strict=True) if n != str(week.visits[0].pk)
        ]
        row["order"], row["starts"] = [n for n, _s in kept], [s for _n, s in kept]
    Proposal.objects.filter(pk=week.proposal.pk).update(after={**after, "visits": 5})
    page = f"/week/plan/{week.proposal.pk}/"
    assert "Put it somewhere" in says(week.eyes.get(page))
    assert "Finds no place." in says(week.eyes.get(f"{page}move/?visit={week.visits[0].pk}"))
    week.move(0, week.ben, WEDNESDAY)
    line = week.line(0)
    assert (line.technician, line.ways) == (week.ben, []) and week.after()["visits"] == 6


def test_a_visit_for_two_begins_with_both_or_says_that_it_does_not():
    week = Week(sites=2)
    week.owe("Heavy", plan=lambda tank: make_plan(tank.site, tank, people=2), after=4)
    week.proposal = week.search(week.ask(), seconds=2)
    line = Proposed.objects.get(proposal=week.proposal, due_visit=week.visits[2])
    move = lambda number, who, day, **given: actions.move_in_proposal(  # noqa: E731
        proposal=week.proposal, due_visit=week.visits[number], technician=who, day=day, by=week.owner, today=TODAY, at=timezone.now(), **given
    )  # fmt: skip
    other = week.ben if line.technician == week.ida else week.ida
    told = move(0, line.technician, line.day) if week.proposal.visits.get(due_visit=week.visits[0]).technician != line.technician else move(1, line.technician, line.day)  # fmt: skip
    assert told.broken == ()  # the round has new times, and both still begin together
    day = line.day + timedelta(days=1) if line.day != MONDAY + timedelta(days=4) else MONDAY
    told = move(2, line.technician, day)
    assert told.broken == ("Heavy takes two people, who do not begin together.",)
    told = move(2, line.technician, line.day)
    assert told.broken == ()
    told = move(2, other, line.day)
    assert "Heavy takes two people, who do not begin together." in told.broken


@pytest.mark.parametrize(
    ("driving", "overtime", "said"),
    [
        (20, -29, "That changes neither the time at the wheel nor overtime."),
        (240, 0, "That is 4 min more at the wheel, overtime as before."),
        (-3720, 600, "That is 1 h 2 min less at the wheel, 10 min more overtime."),
        (0, -600, "That is as long at the wheel, 10 min less overtime."),
    ],
)
def test_the_cost_is_a_sentence(driving, overtime, said):
    assert cost_words(driving, overtime) == said
