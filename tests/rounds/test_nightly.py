"""Each night new visits go where they cost least, and nobody who was told a time moves; what cannot be reckoned goes onto its due day as it was."""

from datetime import time, timedelta

import pytest
from django.utils import timezone

from clients.models import Site
from servicedesk.core.rounds.problem import NotPlanned
from servicedesk.rounds import actions, jobs
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries.other_days import KeptDays
from servicedesk.staff.models import Working
from servicedesk.watch.models import Away
from tests.factories.days import NOW, TODAY, Day
from tests.factories.tanks import make_plan

pytestmark = pytest.mark.django_db
THURSDAY, FRIDAY, MONDAY = (TODAY + timedelta(days=n) for n in (1, 2, 5))


@pytest.fixture
def day():
    """Ida at Stay 1 on Thursday at nine and at Stay 2 at noon."""
    made = Day()
    made.told = [made.owe(f"Stay {n}", 50.0 + 0.05 * n, earliest=THURSDAY, due=THURSDAY, latest=THURSDAY) for n in (1, 2)]  # fmt: skip
    for number, (visit, at) in enumerate(zip(made.told, (time(9), time(12)), strict=True), start=1):
        actions.put_on_round(
            due_visit=visit, day=THURSDAY, technician=made.ida, order=number, planned_at=at, drive_minutes=33
        )
    return made


def new(day, name="New 3", lat=50.07, *, due=THURSDAY, by=None, tolerance=0, **plan):
    visit = day.owe(name, lat, earliest=due - timedelta(days=tolerance), due=due, latest=due + timedelta(days=tolerance))  # fmt: skip
    visit.plan = make_plan(visit.site, *visit.tanks.all(), technician=by or day.ida, **plan)
    visit.save()
    return visit


def place(last=TODAY + timedelta(days=12)):
    return actions.place_new(first=THURSDAY, last=last, now=NOW)


def test_a_new_visit_goes_between_two_and_neither_moves(day):
    visit = new(day)
    Site.objects.filter(pk=visit.site_id).update(closes=time(11, 30))
    assert place() == 1
    stop = Stop.objects.get(due_visit=visit)
    assert (stop.round.technician, stop.round.day, stop.order) == (day.ida, THURSDAY, 2)
    rows = list(Stop.objects.filter(round=stop.round).order_by("order"))
    assert [(s.order, s.due_visit) for s in rows] == [(1, day.told[0]), (2, visit), (3, day.told[1])]
    assert [s.planned_at for s in rows[::2]] == [time(9), time(12)]
    assert time(9, 40) < stop.planned_at < time(12) and rows[2].drive_minutes != 33
    assert place() == 0


def test_it_may_go_to_another_day_or_person_where_that_is_cheaper_than_what_it_costs(day):
    Away.objects.create(person=day.ida, from_on=MONDAY, until_on=MONDAY)
    far = new(day, "Far 4", 50.3, due=MONDAY)
    assert place() == 1
    assert Stop.objects.get(due_visit=far).round.technician == day.ben


def test_what_cannot_be_reckoned_goes_onto_its_due_day_as_it_was(day):
    lost, two = (new(day, f"{name} {n}") for n, name in enumerate(("Lost", "Two")))
    elsewhere = new(day, "Else 5", due=TODAY + timedelta(days=7), tolerance=2)
    Site.objects.filter(pk=lost.site_id).update(lat=None)
    two.plan.people = 2
    two.plan.save()
    actions.pin(due_visit=elsewhere, day=TODAY + timedelta(days=9), by=day.owner, at=NOW)
    assert place() == 0
    assert actions.plan_simply(first=THURSDAY, last=elsewhere.due) == 3
    where = {v: Stop.objects.get(due_visit=v).round.day for v in (lost, two, elsewhere)}
    assert where == {lost: THURSDAY, two: THURSDAY, elsewhere: elsewhere.due}


def test_one_held_to_its_day_goes_there(day):
    visit = new(day, due=FRIDAY, tolerance=1)
    actions.pin(due_visit=visit, day=FRIDAY, technician=day.ben, by=day.owner, at=NOW)
    assert place() == 1
    stop = Stop.objects.get(due_visit=visit)
    assert (stop.round.day, stop.round.technician) == (FRIDAY, day.ben)


def test_without_room_it_is_left_for_the_due_day(day):
    Working.objects.update(shift_begins=time(8), shift_ends=time(8, 20), lunch_minutes=0)
    new(day)
    assert place() == 0


def test_a_problem_that_cannot_be_put_is_no_harm(day, monkeypatch):
    def broken(self):
        raise NotPlanned("Two places are the same.")

    monkeypatch.setattr(KeptDays, "week", broken)
    visit = new(day)
    assert place() == 0 and not Stop.objects.filter(due_visit=visit).exists()


def test_the_nightly_work_does_both(day, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)
    near, lost = new(day), new(day, "Lost 5")
    Site.objects.filter(pk=lost.site_id).update(lat=None)
    done = jobs.owe_visits(None)
    assert done["by_due_day"] >= 1 and done["placed"] > done["by_due_day"]
    assert Stop.objects.get(due_visit=near).round.day == THURSDAY
    assert Stop.objects.get(due_visit=lost).round.day == THURSDAY
