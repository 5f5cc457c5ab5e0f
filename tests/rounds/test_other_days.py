"""Who is sick is away for as long as is said; what finds no place today may be made on another day, where nobody else moves."""

from datetime import date, time, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Move, Stop, Tidings, Trouble
from servicedesk.rounds.queries.mending import sides_of
from servicedesk.rounds.queries.other_days import other_days
from servicedesk.rounds.queries.wanted import wanted
from servicedesk.staff.models import Working
from servicedesk.watch.actions import be_back
from servicedesk.watch.models import Away
from servicedesk.watch.queries.alarms import holidays
from tests.factories.days import NOW, TODAY, Day
from tests.factories.people import make_technician

pytestmark = pytest.mark.django_db
THURSDAY, FRIDAY = TODAY + timedelta(days=1), TODAY + timedelta(days=2)


@pytest.fixture
def day():
    return Day()


@pytest.fixture
def short(day):
    """Ida has no room for more today; visits may wait until Friday."""
    Working.objects.filter(person=day.ida).update(shift_ends=time(12, 50), lunch_minutes=0)
    DueVisit.objects.update(latest=FRIDAY)
    return day


def stands(visit, person, day, at, order=1):
    return actions.put_on_round(due_visit=visit, day=day, technician=person, order=order, planned_at=at)


def options(offer):
    return offer.after["later"]


def test_who_is_sick_is_away_for_the_rota_and_the_planner(day):
    trouble = day.say("sick", person=day.ben, away_until=FRIDAY)
    row = Away.objects.get()
    assert (row.person, row.from_on, row.until_on, row.why, trouble.away) == (
        day.ben,
        TODAY,
        FRIDAY,
        "sick",
        row,
    )
    assert [a.person for a in holidays(THURSDAY)] == [day.ben]
    week = wanted(first=THURSDAY, last=FRIDAY + timedelta(days=3), now=NOW)
    assert {(s.technician, s.day) for s in week.problem.shifts} == {
        (str(day.ida.pk), 0), (str(day.ida.pk), 1), (str(day.ida.pk), 4), (str(day.ben.pk), 4)
    }  # fmt: skip


def test_left_open_it_is_today_and_dropped_it_was_nothing(day):
    trouble = day.say("sick", person=day.ben)
    assert Away.objects.get().until_on == TODAY
    fresh = actions.say_again(trouble=trouble, day=TODAY, by=day.owner, at=NOW)
    assert [row.retired_on for row in Away.objects.order_by("retired_on")].count(None) == 1
    assert fresh.away.retired_on is None and fresh.away.until_on == TODAY
    assert actions.drop_trouble(trouble=fresh, by=day.owner, at=NOW)
    assert holidays(TODAY) == [] and not be_back(away=Away.objects.first(), on=TODAY)
    late = day.say("late", person=day.ida, minutes=9)
    assert late.away is None and actions.say_again(trouble=late, day=TODAY, by=day.owner, at=NOW).away is None


@pytest.mark.parametrize("until", [TODAY - timedelta(days=1), TODAY + timedelta(days=367)])
def test_until_when_is_within_a_year(day, until):
    with pytest.raises(actions.NotPlanned, match="Away until today at the least"):
        day.say("sick", person=day.ben, away_until=until)
    assert not Trouble.objects.exists() and not Away.objects.exists()


def test_what_stands_on_their_rounds_after_today_is_said(day):
    later = day.owe("Site 7", earliest=TODAY, due=THURSDAY, latest=FRIDAY)
    trouble = day.say("sick", person=day.ben, away_until=FRIDAY)
    assert sides_of(trouble).away == ""
    stands(later, day.ben, THURSDAY, time(9))
    there = sides_of(trouble)
    assert (
        there.away.startswith("Ben is away until Friday 12 June: one stop after today")
        and there.away_next == THURSDAY
    )
    be_back(away=trouble.away, on=TODAY)
    trouble.refresh_from_db()
    assert sides_of(trouble).away == ""


def test_a_visit_without_a_place_today_has_one_named_with_day_person_and_price(short):
    trouble = short.say("sick", person=short.ben)
    offer = short.keep(trouble)
    lost = {str(v.pk): v for v in short.visits if short.lines(offer)[v.site.name] is None}
    assert lost and set(options(offer)) == set(lost)
    for kept in options(offer).values():
        assert kept["day"] == THURSDAY.isoformat() and kept["technician"] in {
            str(short.ida.pk),
            str(short.ben.pk),
        }
        assert kept["driving"] >= 0 and kept["minutes"] == 40
    assert sum(kept["driving"] for kept in options(offer).values()) > 0
    side = sides_of(trouble).sides[0]
    assert all(row.ticked and "Thursday 11 June at " in row.words and "min more at the wheel" in row.words for row in side.later)  # fmt: skip

    chosen = next(iter(lost))
    moves = actions.choose(offer=offer, by=short.owner, today=TODAY, at=NOW, later=[chosen, "nonsense"])
    kept = options(offer)[chosen]
    stop = Stop.objects.get(due_visit=chosen)
    assert (stop.round.day, f"{stop.planned_at:%H:%M}", str(stop.round.technician_id)) == (THURSDAY, kept["at"], kept["technician"])  # fmt: skip
    told = Tidings.objects.get(due_visit=chosen)
    assert (told.day, told.at) == (THURSDAY, stop.planned_at)
    for other in set(lost) - {chosen}:
        assert Stop.objects.get(due_visit=other).state == "called_off"
    assert {str(m.due_visit_id) for m in moves if m.off} == set(lost) - {chosen}


def test_who_stands_on_that_day_stays_and_the_way_to_the_next_is_another(short):
    for number, (name, at) in enumerate((("Stay 1", time(9)), ("Stay 2", time(11))), start=1):
        stands(short.owe(name, 50.02, earliest=THURSDAY, due=THURSDAY, latest=THURSDAY), short.ida, THURSDAY, at, number)  # fmt: skip
    before = {s.due_visit_id: s.planned_at for s in Stop.objects.filter(round__day=THURSDAY)}
    Away.objects.create(person=short.ben, from_on=TODAY, until_on=FRIDAY)
    offer = short.keep(short.say("sick", person=short.ben, away_until=FRIDAY))
    behind = [kept["behind"] for kept in options(offer).values() if kept["behind"]]
    short_ = {kept["technician"] for kept in options(offer).values()}
    assert short_ == {str(short.ida.pk)} and behind

    actions.choose(offer=offer, by=short.owner, today=TODAY, at=NOW, later=list(options(offer)))
    after = {s.due_visit_id: s.planned_at for s in Stop.objects.filter(due_visit__in=before)}
    assert after == before
    rows = list(Stop.objects.filter(round__day=THURSDAY, round__technician=short.ida).order_by("order"))
    assert [s.planned_at for s in rows] == sorted(s.planned_at for s in rows)
    for visit, drive in behind:
        assert Stop.objects.get(due_visit=visit).drive_minutes == drive


def test_a_later_day_that_moved_is_refused_whole(short):
    offer = short.keep(short.say("sick", person=short.ben))
    where = short.where()
    chosen = next(iter(options(offer)))
    stands(short.owe("New 8", earliest=THURSDAY, due=THURSDAY, latest=THURSDAY), short.ida, THURSDAY, time(9))
    with pytest.raises(actions.NotPlanned, match="later day has moved"):
        actions.choose(offer=offer, by=short.owner, today=TODAY, at=NOW, later=[chosen])
    assert not Move.objects.exists() and {k: v for k, v in short.where().items() if k != "New 8"} == where


def test_beyond_the_tolerance_nothing_is_offered(short):
    DueVisit.objects.update(latest=TODAY)
    offer = short.keep(short.say("sick", person=short.ben))
    assert options(offer) == {} and sides_of(offer.trouble).sides[0].later == []


def test_nobody_there_on_the_days_after_means_no_other_day(short):
    for person in (short.ida, short.ben):
        Away.objects.create(person=person, from_on=THURSDAY, until_on=FRIDAY)
    offer = short.keep(short.say("sick", person=short.ben))
    assert options(offer) == {}


def test_at_most_a_week_is_looked_at(day):
    far = day.owe("Far 9", latest=TODAY + timedelta(days=30))
    for person in (day.ida, day.ben):
        Away.objects.create(person=person, from_on=THURSDAY, until_on=TODAY + timedelta(days=7))
    assert other_days([far], TODAY, NOW) == {}


def test_overtime_is_part_of_the_price(short):
    Working.objects.filter(person=short.ida).update(
        shift_begins=time(8), shift_ends=time(8, 40), overtime_minutes=240
    )
    Away.objects.create(person=short.ben, from_on=TODAY, until_on=FRIDAY)
    Away.objects.create(person=make_technician(name="Cid"), from_on=TODAY, until_on=FRIDAY)
    found = other_days([DueVisit.objects.get(pk=short.visits[5].pk)], TODAY, NOW)
    assert found[str(short.visits[5].pk)].overtime > 0
    offer = short.keep(short.say("sick", person=short.ben, away_until=FRIDAY))
    assert any("min after the shift" in row.words for row in sides_of(offer.trouble).sides[0].later)


def test_who_cancelled_is_asked_first_and_then_told(day, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)
    DueVisit.objects.filter(pk=day.visits[1].pk).update(latest=FRIDAY)
    offer = day.keep(day.say("cancelled", due_visit=DueVisit.objects.get(pk=day.visits[1].pk)))
    row = sides_of(offer.trouble).sides[0].later[0]
    assert (row.name, row.ticked) == ("Site 1", False)
    browser = Browser()
    browser.force_login(day.owner, backend="django.contrib.auth.backends.ModelBackend")
    page = browser.get(f"/week/today/{offer.trouble_id}/").content.decode()
    assert "Could be made on another day" in page and "Ask the client first." in page
    browser.post(f"/week/today/{offer.trouble_id}/choose/smallest/", {"later": [row.key]})
    kept = options(offer)[row.key]
    told = Tidings.objects.get()
    assert (told.due_visit, told.day) == (day.visits[1], date.fromisoformat(kept["day"]))
    assert Stop.objects.get(due_visit=day.visits[1]).round.day == told.day


def test_the_form_takes_until_when(day, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)
    browser = Browser()
    browser.force_login(day.owner, backend="django.contrib.auth.backends.ModelBackend")
    given = {"kind": "sick", "sick-person": day.ben.pk}
    page = browser.post("/week/today/", {**given, "sick-away_until": "2026-06-01"}).content.decode()
    assert "Away until today at the least" in page and 'value="2026-06-01"' in page
    browser.post("/week/today/", {**given, "sick-away_until": FRIDAY.isoformat()})
    assert Trouble.objects.get().away.until_on == FRIDAY
