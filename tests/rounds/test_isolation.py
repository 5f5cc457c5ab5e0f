"""An emergency at a tank in isolation: last as a rule, before others where somebody overrides it, and then it is said what is disinfected."""

from datetime import time, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.models import TankStateRow
from reports.queries.run_sheet import sheet_of
from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Stop, Trouble
from servicedesk.rounds.queries import days_of, round_of
from servicedesk.rounds.queries.broken import broken
from servicedesk.rounds.queries.calendar import calendar_of
from servicedesk.rounds.queries.isolation import caution_words, disinfect_words, override_words
from servicedesk.rounds.queries.mending import sides_of
from servicedesk.staff.models import Working
from tests.factories.days import NOW, TODAY, ZONE, Day
from tests.factories.tanks import make_site, make_tank

pytestmark = pytest.mark.django_db
CALL = {"why": "the pump has stopped", "minutes": 30, "until": time(10, 30)}


def signed_in(user):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


@pytest.fixture
def day(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)
    made = Day()
    Working.objects.update(shift_ends=time(15))
    made.site = make_site(name="Call 9", lat=50.05, lon=10.0)
    made.tank = make_tank(made.site)
    return made


def isolate(day, state="isolation"):
    TankStateRow.objects.create(tank=day.tank, state=state, from_on=TODAY, why="new fish")


def call(day, minutes_on=0, **given):
    at = NOW + timedelta(minutes=minutes_on)
    return actions.say_call_out(site=day.site, day=TODAY, by=day.owner, at=at, **{**CALL, **given})


@pytest.mark.parametrize("state", ["isolation", "treatment"])
def test_without_a_word_isolated_stays_last_and_with_one_it_comes_before_others(day, state):
    isolate(day, state)
    plain = call(day)
    lines = day.lines(day.keep(plain))
    assert lines["Call 9"] is None or lines["Call 9"][1] > max(
        at for name, (who, at) in day.where().items() if who == lines["Call 9"][0]
    )
    assert sides_of(plain).sides[0].disinfect == []
    actions.drop_trouble(trouble=plain, by=day.owner, at=NOW)

    trouble = call(day, override=True, minutes_on=1)
    offer = day.keep(trouble)
    who, at = day.lines(offer)["Call 9"]
    assert at <= time(10, 30)
    assert any(
        other[0] == who and other[1] > at for name, other in day.lines(offer).items() if name != "Call 9"
    )
    (said,) = sides_of(trouble).sides[0].disinfect
    assert said.startswith("From Call 9 one goes on to Site ") and "disinfected" in said


def test_it_is_written_down_by_whom_when_and_in_which_words_and_takes_longer(day):
    isolate(day)
    trouble = call(day, override=True)
    visit = trouble.due_visit
    assert (visit.disinfects, visit.isolated, visit.minutes) == (True, True, 45)
    assert trouble.override_said == f"{override_words()} {caution_words()}"
    assert (trouble.asked_by, trouble.asked_at) == (day.owner, NOW)
    again = actions.say_again(trouble=trouble, day=TODAY, by=day.owner, at=NOW)
    assert again.override_said == trouble.override_said
    plain = call(day, minutes_on=1)
    assert (plain.override_said, plain.due_visit.disinfects, plain.due_visit.minutes) == ("", False, 30)


def test_where_no_tank_is_apart_there_is_nothing_to_override(day):
    with pytest.raises(actions.NotPlanned, match="No tank at Call 9 is in isolation"):
        call(day, override=True)
    assert not Trouble.objects.exists() and not DueVisit.objects.filter(cause="call_out").exists()


def test_office_and_technician_are_told_aloud(day):
    isolate(day)
    office = signed_in(day.owner)
    form = {f"call_out-{name}": value for name, value in {**CALL, "until": "10:30", "site": day.site.pk, "override": "on"}.items()}  # fmt: skip
    address = office.post("/week/today/", {"kind": "call_out", **form})["Location"]
    page = office.get(address).content.decode()
    assert "Overridden:" in page and "goggles" in page and "From Call 9 one goes on to" in page
    page = office.post(f"{address}choose/smallest/", follow=True).content.decode()
    assert "Overridden:" in page and "From Call 9 one goes on to" in page

    stop = Stop.objects.get(due_visit__site=day.site)
    seen = signed_in(stop.round.technician).get("/round/").content.decode()
    assert seen.count("that is overridden here, for an emergency") == 2  # the banner, and at the stop
    sheet = sheet_of(*round_of(stop.round.technician, TODAY), at=NOW)
    assert [s.name for s in sheet.stops if s.override] == ["Call 9"]
    assert "overridden" in calendar_of(stop.round.technician, at=NOW).decode().replace("\r\n ", "")
    wrong = [words for row in days_of(TODAY, TODAY, zone=ZONE, now=NOW) for words in row.wrong]
    assert not [words for words in wrong if "isolation" in words]


def test_a_way_out_told_of_visits_that_are_gone_says_nothing():
    assert disinfect_words([["a", "b"]], {}) == []


def test_the_planner_is_told_and_says_it(day):
    isolate(day)
    trouble = call(day, override=True)
    week = broken(trouble, NOW).week
    key = str(trouble.due_visit_id)
    assert week.problem.visit[key].disinfects and week.notes[key] == [override_words()]
