"""The owner's first page: soonest harm first, who is there and whether in time, and how the day stands."""

import datetime as clock
import re
import uuid
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client as Browser
from django.utils import timezone

from reports.models import Report
from servicedesk.desk.queries.ahead import Help, ahead_of, next_help
from servicedesk.desk.queries.today import Day
from servicedesk.dispatch.actions import ask, claim, fail, finish
from servicedesk.rounds.models import DueVisit, Round, Stop
from servicedesk.upkeep.models import Task
from servicedesk.watch.actions import raise_attention
from tests.factories.people import make_client_user, make_owner, make_technician
from tests.factories.tanks import make_site, make_tank
from tests.factories.visited import Journey

pytestmark = pytest.mark.django_db
LONDON = ZoneInfo("Europe/London")
NOW = datetime(2026, 6, 3, 9, 0, tzinfo=UTC)  # 10:00 in London


def in_h(hours):
    return NOW + timedelta(hours=hours)


def words(harm, help_):
    found = ahead_of(harm, help_, now=NOW, zone=LONDON)
    return found.head, found.words


def test_help_before_harm_comes_in_time():
    assert words(in_h(24), Help("Ida", in_h(2.4))) == (
        "Harm in about 24 h",
        "Help comes in time: Ida is there at 12:24.",
    )


def test_help_after_harm_is_nobody_before_then():
    assert words(in_h(6), Help("Ida", in_h(23))) == (
        "Harm in about 6 h",
        "Nobody is there before Thursday 4 June, 09:00 (Ida).",
    )


def test_harm_without_help_says_that_nobody_is_planned():
    assert words(in_h(70), None) == ("Harm in about 3 days", "Nobody of ours is planned to be there.")


def test_harm_that_nothing_dates_is_said_and_has_no_upright():
    found = ahead_of(None, Help("Ida", in_h(2)), now=NOW, zone=LONDON)

    assert (found.head, found.words) == ("Harm is not dated", "Ida is there at 12:00.")
    assert (found.help_h, found.harm_h) == (2.0, None)


def test_somebody_who_is_there_stands_at_now():
    found = ahead_of(in_h(-1), Help("Ida", in_h(-2), there=True), now=NOW, zone=LONDON)

    assert (found.head, found.words) == ("Harm has begun", "Ida is there now.")
    assert (found.help_h, found.harm_h) == (0.0, 0.0)


def test_somebody_who_is_late_is_no_help_that_can_be_drawn():
    found = ahead_of(in_h(5), Help("Ida", in_h(-2)), now=NOW, zone=LONDON)

    assert found.words == "Ida was due there at 08:00 and has not begun."
    assert found.help_h is None


def make_planned(tank, technician, day, at, **given):
    due = DueVisit.objects.create(
        key=str(uuid.uuid4()), cause="plan", site=tank.site, earliest=day, due=day, latest=day, made_at=NOW
    )
    due.tanks.set([tank])
    row, _made = Round.objects.get_or_create(day=day, technician=technician)
    return Stop.objects.create(round=row, due_visit=due, order=1, planned_at=at, **given)


def test_help_is_the_next_stop_at_that_site_in_the_business_zone():
    tank, ida = make_tank(), make_technician(name="Ida")
    day = clock.date(2026, 6, 3)
    make_planned(tank, ida, day - timedelta(days=1), clock.time(9))
    make_planned(tank, ida, day, clock.time(8), state="called_off")
    make_planned(tank, ida, day + timedelta(days=9), clock.time(9))
    make_planned(make_tank(tank.site), ida, day + timedelta(days=1), clock.time(11, 30))

    found = next_help([tank.site_id], now=NOW, zone=LONDON)

    assert found == {tank.site_id: Help("Ida", datetime(2026, 6, 4, 10, 30, tzinfo=UTC))}


def test_late_in_the_evening_the_day_is_the_businesss_and_not_greenwichs():
    tank, ida = make_tank(), make_technician(name="Ida")
    make_planned(tank, ida, clock.date(2026, 6, 3), clock.time(9))
    after_midnight = datetime(2026, 6, 3, 23, 30, tzinfo=UTC)  # 00:30 on the 4th in London

    assert next_help([tank.site_id], now=after_midnight, zone=LONDON) == {}


def test_who_is_under_way_goes_before_who_is_planned_earlier():
    tank, day = make_tank(), clock.date(2026, 6, 3)
    make_planned(tank, make_technician(name="Ida"), day, clock.time(9))
    make_planned(tank, make_technician(name="Rui"), day, clock.time(12), state="under_way", arrived_at=NOW)

    assert next_help([tank.site_id], now=NOW, zone=LONDON)[tank.site_id].who == "Rui"


def test_a_day_tells_its_stops_by_state():
    tank, ida, day = make_tank(make_site(name="The mill")), make_technician(), clock.date(2026, 6, 3)
    stops = [
        make_planned(tank, ida, day, clock.time(8), state="closed", arrived_at=NOW, left_at=NOW),
        make_planned(tank, ida, day, clock.time(9), state="under_way", arrived_at=NOW),
        make_planned(tank, ida, day, clock.time(10)),
    ]

    assert Day(stops[0].round, "Ida", stops).words == "1 closed, at The mill now, 1 to go"


def attend(tank, sentence, harm_h=None, severity=2):
    now = timezone.now()
    raise_attention(
        key=str(uuid.uuid4()),
        at=now,
        kind="out_of_band",
        word="below",
        severity=severity,
        tank=tank,
        site=tank.site,
        sentence=sentence,
        harm_at=harm_h and now + timedelta(hours=harm_h),
    )


def looked(ago=timedelta(minutes=1)):
    """The sweep went through to its end so long ago."""
    at = timezone.now() - ago
    job = ask(kind="sweep", key=f"sweep:{uuid.uuid4()}", args={}, at=at)
    assert finish(job=claim(job_id=job.pk, at=at), at=at)


def page(ago=timedelta(minutes=1)):
    if ago is not None:
        looked(ago)
    browser = Browser()
    browser.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")
    return browser


def test_the_page_puts_soonest_harm_first_and_draws_what_lies_ahead():
    tank = make_tank(make_site(name="Weir House"), name="Hall tank")
    attend(tank, "Nothing dates this.", severity=1)
    attend(tank, "Two days off.", 48)
    attend(tank, "Six hours off.", 6)
    text = page().get("/today/").content.decode()

    order = [text.index("<p>" + s) for s in ("Six hours off.", "Two days off.", "Nothing dates this.")]
    assert order == sorted(order)
    assert "<b>3 things need you.</b> Weir House, Hall tank first: Six hours off. Nobody of ours" in text
    assert len(re.findall(r'class="d-harm"', text)) == 4
    assert len(re.findall(r'class="button button--solid"', text)) == 1


def test_a_grey_day_says_so():
    text = page().get("/today/").content.decode()

    assert "Nothing needs you." in text
    assert "A good day is a grey page." in text


def test_a_day_that_nobody_looked_at_is_never_called_quiet():
    attend(make_tank(make_site(name="Weir House"), name="Hall tank"), "Six hours off.", 6)
    text = page(ago=timedelta(minutes=11)).get("/today/").content.decode()

    assert "<b>Nothing has been judged since" in text
    assert "Six hours off." in text
    assert "Nothing needs you." not in text


def test_before_the_first_look_nothing_is_known():
    text = page(ago=None).get("/today/").content.decode()

    assert "<b>The tanks have not been judged yet.</b>" in text
    assert "What is out of band or silent is not known now." in text
    assert "Nothing is out of band" not in text


def test_a_look_that_failed_is_no_look():
    at = timezone.now()
    job = ask(kind="sweep", key="sweep:failed", args={}, at=at)
    fail(job=claim(job_id=job.pk, at=at), at=at, error="It broke.", again=False)

    assert "have not been judged yet" in page(ago=None).get("/today/").content.decode()


def test_a_report_that_failed_says_so_with_its_reason_and_its_link():
    tank = make_tank(make_site(name="Weir House"))
    visit = Journey(tank, technician=make_technician(), at=timezone.now() - timedelta(hours=2)).hand_in()
    row = Report.objects.create(
        visit=visit, version=1, number="2026-0009", state="failed", error="The paper ran out.", made_at=NOW
    )
    text = page().get("/today/").content.decode()

    assert "It could not be made, and was not sent." in text
    assert "The paper ran out." in text
    assert f'href="/reports/{row.pk}/"' in text


def overdue_task(tank):
    day = timezone.now().date() - timedelta(days=9)
    return Task.objects.create(
        tank=tank,
        title="Change the floss",
        earliest=day,
        due=day,
        latest=day,
        state="open",
        made_at=NOW,
        key=str(uuid.uuid4()),
    )


def test_an_overdue_task_says_why_it_was_left():
    tank = make_tank()
    overdue_task(tank).facts.create(
        outcome="left",
        reason="The cellar was locked.",
        at=timezone.now(),
        origin=uuid.uuid4(),
        received_at=timezone.now(),
    )
    text = page().get("/today/").content.decode()

    assert "Left because: The cellar was locked." in text
    assert f'href="/tanks/{tank.pk}/"' in text


@pytest.mark.parametrize("count", [1, 3])
def test_more_rows_ask_no_more_queries(count, django_assert_max_num_queries):
    ida, today = make_technician(), timezone.now().astimezone(LONDON).date()
    for number in range(count):
        tank = make_tank()
        attend(tank, "Low.", 6)
        overdue_task(tank)
        make_planned(tank, ida, today, clock.time(9 + number))
    browser = page()

    with django_assert_max_num_queries(19):
        browser.get("/today/")


def test_a_clients_answer_is_shown_with_its_link():
    tank = make_tank(make_site(name="Weir House"))
    visit = Journey(tank, technician=make_technician(), at=timezone.now() - timedelta(hours=2)).hand_in()
    row = Report.objects.create(visit=visit, version=1, number="2026-0009", state="ready", made_at=NOW)
    at, who = timezone.now() - timedelta(minutes=5), make_client_user()
    row.answers.create(question=uuid.uuid4(), yes=True, by=who, at=at, origin=uuid.uuid4(), received_at=at)
    text = page().get("/today/").content.decode()

    assert "Clients answered" in text
    assert f"{tank.site.client.name} says yes to 2026-0009." in text
    assert f'href="/reports/{row.pk}/#asked"' in text


def test_reports_that_are_being_made_are_counted_and_not_listed():
    tank = make_tank()
    visit = Journey(tank, technician=make_technician(), at=timezone.now() - timedelta(hours=2)).hand_in()
    Report.objects.create(visit=visit, version=1, number="2026-0009", state="waiting", made_at=NOW)
    text = page().get("/today/").content.decode()

    assert "One report is being made." in text
    assert "Nothing needs you." in text


def test_a_round_whose_sites_say_where_they_stand_has_a_sketch():
    ida, day = make_technician(name="Ida"), clock.date(2026, 6, 3)
    located = [
        make_tank(make_site(name=n, lat=52 + i / 100, lon=0.5)) for i, n in enumerate(("Mill", "Weir"))
    ]
    stops = [make_planned(tank, ida, day, clock.time(9)) for tank in located]
    nowhere = make_planned(make_tank(), ida, day, clock.time(11))
    off = make_planned(located[0], ida, day, clock.time(12), state="called_off")

    assert (
        Day(stops[0].round, "Ida", [*stops, nowhere, off]).sketch.title == "The round of Ida: 1 Mill, 1 Weir."
    )
    assert Day(stops[0].round, "Ida", [stops[0], nowhere, off]).sketch is None
