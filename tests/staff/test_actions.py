"""The business and its people: set up once, hired under one address, kept in one zone."""

from datetime import date

import pytest

from servicedesk.staff import actions
from servicedesk.staff.models import Business, User
from tests.factories.people import PASSWORD, make_business, make_owner, make_technician

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 3)


def test_the_first_owner_sets_the_business_up_and_nobody_does_it_twice():
    said = {"business": {"name": "Lockgate", "zone": "Europe/Paris"}, "password": PASSWORD, "on": DAY}
    owner = actions.set_up(name="Vera", email="vera@example.org", **said)

    assert (owner.role, owner.zone, owner.joined_on) == ("owner", "Europe/Paris", DAY)
    assert Business.objects.get().name == "Lockgate"
    with pytest.raises(actions.NotHired, match="has its owner already"):
        actions.set_up(name="Eve", email="eve@example.org", **said)


def test_everybody_moves_with_the_zone_of_the_business():
    make_business()
    ida = make_technician()
    actions.save_business(zone="Europe/Paris")
    actions.save_business(phone="0555 0101")
    ida.refresh_from_db()

    assert ida.zone == "Europe/Paris"


def test_an_address_signs_in_one_person_only():
    make_business(zone="Europe/Paris")
    hired = actions.hire(name="Ida", email="ida@example.org", role="technician", password=None, on=DAY)

    assert (hired.zone, hired.has_usable_password()) == ("Europe/Paris", False)
    with pytest.raises(actions.NotHired, match="Somebody already signs in with ida@example.org"):
        actions.hire(name="Ben", email="ida@example.org", role="technician", password=None, on=DAY)


def test_a_change_that_takes_anothers_address_is_refused_and_changes_nothing():
    ida, ben = make_technician(name="Ida"), make_technician(name="Ben")
    with pytest.raises(actions.NotHired, match="already signs in"):
        actions.change_person(person=ben, name="Bea", email=ida.email, phone="", role="technician")
    ben.refresh_from_db()

    assert ben.name == "Ben"


def test_one_of_two_owners_may_become_something_else():
    make_owner()
    second = make_owner()

    assert (
        actions.change_person(person=second, name="B", email=second.email, phone="1", role="office").role
        == "office"
    )


def test_one_of_two_owners_may_leave_and_come_back():
    make_owner()
    second = make_owner()
    actions.retire_person(person=second)
    gone = User.objects.get(pk=second.pk).is_active
    actions.bring_back_person(person=second)

    assert (gone, User.objects.get(pk=second.pk).is_active) == (False, True)


def test_who_was_shut_out_comes_back_with_a_new_password():
    ida = make_technician()
    actions.retire_person(person=ida)
    actions.let_in_again(person=ida, password="three otters under a bridge")
    ida.refresh_from_db()

    assert ida.is_active and ida.check_password("three otters under a bridge")


@pytest.mark.parametrize(
    ("wished", "kept"),
    [
        ({"light": "cellar", "hand": "left"}, ("cellar", "left")),
        ({"light": "device"}, ("", "right")),
        ({"light": "disco", "hand": "third"}, ("", "right")),
        ({}, ("", "right")),
    ],
)
def test_a_wish_that_is_known_is_kept_and_any_other_changes_nothing(wished, kept):
    ida = make_technician()
    actions.prefer(person=ida, **wished)
    ida.refresh_from_db()

    assert (ida.light, ida.hand) == kept


def test_that_cautions_were_seen_is_kept_for_the_day():
    ida = make_technician()
    actions.cautions_seen(person=ida, on=DAY)
    ida.refresh_from_db()

    assert ida.cautions_seen_on == DAY
