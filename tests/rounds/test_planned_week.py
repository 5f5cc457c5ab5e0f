"""A week is planned from the page to the rounds in force: asked for, searched by its job, looked at, put in force; by real searching."""

import re
from datetime import time, timedelta
from unittest.mock import patch
from zoneinfo import ZoneInfo

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.core.rounds.keeping import Budget
from servicedesk.dispatch import actions as dispatch
from servicedesk.dispatch import jobs as queue
from servicedesk.dispatch.models import Job
from servicedesk.rounds import actions, jobs
from servicedesk.rounds.models import DueVisit, Notice, Proposal, Stop
from servicedesk.staff.models import Skill, Working
from tests.factories.people import make_business, make_client_user, make_owner, make_technician
from tests.factories.tanks import make_place, make_plan, make_site, make_tank

pytestmark = pytest.mark.django_db
TODAY = timezone.now().astimezone(ZoneInfo("UTC")).date()
MONDAY = TODAY + timedelta(days=7 - TODAY.weekday())
"""The Monday after this week."""
ITERATIONS = 300


class Week:
    """Two technicians at two ends of a road, sites along it; everything stands on the wrong person's Monday."""

    def __init__(self, sites=6):
        make_business(zone="UTC")
        self.owner = make_owner(zone="UTC")
        self.ida, self.ben = make_technician(name="Ida"), make_technician(name="Ben")
        for person, lat in ((self.ida, 50.0), (self.ben, 50.6)):
            Working.objects.create(person=person, home_lat=lat, home_lon=10.0)
        self.visits = []
        for number in range(sites):
            self.owe(f"Site {number}", lat=50.0 + 0.6 * number / max(1, sites - 1))
        for number, visit in enumerate(self.visits):
            person = self.ben if number < sites / 2 else self.ida
            actions.put_on_round(
                due_visit=visit, day=MONDAY, technician=person, order=number + 1, planned_at=time(9, number)
            )
        self.eyes = Browser()
        self.eyes.force_login(self.owner, backend="django.contrib.auth.backends.ModelBackend")

    def owe(self, name, lat=50.0, *, plan=None, after=4, minutes=40):
        tank = make_tank(make_site(name=name, lat=lat, lon=10.0))
        visit = DueVisit.objects.create(
            key=name, cause="plan", site=tank.site, earliest=MONDAY, due=MONDAY, latest=MONDAY + timedelta(days=after),
            minutes=minutes, made_at=timezone.now(), plan=plan(tank) if plan else None,
        )  # fmt: skip
        visit.tanks.set([tank])
        self.visits.append(visit)
        return visit

    def ask(self, seconds="10"):
        answer = self.eyes.post("/week/plan/", {"first": MONDAY.isoformat(), "seconds": seconds})
        return Proposal.objects.get(pk=re.search(r"plan/([0-9a-f-]{36})/", answer["Location"])[1])

    def search(self, proposal, seconds=None):
        """The job, cut to so many seconds, or to a few hundred iterations."""
        if seconds is not None:
            Proposal.objects.filter(pk=proposal.pk).update(seconds=seconds)

        def short(**given):
            return Budget(**given | {"iterations": ITERATIONS if seconds is None else None, "threads": 1})

        with patch("servicedesk.rounds.jobs.Budget", short):
            queue.run(str(Job.objects.get(key=f"plan_week:{proposal.pk}").pk))
        proposal.refresh_from_db()
        return proposal

    def page(self, proposal):
        return self.eyes.get(f"/week/plan/{proposal.pk}/").content.decode()


@pytest.fixture
def week():
    return Week()


def test_a_week_is_asked_for_searched_looked_at_and_put_in_force(week):
    proposal = week.ask()
    assert "It waits for a free worker" in week.page(proposal)
    assert "A week is being planned" in week.eyes.get(f"/week/?from={MONDAY}").content.decode()

    week.search(proposal)
    assert proposal.state == "ready", proposal.error
    text = week.page(proposal)
    assert "The week works: 6 visits" in text and "less at the wheel than now" in text
    assert "until now Ben" in text and "another person" in text

    answer = week.eyes.post(f"/week/plan/{proposal.pk}/in-force/", follow=True).content.decode()
    assert "In force: " in answer
    stops = {
        stop.due_visit.key: stop for stop in Stop.objects.select_related("round__technician", "due_visit")
    }
    assert [stops[f"Site {n}"].round.technician.name for n in (0, 5)] == [
        "Ida",
        "Ben",
    ]  # each where they live
    assert Notice.objects.filter(person=week.ida).exists() and Notice.objects.filter(person=week.ben).exists()
    week_page = week.eyes.get(f"/week/?from={MONDAY}").content.decode()
    assert "A week is proposed" not in week_page and "Ida" in week_page
    assert "It was put in force" in week.page(proposal)


def test_what_was_found_breaks_nothing_the_week_page_could_find(week):
    proposal = week.search(week.ask())
    actions.put_in_force(proposal=proposal, by=week.owner, today=TODAY, at=timezone.now())

    days = week.eyes.get(f"/week/?from={MONDAY}").context["rows"]
    assert days and [row.wrong for row in days] == [[] for _row in days]


def test_a_visit_that_nobody_may_do_says_so_with_its_name(week):
    skill = Skill.objects.create(name="Diving")

    def plan(tank):
        row = make_plan(tank.site, tank)
        row.skills.add(skill)
        return row

    week.owe("Deep water", plan=plan)
    proposal = week.search(week.ask())

    line = proposal.visits.get(due_visit__key="Deep water")
    assert line.technician is None and "Diving" in line.why and str(skill.pk) not in line.why
    text = week.page(proposal)
    assert "6 visits placed, one finds no place." in text and "Deep water" in text


def test_ways_out_name_people_and_places():
    week = Week(sites=2)
    for person in (week.ida, week.ben):
        Working.objects.filter(person=person).update(shift_ends=time(11), lunch_minutes=0, weekdays=[0, 1])
    for number in range(4):
        week.owe(f"More {number}", lat=50.3, after=0, minutes=50)
    proposal = week.search(week.ask())

    lost = [line for line in proposal.visits.all() if line.technician is None]
    assert lost
    names = {person.name for person in (week.ida, week.ben)} | {visit.site.name for visit in week.visits}
    keys = {str(row.pk) for row in (week.ida, week.ben, *week.visits)}
    said = [sentence for line in lost for sentence in (line.why, *line.ways)]
    assert all(line.why for line in lost) and any(line.ways for line in lost)
    assert any(name in sentence for sentence in said for name in names)
    assert not any(key in sentence for sentence in said for key in keys)


def test_a_pin_is_kept(week):
    actions.pin(
        due_visit=week.visits[0],
        technician=week.ben,
        day=MONDAY + timedelta(days=1),
        begins=time(13),
        by=week.owner,
        at=timezone.now(),
    )

    line = week.search(week.ask()).visits.get(due_visit=week.visits[0])

    assert (line.technician, line.day, line.planned_at) == (week.ben, MONDAY + timedelta(days=1), time(13))


def test_the_van_is_not_loaded_beyond_what_it_takes_and_two_come_together(week):
    make_place(kind="van", keeper=week.ida, name="Van", water_l=10)
    week.owe("Heavy", plan=lambda tank: make_plan(tank.site, tank, people=2))
    proposal = week.search(week.ask(), seconds=2)

    line = proposal.visits.get(due_visit__key="Heavy")
    assert line.technician is not None and proposal.visits.filter(due_visit__key="Heavy").count() == 1


def test_stopping_takes_what_was_found_and_dropping_keeps_the_week_in_force(week):
    proposal = week.ask()
    assert (
        "ends with what it has found"
        in week.eyes.post(f"/week/plan/{proposal.pk}/stop/", follow=True).content.decode()
    )
    began = timezone.now()
    week.search(proposal, seconds=60)
    assert proposal.state == "ready" and timezone.now() - began < timedelta(seconds=30)

    before = list(Stop.objects.order_by("pk").values_list("round", "planned_at"))
    week.eyes.post(f"/week/plan/{proposal.pk}/drop/")
    assert list(Stop.objects.order_by("pk").values_list("round", "planned_at")) == before
    assert "It was dropped" in week.page(proposal)


def test_a_search_dropped_meanwhile_keeps_nothing_and_one_that_cannot_be_says_why(week):
    proposal = week.ask()
    actions.drop_search(row=proposal, by=week.owner, at=timezone.now())
    week.search(proposal)
    assert proposal.state == "dropped" and not proposal.visits.exists()
    assert Job.objects.get(key=f"plan_week:{proposal.pk}").state == "failed"

    other = week.ask()
    with patch.object(jobs, "plan_rounds", side_effect=jobs.NotPlanned("There is no such place.")):
        week.search(other)
    assert (other.state, other.error) == ("failed", "There is no such place.")
    assert "There is no such place." in week.page(other)


def test_progress_is_said_and_where_to_go_when_it_is_done(week):
    proposal = week.ask()
    job = Job.objects.get(key=f"plan_week:{proposal.pk}")
    claimed = dispatch.claim(job_id=job.pk, at=timezone.now())
    dispatch.progress(job=claimed, done=3, total=10, note="4.5 h in costs", at=timezone.now())
    answer = week.eyes.get(f"/week/plan/{proposal.pk}/search/")
    assert "4.5 h in costs" in answer.content.decode() and "Location-When-Done" not in answer

    actions.fail_search(row=proposal, error="x", at=timezone.now())
    assert week.eyes.get(f"/week/plan/{proposal.pk}/search/")["Location-When-Done"].endswith(
        f"{proposal.pk}/"
    )


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"first": "soon", "seconds": "10"}, "Choose a week"),
        ({"first": "2026-06-01", "seconds": "7"}, "Choose a week"),
        ({"first": "2020-06-01", "seconds": "10"}, "before the first"),
        ({"first": "9999-12-31", "seconds": "10"}, "too far"),
    ],
)
def test_a_week_that_cannot_be_asked_for_is_refused_in_words(week, typed, said):
    assert said in week.eyes.post("/week/plan/", typed, follow=True).content.decode()
    assert not Proposal.objects.exists()


def test_an_outdated_week_cannot_be_put_in_force_and_the_page_says_so(week):
    proposal = week.search(week.ask())
    Stop.objects.filter(due_visit=week.visits[0]).update(planned_at=time(15))

    assert "Rounds have moved since this was worked out" in week.page(proposal)
    answer = week.eyes.post(f"/week/plan/{proposal.pk}/in-force/", follow=True).content.decode()
    assert "Plan again." in answer
    proposal.refresh_from_db()
    assert proposal.state == "ready"


def test_only_the_office_plans(week):
    proposal = week.ask()
    for person in (week.ida, make_client_user()):
        eyes = Browser()
        eyes.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        answers = [
            eyes.get(f"/week/plan/{proposal.pk}/"),
            eyes.get(f"/week/plan/{proposal.pk}/search/"),
            eyes.post("/week/plan/", {"first": MONDAY.isoformat(), "seconds": "10"}),
        ]
        answers += [eyes.post(f"/week/plan/{proposal.pk}/{verb}/") for verb in ("stop", "drop", "in-force")]
        assert {answer.status_code for answer in answers} == {404}
    proposal.refresh_from_db()
    assert (proposal.state, proposal.stop_asked_at) == ("asked", None)


def test_an_empty_week_is_a_week_that_works():
    week = Week(sites=0)

    proposal = week.search(week.ask())

    assert proposal.state == "ready" and "0 visits" in week.page(proposal)
    assert (
        "nothing had to move"
        in week.eyes.post(f"/week/plan/{proposal.pk}/in-force/", follow=True).content.decode()
    )


def test_the_same_seed_and_the_same_week_are_the_same_plan(week):
    from servicedesk.core.rounds.planner import plan_rounds  # noqa: PLC0415
    from servicedesk.rounds.queries.wanted import wanted  # noqa: PLC0415

    found = [
        plan_rounds(
            wanted(first=MONDAY, last=MONDAY + timedelta(days=4), now=timezone.now()).problem,
            Budget(iterations=300, seed=4),
        ).plan.orders
        for _n in range(2)
    ]
    assert found[0] == found[1]
