"""How far the demo's today has come, by the business's clock."""

from collections import Counter
from datetime import datetime, timedelta
from random import Random
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from servicedesk.desk.actions import demo
from servicedesk.desk.actions.demo import calls, shelves, world
from servicedesk.desk.actions.demo.calls import Call
from servicedesk.desk.actions.demo.world import World
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries import stops_on

pytestmark = pytest.mark.django_db

WEDNESDAY, SUNDAY = datetime(2026, 11, 25), datetime(2026, 11, 29)


def _made(day: datetime, clock: str, zone: str) -> list[Call]:
    hour, minute = clock.split(":")
    raw = world.read()
    raw["business"]["zone"] = zone
    raw["password"] = "x"  # its slow hash is not what is looked at here
    with timezone.override(zone):
        w = World(
            raw=raw, rng=Random(1), now=day.replace(hour=int(hour), minute=int(minute), tzinfo=ZoneInfo(zone))
        )
        world.people(w)
        world.methods(w)
        shelves.make(w)
        world.sites(w)
        return calls.make(w)


def _today(day: datetime, clock: str, zone: str = "Europe/London") -> dict[str, int]:
    return dict(Counter(c.stop.state for c in _made(day, clock, zone) if c.day == day.date()))


@pytest.mark.slow
@pytest.mark.parametrize("zone", ["Europe/London", "Pacific/Auckland", "America/Los_Angeles"])
@pytest.mark.parametrize("clock", ["00:30", "06:00"])
def test_before_the_first_stop_all_of_today_is_planned(clock, zone):
    assert _today(WEDNESDAY, clock, zone) == {"planned": 13}


@pytest.mark.slow
@pytest.mark.parametrize("zone", ["Europe/London", "Pacific/Auckland", "America/Los_Angeles"])
@pytest.mark.parametrize("clock", ["10:00", "11:10", "12:10", "13:20", "17:30", "20:00", "23:30"])
def test_in_the_day_and_evening_some_is_closed_some_under_way_some_planned(clock, zone):
    found = _today(WEDNESDAY, clock, zone)

    assert set(found) == {"closed", "under_way", "planned"}
    assert sum(found.values()) == 13


@pytest.mark.slow
@pytest.mark.parametrize("clock", ["15:00", "16:00", "19:00", "23:50"])
def test_the_last_stop_of_each_technician_is_never_closed(clock):
    today = [c for c in _made(WEDNESDAY, clock, "Europe/London") if c.day == WEDNESDAY.date()]

    lasts = {c.technician.email: c.stop.state for c in today}  # in the order of their stops
    assert len(lasts) == 3
    assert set(lasts.values()) <= {"under_way", "planned"}
    assert "under_way" in lasts.values()


@pytest.mark.slow
@pytest.mark.parametrize("clock", ["07:00", "12:00", "21:00"])
def test_on_a_sunday_only_sites_that_are_open_are_visited(clock):
    made = _made(SUNDAY, clock, "Europe/London")

    sites = {c.plan.site.name for c in made if c.day == SUNDAY.date()}
    assert sites == {"The Copper Kettle", "Noodles at the Quay", "Mosswillow", "Otterlight Museum"}
    assert {c.plan.site.name for c in made if c.day.weekday() == SUNDAY.weekday()} == sites


@pytest.mark.slow
@pytest.mark.parametrize("clock", ["00:30", "12:10", "23:30"])
def test_what_has_begun_lies_in_order_and_not_ahead_of_the_clock(clock):
    made = _made(WEDNESDAY, clock, "Pacific/Auckland")
    hour, minute = clock.split(":")
    now = WEDNESDAY.replace(hour=int(hour), minute=int(minute), tzinfo=ZoneInfo("Pacific/Auckland"))

    begun = [c for c in made if c.visit is not None]
    closed = [c for c in begun if c.done]
    today = [c.stop.planned_at for c in made if c.day == now.date() and c.stop.state == "planned"]
    assert [c for c in begun if c.visit.arrived_at > now] == []
    assert [c for c in closed if not c.visit.arrived_at < c.visit.closed_at <= now] == []
    assert [c for c in begun if c.day < now.date() and not c.done] == []
    assert [at for at in today if at < (now - timedelta(minutes=4)).time()] == []


@pytest.mark.slow
@pytest.mark.parametrize(
    ("utc", "zone", "day", "states"),
    [
        ("23:30", "Pacific/Auckland", 26, {"closed", "under_way", "planned"}),  # 12:30 of the next day
        ("23:40", "Asia/Tokyo", 26, {"under_way", "planned"}),  # 08:40 of the next day
        ("00:30", "America/Los_Angeles", 24, {"closed", "under_way", "planned"}),  # 16:30 of the day before
    ],
)
def test_near_midnight_utc_the_day_is_that_of_the_business(utc, zone, day, states):
    raw = world.read()
    raw["business"]["zone"], raw["password"] = zone, "x"
    today = datetime(2026, 11, day).date()

    demo.load(now=datetime.fromisoformat(f"2026-11-25T{utc}:00+00:00"), say=lambda _line: None, raw=raw)

    stops = stops_on(today)
    assert len(stops) == 13
    assert {stop.state for stop in stops} == states
    assert not Stop.objects.filter(round__day__gt=today).exclude(state="planned").exists()
    assert not Stop.objects.filter(round__day__lt=today).exclude(state="closed").exists()
