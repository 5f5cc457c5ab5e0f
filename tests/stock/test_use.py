"""What is used at a visit leaves the van of whoever was there, and what was not used is there again."""

import uuid
from datetime import date

import pytest

from servicedesk.stock import actions
from servicedesk.stock.models import Movement
from servicedesk.stock.queries import balance, short
from tests.factories.people import make_technician
from tests.factories.tanks import NOON, make_item, make_lot, make_place

pytestmark = pytest.mark.django_db
FACT = {"at": NOON, "received_at": NOON}


@pytest.fixture
def ida():
    return make_technician(name="Ida")


def came(item, place, amount, lot=None):
    actions.record_movement(
        item=item,
        place=place,
        amount=amount,
        reason="received",
        by=None,
        origin=uuid.uuid4(),
        lot=lot,
        **FACT,
    )


def test_it_leaves_the_own_van_the_lot_that_expires_first_before_others(ida):
    van, item = make_place(name="Ida's van", kind="van", keeper=ida), make_item(unit="mL")
    late, soon = (make_lot(item, expires_on=date(2030, month, 1)) for month in (9, 3))
    came(item, van, 100, late), came(item, van, 100, soon)

    row = actions.use(item=item, amount=30, lot=None, by=ida, origin=uuid.uuid4(), **FACT)

    assert (row.place, row.lot, row.amount) == (van, soon, -30)


def test_without_a_van_it_leaves_the_store_without_a_lot_where_none_is_there(ida):
    store, item = make_place(name="Store", kind="store"), make_item(unit="mL")
    came(item, store, 100)

    row = actions.use(item=item, amount=130, lot=None, by=ida, origin=uuid.uuid4(), **FACT)

    assert (row.place, row.lot) == (store, None)
    assert [(s.item, s.place, s.amount) for s in short()] == [(item, store, -30)]


@pytest.mark.parametrize("amount", [0, -5])
def test_nothing_used_books_nothing(ida, amount):
    item = make_item(unit="mL")
    came(item, make_place(name="Store", kind="store"), 100)

    assert actions.use(item=item, amount=amount, lot=None, by=ida, origin=uuid.uuid4(), **FACT) is None


def test_of_a_supply_without_a_book_nothing_is_booked(ida):
    assert actions.use(item=make_item(), amount=5, lot=None, by=ida, origin=uuid.uuid4(), **FACT) is None
    assert not Movement.objects.exists()
    assert short() == []


def test_what_was_not_used_is_there_again_once(ida):
    store, item, origin = make_place(name="Store", kind="store"), make_item(unit="mL"), uuid.uuid4()
    came(item, store, 100)
    actions.use(item=item, amount=30, lot=None, by=ida, origin=origin, **FACT)
    back = {"used": origin, "by": ida, "origin": uuid.uuid4(), **FACT}

    assert [actions.put_back(**back), actions.put_back(**back)] == [1, 1]
    assert balance(item, store) == 100
