"""Dosing solutions are made and listed among the supplies."""

import pytest
from django.test import Client as Browser

from servicedesk.dosing.models import Solution
from servicedesk.stock.models import Item
from tests.factories.people import make_business, make_owner
from tests.factories.tanks import make_item, make_solution

pytestmark = pytest.mark.django_db


def signed_in(user):
    make_business()
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def test_a_solution_without_strength_is_refused_and_what_was_typed_stays():
    item, browser = make_item(kind="solution"), signed_in(make_owner())

    page = browser.post(
        f"/own/solution/new/?in={item.pk}",
        {"parameter": "alkalinity", "per_ml": "0", "per_ml_u_rel": "0.02", "composition": "soda"},
    ).content.decode()

    assert 'value="soda"' in page
    assert Solution.objects.count() == 0


def test_a_new_dosing_solution_leads_on_to_its_strength_and_is_listed_with_it():
    browser = signed_in(make_owner())
    start = browser.get("/own/item/new/?kind=solution").content.decode()

    asked = browser.post(
        "/own/item/new/?kind=solution",
        {"name": "alk mix", "kind": "solution", "unit": "mL", "pack_size": "1000", "lead_days": "7"},
    )
    browser.post(
        asked["Location"],
        {"parameter": "alkalinity", "per_ml": "0.5", "per_ml_u_rel": "0.02", "composition": ""},
    )

    item = Item.objects.get()
    assert '<option value="solution" selected>' in start
    assert asked["Location"] == f"/own/solution/new/?in={item.pk}"
    assert "Alkalinity: 1 mL raises 1 L by 0.5 dKH" in browser.get("/supplies/").content.decode()


def test_a_solution_that_lacks_its_strength_says_so():
    make_solution()
    item = make_item(kind="solution")

    page = signed_in(make_owner()).get("/supplies/").content.decode()

    assert page.count("until then no pump can dose it") == 1
    assert f"/own/solution/new/?in={item.pk}" in page
