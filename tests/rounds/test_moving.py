"""A person moves a stop of a proposed week: new times, what it costs, which rules it breaks, and what nobody is believed in."""

from datetime import time, timedelta

import pytest
from django.db import transaction
from django.test import Client as Browser
from django.utils import timezone

from clients.models import ServicePlan
from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Pin, Proposal, Proposed, Stop
from servicedesk.staff.models import Skill, Working
from tests.factories.people import make_client_user, make_technician
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
    again = week.move(0, week.ben, WEDNESDAY, moves=0)  # the second of a double press was drawn before the first

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
