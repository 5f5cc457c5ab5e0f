"""What goes into a tank or a bottle at a visit leaves the van; what is taken back is there again."""

import uuid
from datetime import date, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.dosing.actions import record_refill, set_rate
from servicedesk.stock.actions import record_movement
from servicedesk.stock.models import Movement
from servicedesk.stock.queries import balance, short
from tests.factories.people import make_owner
from tests.factories.scenes import Scene
from tests.factories.tanks import (
    make_channel,
    make_instrument,
    make_item,
    make_lot,
    make_measure,
    make_place,
    make_solution,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene():
    return Scene()


@pytest.fixture
def van(scene):
    return make_place(name="Ida's van", kind="van", keeper=scene.ida)


def came(item, place, amount, lot=None):
    now = timezone.now() - timedelta(days=1)
    record_movement(item=item, place=place, amount=amount, reason="received", at=now, by=None, origin=uuid.uuid4(), received_at=now, lot=lot)  # fmt: skip


def test_a_dose_by_hand_leaves_the_van_and_comes_back_when_it_is_taken_back(scene, van):
    solution = make_solution()
    came(solution.item, van, 1000)
    key = scene.write("dose", tank=str(scene.tank.pk), solution=str(solution.pk), ml="40")
    after = balance(solution.item, van)
    scene.take_back(key)

    assert (after, balance(solution.item, van)) == (960, 1000)


def test_the_same_entry_twice_uses_once(scene, van):
    solution = make_solution()
    came(solution.item, van, 1000)
    key = scene.write("dose", tank=str(scene.tank.pk), solution=str(solution.pk), ml="40")
    back = {"entry": key, "withdraw": True, "why": "mistyped"}
    scene.write("correction", **back)
    scene.write("correction", **back)

    assert balance(solution.item, van) == 1000


def test_a_refill_uses_what_the_container_took(scene, van):
    channel = make_channel(scene.tank, container_ml=1000)
    came(channel.solution.item, van, 5000)
    scene.write("refill", channel=str(channel.pk), ml_now="1000", ml_before="300")

    assert balance(channel.solution.item, van) == 4300


def test_a_refill_without_the_old_level_uses_what_its_settings_say_was_missing(scene, van):
    channel, then = make_channel(scene.tank, container_ml=1000), timezone.now() - timedelta(days=2)
    came(channel.solution.item, van, 5000)
    rest = {"at": then, "by": None, "received_at": then}
    set_rate(channel=channel, ml_per_day=100, origin=uuid.uuid4(), **rest)
    record_refill(channel=channel, ml_now=1000, origin=uuid.uuid4(), **rest)
    scene.write("refill", channel=str(channel.pk), ml_now="1000")

    assert balance(channel.solution.item, van) == pytest.approx(4800, abs=1)


def test_a_reagent_load_takes_the_lot_that_is_named_else_the_one_that_expires_first(scene, van):
    reagent = make_item(kind="reagent", unit="mL")
    late, soon = (make_lot(reagent, expires_on=date(2030, month, 1)) for month in (9, 3))
    measure = make_measure(make_instrument(scene.tank), reagent=reagent, bottle_ml=250)
    came(reagent, van, 500, late)
    came(reagent, van, 500, soon)
    scene.write("reagent_load", measure=str(measure.pk), ml="250", lot=str(late.pk))
    scene.write("reagent_load", measure=str(measure.pk), ml="100")

    assert (balance(reagent, van, late), balance(reagent, van, soon)) == (250, 400)


def test_without_a_van_it_leaves_the_store(scene):
    solution, store = make_solution(), make_place(name="Store", kind="store")
    came(solution.item, store, 1000)
    scene.write("dose", tank=str(scene.tank.pk), solution=str(solution.pk), ml="40")

    assert balance(solution.item, store) == 960


@pytest.mark.parametrize(("unit", "kept"), [("mL", False), ("pcs", True)])
def test_what_has_no_book_or_is_no_liquid_is_not_booked(scene, van, unit, kept):
    solution = make_solution()
    type(solution.item).objects.update(unit=unit)
    if kept:
        came(solution.item, van, 10)
    scene.write("dose", tank=str(scene.tank.pk), solution=str(solution.pk), ml="40")

    assert not Movement.objects.filter(reason="used").exists()


def test_more_than_the_book_holds_is_taken_and_the_stores_page_asks_to_count(scene, van):
    solution = make_solution()
    came(solution.item, van, 10)
    scene.write("dose", tank=str(scene.tank.pk), solution=str(solution.pk), ml="40")
    browser = Browser()
    browser.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")
    page = browser.get("/stores/").content.decode()

    assert [(row.place, row.amount) for row in short()] == [(van, -30)]
    assert "More was used out of Ida&#x27;s van than came in: the book says -30 mL." in page
