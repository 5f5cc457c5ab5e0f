"""What a test costs: the owner reads it beside each way of testing, nobody else does."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.models import Tank
from servicedesk.dosing.models import RateChange
from servicedesk.stock.models import Item
from servicedesk.water.models import Method
from tests.factories.people import make_business, make_owner, make_user
from tests.factories.tanks import (
    make_channel,
    make_instrument,
    make_item,
    make_measure,
    make_method,
    make_solution,
    make_tank,
    make_tank_test,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def methods():
    make_business(currency="EUR")
    priced = make_item(pack_size=500, price_per_pack=Decimal("21.00"))
    make_method(name="priced", reagent=priced, ml_per_test=5)
    make_method(name="no price", reagent=make_item(), ml_per_test=5)
    make_method(name="too little", reagent=make_item(pack_size=2, price_per_pack=1), ml_per_test=5)
    make_method(name="probe", kind="probe")


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


def costs_page(person, client):
    browser = Browser()
    browser.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return browser.get(f"/clients/{client.pk}/costs/")


@pytest.fixture
def reef():
    """A tank tested weekly at 0.21 a test, an instrument of four tests a day at 0.04, a pump of 10 mL a day at 0.02 a mL, and a
    reagent without a price."""
    tank = make_tank()
    kit = Method.objects.get(name="priced")
    make_tank_test(tank, method=kit, every_days=7)
    make_tank_test(tank, "calcium", method=Method.objects.get(name="no price"), every_days=14)
    bottle = make_item(name="titrant", pack_size=1000, price_per_pack=Decimal("8.00"))
    make_measure(make_instrument(tank), reagent=bottle, ml_per_test=5, tests_per_day=4)
    liquid = make_item(name="part one", pack_size=1000, price_per_pack=Decimal("20.00"))
    channel = make_channel(tank, solution=make_solution(item=liquid))
    now = timezone.now()
    RateChange.objects.create(
        channel=channel, at=now - timedelta(days=3), ml_per_day=10, origin=channel.pk, received_at=now
    )
    return tank


def test_a_clients_month_is_the_sum_of_its_tests_instruments_and_pumps(reef):
    page = costs_page(make_owner(), reef.site.client)

    month = 365.25 / 12
    parts = (0.21 * month / 7, 0.04 * 4 * month, 0.02 * 10 * month)
    assert float(page.context["month"]) == pytest.approx(sum(parts), abs=0.02)
    assert page.context["unknown"] == 1
    assert page.context["minutes"] == pytest.approx(2 * month / 7 + 2 * month / 14)
    text = page.content.decode()
    assert "part one" in text and "the pack&#x27;s price or the amount per test is missing" in text


def test_prices_are_the_owners_alone_and_a_pump_without_a_price_is_said(reef):
    assert costs_page(make_user("office"), reef.site.client).status_code == 404
    Item.objects.filter(name="part one").update(price_per_pack=None)

    page = costs_page(make_owner(), reef.site.client)

    assert page.context["unknown"] == 2
    assert "cost not known: the pack&#x27;s price is missing" in page.content.decode()


def test_a_channel_that_gives_nothing_costs_nothing_and_a_client_without_tanks_is_said(reef):
    RateChange.objects.create(
        channel=reef.channels.get(),
        at=timezone.now(),
        ml_per_day=0,
        origin=reef.pk,
        received_at=timezone.now(),
    )
    assert "part one" not in costs_page(make_owner(), reef.site.client).content.decode()

    Tank.objects.filter(pk=reef.pk).update(retired_on=timezone.now().date())
    assert (
        "There is no tank to count"
        in costs_page(make_owner(email="two@sluicegate.invalid"), reef.site.client).content.decode()
    )


def test_a_probe_uses_nothing_up_and_a_kit_whose_reagent_nobody_wrote_down_is_unknown(reef):
    make_tank_test(reef, "ph", method=Method.objects.get(name="probe"), every_days=7)
    make_tank_test(reef, "nitrate", method=make_method("nitrate", name="bare kit", kind="kit"), every_days=7)

    lines = {
        line.what: line
        for one in costs_page(make_owner(), reef.site.client).context["costs"]
        for line in one.lines
    }

    assert (lines["pH, probe"].unknown, lines["pH, probe"].month) == ("", None)
    assert lines["Nitrate, bare kit"].unknown == "cost not known: its reagent is not written down"
