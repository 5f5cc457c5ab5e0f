"""How far the rounds of a week go: from home or store over the stops and back, beside the week before."""

from datetime import timedelta

import pytest

from servicedesk.core.rounds.travel import road_m
from servicedesk.rounds.models import Roads, Stop
from servicedesk.rounds.queries.driven import metres_by_day
from servicedesk.rounds.queries.totals import week_total
from servicedesk.staff.models import Working
from servicedesk.stock.models import Place
from tests.factories.days import TODAY, Day

pytestmark = pytest.mark.django_db
MONDAY = TODAY - timedelta(days=TODAY.weekday())


def road(*points):
    return round(float(road_m(points[:-1], points[1:]).sum()))


def along(*lats):
    return road(*((lat, 10.0) for lat in lats))


def test_a_day_goes_from_home_over_its_stops_in_their_order_and_home_again():
    Day()

    driven = metres_by_day(TODAY, TODAY)

    ida, ben = along(50.0, 50.0, 50.06, 50.12, 50.0), along(50.3, 50.3, 50.24, 50.18, 50.3)
    assert driven[TODAY] == pytest.approx(ida + ben, abs=8)  # each leg is rounded


def test_what_begins_at_the_store_what_was_called_off_and_a_place_nobody_knows():
    day = Day()
    Place.objects.create(kind="store", name="Store", lat=50.0, lon=10.2)
    Working.objects.filter(person=day.ida).update(begins_at="store")
    Stop.objects.filter(round__technician=day.ben).update(state="called_off")
    site = day.visits[1].site
    site.lat = site.lon = None
    site.save()

    driven = metres_by_day(TODAY, TODAY)

    assert driven[TODAY] == pytest.approx(
        road((50.0, 10.2), (50.0, 10.0), (50.12, 10.0), (50.0, 10.0)), abs=4
    )


def test_without_home_and_store_only_the_ways_between_stops_count_and_bands_that_are_set_hold():
    day = Day()
    Working.objects.filter(person=day.ida).delete()
    Stop.objects.filter(round__technician=day.ben).delete()
    before = metres_by_day(TODAY, TODAY)
    Roads.objects.create(near_factor=3, middle_factor=3, far_factor=3)

    after = metres_by_day(TODAY, TODAY)

    assert before[TODAY] == pytest.approx(along(50.0, 50.06, 50.12), abs=2)
    assert after[TODAY] == pytest.approx(before[TODAY] * 3 / 1.35, abs=4)
    assert metres_by_day(TODAY + timedelta(days=1), TODAY + timedelta(days=7)) == {}


def test_kilometres_stand_beside_those_of_the_week_before():
    day = Day()
    Stop.objects.filter(round__technician=day.ben, order__gt=1).delete()
    stop = Stop.objects.get(round__technician=day.ben)
    stop.round.day -= timedelta(days=7)
    stop.round.save()

    row = next(row for row in week_total(MONDAY).numbers() if row[0] == "Kilometres")

    ida, ben = along(50.0, 50.0, 50.06, 50.12, 50.0) / 1000, along(50.3, 50.3) / 1000
    assert row[1:3] == (f"{ida:.0f} km", f"{ben:.0f} km")
    assert row[3] == f"{round(ida) - round(ben)} km more"
