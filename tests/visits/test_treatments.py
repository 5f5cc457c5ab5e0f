"""A treatment by order of a veterinarian: told whole, refused where it kills, and what must come back on afterwards."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from servicedesk.core.chemistry.treatments import unsafe
from servicedesk.dosing.actions import TOLD, record_treatment
from servicedesk.dosing.models import Treatment
from servicedesk.upkeep.models import Task
from servicedesk.visits.queries import told
from servicedesk.visits.queries.journal import entries_of
from tests.factories.scenes import Scene
from tests.factories.tanks import make_livestock, make_reading

UNTIL = (timezone.now() + timedelta(days=14)).date().isoformat()
ORDERED = {"vet": "Dr Marl", "product": "a copper salt", "form": "copper_free", "lot": "L7", "dose": "as on the label of the vet", "until": UNTIL}  # fmt: skip


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"form": "copper_free", "sensitive": ["copper"]}, "copper kills"),
        ({"form": "copper_complexed", "sensitive": ["salt", "copper"]}, "copper kills"),
        ({"form": "formalin", "sensitive": []}, "test temperature and oxygen first"),
        ({"form": "formalin", "sensitive": [], "temperature_c": 24}, "test temperature and oxygen first"),
        ({"form": "formalin", "sensitive": [], "temperature_c": 27, "oxygen_mg_l": 8}, "not above 25 °C"),
        ({"form": "formalin", "sensitive": [], "temperature_c": 20, "oxygen_mg_l": 5}, "under 6 mg/L"),
    ],
)
def test_what_may_not_be_given_is_said_with_the_reason(given, words):
    (why,) = unsafe(**given)
    assert words in why


def test_what_harms_nothing_is_left_to_the_veterinarian():
    assert unsafe(form="copper_free", sensitive=["salt"]) == []
    assert unsafe(form="formalin", sensitive=["copper"], temperature_c=20, oxygen_mg_l=8) == []
    assert unsafe(form="other", sensitive=["copper"]) == []


@pytest.fixture
def scene(db):
    return Scene()


def give(scene, **changed):
    entry = scene.entry("treatment", tank=str(scene.tank.pk), **(ORDERED | changed))
    return scene.send(entry)[0], entry["id"]


def test_a_treatment_is_kept_whole_and_ends_with_carbon_and_uv_back_on(scene):
    receipt, key = give(scene, carbon=True, uv=True)

    row = Treatment.objects.get()
    assert receipt["receipt"] == "stored"
    assert (row.vet, row.lot, row.until_on) == ("Dr Marl", "L7", date.fromisoformat(UNTIL))
    (task,) = Task.objects.all()
    assert task.title == "Treatment ends: carbon + UV back on" and task.due == row.until_on
    assert task.hazards == ["medicine"]
    assert scene.take_back(key)["receipt"] == "stored"
    task.refresh_from_db()
    assert task.state == "called_off"


def test_what_was_not_said_to_be_off_is_a_task_of_today(scene):
    give(scene)

    first, last = Task.objects.order_by("due")
    assert first.title == "Carbon and UV off while the treatment lasts"
    assert last.title == "Treatment ends: carbon and UV back on"


@pytest.mark.parametrize("name", ["vet", "product", "lot", "dose", "form"])
def test_a_treatment_told_in_part_is_refused_by_what_is_missing(scene, name):
    receipt, _key = give(scene, **{name: " "})

    assert receipt["receipt"] == "refused" and "is missing" in receipt["reason"]
    assert not Treatment.objects.exists()


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"form": "potion"}, "free copper, complexed copper"),
        ({"until": "2020-01-01"}, "today or later"),
        ({"until": (timezone.now() + timedelta(days=200)).date().isoformat()}, "within four months"),
        ({"until": "soon"}, "is not a day"),
    ],
)
def test_what_cannot_be_is_refused(scene, changed, words):
    receipt, _key = give(scene, **changed)

    assert receipt["receipt"] == "refused" and words in receipt["reason"]


def test_copper_with_corals_is_refused_unless_it_was_given_already(scene):
    make_livestock(scene.tank, sensitive_to=["copper"])

    refused, _key = give(scene)
    kept, _key = give(scene, given=True)

    assert "Do not give it; ask the veterinarian" in refused["reason"]
    assert kept["receipt"] == "stored" and Treatment.objects.count() == 1


def test_formalin_asks_for_tests_of_today(scene):
    now = timezone.now()
    assert give(scene, form="formalin")[0]["receipt"] == "refused"
    make_reading(scene.tank, "22", parameter="temperature", unit="C", at=now - timedelta(hours=1))
    make_reading(scene.tank, "8", parameter="dissolved_oxygen", unit="mg/L", at=now - timedelta(hours=20))
    assert give(scene, form="formalin")[0]["receipt"] == "refused"
    make_reading(scene.tank, "8", parameter="dissolved_oxygen", unit="mg/L", at=now - timedelta(minutes=5))
    assert give(scene, form="formalin")[0]["receipt"] == "stored"


def test_the_journal_tells_who_ordered_it_and_the_page_has_its_form(scene):
    give(scene)

    (said,) = told(entries_of(scene.visit))
    assert "by order of Dr Marl" in said.text
    page = scene.page("work/")
    assert "Only by order of a veterinarian" in page and "complexed copper" in page


def test_the_same_news_twice_is_one_treatment(scene):
    entry = scene.entry("treatment", tank=str(scene.tank.pk), **ORDERED)
    scene.send(entry)
    visit = scene.visit
    said = {name: ORDERED[name] for name in TOLD}
    fact = {"at": visit.arrived_at, "by": scene.ida, "origin": entry["id"], "received_at": timezone.now()}

    record_treatment(tank=scene.tank, told=said, until_on=date.fromisoformat(UNTIL), **fact)

    assert Treatment.objects.count() == 1
