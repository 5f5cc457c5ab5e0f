"""Animals get a number without a visit: the office writes down what came, died or left."""

import uuid
from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.models import Livestock, LivestockFact
from clients.queries import livestock_of
from tests.factories.people import make_business, make_owner, make_technician, make_user
from tests.factories.tanks import make_livestock, make_tank

pytestmark = pytest.mark.django_db


def signed_in(user):
    make_business()
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def fields(**given):
    return {
        "change": "added",
        "number": "3",
        "on": "2026-06-03",
        "cause": "",
        "entry": str(uuid.uuid4()),
        **given,
    }


def number(tank):
    return livestock_of([tank])[0].number


def test_a_technician_writes_no_animals_down_outside_a_visit():
    animals = make_livestock(make_tank())

    answer = signed_in(make_technician()).post(f"/animals/{animals.pk}/", fields())

    assert (answer.status_code, LivestockFact.objects.count()) == (404, 0)


@pytest.mark.parametrize(
    ("typed", "said"),
    [("0", "one or more"), ("-2", "one or more"), ("2.5", "not a whole number"), ("10001", "10000"), ("", "How many is needed")],
)  # fmt: skip
def test_a_number_of_animals_that_cannot_be_is_refused_and_stays(typed, said):
    animals = make_livestock(make_tank())

    page = signed_in(make_owner()).post(f"/animals/{animals.pk}/", fields(number=typed, cause="old age"))

    assert said in page.content.decode()
    assert 'value="old age"' in page.content.decode()
    assert LivestockFact.objects.count() == 0


def test_what_happens_tomorrow_is_not_written_down_today():
    animals = make_livestock(make_tank())
    tomorrow = (timezone.now() + timedelta(days=2)).date()

    page = signed_in(make_owner()).post(f"/animals/{animals.pk}/", fields(on=tomorrow.isoformat()))

    assert "still to come" in page.content.decode()
    assert LivestockFact.objects.count() == 0


def test_new_animals_without_a_number_are_refused_and_none_are_made():
    tank = make_tank()

    page = signed_in(make_owner()).post(f"/own/animals/new/?in={tank.pk}", {"name": "gobies"})

    assert "How many is needed" in page.content.decode()
    assert Livestock.objects.count() == 0


def test_new_animals_come_with_their_number_since_their_day():
    tank, office = make_tank(), make_user("office")

    signed_in(office).post(
        f"/own/animals/new/?in={tank.pk}", {"name": "gobies", "number": "5", "since": "2026-03-02"}
    )

    fact = LivestockFact.objects.get()
    assert (fact.change, fact.number, fact.by) == ("added", 5, office)
    assert fact.at == datetime(2026, 3, 2, 12, tzinfo=UTC)
    assert number(tank) == 5


def test_a_death_sent_twice_is_one_death_with_its_cause():
    tank = make_tank()
    animals, browser = make_livestock(tank), signed_in(make_owner())
    browser.post(f"/animals/{animals.pk}/", fields(number="9"))
    death = fields(change="died", number="2", cause="jumped")

    browser.post(f"/animals/{animals.pk}/", death)
    page = browser.post(f"/animals/{animals.pk}/", death, follow=True).content.decode()

    assert number(tank) == 7
    assert "Died: jumped" in page
    assert [f.at.date() for f in LivestockFact.objects.all()] == [date(2026, 6, 3)] * 2


def test_more_deaths_than_animals_are_kept_and_ask_for_a_count():
    tank = make_tank()
    animals, browser = make_livestock(tank), signed_in(make_owner())

    page = browser.post(f"/animals/{animals.pk}/", fields(change="died"), follow=True).content.decode()

    assert number(tank) == -3
    assert "count them" in page


def test_the_tanks_page_lists_animals_with_their_number():
    tank = make_tank()
    animals = make_livestock(tank, name="gobies", sensitive_to=["copper"])
    browser = signed_in(make_owner())
    browser.post(f"/animals/{animals.pk}/", fields(number="9"))

    page = browser.get(f"/tanks/{tank.pk}/own/").content.decode()

    assert "gobies: 9" in page
    assert "sensitive to copper" in page
    assert f'href="/animals/{animals.pk}/"' in page


@pytest.mark.parametrize("count", [1, 3])
def test_the_page_of_animals_asks_as_often_for_three_changes_as_for_one(count, django_assert_num_queries):
    animals, browser = make_livestock(make_tank()), signed_in(make_owner())
    for _number in range(count):
        browser.post(f"/animals/{animals.pk}/", fields())
    browser.get("/clients/")

    with django_assert_num_queries(6):
        assert browser.get(f"/animals/{animals.pk}/").status_code == 200
