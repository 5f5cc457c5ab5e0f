"""Alarms beside mail: who is told by a gateway of what, and the pages where that is set."""

from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client as Browser

from servicedesk.dispatch.models import Gateway, Message
from servicedesk.watch import actions
from servicedesk.watch.models import Duty, Reach
from tests.factories.people import make_business, make_owner, make_technician, make_user
from tests.factories.tanks import make_tank

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)
TEMPLATE = '{"to": "{to}", "words": "{subject}"}'


@pytest.fixture
def ida():
    make_business(zone="Europe/London")
    make_owner()
    person = make_technician(name="Ida")
    Duty.objects.create(person=person, order=1)
    return person


def reach(person, **given):
    gateway = Gateway.objects.create(name="Words", url="https://words.example/take", template=TEMPLATE)
    return Reach.objects.create(person=person, gateway=gateway, reached_at="+44 1632 960001", **given)


def alarm(severity):
    tank = make_tank()
    return actions.raise_attention(
        key=f"band:{tank.pk}:nitrate",
        kind="beyond_limit",
        severity=severity,
        at=NOON,
        tank=tank,
        site=tank.site,
        parameter="nitrate",
        word="beyond_limit",
        sentence="Nitrate 80 mg/L, over the limit of 50.",
        why="Measured.",
    )


def by(channel):
    return list(Message.objects.filter(channel=channel).order_by("made_at", "key"))


@pytest.mark.parametrize(("told_of", "expected"), [(1, ["Now"]), (2, ["Now", "Soon"])])
def test_a_gateway_is_used_for_as_much_as_it_is_set_to(ida, told_of, expected):
    reach(ida, told_of=told_of)
    alarm(1)
    alarm(2)

    for minutes in (3, 4, 5):
        actions.tell(at=NOON + timedelta(minutes=minutes))

    assert sorted(m.subject.split(":")[0] for m in by("gateway")) == expected
    assert {m.recipient for m in by("gateway")} == {"+44 1632 960001"}
    assert len(by("mail")) == 2


def test_what_was_retired_is_not_used(ida):
    old, gone = reach(ida), reach(ida)
    Reach.objects.filter(pk=old.pk).update(retired_on=NOON.date())
    Gateway.objects.filter(pk=gone.gateway_id).update(retired_on=NOON.date())
    alarm(1)

    actions.tell(at=NOON)

    assert (len(by("mail")), by("gateway")) == (1, [])


def test_a_flood_comes_by_gateway_in_as_few_as_by_mail(ida):
    reach(ida)
    for _n in range(30):
        alarm(1)

    actions.tell(at=NOON)

    assert len(by("gateway")) == len(by("mail")) == 10


def test_an_owner_writes_down_a_gateway_and_a_way_to_reach_somebody_and_tries_it(ida):
    owner = Browser()
    owner.force_login(make_owner())
    form = {
        "name": "Words",
        "url": "https://words.example/take",
        "body": "application/json",
        "template": TEMPLATE,
        "header": "X-Key: abc",
        "signing_key": "",
    }
    wrong = owner.post("/own/gateway/new/", {**form, "template": "{subject}"})
    assert "this is no JSON" in wrong.content.decode()
    assert owner.post("/own/gateway/new/", form)["Location"] == "/rota/"
    gateway = Gateway.objects.get()
    sent = owner.post(
        "/own/reach/new/",
        {"person": ida.pk, "gateway": gateway.pk, "reached_at": "+44 1632 960001", "told_of": 1},
    )
    assert sent["Location"] == "/rota/"
    page = owner.get("/rota/").content.decode()
    assert "only what cannot wait" in page
    assert "abc" not in page

    assert owner.post(f"/rota/{Reach.objects.get().pk}/trial/")["Location"] == "/rota/"
    (message,) = by("gateway")
    assert message.subject == "A trial for Ida"
    assert owner.post(f"/rota/{gateway.pk}/trial/").status_code == 404


def test_secrets_are_for_owners_only(ida):
    row = reach(ida).gateway
    Gateway.objects.update(header="X-Key: abcdef")
    line = Browser()
    line.force_login(make_user("office", name="Bob"))

    answers = [
        line.get(f"/own/gateway/{row.pk}/"),
        line.post(f"/own/gateway/{row.pk}/", {"name": "W", "body": "application/json", "template": TEMPLATE, "url": "https://other.example/"}),
        line.post("/own/gateway/new/", {"name": "W", "body": "application/json", "template": TEMPLATE, "url": "https://other.example/"}),
        line.get("/rota/"),
    ]  # fmt: skip

    assert [answer.status_code for answer in answers] == [200, 302, 200, 200]
    assert all("abcdef" not in answer.content.decode() for answer in answers)
    assert list(Gateway.objects.values_list("url", "header")) == [
        ("https://words.example/take", "X-Key: abcdef")
    ]
