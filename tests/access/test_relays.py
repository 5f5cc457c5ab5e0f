"""A relay's pass writes at the relay and at what comes through it, and nowhere else, by whatever name another is called."""

import json

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.instruments.actions import make_token
from servicedesk.instruments.models import Delivery, Instrument, Sign
from servicedesk.water.models import HeldReading, Reading
from tests.factories.tanks import make_instrument, make_measure, make_site, make_tank

pytestmark = pytest.mark.django_db


def post(instrument, body, kind):
    token = make_token(instrument=instrument, at=timezone.now())[1]
    return Browser().post(
        "/api/v1/deliveries/", body, content_type=kind, headers={"Authorization": f"Bearer {token}"}
    )


@pytest.fixture
def others():
    """Everybody else: at another client's relay, with a line of its own at the same site, out of a relay's hands."""
    mine, theirs = make_site(), make_site()
    relay = make_instrument(make_tank(mine), relays=True, mqtt_name="box")
    make_measure(
        make_instrument(make_tank(mine), through=relay, relay_name="probe"), sent_name="alk", unit="dKH"
    )
    far = make_instrument(make_tank(theirs), relays=True, mqtt_name="far")
    behind = make_instrument(make_tank(theirs), through=far, relay_name="titrator")
    beside = make_instrument(make_tank(mine), mqtt_name="hall")
    for one in (far, behind, beside):
        make_measure(one, sent_name="alk", unit="dKH")
    return relay, [far, behind, beside]


def test_a_relays_pass_writes_nothing_to_what_does_not_come_through_it(others):
    relay, rest = others
    names = ["titrator", "far", "far/titrator", "hall", *(str(one.pk) for one in rest), *(one.equipment.name for one in rest)]  # fmt: skip
    packs = [{"bn": f"{name}/", "n": sent, "v": 8} for name in names for sent in ("alk", "alk2")]
    signs = [{"bn": f"{name}/", "n": "line_lost", "vb": True} for name in names]
    plain = [{"instrument": name, "name": "alk", "value": 8} for name in names]
    table = "at,instrument,name,value\n" + "".join(f"2026-05-01T08:00:00Z,{name},alk,8\n" for name in names)

    for body, kind in (
        (json.dumps(packs + signs), "application/senml+json"),
        (json.dumps(plain), "application/json"),
        (table, "text/csv"),
    ):
        answer = post(relay, body.encode(), kind)
        assert answer.status_code == 201 and answer.json()["stored"] == 0

    assert not Reading.objects.exists() and not Sign.objects.exists()
    assert set(HeldReading.objects.values_list("equipment", flat=True)) == {relay.equipment_id}
    assert set(Delivery.objects.values_list("instrument", flat=True)) == {relay.pk}
    assert not Instrument.objects.filter(last_contact_at__isnull=False).exists()


def test_the_pass_of_what_comes_through_a_relay_writes_for_itself_alone(others):
    relay, _rest = others
    probe = relay.relayed.get()
    rows = [{"instrument": "box", "name": "alk", "value": 8}, {"name": "box/alk", "value": 8.1}]

    answer = post(probe, json.dumps(rows).encode(), "application/json").json()

    assert (answer["stored"], [one["index"] for one in answer["held"]]) == (1, [0])
    assert set(Reading.objects.values_list("series__source__equipment", flat=True)) == {probe.equipment_id}
