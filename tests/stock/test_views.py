"""The pages on which supplies are booked: owner and office everywhere, a technician in the own van."""

import uuid
from decimal import Decimal

import pytest
from django.test import Client as Browser

from servicedesk.stock.models import Movement
from servicedesk.stock.queries import balance
from tests.factories.people import make_business, make_owner, make_technician, make_user
from tests.factories.tanks import make_item, make_lot, make_place

pytestmark = pytest.mark.django_db


def signed_in(user):
    make_business()
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def fields(**given):
    return {"quantity": "2", "counted_in": "unit", "entry": str(uuid.uuid4()), **given}


@pytest.mark.parametrize("verb", ["receive", "count", "move"])
def test_a_technician_without_a_van_books_nothing(verb):
    item, place = make_item(), make_place(kind="van")

    answer = signed_in(make_technician()).post(f"/supplies/{item.pk}/{verb}/", fields(place=str(place.pk)))

    assert (answer.status_code, Movement.objects.count()) == (404, 0)


def test_a_technician_cannot_count_in_anothers_van_or_the_store():
    technician, item, store = make_technician(), make_item(), make_place()
    make_place(kind="van", keeper=technician)

    answer = signed_in(technician).post(f"/supplies/{item.pk}/count/", fields(place=str(store.pk)))

    assert (answer.status_code, Movement.objects.count()) == (200, 0)


def test_a_technician_counts_the_own_van():
    technician, item = make_technician(), make_item()
    van = make_place(kind="van", keeper=technician)
    browser = signed_in(technician)

    answer = browser.post(f"/supplies/{item.pk}/count/", fields(place=str(van.pk), quantity="7"), follow=True)

    assert answer.request["PATH_INFO"] == "/van/"
    assert "more than the book said" in answer.content.decode()
    assert (balance(item, van), Movement.objects.get().by) == (7, technician)


@pytest.mark.parametrize(
    ("typed", "said"),
    [("78o", "Did you mean 780?"), ("-2", "more than nought"), ("", "How much is needed."), ("nan", "is not a number")],
)  # fmt: skip
def test_an_amount_that_is_none_is_refused_in_words_and_stays(typed, said):
    item = make_item()
    browser = signed_in(make_owner())

    page = browser.post(f"/supplies/{item.pk}/receive/", fields(quantity=typed)).content.decode()

    assert said in page
    assert f'value="{typed}"' in page or not typed
    assert Movement.objects.count() == 0


def test_a_date_without_its_lot_is_asked_for():
    item = make_item()

    page = signed_in(make_owner()).post(
        f"/supplies/{item.pk}/receive/", fields(expires_on="2027-01-31")
    ).content.decode()  # fmt: skip

    assert "A date needs its lot" in page
    assert Movement.objects.count() == 0


def test_the_owner_books_packs_with_a_price_and_sending_it_twice_books_once():
    item, browser = make_item(pack_size=500), signed_in(make_owner())
    said = fields(quantity="2,5", counted_in="pack", code="A7", expires_on="2027-01-31", price="12.50")

    browser.post(f"/supplies/{item.pk}/receive/", said)
    page = browser.post(f"/supplies/{item.pk}/receive/", said, follow=True).content.decode()

    assert [(m.amount, m.price_per_pack) for m in Movement.objects.all()] == [(1250, Decimal("12.50"))]
    assert "31 January 2027" in page
    assert "12.50 EUR" in page


def test_the_office_sees_and_sets_no_price():
    item = make_item(price_per_pack=Decimal("93.10"))
    browser = signed_in(make_user("office"))

    browser.post(f"/supplies/{item.pk}/receive/", fields(price="1.00"))
    pages = [browser.get(f"/supplies/{item.pk}/{part}").content.decode() for part in ("", "receive/")]

    item.refresh_from_db()
    assert item.price_per_pack == Decimal("93.10")
    assert ["93.10" in page or "rice" in page for page in pages] == [False, False]


def test_what_stands_below_nothing_asks_to_be_counted():
    item, place, owner = make_item(), make_place(), make_owner()
    browser = signed_in(owner)
    browser.post(
        f"/supplies/{item.pk}/move/", fields(start=str(place.pk), end=str(make_place(kind="van").pk))
    )
    Movement.objects.create(
        item=item, place=place, amount=-9, reason="used", at=Movement.objects.first().at, received_at=Movement.objects.first().at, by=owner
    )  # fmt: skip

    assert "One stands below nothing" in browser.get("/supplies/").content.decode()


@pytest.mark.parametrize("count", [1, 3])
@pytest.mark.parametrize(("address", "queries"), [("/supplies/", 6), ("/supplies/{}/", 11)])
def test_lists_ask_as_often_for_three_as_for_one(count, address, queries, django_assert_num_queries):
    browser = signed_in(make_owner())
    for _number in range(count):
        item = make_item()
    for _number in range(count):
        lot = make_lot(item)
        browser.post(f"/supplies/{item.pk}/receive/", fields(code=lot.code))

    with django_assert_num_queries(queries):
        assert browser.get(address.format(item.pk)).status_code == 200


def test_the_van_page_asks_as_often_for_three_supplies_as_for_one(django_assert_num_queries):
    technician = make_technician()
    make_place(kind="van", keeper=technician)
    browser = signed_in(technician)
    make_item(), make_item(), make_item()

    with django_assert_num_queries(5):
        assert browser.get("/van/").status_code == 200
