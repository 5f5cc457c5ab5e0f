"""What a test costs: the owner reads it beside each way of testing, nobody else does."""

from decimal import Decimal

import pytest
from django.test import Client as Browser

from tests.factories.people import make_business, make_owner, make_user
from tests.factories.tanks import make_item, make_method

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def methods():
    make_business(currency="EUR")
    priced = make_item(pack_size=500, price_per_pack=Decimal("21.00"))
    make_method(name="priced", reagent=priced, ml_per_test=5)
    make_method(name="no price", reagent=make_item(), ml_per_test=5)
    make_method(name="too little", reagent=make_item(pack_size=2, price_per_pack=1), ml_per_test=5)
    make_method(name="probe")


def page_for(person):
    browser = Browser()
    browser.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return browser.get("/methods/").content.decode()


def test_the_office_sees_no_price():
    page = page_for(make_user("office"))

    assert "priced" in page
    assert "a test" not in page
    assert "0.21" not in page


def test_the_owner_sees_what_a_test_costs_or_why_it_is_not_known():
    page = page_for(make_owner())

    assert "0.21 EUR a test" in page
    assert "cost not known: the pack&#x27;s price or the amount per test is missing" in page
    assert "cost not known: a pack holds no whole test" in page
    assert "no reagent" in page
