"""What changes about clients and their tanks: who sees a tank, what becomes of animals, who looked at a key."""

import uuid
from datetime import date

import pytest

from clients import actions
from clients.models import KeyLook, LivestockFact, Sight
from clients.queries import livestock_of
from tests.factories.people import make_technician
from tests.factories.tanks import NOON, make_livestock, make_site, make_tank

pytestmark = pytest.mark.django_db


def see(user, tank, cause, first=1, last=5):
    days = {"first_day": date(2026, 6, first), "last_day": date(2026, 6, last)}
    return actions.give_sight(user=user, tank=tank, why="round", cause=cause, **days)


def test_the_same_cause_again_moves_the_days():
    user, tank, cause = make_technician(), make_tank(), uuid.uuid4()
    see(user, tank, cause)
    see(user, tank, cause, first=3, last=9)

    row = Sight.objects.get()
    assert (row.first_day, row.last_day) == (date(2026, 6, 3), date(2026, 6, 9))


def test_what_a_cause_let_others_see_is_taken_back_and_their_other_causes_stay():
    tank, cause, other = make_tank(), uuid.uuid4(), uuid.uuid4()
    ida, ben = make_technician(name="Ida"), make_technician(name="Ben")
    see(ida, tank, cause), see(ben, tank, cause), see(ida, tank, other)

    actions.take_sight(cause=cause, but=ben)

    assert sorted((s.user.name, s.cause == cause) for s in Sight.objects.all()) == [
        ("Ben", True),
        ("Ida", False),
    ]


def tell(animals, change, number, **given):
    rest = {"at": NOON, "by": None, "origin": uuid.uuid4(), "received_at": NOON, **given}
    return actions.record_livestock(livestock=animals, change=change, number=number, **rest)


def test_animals_come_die_and_move_out_and_the_same_news_is_one_fact():
    tank = make_tank()
    fish, origin = make_livestock(tank), uuid.uuid4()
    tell(fish, "added", 9)
    tell(fish, "died", 2, origin=origin)
    tell(fish, "died", 2, origin=origin)
    tell(fish, "moved", 3)

    assert livestock_of([tank])[0].number == 4
    assert LivestockFact.objects.count() == 3


def test_more_deaths_than_animals_are_recorded_and_none_is_refused():
    tank = make_tank()
    fish = make_livestock(tank)
    tell(fish, "died", 2)

    assert livestock_of([tank])[0].number == -2
    with pytest.raises(actions.NotSound, match="one or more"):
        tell(fish, "died", 0)


def test_each_look_at_a_key_is_kept():
    site, ida = make_site(), make_technician()
    for _look in range(2):
        actions.log_key_look(site=site, user=ida, at=NOON)

    assert [(row.user, row.at) for row in KeyLook.objects.all()] == [(ida, NOON)] * 2
