"""The next plan reckons with how long visits and ways really took."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Stop
from servicedesk.rounds.queries.actuals import actuals
from servicedesk.rounds.queries.wanted import wanted
from tests.factories.people import make_business, make_technician
from tests.factories.tanks import make_plan, make_site, make_tank

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 5, 20, 0, tzinfo=ZoneInfo("UTC"))
MONDAY = date(2026, 6, 8)


class Past:
    """Two sites with a plan each, and rounds that were driven on the last days."""

    def __init__(self):
        make_business(zone="UTC")
        self.ida = make_technician()
        self.tanks = [make_tank(make_site(lat=50 + n / 10, lon=10.0)) for n in range(2)]
        self.plans = [make_plan(tank.site, tank, minutes=40, technician=self.ida) for tank in self.tanks]
        self.days = 0

    def visit(self, number, day, minutes=40):
        tank = self.tanks[number]
        row = DueVisit.objects.create(
            key=f"{number} {day} {self.days}", cause="plan", plan=self.plans[number], site=tank.site, earliest=day, due=day,
            latest=day, minutes=minutes, made_at=NOW,
        )  # fmt: skip
        row.tanks.set([tank])
        return row

    def drove(self, *stops, closed=True):
        """A round: (site, minutes after nine at which it began, minutes it took)."""
        self.days += 1
        day = NOW.date() - timedelta(days=self.days)
        for order, (number, began, took) in enumerate(stops, start=1):
            row = self.visit(number, day)
            actions.put_on_round(
                due_visit=row, day=day, technician=self.ida, order=order, planned_at=time(9), minutes=40
            )
            at = datetime.combine(day, time(9), tzinfo=NOW.tzinfo) + timedelta(minutes=began)
            left = at + timedelta(minutes=took) if closed else None
            state = "closed" if closed else "under_way"
            Stop.objects.filter(due_visit=row).update(arrived_at=at, left_at=left, state=state)


@pytest.fixture
def past():
    return Past()


def test_a_plan_whose_visits_take_longer_is_planned_longer_and_says_so(past):
    for _n in range(3):
        past.drove((0, 0, 60))
    visit, other = past.visit(0, MONDAY), past.visit(1, MONDAY)

    found = wanted(first=MONDAY, last=MONDAY, now=NOW)

    assert (
        found.problem.visit[str(visit.pk)].seconds == 50 * 60
    )  # the plan counts three times, three took half as long again
    assert found.notes[str(visit.pk)] == ["10 min longer than written down: so it was on 3 visits"]
    assert found.problem.visit[str(other.pk)].seconds == 40 * 60 and str(other.pk) not in found.notes


def test_shorter_ones_are_said_and_the_newest_dozen_counts(past):
    for took in [20] * 12 + [80] * 5:  # the newest first
        past.drove((0, 0, took))
    visit = past.visit(0, MONDAY)

    found = wanted(first=MONDAY, last=MONDAY, now=NOW)

    assert found.problem.visit[str(visit.pk)].seconds == round(40 * (3 + 12 * 0.5) / 15) * 60
    assert found.notes[str(visit.pk)] == ["16 min shorter than written down: so it was on 12 visits"]


def test_a_way_takes_as_long_as_it_took(past):
    visits = [past.visit(n, MONDAY) for n in range(2)]

    def way(found, a, b):
        places = [found.problem.visit[str(visits[n].pk)].place for n in (a, b)]
        return found.problem.travel.rows[places[0]][places[1]]

    before = wanted(first=MONDAY, last=MONDAY, now=NOW)
    reckoned = way(before, 0, 1)
    for _n in range(2):
        past.drove((0, 0, 40), (1, 40 + 30, 40))

    after = wanted(first=MONDAY, last=MONDAY, now=NOW)
    assert reckoned % 60 == 0
    assert (
        way(after, 0, 1) == pytest.approx((3 * reckoned + 2 * 1800) / 5, abs=60)
        and way(after, 0, 1) % 60 == 0
    )
    assert way(after, 1, 0) == way(before, 1, 0)


def test_what_was_not_finished_or_is_long_ago_teaches_nothing(past):
    past.drove((0, 0, 60), closed=False)
    past.drove((0, 0, 40), (1, 80, 40))
    long_ago = {"arrived_at": NOW - timedelta(days=200), "left_at": NOW - timedelta(days=199)}
    Stop.objects.filter(due_visit__plan=past.plans[1]).update(**long_ago)

    found = actuals(until=NOW)

    assert found.ways == {} and list(found.plans) == [past.plans[0].pk]
    assert found.minutes(None, 33) == 33 and found.minutes(past.plans[1].pk, 33) == 33


def test_a_site_left_and_entered_again_or_at_once_is_no_way(past):
    past.drove((0, 0, 40), (1, 40.5, 40))

    assert actuals(until=NOW).ways == {}


def test_an_outlier_is_left_out_with_its_reason(past):
    past.drove((0, 0, 240))

    (found,) = actuals(until=NOW).plans.values()
    assert (found.value, found.seen, found.left_out) == (1.0, 0, ((6.0, "long"),))
