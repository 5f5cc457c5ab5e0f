"""The week in sum beside the week before, and a week of many rounds a day at a time."""

from datetime import date, time, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.desk.management import big_week
from servicedesk.rounds.models import Proposed, Stop
from servicedesk.rounds.queries import proposed, totals
from servicedesk.rounds.queries.totals import week_total
from tests.factories.days import NOW, TODAY, Day
from tests.factories.people import make_business, make_owner

pytestmark = pytest.mark.django_db
MONDAY = TODAY - timedelta(days=TODAY.weekday())


def eyes(user):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def test_stops_and_hours_stand_beside_those_of_the_week_before():
    day = Day()
    assert week_total(MONDAY).numbers() == []
    before = day.owe("Before 9")
    stop = day.put(before, day.ida, 1, time(9))
    stop.round.day -= timedelta(days=7)
    stop.round.save()
    Stop.objects.exclude(pk=stop.pk).update(round=day.put(day.visits[0], day.ben, 1, time(9)).round)
    Stop.objects.filter(pk=stop.pk).update(drive_minutes=200, minutes=40)
    gone = day.put(day.owe("Gone 8"), day.ben, 8, time(16))
    Stop.objects.filter(pk=gone.pk).update(state="called_off")
    told = week_total(MONDAY).numbers()
    assert [row[0] for row in told] == ["Stops", "At the wheel", "Kilometres", "Work"]
    assert [told[0], told[1], told[3]] == [
        ("Stops", "6", "1", "5 more"),
        ("At the wheel", "30 min", "3 h 20 min", "2 h 50 min less"),
        ("Work", "4 h 0 min", "40 min", "3 h 20 min more"),
    ]
    page = eyes(day.owner).get(f"/week/?from={TODAY}").content.decode()
    assert "Against the week before" in page and "2 h 50 min less" in page


def test_what_a_proposal_saves_is_said_line_by_line():
    before = {"visits": 6, "driving": 7200, "overtime": 600, "metres": 90_000, "broken": ["x"]}
    after = {"visits": 6, "driving": 3600, "overtime": 1200, "metres": 60_400, "broken": []}
    assert [row[3] for row in proposed._numbers(before, after)] == [
        "the same", "1 h 0 min less", "30 less", "0 h 10 min more", "1 less"
    ]  # fmt: skip
    assert [row[0] for row in proposed._numbers({}, {})] == ["Visits on rounds", "At the wheel", "Overtime", "Rules broken"]  # fmt: skip


@pytest.fixture
def big(monkeypatch):
    make_business(zone="UTC")
    for name, value in (("PEOPLE", 3), ("STOPS", 2)):
        monkeypatch.setattr(big_week, name, value)
    monkeypatch.setattr(totals, "MANY", 10)
    monkeypatch.setattr(proposed, "MANY", 10)
    owner = make_owner(zone="UTC")
    return eyes(owner), big_week.made(owner, NOW)


def test_a_week_of_many_rounds_shows_a_day_at_a_time(big):
    office, _addresses = big
    page = office.get(f"/week/?from={MONDAY}&day={MONDAY + timedelta(days=1)}").content.decode()
    assert "<b>Tuesday works" in page and 'id="day-2026-06-09"' in page and 'id="day-2026-06-08"' not in page
    assert "So many rounds are shown a day at a time." in page and page.count("3 rounds, 6 stops") == 4
    for asked in ("&day=2020-01-01", "&day=nonsense", ""):
        assert 'id="day-2026-06-08"' in office.get(f"/week/?from={MONDAY}{asked}").content.decode()


def test_of_a_day_alone_its_rounds_are_counted(big, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW - timedelta(days=4))
    office, _addresses = big
    person = Stop.objects.filter(round__day=MONDAY).first().round.technician
    Stop.objects.filter(round__day=MONDAY, round__technician=person).update(planned_at=time(17), minutes=60)
    page = office.get(f"/week/?from={MONDAY}&day={MONDAY}").content.decode()
    assert "<b>Monday works, but for one round.</b>" in page


def test_a_proposal_of_many_rounds_too_and_follows_its_stop(big):
    office, (_week, address, today, trouble) = big
    page = office.get(address).content.decode()
    assert page.count('class="week-row"') == 3 and "?day=2026-06-09" in page
    friday = office.get(f"{address}?day={MONDAY + timedelta(days=4)}").content.decode()
    assert "round-" in friday and f"-{MONDAY + timedelta(days=4)}" in friday
    stop = Stop.objects.filter(round__day=MONDAY + timedelta(days=2)).first()
    assert (
        f'id="stop-{stop.due_visit_id}"' in office.get(f"{address}?at={stop.due_visit_id}").content.decode()
    )
    assert office.get(today).status_code == office.get(trouble).status_code == 200


def test_what_moves_in_a_large_week_stands_with_its_day_and_every_shift_leads_to_its_round(big):
    office, (_week, address, _today, _trouble) = big
    tuesday = MONDAY + timedelta(days=1)
    week = Proposed.objects.filter(proposal__kind="week")
    stop = Stop.objects.filter(round__day=MONDAY).first()
    week.filter(due_visit=stop.due_visit).update(day=tuesday)

    monday, other = (office.get(f"{address}?day={day}").content.decode() for day in (MONDAY, tuesday))

    moved = f"until now {stop.round.technician.name}, Monday 8 June at"
    assert "What moves</h2><span>1</span>" in monday and moved not in monday and "one moves" in monday
    assert "One of them moves to Tuesday 9 June" in other and moved in other and "one moves" not in other
    round_ = f"round-{stop.round.technician_id}-{MONDAY}"
    assert f'href="#{round_}"' in monday and f'href="?day={MONDAY}#{round_}"' in other
    assert f'id="{round_}"' in monday and f'id="{round_}"' not in other
    assert monday.count("rule is broken") == other.count("rule is broken") > 0


def test_totals_know_a_day_without_anything():
    assert week_total(date(2026, 6, 8)).large is False


def test_what_a_proposal_saves_is_the_difference_of_the_numbers_beside_it():
    rows = proposed._numbers({"metres": 106_600, "driving": 149}, {"metres": 91_400, "driving": 91})

    assert rows[1:3] == [
        ("At the wheel", "0 h 2 min", "0 h 2 min", "the same"),
        ("Kilometres", "107", "91", "16 less"),
    ]
