"""What the database would refuse is said in one sentence, at its field, and what was typed stays."""

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.models import Client, Site, Tank
from servicedesk.desk.actions import own
from servicedesk.desk.choices import SENTENCES
from servicedesk.desk.forms import KINDS
from servicedesk.stock.models import Item
from tests.factories.people import make_business, make_owner
from tests.factories.tanks import (
    make_band,
    make_client,
    make_equipment,
    make_instrument,
    make_item,
    make_lot,
    make_measure,
    make_method,
    make_plan,
    make_site,
    make_tank,
    make_tank_test,
)

pytestmark = pytest.mark.django_db
LAWS = sorted({(kind.name, law.name) for kind in KINDS.values() for law in kind.model._meta.constraints})


def post(address, typed):
    make_business()
    browser = Browser()
    browser.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")
    return browser.post(address, typed).content.decode()


@pytest.mark.parametrize(("kind", "law"), LAWS)
def test_every_law_of_own_data_has_its_sentence_at_a_field_of_the_form(kind, law):
    field, sentence = SENTENCES[law]

    assert field in KINDS[kind].fields
    assert str(sentence).endswith(".")


def test_no_sentence_is_left_of_a_law_that_is_gone():
    assert set(SENTENCES) == {law for _kind, law in LAWS}


def test_a_clients_name_twice_is_refused_in_whatever_letters():
    make_client(name="Quay Hotel")

    page = post("/own/client/new/", {"name": "QUAY hotel", "phone": "0555 0101"})

    assert "A client of this name is there already." in page
    assert 'value="0555 0101"' in page
    assert Client.objects.count() == 1


def test_a_name_twice_beside_the_same_parent_is_refused_and_beside_another_kept():
    site = make_site(name="Quay")
    typed = {"name": "Quay", "address": "Quay 2"}

    page = post(f"/own/site/new/?in={site.client_id}", typed)
    post(f"/own/site/new/?in={make_client().pk}", typed)

    assert "This client has a site of this name already." in page
    assert Site.objects.count() == 2


def test_a_row_saved_as_it_stands_does_not_stand_in_its_own_way():
    tank = make_tank(name="Bar reef")

    post(f"/own/tank/{tank.pk}/", {"name": "Bar reef", "place": "left", "water_type": "reef_soft", "gross_l": "300,5", "net_l": "240", "net_l_u": "8", "order": "1"})  # fmt: skip

    tank.refresh_from_db()
    assert (tank.place, tank.gross_l) == ("left", 300.5)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"net_l": "400"}, "The net volume fits into the gross volume."),
        ({"net_l": "0"}, "The net volume is more than nought."),
        ({"net_l_u": "-1"}, "Nought or more."),
        ({"net_l": "24o"}, "Did you mean 240?"),
        ({"net_l": "inf"}, "is not a number"),
        ({"name": ""}, "Name is needed."),
    ],
)
def test_a_tank_that_cannot_be_is_refused_in_its_own_sentence(given, said):
    typed = {"name": "Odd", "place": "there", "water_type": "reef_soft", "gross_l": "300", "net_l": "240", "net_l_u": "8", "order": "1", **given}  # fmt: skip

    page = post(f"/own/tank/new/?in={make_site().pk}", typed)

    assert said in page
    assert "Constraint" not in page
    assert 'value="there"' in page
    assert Tank.objects.count() == 0


@pytest.mark.parametrize(
    ("kind", "make", "typed", "said"),
    [
        ("plan", lambda t: make_plan(t.site, t, name="weekly"), {"name": "weekly"}, "a plan of this name already"),
        ("equipment", lambda t: make_equipment(t, name="pump"), {"name": "pump"}, "equipment of this name already"),
    ],
)  # fmt: skip
def test_names_on_a_site_are_said_once(kind, make, typed, said):
    tank = make_tank()
    make(tank)

    assert said in post(f"/own/{kind}/new/?in={tank.site_id}", typed)


def test_twice_the_same_in_a_tank_is_refused_each_in_its_sentence():
    tank = make_tank()
    make_band(tank), make_tank_test(tank)
    typed = {"parameter": "alkalinity", "unit": "dKH", "method": str(make_method().pk), "order": "1", "every_days": "7"}  # fmt: skip

    pages = [post(f"/own/{kind}/new/?in={tank.pk}", typed) for kind in ("band", "test")]

    assert "This tank has a band for it already." in pages[0]
    assert "This tank is tested for it already." in pages[1]


def test_a_measure_under_a_name_that_is_taken_is_refused():
    instrument = make_instrument()
    make_measure(instrument, sent_name="kh")

    page = post(f"/own/measure/new/?in={instrument.pk}", {"parameter": "calcium", "sent_name": "kh", "unit": "mg/L", "method": str(make_method("calcium").pk)})  # fmt: skip

    assert "It sends another value under this name already." in page


def test_a_lot_twice_and_a_pack_of_nothing_are_refused():
    item = make_item()
    make_lot(item, code="A7")

    assert "This lot is there already." in post(f"/own/lot/new/?in={item.pk}", {"code": "A7"})
    assert "A pack holds more than nought." in post("/own/item/new/", {"name": "x", "kind": "reagent", "unit": "mL", "pack_size": "0", "lead_days": "1"})  # fmt: skip
    assert Item.objects.count() == 1


@pytest.mark.parametrize(("lat", "lon"), [("91", "0"), ("0", "-181")])
def test_a_place_off_the_earth_is_refused(lat, lon):
    post(f"/own/site/new/?in={make_client().pk}", {"name": "x", "address": "y", "lat": lat, "lon": lon})

    assert Site.objects.count() == 0


def test_two_who_save_at_once_get_the_sentence_of_the_law():
    owner, tank = make_owner(), make_tank()

    with pytest.raises(own.NotKept, match="fits into the gross volume"):
        own.keep(row=tank, values={"net_l": 9000.0}, at=timezone.now(), by=owner)


def test_a_plans_tanks_are_ticked_among_those_of_its_site_and_stay_ticked_when_refused():
    tank, elsewhere = make_tank(name="Bar reef"), make_tank(name="Far pond")

    page = post(
        f"/own/plan/new/?in={tank.site_id}", {"name": "", "tanks": [str(tank.pk)], "every_weeks": "2"}
    )

    ticked = page.split(f'value="{tank.pk}"')[1].split(">")[0]
    assert "checked" in ticked
    assert "Far pond" not in page
    assert str(elsewhere.pk) not in page
