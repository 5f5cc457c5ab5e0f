"""The owner's week: what is wrong in words, and what stands on no round."""

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.models import Site
from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Round, Stop
from servicedesk.rounds.queries import days_of, unplaced
from servicedesk.staff.models import User
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.stops import make_stop
from tests.factories.tanks import make_plan, make_site, make_tank

pytestmark = pytest.mark.django_db
MONDAY = date(2026, 6, 1)
NOW = datetime(2026, 5, 30, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _it_is_saturday(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)


@pytest.fixture
def ida():
    make_business(zone="UTC")
    return make_technician(name="Ida", zone="UTC")


def stop_at(technician, name, at, minutes=30, *, order=1, drive=5, window=(0, 0), isolated=False, **site):
    visit = make_stop(technician, make_tank(make_site(name=name, **site)), order=order, day=MONDAY)
    first, last = (MONDAY + timedelta(days=n) for n in window)
    DueVisit.objects.filter(pk=visit.pk).update(earliest=first, due=first, latest=last, isolated=isolated)
    Stop.objects.filter(due_visit=visit).update(planned_at=at, minutes=minutes, drive_minutes=drive)
    return visit


def wrong(now=NOW):
    return [w for day in days_of(MONDAY, MONDAY, zone=ZoneInfo("UTC"), now=now) for w in day.wrong]


def week_page(user, day=MONDAY):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser.get(f"/week/?from={day.isoformat()}")


def test_a_technician_does_not_see_the_week(ida):
    assert week_page(ida).status_code == 404


@pytest.mark.parametrize("asked", ["0001-01-01", "9999-12-31"])
def test_a_week_at_the_end_of_time_is_not_there(ida, asked):
    browser = Browser()
    browser.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")

    assert browser.get(f"/week/?from={asked}").status_code == 404


def test_a_day_on_which_all_is_well_says_nothing(ida):
    stop_at(ida, "Mill", time(9, 0), opens=time(9), closes=time(17))
    stop_at(ida, "Quay", time(9, 35), order=2)

    assert wrong() == []


def test_the_end_of_the_shift_is_said_in_minutes(ida):
    stop_at(ida, "Mill", time(16, 45), 50)

    assert wrong() == ["ends 35 min after the shift"]


def test_a_begin_before_the_shift_is_said(ida):
    stop_at(ida, "Mill", time(7, 40))

    assert wrong() == ["begins 20 min before the shift"]


def test_a_visit_outside_its_window_is_named_with_its_days(ida):
    stop_at(ida, "Mill", time(9), window=(2, 4))

    assert wrong() == ["Mill is due from 3 June to 5 June"]


@pytest.mark.parametrize(
    ("at", "said"),
    [
        (time(9, 45), ["Mill opens only at 10:00"]),
        (time(10, 0), []),
        (time(15, 30), []),
        (time(15, 31), ["Mill closes at 16:00"]),
    ],
)
def test_opening_hours_are_kept(ida, at, said):
    stop_at(ida, "Mill", at, 30, opens=time(10), closes=time(16))

    assert wrong() == said


@pytest.mark.parametrize(("at", "said"), [(time(11), ["Bar is shut from 02:00 to 15:00"]), (time(15, 0), [])])
def test_a_house_that_is_open_over_midnight_is_shut_by_day(ida, at, said):
    stop_at(ida, "Bar", at, opens=time(15), closes=time(2))

    assert wrong() == said


def test_isolation_that_is_not_last_is_named(ida):
    stop_at(ida, "Ward", time(9), isolated=True, order=1)
    stop_at(ida, "Mill", time(10), order=2)

    assert wrong() == ["Ward is in isolation and not last"]


def test_somebody_in_two_places_is_double_booked(ida):
    stop_at(ida, "Mill", time(9), 60)
    stop_at(ida, "Quay", time(9, 30), order=2)

    assert wrong() == ["double-booked: Mill until 10:00, Quay at 09:30"]


def test_too_little_time_to_drive_is_said(ida):
    stop_at(ida, "Mill", time(9), 30)
    stop_at(ida, "Quay", time(9, 35), order=2, drive=12)

    assert wrong() == ["5 min to drive to Quay, which takes 12"]


@pytest.mark.parametrize(
    ("at", "said"),
    [
        (datetime(2026, 6, 1, 9, 15, tzinfo=UTC), []),
        (datetime(2026, 6, 1, 9, 16, tzinfo=UTC), ["Mill, planned for 09:00, is not begun"]),
        (
            datetime(2026, 6, 1, 12, 0, tzinfo=UTC),
            ["2 stops are not begun, Mill first, planned for 09:00"],
        ),
    ],
)
def test_stops_whose_time_has_passed_are_named(ida, at, said):
    stop_at(ida, "Mill", time(9))
    stop_at(ida, "Quay", time(10), order=2)

    assert wrong(at) == said


def test_a_missed_stop_books_nobody_twice(ida):
    stop_at(ida, "Mill", time(9), 60)
    late = stop_at(ida, "Quay", time(8, 0), 30, order=2)
    at = datetime(2026, 6, 1, 9, 10, tzinfo=UTC)
    actions.arrive(due_visit_id=late.pk, at=at)

    assert wrong(at + timedelta(minutes=10)) == ["Mill, planned for 09:00, is not begun"]


def test_hours_are_the_wall_clocks_on_the_day_the_clock_changes(ida):
    sunday = date(2026, 10, 25)  # summer time ends in London
    visit = make_stop(ida, make_tank(), day=sunday)
    Stop.objects.filter(due_visit=visit).update(
        state="closed",
        arrived_at=datetime(2026, 10, 25, 9, 0, tzinfo=UTC),
        left_at=datetime(2026, 10, 25, 9, 40, tzinfo=UTC),
    )

    day = days_of(sunday, sunday, zone=ZoneInfo("Europe/London"), now=NOW)[0]

    assert (day.first.time(), day.end.time(), day.work, day.wrong) == (time(9), time(9, 40), 40, [])


def test_a_stop_under_way_is_not_missed(ida):
    visit = stop_at(ida, "Mill", time(9))
    at = datetime(2026, 6, 1, 12, tzinfo=UTC)
    actions.arrive(due_visit_id=visit.pk, at=at)

    assert wrong(at) == []


def test_a_stop_that_was_called_off_is_not_judged(ida):
    stop_at(ida, "Mill", time(9), 60)
    stop_at(ida, "Quay", time(9, 30), order=2)
    actions.call_off(stop=Stop.objects.get(due_visit__site__name="Quay"))

    assert wrong() == []


def test_a_day_is_told_in_numbers(ida):
    stop_at(ida, "Mill", time(9), 60, drive=10)
    stop_at(ida, "Quay", time(10, 30), 45, drive=20, order=2)

    day = days_of(MONDAY, MONDAY, zone=ZoneInfo("UTC"), now=NOW)[0]

    assert (day.first.time(), day.end.time(), day.driving, day.work) == (time(9), time(11, 15), 30, 105)


def test_times_that_were_written_down_count_in_the_business_own_zone(ida):
    visit = stop_at(ida, "Mill", time(9))
    arrived = datetime(2026, 6, 1, 8, 10, tzinfo=UTC)
    Stop.objects.filter(due_visit=visit).update(
        state="closed", arrived_at=arrived, left_at=arrived + timedelta(minutes=20)
    )

    day = days_of(MONDAY, MONDAY, zone=ZoneInfo("Europe/London"), now=NOW)[0]

    assert (day.first.time(), day.end.time(), day.work) == (time(9, 10), time(9, 30), 20)


@pytest.mark.parametrize(
    ("model", "changed", "said"),
    [
        (Site, {"name": "Quay <2>"}, "Quay &lt;2&gt;"),
        (Site, {"opens": time(11)}, "Mill opens only at 11:00."),
        (DueVisit, {"earliest": MONDAY, "due": MONDAY, "latest": MONDAY, "isolated": True}, "in isolation"),
        (DueVisit, {"earliest": date(2026, 6, 3), "due": date(2026, 6, 3), "latest": date(2026, 6, 3)}, "Mill is due on 3 June."),
        (Stop, {"planned_at": time(16, 45)}, "Ends 15 min after the shift."),
        (Stop, {"minutes": 77}, "77 min"),
        (Stop, {"drive_minutes": 59}, "59 min"),
        (Stop, {"state": "closed", "arrived_at": datetime(2026, 6, 1, 7, 45, tzinfo=UTC)}, "Begins 15 min before the shift."),
        (Round, {"ends": time(9, 10)}, "Ends 20 min after the shift."),
        (User, {"name": "Ida & Ben"}, "Ida &amp; Ben"),
    ],
)  # fmt: skip
def test_a_week_that_was_looked_at_says_at_once_what_has_changed(ida, model, changed, said):
    stop_at(ida, "Mill", time(9))
    owner = make_owner(zone="UTC")
    before = week_page(owner).content.decode()

    model.objects.exclude(pk=owner.pk).update(**changed)

    assert said not in before
    assert said in week_page(owner).content.decode()


def test_a_week_that_was_looked_at_hears_the_clock(ida, monkeypatch):
    stop_at(ida, "Mill", time(9))
    owner = make_owner(zone="UTC")
    seen = []
    for minute in (14, 16):
        monkeypatch.setattr(
            timezone, "now", lambda minute=minute: datetime(2026, 6, 1, 9, minute, tzinfo=UTC)
        )
        seen.append("is not begun" in week_page(owner).content.decode())

    assert seen == [False, True]


def owed(**plan):
    site = make_site(name=plan.pop("site", "Mill"))
    plan = make_plan(site, make_tank(site), every_weeks=4, weekday=0, starts_on=MONDAY, **plan)
    actions.owe_visits(first=MONDAY, last=MONDAY, at=NOW)
    return plan


def test_a_plan_without_a_technician_is_listed_with_its_reason_and_a_way_to_mend_it(ida):
    plan = owed()

    placed = actions.plan_simply(first=MONDAY, last=MONDAY)
    page = week_page(make_owner(zone="UTC")).content.decode()

    assert placed == 0
    assert [(u.visit.site.name, u.why) for u in unplaced(first=MONDAY, last=MONDAY)] == [
        ("Mill", "its plan names no technician")
    ]
    assert f'href="/own/plan/{plan.pk}/"' in page
    assert f'href="/week/visits/{DueVisit.objects.get().pk}/"' in page


def test_a_plan_of_somebody_who_left_is_listed_and_does_not_stop_the_others(ida):
    owed(technician=make_technician(name="Ole", is_active=False))
    owed(technician=ida, site="Quay")

    placed = actions.plan_simply(first=MONDAY, last=MONDAY)

    assert placed == 1
    assert [u.why for u in unplaced(first=MONDAY, last=MONDAY)] == ["Ole of its plan no longer drives"]


def test_what_was_called_off_on_its_day_is_still_owed(ida):
    stop_at(ida, "Mill", time(9))
    actions.call_off(stop=Stop.objects.get())

    assert [u.why for u in unplaced(first=MONDAY, last=MONDAY)] == ["it was called off that day"]


def test_a_call_out_nobody_placed_is_listed(ida):
    site = make_site()
    actions.owe_call_out(site=site, tanks=[make_tank(site)], why="leak", day=MONDAY, latest=MONDAY, at=NOW)

    assert [u.why for u in unplaced(first=MONDAY, last=MONDAY)] == ["nobody planned it: a call-out"]


def lead_of(page):
    return re.sub(r"\s+", " ", re.search(r'<h1 class="lead">(.*?)</h1>', page, re.S).group(1))


@pytest.mark.parametrize(
    ("late", "loose", "said"),
    [
        (False, False, "The week works."),
        (True, False, "The week works, but for one day."),
        (False, True, "The week works, but for one visit on no round."),
        (True, True, "The week works, but for one day and one visit on no round."),
    ],
)
def test_one_sentence_leads(ida, late, loose, said):
    stop_at(ida, "Quay", time(16, 50) if late else time(9))
    if loose:
        owed()

    assert lead_of(week_page(make_owner(zone="UTC")).content.decode()) == f"<b>{said}</b> From Monday 1 June."


def test_the_table_names_its_rows_and_columns(ida):
    stop_at(ida, "Mill", time(16, 45), 50)

    page = week_page(make_owner(zone="UTC")).content.decode()
    row = re.search(r"<tbody><tr>(.*?)</tr>", page, re.S).group(1)

    assert re.findall(r'<th scope="col"[^>]*>([^<]+)', page) == [
        "Technician", "Day", "Stops", "First arrival", "End", "Driving", "Work", "What is wrong",
    ]  # fmt: skip
    assert re.search(r'<th scope="row"[^>]*>Ida</th>', row)
    assert [c.strip() for c in re.findall(r"<td[^>]*>(.*?)</td>", row, re.S)] == [
        "Mon 1 Jun", "1", "16:45", "17:35", "5 min", "50 min", "Ends 35 min after the shift.",
    ]  # fmt: skip


@pytest.mark.parametrize("stops", [1, 3])
def test_the_week_asks_the_same_number_of_questions_for_one_and_three_rows(
    ida, stops, django_assert_num_queries
):
    for number in range(stops):
        make_stop(make_technician(), make_tank(), day=MONDAY)
        owed(site=f"Site of {number}")
    owner = make_owner(zone="UTC")
    browser = Browser()
    browser.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")

    with django_assert_num_queries(9):
        browser.get(f"/week/?from={MONDAY.isoformat()}")
