"""What a tank gets at a change: the water it names, else the usual one of its kind, else what nobody knows."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction

from servicedesk.water.models import ChangeWater, TankChangeWater
from servicedesk.water.queries import USUAL_MIX, water_for
from tests.factories.tanks import make_tank

pytestmark = pytest.mark.django_db


def a_water(name="Tap", kind="fresh", **given):
    return ChangeWater.objects.create(name=name, kind=kind, **given)


def test_of_fresh_water_nothing_is_known_before_it_was_tested():
    assert water_for(make_tank(water_type="planted")).holds == {}


def test_a_salt_mix_nobody_wrote_down_is_taken_as_it_is_made_to_be():
    found = water_for(make_tank(water_type="reef_mixed"))

    assert (found.name, found.tested_on, found.holds) == ("", None, USUAL_MIX)


def test_the_usual_water_of_its_kind_counts_with_what_was_tested_of_it():
    a_water(nitrate_mg_l=25, alkalinity_dkh=12, tested_on=date(2026, 3, 4))
    a_water("Mix", "salt", salinity=36)

    found = water_for(make_tank(water_type="planted"))

    assert (found.name, found.tested_on) == ("Tap", date(2026, 3, 4))
    assert found.holds == {"nitrate": 25, "alkalinity": 12, "carbonate_hardness": 12}


def test_a_tank_that_names_its_own_water_gets_that():
    a_water(nitrate_mg_l=25)
    pure, tank = a_water("Pure water", usual=False, nitrate_mg_l=0), make_tank(water_type="soft")
    TankChangeWater.objects.create(tank=tank, water=pure)

    assert (water_for(tank).name, water_for(tank).holds) == ("Pure water", {"nitrate": 0})


def test_a_water_out_of_use_is_not_the_usual_one_and_makes_room():
    a_water(nitrate_mg_l=25, retired_on=date(2026, 1, 1))
    a_water("Blend", nitrate_mg_l=4)

    assert water_for(make_tank(water_type="planted")).name == "Blend"


def test_two_usual_waters_of_one_kind_cannot_be():
    a_water()
    with pytest.raises(IntegrityError), transaction.atomic():
        a_water("Well")
    a_water("Mix", "salt")
