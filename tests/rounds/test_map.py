"""The map of the rounds on the pages: the own round, the office's chosen day, homes and store, what nobody placed."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clients.models import Site
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries import map_of, stops_on
from servicedesk.staff.models import Working
from servicedesk.stock.models import Place
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.stops import make_stop
from tests.factories.tanks import make_site, make_tank

pytestmark = pytest.mark.django_db
TODAY = timezone.now().date()
STORE, HOME = (52.0, 0.5), (52.09, 0.61)


@pytest.fixture
def ida():
    make_business(zone="UTC")
    Place.objects.create(name="Store", kind="store", lat=STORE[0], lon=STORE[1])
    return make_technician(name="Ida", zone="UTC")


def stop_at(technician, name, lat=52.02, lon=0.53, *, order=1, day=TODAY):
    return make_stop(technician, make_tank(make_site(name=name, lat=lat, lon=lon)), order=order, day=day)


def page(user, address):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser.get(address)


def week(user, **asked):
    return page(user, "/week/?" + "&".join(f"{name}={day}" for name, day in asked.items()))


def test_a_day_without_stops_has_no_map(ida):
    assert map_of([]) is None


def test_stops_that_were_called_off_are_not_driven_to(ida):
    Stop.objects.filter(due_visit=stop_at(ida, "Mill")).update(state="called_off")

    assert map_of(stops_on(TODAY)) is None


def test_each_technician_has_a_way_from_where_the_day_begins(ida):
    bob = make_technician(name="Bob", zone="UTC")
    Working.objects.create(person=bob, begins_at="home", ends_at="home", home_lat=HOME[0], home_lon=HOME[1])
    Working.objects.create(person=ida, begins_at="home", ends_at="store")
    stop_at(ida, "Weir", order=2)
    stop_at(ida, "Mill", order=1)
    stop_at(bob, "Quay")

    found = map_of(stops_on(TODAY))

    assert [(w.name, [s.name for s in w.stops], w.begins, w.ends) for w in found.ways] == [
        ("Bob", ["Quay"], HOME, HOME),
        ("Ida", ["Mill", "Weir"], STORE, STORE),
    ]
    assert (found.store, found.homes) == (STORE, (HOME,))


def test_without_homes_nothing_says_where_somebody_lives(ida):
    Working.objects.create(person=ida, begins_at="home", ends_at="store", home_lat=HOME[0], home_lon=HOME[1])
    stop_at(ida, "Mill")

    found = map_of(stops_on(TODAY), homes=False)

    assert (found.homes, found.ways[0].begins, found.ways[0].ends) == ((), None, STORE)


def test_the_round_page_shows_the_own_round_and_nobody_elses(ida):
    bob = make_technician(name="Bob", zone="UTC")
    stop_at(ida, "Mill House")
    stop_at(bob, "Quay Surgery", lat=52.08)

    said = page(ida, "/round/").content.decode()

    assert "Map of the round" in said
    assert "1 Mill House, 3.0 km north-east of the place before, as the crow flies" in said
    assert "Quay Surgery" not in said and "Bob" not in said


def test_two_stops_at_one_place_are_said_to_be(ida):
    stop_at(ida, "Mill House")
    stop_at(ida, "Mill House yard", order=2)

    said = page(ida, "/round/").content.decode()

    assert "2 Mill House yard, at the same place" in said and "0.0 km" not in said


def test_a_site_that_nobody_placed_is_named_beside_the_map(ida):
    stop_at(ida, "Mill House")
    stop_at(ida, "Weir Lodge", lat=None, lon=None, order=2)

    said = page(ida, "/round/").content.decode()

    assert "nobody wrote down where they stand: 2&nbsp;Weir Lodge." in said


def test_without_any_place_there_is_only_the_list(ida):
    stop_at(ida, "Weir Lodge", lat=None, lon=None)

    said = page(ida, "/round/").content.decode()

    assert 'class="sketch"' not in said and "1&nbsp;Weir Lodge." in said


def test_the_week_draws_the_chosen_day_with_all_technicians(ida):
    bob = make_technician(name="Bob", zone="UTC")
    stop_at(ida, "Mill House")
    stop_at(bob, "Quay Surgery", lat=52.08)
    Site.objects.filter(name="Quay Surgery").update(lat=None)

    owner = make_owner(zone="UTC")
    shut, opened = (
        week(owner, **asked).content.decode() for asked in ({"from": TODAY}, {"from": TODAY, "map": TODAY})
    )

    assert 'class="sketch"' not in shut and "Map of the day" in shut
    assert opened.count('class="sketch"') == 3 and "Close the map" in opened
    assert "1&nbsp;Quay Surgery (Bob)." in opened


@pytest.mark.parametrize("asked", ["2026-13-45", "", "x", "9999-12-31"])
def test_a_day_that_is_none_opens_no_map(ida, asked):
    stop_at(ida, "Mill House")

    answer = week(make_owner(zone="UTC"), map=asked)

    assert answer.status_code == 200 and b'class="sketch"' not in answer.content


def asked_for(user, **asked):
    week(user, **asked)
    with CaptureQueriesContext(connection) as caught:
        week(user, **asked)
    return len(caught)


def test_the_map_of_a_day_costs_two_questions_and_none_while_it_is_shut(ida):
    owner, other = make_owner(zone="UTC"), TODAY + timedelta(days=7)
    stop_at(ida, "Mill House")
    for n in range(4):
        stop_at(make_technician(name=f"T{n}", zone="UTC"), f"Site {n}")

    assert asked_for(owner, **{"from": TODAY, "map": TODAY}) == asked_for(owner, **{"from": TODAY}) + 2
    assert asked_for(owner, **{"from": TODAY, "map": other}) == asked_for(owner, **{"from": TODAY})


def test_what_people_typed_is_escaped_on_the_map(ida):
    stop_at(ida, '<b>Mill & "Co"</b>')

    said = page(ida, "/round/").content.decode()

    assert "<b>Mill" not in said and "&lt;b&gt;Mill &amp;" in said


def test_the_map_reads_the_day_of_the_week_it_belongs_to(ida):
    stop_at(ida, "Mill House", day=date(2026, 6, 3))

    said = week(make_owner(zone="UTC"), **{"from": "2026-06-01", "map": "2026-06-03"}).content.decode()

    assert 'id="day-2026-06-03"' in said and said.count('class="sketch"') == 3


def test_tiles_come_from_the_named_source_alone_and_from_nowhere_as_a_rule(ida, settings):
    stop_at(ida, "Mill")
    assert "<image" not in page(ida, "/round/").content.decode()
    settings.TILES, settings.TILES_CREDIT = "https://tiles.yours.example/{z}/{x}/{y}.png", "Ground by ours"
    text = page(ida, "/round/").content.decode()
    found = [part.split('"')[0] for part in text.split('<image href="')[1:]]
    assert found and all(address.startswith("https://tiles.yours.example/") for address in found)
    assert "Ground by ours" in text and "without streets" not in text
