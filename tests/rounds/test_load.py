"""The load of a round: each thing once, by shelf, in litres, cans and kilograms."""

import uuid
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.dosing.actions import record_refill, set_rate
from servicedesk.instruments.models import ReagentLoad
from servicedesk.rounds.queries import load_of, round_of
from servicedesk.rounds.queries.ground import Ground
from servicedesk.rounds.queries.load import boxes_of
from servicedesk.supply.models import RunOut
from servicedesk.upkeep.models import Task, TaskRule
from servicedesk.water.models import WaterChange
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.stops import make_stop
from tests.factories.tanks import (
    make_channel,
    make_instrument,
    make_item,
    make_measure,
    make_place,
    make_site,
    make_tank,
)

pytestmark = pytest.mark.django_db
NOW = timezone.now()
TODAY = NOW.date()


@pytest.fixture
def ida():
    make_business(zone="UTC")
    return make_technician(zone="UTC")


def make_task(tank, item=None, amount=1.0, title="Filter floss"):
    rule = TaskRule.objects.create(tank=tank, title=title, starts_on=TODAY, carry=item, carry_amount=amount)
    return Task.objects.create(
        key=str(uuid.uuid4()),
        rule=rule,
        tank=tank,
        title=title,
        earliest=TODAY,
        due=TODAY,
        latest=TODAY,
        made_at=NOW,
    )


def load_for(user):
    return load_of(round_of(user, TODAY)[1], day=TODAY, at=NOW)


def page(user, query=""):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser.get(f"/load/{query}")


def change(tank, litres, **given):
    rest = {"at": NOW - timedelta(days=7), "received_at": NOW, **given}
    return WaterChange.objects.create(tank=tank, litres=litres, **rest)


def test_a_technician_sees_only_the_own_load(ida):
    make_stop(ida, make_tank(make_site(name="The own")))
    other = make_technician(zone="UTC")
    tank = make_tank(make_site(name="The other"))
    make_stop(other, tank)
    make_task(tank, make_item(name="Secret floss", unit="pcs"))

    answer = page(ida, f"?technician={other.pk}").content.decode()

    assert ("Secret floss" in answer, "The other" in answer, other.name in answer) == (False, False, False)


def test_the_office_sees_a_technicians_load(ida):
    tank = make_tank(make_site(name="Mill House"))
    make_stop(ida, tank, order=3)
    make_task(tank, make_item(name="Floss", unit="pcs"), 2)

    answer = page(make_owner(zone="UTC"), f"?technician={ida.pk}").content.decode()

    assert "2 pcs" in answer
    assert 'For <span class="whole">3 Mill House</span>' in answer


def test_a_thing_for_two_stops_stands_once_with_both_stops(ida):
    floss = make_item(name="Floss", unit="pcs", shelf="B2")
    first, second, third = make_tank(), make_tank(), make_tank()
    make_stop(ida, first, order=1)
    make_stop(ida, second, third, order=2)
    for tank in (first, second, third):
        make_task(tank, floss, 1)

    load = load_for(ida)

    assert [(s.name, li.item.name, li.amount, li.stops) for s in load.shelves for li in s.lines] == [
        ("B2", "Floss", 3.0, {1, 2})
    ]


def test_shelves_stand_in_order_and_what_has_none_stands_last(ida):
    tank = make_tank()
    make_stop(ida, tank)
    for name, shelf in (("loose", ""), ("carbon", "C1"), ("resin", "A4")):
        make_task(tank, make_item(name=name, unit="g", shelf=shelf), 100, title=name)

    assert [s.name for s in load_for(ida).shelves] == ["A4", "C1", ""]


def test_mixed_water_is_said_in_litres_cans_and_kilograms(ida):
    one, two = make_tank(), make_tank()
    make_stop(ida, one, two, order=4)
    change(one, 40, salinity=35.0, temperature_c=25.0)
    change(one, 99, at=NOW - timedelta(days=20))
    change(two, 15, salinity=35.0, temperature_c=25.0)

    load = load_for(ida)

    assert (load.litres, load.cans, [w.stop for w in load.water]) == (55.0, 6, [4])
    # 1023.343 kg/m3 at practical salinity 35, 25 C: UNESCO technical papers in marine science 44 (1983), EOS-80
    assert load.kg == pytest.approx(55 * 1.023343, abs=0.01)


def test_cans_are_as_large_as_the_business_says(ida, settings):
    settings.CAN_LITRES = 25.0
    tank = make_tank()
    make_stop(ida, tank)
    change(tank, 50)

    assert load_for(ida).cans == 2


@pytest.mark.parametrize(("water_type", "days"), [("planted", 7), ("reef_stony", 61)])
def test_fresh_water_and_changes_long_ago_ask_for_no_mixed_water(ida, water_type, days):
    tank = make_tank(water_type=water_type)
    make_stop(ida, tank)
    change(tank, 40, at=NOW - timedelta(days=days))

    assert (load_for(ida).water, load_for(ida).cans) == ([], 0)


def fill(tank, ml_now):
    channel = make_channel(tank, container_ml=1000)
    rest = {"at": NOW, "by": None, "received_at": NOW}
    set_rate(channel=channel, ml_per_day=100, origin=uuid.uuid4(), **rest)
    record_refill(channel=channel, ml_now=ml_now, origin=uuid.uuid4(), **rest)
    return channel


@pytest.mark.parametrize(("ml_now", "brought"), [(599, [401.0]), (699, [301.0]), (801, [])])
def test_a_container_that_is_empty_by_the_next_visit_is_filled_up(ida, ml_now, brought):
    tank = make_tank()
    make_stop(ida, tank)
    make_stop(ida, tank, day=TODAY + timedelta(days=7))
    fill(tank, ml_now)

    lines = load_for(ida).lines

    assert [pytest.approx(li.amount) for li in lines] == brought


def test_a_reagent_that_runs_out_before_the_next_visit_is_brought_as_a_bottle(ida):
    tank = make_tank()
    make_stop(ida, tank)
    reagent = make_item(name="Titrant", shelf="R1")
    measure = make_measure(
        make_instrument(tank), reagent=reagent, ml_per_test=5, tests_per_day=4, bottle_ml=250
    )
    ReagentLoad.objects.create(measure=measure, at=NOW, ml=100, received_at=NOW)

    lines = load_for(ida).lines

    assert [(li.item.name, li.amount, li.kg) for li in lines] == [("Titrant", 250.0, 0.25)]


def test_what_is_closed_is_no_longer_carried(ida):
    tank = make_tank()
    visit = make_stop(ida, tank)
    make_task(tank, make_item(name="Floss", unit="pcs"))
    type(visit.stop).objects.update(state="closed", arrived_at=NOW, left_at=NOW)

    assert "Nothing to load." in page(ida).content.decode()


@pytest.mark.parametrize("stops", [1, 3])
def test_the_load_asks_the_same_number_of_questions_for_one_and_three_stops(
    ida, stops, django_assert_num_queries
):
    floss = make_item(name="Floss", unit="pcs")
    for order in range(1, stops + 1):
        tank = make_tank()
        make_stop(ida, tank, order=order)
        make_task(tank, floss)
        fill(tank, 100)
        change(tank, 20)
    found = round_of(ida, TODAY)[1]

    with django_assert_num_queries(8):
        load_of(found, day=TODAY, at=NOW)


def test_a_load_that_weighs_next_to_nothing_says_so(ida):
    tank = make_tank()
    make_stop(ida, tank)
    make_task(tank, make_item(name="Filter floss", unit="pcs"), amount=2)

    assert "<b>Less than a kilogram for one stop.</b>" in page(ida).content.decode()


@pytest.mark.parametrize(
    ("amounts", "boxes"),
    [
        ([], 0),
        ([(4, 1, 1)], 1),  # one pack in a box of four
        ([(4, 1, 4), (2, 1, 1)], 2),
        ([(4, 500, 501)], 1),  # two packs of 500 mL are half a box
        ([(4, 500, 501), (2, 1, 2)], 2),
        ([(None, 1, 90)], 0),
        ([(3, 1, 0.1), (3, 1, 0.1), (3, 1, 0.1)], 1),
    ],
)
def test_boxes_are_filled_by_whole_packs(amounts, boxes):
    things = {
        make_item(name=f"Thing {n}", packs_per_box=box, pack_size=pack): amount
        for n, (box, pack, amount) in enumerate(amounts)
    }
    assert boxes_of(things) == boxes


def test_each_stops_things_travel_in_boxes_of_their_own_and_the_van_takes_so_many(ida):
    floss = make_item(name="Floss", unit="pcs", packs_per_box=10)
    for number in range(3):
        tank = make_tank(make_site(name=f"Site {number}"))
        make_stop(ida, tank, order=number + 1)
        make_task(tank, floss, 2)
    van = make_place(kind="van", name="Van", keeper=ida, boxes=8)
    assert load_for(ida).boxes == 3
    text = page(ida).content.decode()
    assert "3 boxes; the van takes 8." in text and "more than it takes" not in text
    van.boxes = 2
    van.save()
    assert "That is more than it takes." in page(ida).content.decode()
    van.delete()
    assert "3 boxes." in page(ida).content.decode()


def test_planning_counts_boxes_and_weight_of_what_tasks_ask_for_and_what_runs_empty(ida):
    tank = make_tank()
    visit = make_stop(ida, tank)
    make_task(tank, make_item(name="Media", unit="g", pack_size=500, packs_per_box=2), 1500)
    bottle = make_item(name="Solution", unit="mL", pack_size=1000, packs_per_box=1)
    RunOut.objects.create(id=uuid.uuid4(), tank=tank, item=bottle, what="Solution", empty_on=TODAY, fill=400, worked_at=NOW)  # fmt: skip
    ground = Ground([tank], [TODAY], NOW)
    assert ground.loads(visit, [tank]) == (0, 2, 3)
