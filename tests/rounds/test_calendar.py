"""A technician's rounds as a calendar that other programs read: by a secret address, without any key or code."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import icalendar
import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.rounds import actions
from servicedesk.rounds.models import DueVisit, Stop
from servicedesk.rounds.queries.calendar import address_of, calendar_of
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.stops import make_stop
from tests.factories.tanks import make_site, make_tank

pytestmark = pytest.mark.django_db
LONDON = ZoneInfo("Europe/London")


@pytest.fixture
def ida():
    make_business(zone="Europe/London")
    return make_technician(name="Ida")


def stand(ida, day, name="Ashpond", **given):
    site = make_site(
        name=name,
        address="1 Mill Lane",
        town="Reedham",
        key_code="KEY-4711",
        way_in="ring twice",
        on_site_phone="0555 01",
    )
    visit = make_stop(ida, make_tank(site, name="The hall tank"), day=day)
    Stop.objects.filter(due_visit=visit).update(planned_at=time(9, 30), minutes=45, **given)
    return visit


def events(person, at):
    read = icalendar.Calendar.from_ical(calendar_of(person, at=at))
    return list(read.walk("VEVENT"))


def test_each_stop_is_an_event_at_its_time_with_its_place_and_no_secret(ida):
    now = datetime(2026, 7, 6, 6, tzinfo=UTC)  # summer time
    visit = stand(ida, now.date())
    stand(make_technician(name="Ben"), now.date(), name="Another's")

    raw = calendar_of(ida, at=now).decode()
    (event,) = events(ida, now)
    assert event["summary"] == "Ashpond" and event["location"] == "1 Mill Lane, Reedham"
    assert event["dtstart"].dt == datetime(2026, 7, 6, 9, 30, tzinfo=LONDON)
    assert event["dtend"].dt == datetime(2026, 7, 6, 10, 15, tzinfo=LONDON)
    assert event["uid"] == f"{visit.pk}@tankround" and event["description"] == "The hall tank"
    for secret in ("KEY-4711", "ring twice", "0555 01"):
        assert secret not in raw
    assert all(len(line.encode()) <= 75 for line in raw.split("\r\n"))


def test_a_name_with_signs_of_the_format_reads_as_it_was_written(ida):
    now = datetime(2026, 7, 6, 6, tzinfo=UTC)
    stand(ida, now.date(), name="Ash; Pond, “old” \\ mill" + "ö" * 80)

    (event,) = events(ida, now)
    assert str(event["summary"]) == "Ash; Pond, “old” \\ mill" + "ö" * 80


def test_what_was_done_stands_as_it_was_what_is_called_off_or_far_does_not(ida):
    now = datetime(2026, 7, 6, 6, tzinfo=UTC)
    arrived = now - timedelta(days=2)
    stand(
        ida,
        arrived.date(),
        name="Done",
        arrived_at=arrived,
        left_at=arrived + timedelta(minutes=33),
        state="closed",
    )
    stand(ida, now.date(), name="Off", state="called_off")
    for days, name in ((-8, "long ago"), (29, "far")):
        stand(ida, (now + timedelta(days=days)).date(), name=name)
    alone = stand(ida, (now + timedelta(days=28)).date(), name="Alone")
    DueVisit.objects.filter(pk=alone.pk).update(isolated=True)

    done, last = events(ida, now)
    assert (done["summary"], done["dtstart"].dt, done["dtend"].dt) == (
        "Done",
        arrived,
        arrived + timedelta(minutes=33),
    )
    assert last["summary"] == "Alone" and "Isolation" in last["description"]


def test_the_address_is_shown_to_its_technician_alone_opens_without_signing_in_and_ends_with_the_password(
    ida,
):
    visit, owner = stand(ida, timezone.now().date()), make_owner()

    def page(person):
        browser = Browser()
        browser.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        return browser.get("/round/").content.decode()

    address = address_of(ida)
    assert address in page(ida) and "calendar/" not in page(owner)
    path = address[address.index("/round/") :]
    answer = Browser().get(path)
    assert (answer.status_code, answer["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    assert str(visit.pk).encode() in answer.content.replace(b"\r\n ", b"")

    assert Browser().post(path).status_code == 405
    ida.set_password("a heron by the weir at noon")
    ida.save()
    assert Browser().get(path).status_code == 404


def test_a_wrong_tag_another_person_and_one_who_left_open_nothing(ida):
    path = address_of(ida)
    path = path[path.index("/round/") :]
    ben, owner = make_technician(), make_owner()
    wrong = [
        path[:-6] + "x.ics",
        path.replace(str(ida.pk), str(ben.pk)),
        address_of(owner)[address_of(owner).index("/round/") :],
    ]
    ida.is_active = False
    ida.save()

    assert [Browser().get(one).status_code for one in (*wrong, path)] == [404] * 4


def test_what_moves_keeps_its_name_so_that_calendars_move_it(ida):
    now = timezone.now()
    visit = stand(ida, now.date())
    first = events(ida, now)[0]["uid"]
    actions.put_on_round(
        due_visit=visit, day=now.date() + timedelta(days=1), technician=ida, order=1, planned_at=time(15)
    )

    assert [event["uid"] for event in events(ida, now)] == [first]
