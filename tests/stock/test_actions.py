"""Supplies: what came, what is there, what moved. A balance may go below nought; a count books the difference."""

import uuid
from datetime import date, timedelta
from decimal import Decimal

import pytest

from servicedesk.stock import actions
from servicedesk.stock.models import Lot, Movement, Place
from servicedesk.stock.queries import balance, lots_of
from tests.factories.people import make_owner
from tests.factories.tanks import NOON, make_item, make_lot, make_place

pytestmark = pytest.mark.django_db


def receive(item, place, amount, **given):
    rest = {
        "code": "",
        "expires_on": None,
        "price_per_pack": None,
        "at": NOON,
        "origin": uuid.uuid4(),
        **given,
    }
    return actions.receive(item=item, place=place, amount=amount, by=make_owner(), **rest)


def count(item, place, there, **given):
    rest = {"lot": None, "at": NOON, "origin": uuid.uuid4(), **given}
    return actions.count(item=item, place=place, there=there, by=make_owner(), **rest)


def use(item, place, amount, **given):
    rest = {"at": NOON, "received_at": NOON, "origin": uuid.uuid4(), **given}
    return actions.record_movement(
        item=item, place=place, amount=-amount, reason="used", by=make_owner(), **rest
    )


@pytest.mark.parametrize("amount", [0, -1])
def test_receiving_nothing_is_refused(amount):
    with pytest.raises(actions.NothingMoved):
        receive(make_item(), make_place(), amount)

    assert Movement.objects.count() == 0


def test_a_use_of_nothing_is_refused():
    with pytest.raises(actions.NothingMoved):
        use(make_item(), make_place(), 0)


def test_counting_less_than_nothing_is_refused():
    with pytest.raises(actions.NothingMoved):
        count(make_item(), make_place(), -1)


def test_a_known_lot_with_another_date_is_refused_and_nothing_is_booked():
    item = make_item(price_per_pack=Decimal("9.00"))
    make_lot(item, code="A7", expires_on=date(2027, 1, 31))

    with pytest.raises(actions.OtherDate):
        receive(
            item, make_place(), 500, code="A7", expires_on=date(2027, 7, 31), price_per_pack=Decimal("12.00")
        )

    item.refresh_from_db()
    assert (Movement.objects.count(), item.price_per_pack) == (0, Decimal("9.00"))


def test_moving_to_where_it_is_already_is_refused():
    place = make_place()

    with pytest.raises(actions.NothingMoved):
        actions.move(
            item=make_item(), start=place, end=place, lot=None, amount=1, at=NOON, by=make_owner(), origin=uuid.uuid4()
        )  # fmt: skip


def test_a_receipt_makes_its_lot_and_sets_the_price():
    item, place = make_item(), make_place()

    row = receive(item, place, 1000, code="A7", expires_on=date(2027, 1, 31), price_per_pack=Decimal("12.50"))

    item.refresh_from_db()
    lot = Lot.objects.get()
    assert (row.amount, row.lot, row.reason, row.price_per_pack) == (1000, lot, "received", Decimal("12.50"))
    assert (lot.code, lot.expires_on, item.price_per_pack) == ("A7", date(2027, 1, 31), Decimal("12.50"))


def test_the_second_delivery_of_a_lot_brings_its_missing_date():
    item, place = make_item(), make_place()
    make_lot(item, code="A7")

    receive(item, place, 1, code="A7", expires_on=date(2027, 1, 31))

    assert [lot.expires_on for lot in item.lots.all()] == [date(2027, 1, 31)]


def test_the_same_receipt_again_books_once():
    item, place, origin = make_item(), make_place(), uuid.uuid4()

    first = receive(item, place, 500, origin=origin)
    again = receive(item, place, 500, origin=origin)

    assert (first, balance(item)) == (again, 500)


def test_without_a_place_a_receipt_goes_to_a_store_made_for_it():
    item = make_item()

    receive(item, None, 5)
    receive(item, None, 5)

    assert [(p.name, p.kind, balance(item, p)) for p in Place.objects.all()] == [("Store", "store", 10)]


def test_what_is_used_without_being_there_stands_below_nought_and_a_count_books_the_difference():
    item, place = make_item(), make_place()
    use(item, place, 30)
    below = balance(item, place)

    row = count(item, place, 20)

    assert (below, row.amount, row.reason, balance(item, place)) == (-30, 50, "counted", 20)


def test_a_count_that_agrees_is_kept():
    item, place = make_item(), make_place()
    receive(item, place, 7)

    row = count(item, place, 7)

    assert (row.amount, row.note) == (0, "counted 7, the book said 7")


def test_the_same_count_again_is_one_count():
    item, place, origin = make_item(), make_place(), uuid.uuid4()

    count(item, place, 7, origin=origin)
    count(item, place, 7, origin=origin)

    assert [row.amount for row in Movement.objects.all()] == [7]


def test_counting_one_lot_leaves_the_others():
    item, place = make_item(), make_place()
    receive(item, place, 10, code="A")
    receive(item, place, 10, code="B")

    count(item, place, 4, lot=Lot.objects.get(code="A"))

    assert [(left.lot.code, left.amount) for left in lots_of(item)] == [("A", 4), ("B", 10)]


def test_a_use_before_a_count_but_told_after_it_does_not_count_twice():
    item, place = make_item(), make_place()
    receive(item, place, 10, at=NOON - timedelta(hours=3))
    count(item, place, 7)

    use(item, place, 3, at=NOON - timedelta(hours=2), received_at=NOON + timedelta(hours=1))
    use(item, place, 2, at=NOON + timedelta(hours=2))

    assert balance(item, place) == 5


def test_a_move_leaves_the_sum_as_it_was():
    item, store, van = make_item(), make_place(), make_place(kind="van")
    receive(item, store, 10)

    actions.move(
        item=item, start=store, end=van, lot=None, amount=4, at=NOON, by=make_owner(), origin=uuid.uuid4()
    )

    assert (balance(item, store), balance(item, van), balance(item)) == (6, 4, 10)


def test_lots_stand_in_the_order_of_their_dates_and_what_has_no_lot_comes_last():
    item, place = make_item(), make_place()
    receive(item, place, 1)
    make_lot(item, code="undated")
    make_lot(item, code="late", expires_on=date(2028, 1, 1))
    make_lot(item, code="soon", expires_on=date(2027, 1, 1))

    found = [(left.lot.code if left.lot else None, left.amount) for left in lots_of(item)]

    assert found == [("soon", 0), ("late", 0), ("undated", 0), (None, 1)]
