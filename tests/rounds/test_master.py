"""The master round from the page to the plans: asked for, searched by its job on processes of its own, looked at, adopted client by client,
taken back."""

import re
from dataclasses import replace
from datetime import time, timedelta
from unittest.mock import patch

import pytest
from django.http import Http404
from django.test import Client as Browser
from django.utils import timezone

from clients.actions import change_plan
from clients.models import PlanChange, SiteHours
from servicedesk.core.rounds.master.drawn import master_round
from servicedesk.core.rounds.master.parts import Task, part, solve
from servicedesk.dispatch import jobs as queue
from servicedesk.dispatch.models import Job
from servicedesk.rounds import actions
from servicedesk.rounds.adapters.crew import Crew
from servicedesk.rounds.models import DueVisit, MasterLine, MasterRound, Notice, Stop
from servicedesk.rounds.queries import master_shown as shown
from servicedesk.rounds.queries import mastered
from servicedesk.rounds.queries.master_found import PlanLine
from servicedesk.rounds.queries.master_shown import masters_for
from servicedesk.staff.models import Skill, Working
from tests.factories.people import (
    make_business,
    make_client_user,
    make_owner,
    make_technician,
    make_user,
)
from tests.factories.tanks import make_client, make_plan, make_site, make_tank

pytestmark = pytest.mark.django_db
TODAY = timezone.now().date()
MONDAY = TODAY + timedelta(days=7 - TODAY.weekday())
"""The Monday after this week."""


class Cycle:
    """Two technicians at two ends of a road. Far in the north three clients are visited on three different weekdays."""

    def __init__(self):
        make_business(zone="UTC")
        self.owner = make_owner(zone="UTC")
        self.ida, self.ben = make_technician(name="Ida"), make_technician(name="Ben")
        for person, lat in ((self.ida, 50.0), (self.ben, 50.6)):
            Working.objects.create(person=person, home_lat=lat, home_lon=10.0)
        self.plans = {}
        for number, weekday in enumerate((0, 0, 2, 4)):
            self.sold(f"North {number}", 51.2 + number / 1000, weekday, self.ben)
        for number in range(3):
            self.sold(f"South {number}", 50.0 + number / 1000, 1, self.ida)
        self.eyes = Browser()
        self.eyes.force_login(self.owner, backend="django.contrib.auth.backends.ModelBackend")

    def sold(self, name, lat, weekday, technician, **given):
        site = make_site(make_client(name=name), name=name, lat=lat, lon=10.0)
        self.plans[name] = make_plan(
            site, make_tank(site), weekday=weekday, technician=technician, tolerance_days=0,
            **{"minutes": 40, "every_weeks": 1, "starts_on": MONDAY - timedelta(days=70), **given},
        )  # fmt: skip
        return self.plans[name]

    def ask(self, **given):
        answer = self.eyes.post(
            "/week/master/",
            {"first": MONDAY.isoformat(), "weeks": "4", "reluctance": "1", "seconds": "60", **given},
        )
        return MasterRound.objects.get(pk=re.search(r"master/([0-9a-f-]{36})/", answer["Location"])[1])

    def search(self, master, seconds=1):
        """The job, cut to a second."""
        MasterRound.objects.filter(pk=master.pk).update(seconds=seconds)
        queue.run(str(Job.objects.get(key=f"plan_master:{master.pk}").pk))
        master.refresh_from_db()
        return master

    def page(self, master):
        return self.eyes.get(f"/week/master/{master.pk}/").content.decode()

    def line(self, master, name):
        return MasterLine.objects.get(master=master, plan=self.plans[name])

    def decide(self, master, verb, name):
        answer = self.eyes.post(
            f"/week/master/{master.pk}/decide/", {verb: self.line(master, name).pk}, follow=True
        )
        return answer.content.decode()


@pytest.fixture
def cycle():
    return Cycle()


def test_asked_for_searched_looked_at_adopted_and_taken_back(cycle):
    actions.owe_visits(first=TODAY, last=TODAY + timedelta(days=35), at=timezone.now())
    actions.plan_simply(first=TODAY, last=TODAY + timedelta(days=35))
    master = cycle.ask()
    assert "It waits for a free worker" in cycle.page(master)

    cycle.search(master)
    assert master.state == "ready", master.error
    text = cycle.page(master)
    assert re.search(r"4 weeks of 7 clients: \d changes of habit save \d+\.\d hours and \d+ km", text)
    moved = [line.plan.site.name for line in MasterLine.objects.filter(master=master, changes=True)]
    assert moved and all(name.startswith("North") for name in moved)

    name = moved[0]
    line, plan = cycle.line(master, name), cycle.plans[name]
    before = (plan.weekday, plan.starts_on)
    assert f"{name}: as proposed from" in cycle.decide(master, "adopt", name)
    plan.refresh_from_db()
    change = PlanChange.objects.get()
    assert (plan.weekday, plan.starts_on) == (line.weekday, line.starts_on)
    assert (change.was_weekday, change.was_starts_on) == before
    owed = DueVisit.objects.filter(plan=plan, called_off_at=None, due__gte=change.from_on)
    assert {visit.due.weekday() for visit in owed} == {line.weekday}
    assert Notice.objects.filter(person=cycle.ben).exists()
    assert not Stop.objects.filter(
        due_visit__plan=plan, due_visit__called_off_at__isnull=False, state="planned"
    ).exists()

    assert f"{name}: as before from" in cycle.decide(master, "back", name)
    plan.refresh_from_db()
    assert (plan.weekday, plan.starts_on) == before and PlanChange.objects.count() == 2
    owed = DueVisit.objects.filter(plan=plan, called_off_at=None, due__gte=MONDAY)
    assert {visit.due.weekday() for visit in owed} == {before[0]}
    assert {stop.state for stop in Stop.objects.filter(due_visit__in=owed)} == {"planned"}


NOW = timezone.now()


def ready(cycle, name="North 0", **given):
    """A master round that was worked out, with one change: from Wednesday on, by Ben."""
    master = MasterRound.objects.create(
        first=MONDAY, asked_by=cycle.owner, asked_at=NOW, **{"state": "ready", **given.pop("master", {})}
    )
    plan = cycle.plans[name]
    line = PlanLine(
        **{
            "plan": plan,
            "changes": True,
            "technician": cycle.ben,
            "weekday": 2,
            "second_weekday": None,
            "starts_on": MONDAY,
            **given,
        }
    )
    MasterRound.objects.filter(pk=master.pk).update(state="asked")
    actions.keep_master(master=master, lines=[line], before={}, after={}, said=[], at=NOW)
    MasterRound.objects.filter(pk=master.pk).update(state=master.state)
    return master.lines.get()


def adopt(line, cycle):
    line.refresh_from_db()
    return actions.adopt(line=line, by=cycle.owner, today=TODAY, at=timezone.now())


def take_back(line, cycle):
    line.refresh_from_db()
    return actions.take_back(line=line, by=cycle.owner, today=TODAY, at=timezone.now())


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"first": MONDAY + timedelta(days=1)}, "begins on a Monday"),
        ({"first": MONDAY - timedelta(days=7)}, "next Monday at the earliest"),
        ({"first": MONDAY + timedelta(weeks=40)}, "within half a year"),
        ({"weeks": 13}, "from one to twelve weeks"),
        ({"seconds": 0}, "one second to half an hour"),
        ({"reluctance": -1}, "one second to half an hour"),
    ],
)
def test_what_cannot_be_asked_is_said(cycle, given, words):
    with pytest.raises(actions.NotPlanned, match=words):
        actions.ask_master(
            **{"first": MONDAY, "weeks": 4, "by": cycle.owner, "today": TODAY, "at": NOW, **given}
        )
    assert not MasterRound.objects.exists()


def test_who_asks_again_meanwhile_gets_the_same_and_wrong_days_stay_on_the_form(cycle):
    assert cycle.ask() == cycle.ask()
    text = cycle.eyes.post(
        "/week/master/", {"first": "2026-02-31", "weeks": "5", "reluctance": "1", "seconds": "60"}
    ).content.decode()
    assert "2026-02-31" in text
    past = cycle.eyes.post(
        "/week/master/", {"first": "2020-01-06", "weeks": "4", "reluctance": "1", "seconds": "60"}
    )
    assert "next Monday at the earliest" in past.content.decode()


def test_the_search_ends_by_a_word_and_what_it_has_is_kept(cycle):
    master = cycle.ask()
    assert (
        "ends with what it has found"
        in cycle.eyes.post(f"/week/master/{master.pk}/stop/", follow=True).content.decode()
    )
    assert not actions.stop_search(row=master, at=NOW)
    part = cycle.eyes.get(f"/week/master/{master.pk}/search/")
    assert "Location-When-Done" not in part

    cycle.search(master)
    assert master.state == "ready" and master.lines.count() == 7
    assert cycle.eyes.get(f"/week/master/{master.pk}/search/")["Location-When-Done"].endswith(f"{master.pk}/")
    assert not actions.stop_search(row=master, at=NOW)


def test_dropped_it_is_not_waited_for_and_nothing_of_it_can_be_adopted(cycle):
    master = cycle.ask()
    assert (
        "stays as it is" in cycle.eyes.post(f"/week/master/{master.pk}/drop/", follow=True).content.decode()
    )
    cycle.eyes.post(f"/week/master/{master.pk}/drop/")
    assert Job.objects.get(key=f"plan_master:{master.pk}").state == "queued"
    cycle.search(master)
    assert master.state == "dropped" and not master.lines.exists()
    assert not actions.keep_master(master=master, lines=[], before={}, after={}, said=[], at=NOW)
    assert not actions.fail_search(row=master, error="", at=NOW)
    assert "It was dropped on" in cycle.page(master)

    line = ready(cycle, master={"state": "dropped"})
    with pytest.raises(actions.NotPlanned, match="dropped already"):
        adopt(line, cycle)


def test_empty_cases_in_words(cycle):
    assert "Once or twice a year is enough" in cycle.eyes.get("/week/master/").content.decode()
    for name in cycle.plans:
        cycle.plans[name].site.__class__.objects.filter(pk=cycle.plans[name].site_id).update(lat=None)
    lost = cycle.search(cycle.ask())
    assert "give the sites their coordinates first" in cycle.page(lost)
    Working.objects.update(weekdays=[])
    assert "No technician works on any weekday" in cycle.search(cycle.ask()).error
    for plan in cycle.plans.values():
        type(plan).objects.filter(pk=plan.pk).update(ends_on=TODAY)
    assert "No service plan comes back" in cycle.search(cycle.ask()).error


def test_only_the_owner_sees_it(cycle):
    master = cycle.ask()
    for user in (cycle.ida, make_client_user(), make_user("office")):
        eyes = Browser()
        eyes.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        for address in ("", f"{master.pk}/", f"{master.pk}/search/"):
            assert eyes.get(f"/week/master/{address}").status_code == 404
        assert eyes.post(f"/week/master/{master.pk}/decide/", {"adopt": "1"}).status_code == 404
    line = ready(cycle)
    for value in ("", "x", "9" * 30, str(line.pk + 1)):
        assert cycle.eyes.post(f"/week/master/{line.master_id}/decide/", {"adopt": value}).status_code == 404
    assert cycle.eyes.post(f"/week/master/{master.pk}/decide/", {"adopt": line.pk}).status_code == 404
    with pytest.raises(Http404):
        masters_for(cycle.ida)


def test_a_plan_that_was_changed_meanwhile_is_refused_and_marked(cycle):
    line = ready(cycle)
    type(line.plan).objects.filter(pk=line.plan_id).update(minutes=55)

    assert "was changed since" in cycle.page(line.master)
    assert "Work the master round out anew" in cycle.decide(line.master, "adopt", "North 0")
    assert not PlanChange.objects.exists()


def test_a_plan_that_came_since_makes_it_outdated(cycle):
    line = ready(cycle)
    for name in [name for name in cycle.plans if name != "North 0"]:
        type(line.plan).objects.filter(pk=cycle.plans[name].pk).update(ends_on=TODAY)
    assert "have changed since" not in cycle.page(line.master)
    cycle.sold("Seldom", 50, 0, cycle.ida, every_weeks=52, starts_on=MONDAY - timedelta(days=35))
    assert "have changed since" not in cycle.page(line.master)
    cycle.sold("New", 50, 0, cycle.ida, second_weekday=3)
    assert "have changed since" in cycle.page(line.master)


def test_kept_as_it_is_adopted_after_all_and_not_twice(cycle):
    line = ready(cycle)
    assert "North 0 stays as it is" in cycle.decide(line.master, "keep", "North 0")
    assert "kept as it is" in cycle.page(line.master)
    with pytest.raises(actions.NotPlanned, match="kept as it is"):
        actions.keep_as_it_is(line=line, by=cycle.owner, at=NOW)
    with pytest.raises(actions.NotPlanned, match="decided already"):
        take_back(line, cycle)
    adopt(line, cycle)
    with pytest.raises(actions.NotPlanned, match="decided already: adopted"):
        adopt(line, cycle)
    assert "Take it back" in cycle.page(line.master)


def test_nothing_to_adopt_where_nothing_changes_or_nobody_drives(cycle):
    with pytest.raises(actions.NotPlanned, match="Nothing is proposed"):
        adopt(ready(cycle, changes=False), cycle)
    line = ready(cycle)
    type(cycle.ben).objects.filter(pk=cycle.ben.pk).update(is_active=False)
    with pytest.raises(actions.NotPlanned, match="Only a technician"):
        adopt(line, cycle)


def test_taken_back_only_while_the_plan_is_as_adopted(cycle):
    line = ready(cycle)
    adopt(line, cycle)
    type(line.plan).objects.filter(pk=line.plan_id).update(weekday=4)

    with pytest.raises(actions.NotPlanned, match="changed since it was adopted"):
        take_back(line, cycle)
    assert "was changed since" in cycle.page(line.master)


def test_what_breaks_on_the_way_leaves_nothing_half_adopted(cycle):
    actions.owe_visits(first=TODAY, last=TODAY + timedelta(days=35), at=NOW)
    actions.plan_simply(first=TODAY, last=TODAY + timedelta(days=35))
    line = ready(cycle)
    before = list(Stop.objects.order_by("pk").values()), list(DueVisit.objects.order_by("pk").values())

    with (
        patch("servicedesk.rounds.actions.mastering.owe_of_plan", side_effect=RuntimeError("killed")),
        pytest.raises(RuntimeError),
    ):
        adopt(line, cycle)

    assert (
        list(Stop.objects.order_by("pk").values()),
        list(DueVisit.objects.order_by("pk").values()),
    ) == before
    line.refresh_from_db()
    assert line.state == "open" and not PlanChange.objects.exists() and not Notice.objects.exists()
    adopt(line, cycle)


def test_a_search_that_breaks_while_it_is_kept_leaves_no_lines_and_is_done_again(cycle):
    master = cycle.ask()
    with patch(
        "servicedesk.rounds.actions.mastering.MasterLine.objects.bulk_create",
        side_effect=RuntimeError("killed"),
    ):
        cycle.search(master, seconds=1)
    assert master.state == "asked" and not MasterLine.objects.exists()
    Job.objects.update(not_before=NOW - timedelta(minutes=1))
    cycle.search(master, seconds=1)
    assert master.state == "ready" and MasterLine.objects.count() == 7


def test_visits_that_fell_away_stand_again_only_with_who_drives_them_then(cycle):
    actions.owe_visits(first=TODAY, last=TODAY + timedelta(days=35), at=NOW)
    line, plan = ready(cycle), cycle.plans["North 0"]
    lone = DueVisit.objects.filter(plan=plan, due__gte=MONDAY).order_by("due")
    for number, visit in enumerate(lone):
        if number:
            actions.put_on_round(
                due_visit=visit,
                day=visit.due,
                technician=cycle.ida if number == 1 else cycle.ben,
                order=1,
                planned_at=time(9),
            )
    actions.call_off(stop=Stop.objects.get(due_visit=lone[2]))
    adopt(line, cycle)
    take_back(line, cycle)

    states = [getattr(Stop.objects.filter(due_visit=visit).first(), "state", None) for visit in lone]
    assert states[:2] == [None, "called_off"] and set(states[2:]) == {"planned"}
    adopt(line, cycle)


def test_a_change_far_ahead_leaves_the_visits_before_it(cycle):
    plan = cycle.plans["South 0"]
    change_plan(
        plan=plan, from_on=MONDAY + timedelta(days=14), weekday=3, second_weekday=0, starts_on=MONDAY, technician=cycle.ida,
        called_off=[], by=cycle.owner, at=NOW,
    )  # fmt: skip
    change_plan(
        plan=plan, from_on=MONDAY + timedelta(days=21), weekday=4, second_weekday=None, starts_on=MONDAY, technician=None,
        called_off=[], by=cycle.owner, at=timezone.now(),
    )  # fmt: skip

    actions.owe_visits(first=MONDAY, last=MONDAY + timedelta(days=27), at=NOW)

    days = [(v.due - MONDAY).days for v in DueVisit.objects.filter(plan=plan).order_by("due")]
    assert days == [1, 8, 14, 17, 25]


def test_what_the_planner_takes_and_what_it_says_aloud(cycle):
    site = cycle.plans["North 1"].site
    other = make_plan(
        site, site.tanks.first(), weekday=2, technician=cycle.ben, minutes=20, starts_on=TODAY, every_weeks=1
    )
    cycle.sold("Three", 50.1, 1, cycle.ida, every_weeks=3)
    cycle.sold("Pair", 50.1, 1, cycle.ida, people=2, second_weekday=4)
    cycle.sold("New", 50.1, 1, None, preferred_time=time(10))
    cycle.sold("Lost", None, 1, make_owner(email="who@else.invalid"))
    make_technician(name="Free")
    Working.objects.filter(person=cycle.ida).update(lunch_minutes=0)

    found = mastered.master_round(first=MONDAY, weeks=4, reluctance=2, now=NOW)

    sites = {plan.site.name: found.master.site[key] for key, plan in found.plans.items() if plan != other}
    assert found.master.site[str(other.pk)].held
    assert sites["North 1"].technicians == {str(cycle.ben.pk)} and 2 not in sites["North 1"].open_on
    assert (
        sites["Three"].habit.week in range(3) and sites["New"].habit is None and sites["Lost"].habit is None
    )
    assert sites["Pair"].twice and sites["Pair"].habit.weekdays == (1, 4)
    assert [person.weekdays for person in found.master.people] == [(0, 1, 2, 3, 4)] * 3
    assert found.master.prices.weekday == 2400
    text = " ".join(found.said)
    for words in (
        "where 2 places stand",
        "two people at once",
        "second plan at the same place",
        "its weeks stay as they are",
    ):
        assert words in text


def test_habits_and_leads_in_words(cycle):
    master = MasterRound(first=MONDAY, weeks=4)
    plan = cycle.plans["North 0"]
    assert shown.habit_words(plan, [3, 0], MONDAY, "Ida", master) == "Monday and Thursday, every week, Ida"
    plan.every_weeks = 2
    assert (
        shown.habit_words(plan, [1], MONDAY + timedelta(days=7), "Ida", master)
        == "Tuesday, every 2 weeks, in weeks 2 and 4, Ida"
    )
    plan.every_weeks = 8
    assert "in weeks –" in shown.habit_words(plan, [1], MONDAY + timedelta(days=42), "Ida", master)

    hours = {"hours": {"a": [36_000, 7200]}, "plans": 3}
    master.before, master.after = (
        {**hours, "driving": 36_000, "metres": 90_000},
        {**hours, "driving": 18_000, "metres": 40_000},
    )
    assert shown.lead_of(master, 3, 1, 0) == (
        "4 weeks of 3 clients: one change of habit saves 5.0 hours and 50 km; the longest week stays at 10 hours."
    )
    master.after["hours"] = {"a": [28_800]}
    assert "falls from 10 to 8 hours. One service plan finds no place." in shown.lead_of(master, 3, 2, 1)
    master.after |= {"hours": {"a": [43_200]}, "plans": 4}
    assert shown.lead_of(master, 1, 2, 0) == (
        "4 weeks of one client: 2 changes of habit, then 5.0 hours at the wheel; "
        "4 service plans find a place instead of 3, and the longest week rises from 10 to 12 hours."
    )
    master.after |= {"hours": hours["hours"], "plans": 1}
    assert (
        "; one service plan finds a place instead of 3, and the longest week stays at 10 hours. 2 service plans find no place."
        in shown.lead_of(master, 1, 2, 2)
    )
    assert "no change of habit is worth it" in shown.lead_of(master, 1, 0, 0)


def tasks(number):
    master = master_round(8 * number, 1)
    parts = [
        part(master, person, [s for s in master.sites if master.able(s, person)][:6])
        for person in master.people
    ]
    return [Task(n, parts[n % len(parts)], None, None, 60, n + 1) for n in range(number)]


def test_a_crew_of_two_finds_what_one_finds():
    wanted = {task.number: solve(task, lambda: False).orders for task in tasks(5)}
    with Crew(2) as crew:
        found = {answer.number: answer.orders for answer in crew(tasks(5), lambda: False)}
        again = {answer.number: answer.orders for answer in crew(tasks(5), lambda: False)}
        pids = [hand.pid for hand in crew.hands]
    assert found == wanted == again
    assert len(pids) == 2 and all(hand.poll() is not None for hand in crew.hands) and crew.hands == []


def test_a_hand_that_ends_is_done_without():
    with Crew(2) as crew:
        answers = crew(tasks(6), lambda: False)
        first = next(answers)
        crew.hands[0].kill()
        rest = list(answers)
        assert sorted([first.number, *(answer.number for answer in rest)]) == list(range(6))
        crew.hands[0].kill()
        crew.hands[0].wait()
        assert len(list(crew(tasks(3), lambda: False))) == 3


def test_a_crew_that_cannot_start_does_it_here_and_stops_when_told():
    with patch("subprocess.Popen", side_effect=OSError), Crew(2) as crew:
        assert len(list(crew(tasks(2), lambda: False))) == 2
    with Crew() as crew:
        long = [replace(task, seconds=60.0, iterations=None) for task in tasks(4)]
        asked = []
        found = list(crew(long, lambda: asked.append(1) or len(asked) > 1))
        assert 1 <= len(found) <= 2


def test_who_finds_no_place_is_named_with_the_reason_and_what_is_not_due_is_left_out(cycle):
    cycle.sold("Seldom", 50.1, 0, cycle.ida, every_weeks=8, starts_on=MONDAY - timedelta(days=14))
    cycle.sold("Deep", 50.1, 0, cycle.ida).skills.add(Skill.objects.create(name="Diving"))
    for number in range(3):
        long = cycle.sold(f"Long {number}", 50.1, 0, cycle.ida, minutes=8 * 60)
        SiteHours.objects.create(site=long.site, weekdays=[0], opens=time(8), closes=time(16, 30))

    master = cycle.search(cycle.ask())

    text = cycle.page(master)
    assert "No technician can be there" in text and "It finds no room beside the others" in text
    assert "service plans find no place" in text and "Mend the plan" in text
    assert not MasterLine.objects.filter(plan=cycle.plans["Seldom"]).exists()
