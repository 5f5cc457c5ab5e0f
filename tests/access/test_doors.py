"""P9: whatever comes through a door, nothing answers 5xx, nothing half is stored, and every page still answers."""

import json
import random
import uuid

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.instruments.actions import make_token
from servicedesk.visits.choices import EntryKind
from servicedesk.visits.models import Entry
from servicedesk.water.models import Reading
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.stops import entry, make_reef_to_test, make_stop
from tests.factories.tanks import make_instrument, make_measure

pytestmark = pytest.mark.django_db
NASTY = [
    None, True, False, 0, -1, 1e308, -1e308, 10**15, "", " ", "nan", "1_000", "７", "78o", "x" * 5000, "../../etc", "\u202egnp",
    "<script>1</script>", "' OR 1=1 --", "{{ 7 }}", [], [[]], {}, {"a": {}}, [1, 2], "2026-02-30", "9999-12-31T23:59:59+00:00", "\x01",
]  # fmt: skip
BROKEN = [
    b"", b"\xff", b"[", b"{}", b"null", b"[" * 100_000, b'{"a":1,"a":2}', b'{"entries":"x"}', b'{"entries":[NaN]}',
    b'{"entries":[{"id":"\\ud800"}]}', b'{"entries":[{"id":"a\\u0000"}]}', b"9" * 5000, b'{"entries":[%s]}' % (b"9" * 31),
]  # fmt: skip


@pytest.fixture
def scene(settings):
    settings.DEVICE_A_MINUTE = 10**9  # one device sends thousands of cases here
    make_business()
    technician, tank = make_technician(), make_reef_to_test()
    instrument = make_instrument(tank)
    make_measure(instrument)
    token = make_token(instrument=instrument, at=timezone.now())[1]
    browser = Browser(raise_request_exception=False)
    browser.force_login(technician, backend="django.contrib.auth.backends.ModelBackend")
    return {
        "browser": browser,
        "tank": tank,
        "visit": make_stop(technician, tank),
        "token": token,
        "owner": make_owner(),
    }


def sync(scene, body):
    body = body if isinstance(body, bytes) else json.dumps(body).encode()
    return scene["browser"].post("/api/v1/sync/", body, content_type="application/json")


def pages_answer(scene):
    owner = Browser(raise_request_exception=False)
    owner.force_login(scene["owner"], backend="django.contrib.auth.backends.ModelBackend")
    visit, tank = scene["visit"].pk, scene["tank"].pk
    own = [
        scene["browser"].get(f"/visits/{visit}/{s}", follow=True).status_code
        for s in ("", "test/", "work/", "advise/", "leave/")
    ]
    return set(own) | {
        owner.get(a).status_code
        for a in ("/today/", "/tanks/", f"/tanks/{tank}/", "/week/", "/reports/", "/stores/")
    }


@pytest.mark.parametrize("body", BROKEN)
def test_a_broken_body_is_a_problem_and_stores_nothing(scene, body):
    answer = sync(scene, body)

    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    assert Entry.objects.count() == 0


@pytest.mark.slow  # every kind with every nasty value
def test_every_kind_with_every_nasty_value_answers_with_a_receipt_and_breaks_no_page(scene, seed):
    rng = random.Random(seed)
    names = ["tank", "parameter", "method", "value", "unit", "seq", "task", "reason", "litres", "ml", "solution", "channel", "ml_now",
             "measure", "reference", "before", "asked_ml", "before_ml", "livestock", "change", "number", "photo", "text", "price", "on",
             "left", "date", "name", "entry", "why", "alarm", "lot", "caption"]  # fmt: skip
    tank = str(scene["tank"].pk)
    entries = []
    for kind in EntryKind.values:
        if kind == EntryKind.CLOSE:
            continue
        for nasty in NASTY:
            payload = {name: rng.choice([nasty, rng.choice(NASTY)]) for name in rng.sample(names, 8)}
            entries.append(entry(scene["visit"], kind, **{"tank": tank, **payload}))
            entries.append(
                {
                    **entry(scene["visit"], kind, tank=tank, text="x"),
                    rng.choice(["tablet", "seq", "tablet_time", "zone"]): nasty,
                }
            )
    seen = []
    for start in range(0, len(entries), 100):
        answer = sync(scene, {"entries": entries[start : start + 100]})
        seen.append(answer.status_code)

    assert set(seen) == {200}
    assert pages_answer(scene) == {200}
    assert not Reading.objects.filter(value__gt=1e6).exists()


@pytest.mark.slow  # two thousand generated bodies
def test_generated_packs_of_instruments_never_answer_5xx_and_break_no_page(scene, seed):
    rng, codes = random.Random(seed), set()
    for _number in range(2000):
        record = {
            rng.choice(["n", "v", "t", "u", "bn", "bt", "bu", "bv", "vs", "zz_"]): rng.choice(NASTY)
            for _n in range(rng.randint(1, 5))
        }
        body = json.dumps(
            [record, {"n": "alkalinity", "v": rng.uniform(-5, 70)}][: rng.randint(1, 2)]
        ).encode()
        headers = {"Authorization": f"Bearer {scene['token']}"}
        answer = Browser(raise_request_exception=False).post(
            "/api/v1/deliveries/", body, content_type="application/senml+json", headers=headers
        )
        codes.add(answer.status_code)

    assert codes <= {200, 201, 400}
    assert pages_answer(scene) == {200}


@pytest.mark.parametrize("path", ["add", "arrive", "test", "photo"])
def test_forms_filled_with_nonsense_answer_in_words(scene, path):
    codes = set()
    for nasty in NASTY:
        text = nasty if isinstance(nasty, str) else json.dumps(nasty)
        fields = {
            "entry": str(uuid.uuid4()),
            "kind": text,
            "p_tank": text,
            "p_value": text,
            "p_parameter": text,
            "back": text,
            "photo": text,
        }
        codes.add(scene["browser"].post(f"/visits/{scene['visit'].pk}/{path}/", fields).status_code)

    assert codes <= {200, 302}
    assert pages_answer(scene) == {200}
