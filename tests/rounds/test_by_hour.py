"""Ways learned by the hour: what is left out and why, and who would come later than planned, in words."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client as Browser

from servicedesk.core.rounds.hours import Hours
from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.problem import Window
from servicedesk.core.rounds.rules import judge
from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Roads, Router, Stop, Way
from servicedesk.rounds.queries.actuals import actuals
from servicedesk.rounds.queries.broken import broken
from servicedesk.rounds.queries.by_hour import late_words
from servicedesk.rounds.queries.found import lines_of, numbers_of
from servicedesk.rounds.queries.mending import way_out
from servicedesk.rounds.queries.roads import driven_ways
from servicedesk.rounds.queries.stamps import stamp_of
from servicedesk.rounds.queries.wanted import wanted
from servicedesk.staff.models import Working
from tests.factories.days import NOW as NOW_THERE
from tests.factories.days import Day
from tests.factories.people import make_business, make_owner, make_technician, make_user
from tests.factories.tanks import make_plan, make_site, make_tank

pytestmark = pytest.mark.django_db
ZONE = ZoneInfo("Europe/Helsinki")
MONDAY = date(2026, 6, 8)
NOW = datetime(2026, 6, 5, 20, 0, tzinfo=ZONE)
TYPED = {
    "near_km": "2,5", "near_factor": "1.6", "near_kmh": "20", "middle_km": "12", "middle_factor": "1.4", "middle_kmh": "35",
    "far_factor": "1.3", "far_kmh": "60", "leg_minutes": "4",
}  # fmt: skip


class Past:
    """Two sites eleven kilometres apart, and rounds that were driven on the last days."""

    def __init__(self):
        make_business(zone=ZONE.key)
        self.owner, self.ida = make_owner(zone=ZONE.key), make_technician(name="Ida")
        Working.objects.create(
            person=self.ida, lunch_minutes=30, lunch_from=time(11, 30), lunch_until=time(13)
        )
        self.sites = [
            make_site(name=name, lat=50 + n / 10, lon=10.0) for n, name in enumerate(("Ashpond", "Birchwell"))
        ]
        self.tanks = [make_tank(site) for site in self.sites]
        self.plans = [make_plan(tank.site, tank, minutes=30, technician=self.ida) for tank in self.tanks]
        self.days = 0

    def visit(self, number, day, **given):
        row = DueVisit.objects.create(
            key=f"{number} {day}", cause="plan", plan=self.plans[number], site=self.sites[number], earliest=day, due=day,
            latest=day, minutes=30, made_at=NOW, **given,
        )  # fmt: skip
        row.tanks.set([self.tanks[number]])
        return row

    def drove(self, at, minutes, times=1, order=(0, 1)):
        """Half an hour at the first site until `at`, then so many minutes on the way, half an hour at the second."""
        for _n in range(times):
            self.days += 1
            day = NOW.date() - timedelta(days=self.days)
            left = datetime.combine(day, at, tzinfo=ZONE)
            for place, (number, began) in enumerate(zip(order, (left - timedelta(minutes=30), left + timedelta(minutes=minutes)), strict=True), start=1):  # fmt: skip
                row = self.visit(number, day)
                actions.put_on_round(
                    due_visit=row, day=day, technician=self.ida, order=place, planned_at=time(7)
                )
                Stop.objects.filter(due_visit=row).update(
                    arrived_at=began, left_at=began + timedelta(minutes=30), state="closed"
                )

    def week(self):
        return wanted(first=MONDAY, last=MONDAY, now=NOW)


@pytest.fixture
def past():
    return Past()


def places(past, week):
    found = {visit.site_id: week.problem.visit[str(visit.pk)].place for visit in week.visits.values()}
    return [found[site.pk] for site in past.sites]


def test_a_way_is_learned_by_the_hour_of_the_business(past):
    past.drove(time(8), 40, times=6)
    past.drove(time(13, 30), 20, times=6)
    visits = [past.visit(n, MONDAY) for n in range(2)]

    week = past.week()

    a, b = places(past, week)
    morning, midday, afternoon = (week.hours.leg(a, b, at * 3600) for at in (8, 12, 16))
    as_a_rule = week.problem.travel.rows[a][b]
    assert morning > as_a_rule > midday and morning >= afternoon >= midday
    assert (
        week.hours.leg(b, a, 8 * 3600) > week.problem.travel.rows[b][a]
    )  # what mornings cost holds for other ways too
    assert all(leg % 60 == 0 for leg in (morning, midday, afternoon)) and len(visits) == 2


def test_without_drives_the_hour_makes_no_difference(past):
    past.visit(0, MONDAY)
    week = past.week()
    assert not week.hours.known
    plan, _faults = judge(week.problem, {(str(past.ida.pk), 0): (next(iter(week.problem.visit)),)})
    assert numbers_of(week, plan)["rounds"][0]["hours"] == []
    assert late_words(replace(week, hours=None), plan.rounds[0], week.problem.shifts[0]) == []


@pytest.mark.parametrize(
    ("at", "minutes", "why"), [(time(12), 55, "lunch"), (time(12), 2, "short"), (time(15), 90, "long")]
)
def test_what_is_left_out_is_said_with_the_reason(past, at, minutes, why):
    past.drove(at, minutes)
    past.drove(time(9), 40)

    (row,) = driven_ways(NOW)

    said = {
        "lunch": "lunch was eaten on the way",
        "short": "less than a third",
        "long": "three times as long",
    }
    (words,) = row.left_out
    assert words.startswith(f"{minutes} min begun at {at:%H:%M}: ") and said[why] in words
    assert (row.start, row.end, row.drives) == ("Ashpond", "Birchwell", 1)
    assert (
        row.bands[1:] == (None, None)
        and row.hours == [f"before 10:00 {row.bands[0]} min"]
        and row.reckoned != row.minutes
    )


def test_who_had_time_to_wait_is_left_out(past):
    past.drove(time(9), 45)
    Stop.objects.filter(due_visit__site=past.sites[1]).update(planned_at=time(9, 45))
    (row,) = driven_ways(NOW)
    assert row.left_out == ["45 min begun at 09:00: there was time to wait for the next visit"]


def test_many_that_are_left_out_are_one_line(past):
    past.drove(time(15), 95, times=2)
    past.drove(time(15), 90)
    past.drove(time(15), 1)
    (row,) = driven_ways(NOW)
    said = [
        "1 min begun at 15:00: less than a third of it",
        "3 drives of 90 to 95 min: more than three times as long",
    ]
    assert sorted(row.left_out) == said
    assert row.minutes == row.reckoned and row.hours == [] and row.drives == 0


def test_lunch_is_only_thought_of_around_lunch(past):
    past.drove(time(9), 45)
    (drives,) = actuals(until=NOW).ways.values()
    assert drives[0].lunch == 0 and drives[0].at == 9 * 3600
    Working.objects.all().delete()
    past.drove(time(12), 45)
    (drives,) = actuals(until=NOW).ways.values()
    assert [drive.lunch for drive in drives] == [0, 0]


def late_week(past, closes):
    """A round planned with ways that take three times as long in the morning; the second visit is let in until `closes` minutes after it was planned."""
    visits = [str(past.visit(n, MONDAY).pk) for n in range(2)]
    week = past.week()
    starts = {visits[0]: 8 * 3600 + 1800, visits[1]: 10 * 3600}
    early, late = starts[visits[0]], starts[visits[1]]
    windows = {
        visits[0]: (Window(0, early, early), Window(0, early + 1800, early + 7200, price=10_000)),
        visits[1]: (Window(0, late, late + closes * 60),),
    }
    held = [replace(v, windows=windows[v.id]) for v in week.problem.visits]
    week.problem = replace(week.problem, visits=tuple(held))
    week.hours = Hours(week.problem.travel.rows, (3.0, 1.0, 1.0))
    plan, faults = judge(week.problem, {(str(past.ida.pk), 0): tuple(visits)})
    assert not faults and len(plan.rounds[0].stops) == 2
    return week, plan


def test_who_would_come_later_at_that_hour_is_named_in_the_numbers_of_the_day(past):
    week, plan = late_week(past, closes=120)
    _first, words = numbers_of(week, plan)["rounds"][0]["hours"]
    assert words.startswith("At that hour ways take longer: Birchwell at 10:") and "instead of 10:00, still in time to be let in." in words  # fmt: skip


def test_a_closed_door_comes_first(past):
    week, plan = late_week(past, closes=0)
    words = numbers_of(week, plan)["rounds"][0]["hours"]
    assert "Birchwell" in words[0] and "min too late to be let in" in words[0]
    assert "Ashpond" in words[1] and "still in time" in words[1]


def test_coming_home_after_the_shift_is_said(past):
    week, plan = late_week(past, closes=120)
    back = plan.rounds[0].back
    shifts = tuple(replace(shift, latest=back) for shift in week.problem.shifts)
    week.problem = replace(week.problem, shifts=shifts)
    week.hours = Hours(week.problem.travel.rows, (1.0, 3.0, 1.0))
    (words,) = late_words(week, plan.rounds[0], shifts[0])
    assert "home at" in words and "after the longest shift" in words


def signed_in(user):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def test_the_owner_sets_bands_on_a_page_and_sees_what_was_driven(past, settings):
    settings.ROADS_URL = ""
    past.drove(time(9), 25)
    past.drove(time(12), 55)
    browser = signed_in(past.owner)
    assert 'href="/week/roads/"' in browser.get("/week/").content.decode()
    page = browser.get("/week/roads/").content.decode()
    assert 'value="1.35"' in page and "no road router is set" in page and "lunch was eaten on the way" in page

    answer = browser.post("/week/roads/", TYPED, follow=True)

    row = Roads.objects.get()
    assert (row.near_km, row.near_factor, row.far_kmh, row.leg_minutes) == (2.5, 1.6, 60, 4)
    assert (
        "The next plan reckons with it." in answer.content.decode()
        and 'value="2.5"' in answer.content.decode()
    )


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"near_kmh": "fast"}, "is not a number"),
        ({"near_kmh": ""}, "km/h is needed."),
        ({"near_kmh": "0"}, "From 5 to 150."),
        ({"far_factor": "0.8"}, "From 1 to 5."),
        ({"middle_km": "2.5"}, "ends later than near does"),
        ({"leg_minutes": "-1"}, "-1"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_nothing_is_lost(past, wrong, said):
    answer = signed_in(past.owner).post("/week/roads/", {**TYPED, **wrong}).content.decode()
    assert said in answer and not Roads.objects.exists()
    assert all(f'value="{text}"' in answer for text in {**TYPED, **wrong}.values() if text)


@pytest.mark.parametrize("role", ["office", "technician", "client"])
def test_only_owners_set_them(past, role):
    browser = signed_in(make_user(role))
    assert browser.get("/week/roads/").status_code == browser.post("/week/roads/", TYPED).status_code == 404
    assert not Roads.objects.exists() and "/week/roads/" not in browser.get("/week/").content.decode()


def test_the_page_says_how_the_router_is(past, settings):
    settings.ROADS_URL = "http://roads.example"
    browser = signed_in(past.owner)
    assert "It was not asked yet" in browser.get("/week/roads/").content.decode()
    router = Router.objects.create(name="osrm http://roads.example", answered_at=NOW)
    Way.objects.create(router=router, start=1, end=2, seconds=60, metres=900, asked_at=NOW)
    page = browser.get("/week/roads/").content.decode()
    assert "osrm http://roads.example" in page and "One way is known from it." in page
    assert "It answered last on 5 June, 20:00." in page
    Router.objects.update(failed_at=NOW, error="It answered 500.")
    page = browser.get("/week/roads/").content.decode()
    assert "It did not answer as it should on 5 June, 20:00." in page and "It answered 500." in page


def test_the_page_of_a_proposal_warns(past):
    week, plan = late_week(past, closes=0)
    row = actions.ask_proposal(first=MONDAY, last=MONDAY, by=past.owner, today=NOW.date(), at=NOW)
    lines = lines_of(week, plan)
    actions.keep_proposal(
        proposal=row, lines=lines, before={}, after=numbers_of(week, plan), said=[], stamp=stamp_of(week.visits.values()), at=NOW
    )  # fmt: skip
    page = signed_in(past.owner).get(f"/week/plan/{row.pk}/").content.decode()
    assert "min too late to be let in" in page


def test_a_way_out_of_a_broken_day_says_who_would_come_later():
    day = Day()
    found = broken(day.say("cancelled", due_visit=day.visits[1]), NOW_THERE)
    assert way_out(found, "smallest", Budget(iterations=1)).said == []
    found.week.hours = Hours(found.week.problem.travel.rows, (9.0, 9.0, 9.0))
    said = way_out(found, "smallest", Budget(iterations=1)).said
    assert said and all(
        words.startswith("The smallest change: At that hour ways take longer: ") for words in said
    )
