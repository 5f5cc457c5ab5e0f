"""What planning has to know of people, sites and vans is own data: typed on forms, refused in words."""

import re
from datetime import date

import pytest
from django.test import Client as Browser

from clients.models import SiteClosed, SiteHours
from servicedesk.staff.models import Skill, Working
from servicedesk.stock.models import Place
from tests.factories.people import make_business, make_owner, make_technician, make_user
from tests.factories.tanks import make_place, make_site

pytestmark = pytest.mark.django_db
DAY = {"weekdays": ["0", "1", "3"], "shift_begins": "07:30", "shift_ends": "16:00", "lunch_minutes": "45", "lunch_from": "11:30",
       "lunch_until": "13:00", "overtime_minutes": "60", "begins_at": "home", "ends_at": "store"}  # fmt: skip
HOME = {"home_lat": "51.5", "home_lon": "-0,12", "overtime_price": "38.50"}


def signed_in(user):
    make_business()
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def test_how_a_technician_works_is_typed_from_the_list_of_people():
    ida, skill, browser = (
        make_technician(name="Ida"),
        Skill.objects.create(name="Ladders"),
        signed_in(make_owner()),
    )
    people = browser.get("/people/").content.decode()
    (address,) = re.findall(
        r'href="([^"]*/working/[^"]*)"[^>]*>How they work<span class="unseen">: Ida', people
    )

    answer = browser.post(address, {**DAY, **HOME, "skills": [str(skill.pk)]}, follow=True)

    row = Working.objects.get()
    assert (row.person, row.weekdays, row.lunch_minutes, str(row.overtime_price)) == (
        ida,
        [0, 1, 3],
        45,
        "38.50",
    )
    assert (row.home_lat, row.home_lon, row.begins_at, row.ends_at) == (51.5, -0.12, "home", "store")
    assert list(row.skills.all()) == [skill]
    assert "Ladders" in answer.content.decode() and ">Ida<" in answer.content.decode()
    assert f"/working/{row.pk}" in answer.content.decode()


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"shift_ends": "07:00"}, "ends later than it begins"),
        ({"lunch_until": "11:00"}, "from the first time until the second"),
        ({"lunch_minutes": "181"}, "180 minutes"),
        ({"overtime_minutes": "481"}, "480 minutes"),
        ({"home_lon": ""}, "both numbers, or none"),
        ({"home_lat": "91"}, "less than or equal to 90"),
    ],
)
def test_a_working_day_that_cannot_be_is_refused_in_words(wrong, said):
    ida = make_technician()

    page = (
        signed_in(make_owner())
        .post(f"/own/working/new/?in={ida.pk}", {**DAY, **HOME, **wrong})
        .content.decode()
    )

    assert said in page
    assert not Working.objects.exists()


def test_the_office_neither_sees_nor_sets_a_home_or_a_price():
    ida = make_technician()
    row = Working.objects.create(person=ida, home_lat=51.25, home_lon=0.5, overtime_price="38.50")
    browser = signed_in(make_user("office", email="office@x.invalid"))

    page = browser.get(f"/own/working/{row.pk}/").content.decode()
    assert "51.25" not in page and "38.50" not in page
    browser.post(f"/own/working/{row.pk}/", {**DAY, "home_lat": "1", "home_lon": "1", "overtime_price": "1"})
    row.refresh_from_db()
    assert (row.home_lat, str(row.overtime_price), row.weekdays) == (51.25, "38.50", [0, 1, 3])


def test_hours_and_closed_days_stand_on_the_clients_page():
    site = make_site()
    browser = signed_in(make_owner())
    for kind, values in (
        ("hours", {"weekdays": ["0", "4"], "opens": "08:00", "closes": "11:30"}),
        ("closed", {"from_on": "2099-08-01", "until_on": "2099-08-14", "why": "holidays"}),
    ):
        page = browser.post(f"/own/{kind}/new/?in={site.pk}", values, follow=True).content.decode()
    assert "08:00–11:30" in page and "Monday, Friday" in page and "closed 1 August to 14 August 2099" in page
    assert (SiteHours.objects.get().site, SiteClosed.objects.get().until_on) == (site, date(2099, 8, 14))

    wrong = browser.post(
        f"/own/hours/new/?in={site.pk}", {"weekdays": ["0"], "opens": "12:00", "closes": "11:30"}
    )
    assert "closes later than it opens" in wrong.content.decode()
    wrong = browser.post(
        f"/own/closed/new/?in={site.pk}", {"from_on": "2099-08-02", "until_on": "2099-08-01"}
    )
    assert "on the day it begins or later" in wrong.content.decode()


def test_what_a_van_takes_is_typed_and_half_a_place_is_refused():
    van, browser = make_place(kind="van"), signed_in(make_owner())
    typed = {"name": van.name, "kind": "van", "water_l": "300", "most_kg": "650", "boxes": "12"}

    assert "both numbers" in browser.post(f"/own/place/{van.pk}/", {**typed, "lat": "51"}).content.decode()
    browser.post(f"/own/place/{van.pk}/", typed)
    assert Place.objects.values_list("water_l", "most_kg", "boxes").get(pk=van.pk) == (300, 650, 12)
