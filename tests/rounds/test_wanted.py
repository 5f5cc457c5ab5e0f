"""What planning hangs on is read from what is written down: who works when, what is owed, when each visit can be made and at what price."""

import uuid
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from clients.models import SiteClosed, SiteHours, TankStateRow
from servicedesk.core.rounds.problem import Lunch, Refill, Window
from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Stop
from servicedesk.rounds.queries.ground import (
    AFTER_EMPTY,
    ANOTHER,
    LATE,
    LEAVE_OUT,
    NEXT_WEEK,
    OFF_DAY,
    OFF_TIME,
    open_hours,
    time_of,
)  # fmt: skip
from servicedesk.rounds.queries.wanted import SECOND, wanted
from servicedesk.staff.models import Skill, Working
from servicedesk.supply.models import RunOut
from servicedesk.upkeep.models import Task
from servicedesk.watch.models import Away
from servicedesk.water.models import WaterChange
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.tanks import make_item, make_place, make_plan, make_site, make_tank

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 5, 12, 0, tzinfo=ZoneInfo("UTC"))
MONDAY = date(2026, 6, 8)
DAY = timedelta(days=1)
WHOLE = (0, 86_399)


def at(hours):
    return int(hours * 3600)


@pytest.fixture(autouse=True)
def business():
    return make_business(zone="UTC")


def owe(tank=None, *, due=0, before=0, after=0, minutes=60, **given):
    tank = tank or make_tank(make_site(lat=50.0, lon=10.0))
    day = MONDAY + due * DAY
    visit = DueVisit.objects.create(
        key=str(uuid.uuid4()), cause="plan", site=tank.site, earliest=day - before * DAY, due=day, latest=day + after * DAY,
        minutes=minutes, made_at=NOW, **given,
    )  # fmt: skip
    visit.tanks.set([tank])
    return visit


def week(days=5):
    return wanted(first=MONDAY, last=MONDAY + (days - 1) * DAY, now=NOW)


def the(visit, found=None):
    return (found or week()).problem.visit[str(visit.pk)]


def test_who_wrote_nothing_down_works_monday_to_friday_from_where_the_day_begins():
    ida = make_technician(name="Ida")

    found = week(7)

    assert [(s.technician, s.day) for s in found.problem.shifts] == [(str(ida.pk), n) for n in range(5)]
    first = found.problem.shifts[0]
    assert (first.earliest, first.latest, first.paid, first.overtime) == (at(8), at(17), at(8.5), 0)
    assert first.lunch == Lunch(1800, at(11.5), at(13.5)) and first.skills == frozenset()
    assert "where the store stands" in found.said[0]


def test_how_a_person_works_is_how_they_are_planned():
    ida, skill = make_technician(), Skill.objects.create(name="Ladders")
    row = Working.objects.create(
        person=ida, weekdays=[1, 6], shift_begins=time(7, 30), shift_ends=time(15), lunch_minutes=0, overtime_minutes=30,
        home_lat=50.1, home_lon=10.1, begins_at="home", ends_at="store",
    )  # fmt: skip
    row.skills.add(skill)
    make_place(kind="store", name="Store", lat=50.0, lon=10.0)
    make_place(kind="van", name="Van", keeper=ida, water_l=300, most_kg=None, boxes=4)

    found = week(7)

    assert [shift.day for shift in found.problem.shifts] == [1, 6]
    shift = found.problem.shifts[0]
    assert (shift.earliest, shift.latest, shift.paid, shift.overtime) == (at(7.5), at(15.5), at(7.5), 1800)
    assert shift.lunch is None and shift.skills == {str(skill.pk)}
    assert shift.van == (300, 1_000_000, 4)
    names = found.problem.names
    assert names[shift.end] == "Store" and names[shift.start].startswith("the home of")
    assert shift.refill == Refill(shift.end, 900)
    assert not found.said


def test_days_off_are_no_shifts_and_a_home_that_nobody_wrote_down_is_the_store():
    ida = make_technician()
    Working.objects.create(person=ida)
    make_place(kind="store", name="Store", lat=50.0, lon=10.0)
    Away.objects.create(person=ida, from_on=MONDAY - DAY, until_on=MONDAY + DAY)
    Away.objects.create(person=ida, from_on=MONDAY + 3 * DAY, until_on=MONDAY + 3 * DAY, retired_on=MONDAY)

    found = week()

    assert [shift.day for shift in found.problem.shifts] == [2, 3, 4]
    assert {found.problem.names[shift.start] for shift in found.problem.shifts} == {"Store"}
    assert {shift.refill for shift in found.problem.shifts} == {None}


def test_a_visit_may_begin_on_each_of_its_days_the_due_one_cheapest():
    make_technician()
    visit = the(owe(due=1, before=1, after=2, minutes=45))

    assert visit.windows == tuple(Window(n, 0, 86_399 - 2700, OFF_DAY * abs(n - 1)) for n in range(4))
    assert (visit.seconds, visit.skip_price, visit.level, visit.loads) == (2700, LEAVE_OUT, 0, (0, 0, 0))


def test_the_sites_hours_count_and_the_last_start_is_early_enough():
    site = make_site(opens=time(9), closes=time(17))
    assert the(owe(make_tank(site), minutes=60)).windows == (Window(0, at(9), at(16), 0),)
    SiteHours.objects.create(site=site, weekdays=[0], opens=time(13), closes=time(15))
    SiteHours.objects.create(site=site, weekdays=[0, 1], opens=time(8), closes=time(9, 30))
    SiteHours.objects.create(site=site, weekdays=[0], opens=time(18), closes=time(18, 30))
    SiteHours.objects.create(site=site, weekdays=[0], opens=time(5), closes=time(9), retired_on=MONDAY)

    found = the(owe(make_tank(site), minutes=60, after=2))

    assert [(w.day, w.earliest, w.latest) for w in found.windows] == [
        (0, at(8), at(8.5)), (0, at(13), at(14)), (1, at(8), at(8.5)),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("opens", "closes", "hours"),
    [
        (None, None, [WHOLE]),
        (time(9), None, [(at(9), 86_399)]),
        (None, time(12), [(0, at(12))]),
        (time(18), time(2), [(0, at(2)), (at(18), 86_399)]),
    ],
)
def test_half_written_hours_and_hours_over_midnight(opens, closes, hours):
    assert open_hours(make_site(opens=opens, closes=closes), MONDAY) == hours


def test_a_closed_day_has_no_window():
    site = make_site()
    SiteClosed.objects.create(site=site, from_on=MONDAY, until_on=MONDAY + DAY)

    assert [w.day for w in the(owe(make_tank(site), after=3)).windows] == [2, 3]


@pytest.mark.parametrize(
    ("opens", "wished", "windows"),
    [
        (time(8), time(10), [(at(9.25), at(10.75), 0), (at(8), at(16), OFF_TIME)]),
        (time(8), time(7), [(at(8), at(16), OFF_TIME)]),
        (time(15, 30), time(16), [(at(15.5), at(16), 0)]),
    ],
)
def test_the_time_they_like_best_costs_nothing_another_a_little(opens, wished, windows):
    tank = make_tank(make_site(opens=opens, closes=time(17)))
    plan = make_plan(tank.site, tank, preferred_time=wished)

    found = the(owe(tank, plan=plan))

    assert [(w.earliest, w.latest, w.price) for w in found.windows] == windows


def test_what_is_overdue_may_be_made_any_day_the_sooner_the_better_and_what_is_long_past_is_left():
    late, gone = owe(due=-7), owe(due=-60)

    found = week()

    assert [(w.day, w.price) for w in the(late, found).windows] == [(n, LATE * n) for n in range(5)]
    assert str(gone.pk) not in found.problem.visit


def test_what_can_wait_for_the_next_days_is_left_out_sooner_and_what_is_due_then_is_not_wanted_now():
    can_wait, later = owe(due=4, after=3), owe(due=6, before=3)

    found = week()

    assert the(can_wait, found).skip_price == NEXT_WEEK
    assert str(later.pk) not in found.problem.visit


def test_where_it_stands_now_counts():
    ida, ben = make_technician(name="Ida"), make_technician(name="Ben")
    early, second, first, done, elsewhere, off = (owe(due=n, after=9, before=9) for n in (9, 0, 0, 0, 1, 0))
    for visit, who, day, order in ((early, ben, 2, 1), (second, ida, 0, 2), (first, ida, 0, 1), (done, ida, 0, 3), (elsewhere, ida, 8, 1), (off, ida, 0, 4)):  # fmt: skip
        actions.put_on_round(
            due_visit=visit, day=MONDAY + day * DAY, technician=who, order=order, planned_at=time(9)
        )
    Stop.objects.filter(due_visit=done).update(state="closed")
    Stop.objects.filter(due_visit=off).update(state="called_off")
    DueVisit.objects.filter(pk=owe().pk).update(called_off_at=NOW)

    found = week()

    assert set(found.visits) == {str(v.pk) for v in (early, second, first, off)}
    assert found.orders == {
        (str(ida.pk), 0): (str(first.pk), str(second.pk)),
        (str(ben.pk), 2): (str(early.pk),),
    }
    stamp = found.stamp
    Stop.objects.filter(due_visit=second).update(planned_at=time(9, 5))
    assert week().stamp != stamp


def test_a_visit_grows_by_the_work_that_is_due_there_and_says_so():
    tank = make_tank()
    visit = owe(tank, minutes=40)
    common = {"tank": tank, "made_at": NOW}
    Task.objects.create(
        key="a", title="Belt", earliest=MONDAY - DAY, due=MONDAY, latest=MONDAY, minutes=15, **common
    )
    Task.objects.create(
        key="b", title="Lamp", earliest=MONDAY, due=MONDAY, latest=MONDAY, minutes=5, **common
    )
    Task.objects.create(
        key="c",
        title="Later",
        earliest=MONDAY + DAY,
        due=MONDAY + DAY,
        latest=MONDAY + DAY,
        minutes=5,
        **common,
    )
    Task.objects.create(
        key="d", title="Done", earliest=MONDAY, due=MONDAY, latest=MONDAY, minutes=5, state="done", **common
    )

    found = week()

    assert the(visit, found).seconds == 3600
    assert found.notes[str(visit.pk)] == ["20 min longer: 2 tasks are due"]


def test_coming_after_something_ran_empty_costs_more_each_day():
    tank = make_tank()
    visit = owe(tank, due=1, before=1, after=2)
    for key, day, what in ((uuid.uuid4(), 1, "Calcium"), (uuid.uuid4(), 3, "Alkalinity")):
        RunOut.objects.create(
            id=key, tank=tank, item=make_item(), what=what, empty_on=MONDAY + day * DAY, fill=1, worked_at=NOW
        )

    found = week()

    prices = [OFF_DAY, 0, OFF_DAY + AFTER_EMPTY, 2 * OFF_DAY + 2 * AFTER_EMPTY]
    assert [w.price for w in the(visit, found).windows] == prices
    assert found.notes[str(visit.pk)] == ["Calcium runs empty on 9 June"]


def test_isolation_treatment_skills_and_who_usually_comes():
    ida, skill, tank = make_technician(), Skill.objects.create(name="Diving"), make_tank()
    plan = make_plan(tank.site, tank, technician=ida)
    plan.skills.add(skill)
    TankStateRow.objects.create(tank=tank, state="treatment", from_on=MONDAY - DAY)
    alone = make_tank()
    TankStateRow.objects.create(tank=alone, state="isolation", from_on=MONDAY - DAY)
    treated, isolated, other = owe(tank, plan=plan), owe(isolated=True), owe(alone)

    found = week()

    assert [the(v, found).level for v in (treated, isolated, other)] == [1, 2, 2]
    row = the(treated, found)
    assert (row.skills, row.usual, row.change_price) == ({str(skill.pk)}, str(ida.pk), ANOTHER)
    assert (the(other, found).usual, the(other, found).change_price) == (None, 0)


def test_who_no_longer_drives_is_nobodys_usual():
    owner, tank = make_owner(), make_tank()

    assert the(owe(tank, plan=make_plan(tank.site, tank, technician=owner))).usual is None


def test_water_is_carried_as_at_the_last_change():
    tank = make_tank(water_type="reef_mixed")
    WaterChange.objects.create(tank=tank, at=NOW - DAY, litres=60.5, origin=uuid.uuid4(), received_at=NOW)

    litres, kg, boxes = the(owe(tank)).loads
    assert (litres, boxes) == (61, 0) and 61 < kg < 64


def test_two_people_are_two_visits_at_once():
    tank = make_tank()
    visit = owe(tank, plan=make_plan(tank.site, tank, people=2, technician=make_technician()))

    found = week()

    (pair,) = found.problem.pairs
    assert (pair.first, pair.second) == (str(visit.pk), str(visit.pk) + SECOND)
    assert (
        found.problem.visit[pair.second].loads == (0, 0, 0) and found.problem.visit[pair.second].usual is None
    )


def test_a_persons_word_holds_a_visit():
    owner, ida = make_owner(), make_technician()
    who, when, both, far = (owe(after=4) for _n in range(4))
    actions.pin(due_visit=who, technician=ida, by=owner, at=NOW)
    actions.pin(due_visit=when, day=MONDAY + 2 * DAY, by=owner, at=NOW)
    actions.pin(due_visit=both, technician=ida, day=MONDAY + DAY, begins=time(9, 30), by=owner, at=NOW)
    DueVisit.objects.filter(pk=far.pk).update(latest=MONDAY + 9 * DAY)
    far.refresh_from_db()
    actions.pin(due_visit=far, day=MONDAY + 8 * DAY, begins=time(9), by=owner, at=NOW)

    found = week()

    assert the(who, found).technicians == {str(ida.pk)} and len(the(who, found).windows) == 5
    assert {w.day for w in the(when, found).windows} == {2} and the(when, found).technicians is None
    assert [(w.day, w.earliest, w.latest) for w in the(both, found).windows] == [(1, at(9.5), at(9.5))]
    assert str(far.pk) not in found.problem.visit


def test_where_nobody_wrote_down_a_place_it_lies_in_the_middle_and_is_said():
    for lat in (50.0, 52.0):
        owe(make_tank(make_site(lat=lat, lon=10.0)))
    lost = [owe(make_tank(make_site(name=name))) for name in ("Nowhere", "Elsewhere")]

    found = week()

    assert len(found.said) == 1 and "2 places stand" in found.said[0]
    rows, places = found.problem.travel.rows, [the(v, found).place for v in lost]
    assert rows[places[0]][places[1]] == 0 and rows[places[0]][0] == pytest.approx(
        rows[places[0]][1], rel=0.01
    )


def test_a_time_of_day_ends_before_midnight():
    assert [time_of(s) for s in (0, 34_259, 86_399, 99_999)] == [
        time(0),
        time(9, 30),
        time(23, 59),
        time(23, 59),
    ]


def test_on_a_public_holiday_nobody_is_planned_and_that_is_said():
    make_business(zone="UTC", country="GB", region="SCT")
    make_technician()
    make_place(kind="store", name="Store", lat=50.0, lon=10.0)
    first = date(2026, 12, 24)

    found = wanted(first=first, last=first + 6 * DAY, now=NOW)

    assert {shift.day for shift in found.problem.shifts} == {
        0,
        5,
        6,
    }  # Friday to Monday: Christmas, the weekend, the day given for it
    assert [line for line in found.said if "public holiday" in line] == [
        "Friday 25 December is a public holiday (Christmas Day): nobody is planned.",
        "Saturday 26 December is a public holiday (Boxing Day): nobody is planned.",
        "Monday 28 December is a public holiday (Boxing Day (observed)): nobody is planned.",
    ]


def test_what_stands_on_a_round_before_these_days_is_made_there_unless_that_day_is_past():
    ida = make_technician()
    missed, today, between = (owe(due=0, before=9, after=9) for _n in range(3))
    for visit, day in ((missed, NOW.date() - DAY), (today, NOW.date()), (between, MONDAY - DAY)):
        actions.put_on_round(due_visit=visit, day=day, technician=ida, order=1, planned_at=time(9))

    assert set(week().visits) == {str(missed.pk)}
