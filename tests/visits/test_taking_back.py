"""What was written down and did not happen is taken back by a later entry: nobody counts it any more, and both stay."""

import uuid
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.models import LivestockFact
from clients.queries import livestock_of
from servicedesk.dispatch.models import Job, Withdrawal
from servicedesk.dosing.actions import record_refill, set_rate
from servicedesk.dosing.models import Dose
from servicedesk.dosing.queries import Settings
from servicedesk.instruments.actions import move_trust
from servicedesk.instruments.queries import loads_of, standings_of, trust_of
from servicedesk.upkeep.actions import raise_task
from servicedesk.upkeep.queries import last_left
from servicedesk.visits.queries import entries_of, journal_of, told
from servicedesk.visits.queries.since import work_on
from servicedesk.water.models import Touched
from servicedesk.water.queries import water_changes_of
from tests.factories.scenes import Scene
from tests.factories.stops import entry
from tests.factories.tanks import make_channel, make_instrument, make_livestock, make_measure, make_solution

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene():
    return Scene()


def test_a_dose_taken_back_was_not_given_and_the_right_one_counts(scene):
    solution, tank = make_solution(), str(scene.tank.pk)
    wrong = scene.write("dose", tank=tank, solution=str(solution.pk), ml="500")
    scene.write("dose", tank=tank, solution=str(solution.pk), ml="50")
    Touched.objects.all().delete()

    assert scene.take_back(wrong)["receipt"] == "stored"

    assert [d.ml for d in work_on(scene.tank, entries_of(scene.visit)).doses] == [50]
    assert Dose.objects.count() == 2
    assert [t.tank_id for t in Touched.objects.all()] == [scene.tank.pk]


def test_a_water_change_taken_back_changed_nothing(scene):
    wrong = scene.write("water_change", tank=str(scene.tank.pk), litres="200")
    scene.take_back(wrong)

    assert water_changes_of(scene.tank, timezone.now() - timedelta(days=1)) == []


def test_a_refill_and_a_rate_taken_back_leave_what_stood_before(scene):
    channel, then = make_channel(scene.tank, container_ml=1000), timezone.now() - timedelta(hours=1)
    rest = {"at": then, "by": None, "received_at": then}
    set_rate(channel=channel, ml_per_day=0, origin=uuid.uuid4(), **rest)
    record_refill(channel=channel, ml_now=400, origin=uuid.uuid4(), **rest)
    keys = [
        scene.write("refill", channel=str(channel.pk), ml_now="1000"),
        scene.write("rate", channel=str(channel.pk), ml_per_day="90"),
    ]
    for key in keys:
        scene.take_back(key)

    settings = Settings([channel], timezone.now())

    assert (settings.left_ml(channel), settings.rate(channel)) == (400, 0)


def test_a_reagent_load_taken_back_takes_its_doubt_with_it(scene):
    measure = make_measure(make_instrument(scene.tank))
    wrong = scene.write("reagent_load", measure=str(measure.pk), ml="250")
    before = trust_of(measure)
    scene.take_back(wrong, why="elsewhere")

    assert (before, trust_of(measure)) == ("to_check", "believed")
    assert [s.trust for s in standings_of([scene.tank]).values()] == ["believed"]
    assert loads_of([measure], timezone.now()) == {}


def test_a_doubt_from_elsewhere_stays_when_a_calibration_is_taken_back(scene):
    measure, now = make_measure(make_instrument(scene.tank)), timezone.now()
    move_trust(measure=measure, trust="to_check", why="Seen.", at=now, origin=uuid.uuid4(), received_at=now)
    wrong = scene.write("calibration", measure=str(measure.pk), reference="8", before="7")
    scene.take_back(wrong)

    assert [(s.trust, s.why) for s in standings_of([scene.tank]).values()] == [("to_check", "Seen.")]


def test_a_death_taken_back_did_not_happen(scene):
    fish = make_livestock(scene.tank)
    scene.write("livestock", livestock=str(fish.pk), change="added", number=5)
    wrong = scene.write("livestock", livestock=str(fish.pk), change="died", number=2)
    told_then = livestock_of([scene.tank])[0].number
    scene.take_back(wrong)

    assert (told_then, livestock_of([scene.tank])[0].number) == (3, 5)
    assert LivestockFact.objects.filter(change="died").count() == 1


def a_task(scene):
    day = timezone.now().date()
    window = {"earliest": day, "due": day, "latest": day}
    return raise_task(
        tank=scene.tank, key=str(uuid.uuid4()), title="Rinse", why="", at=timezone.now(), **window
    )


def test_a_task_that_was_not_done_after_all_is_open_again(scene):
    task = a_task(scene)
    done = scene.write("task_done", task=str(task.pk))
    scene.take_back(done, why="not_done")
    task.refresh_from_db()

    assert task.state == "open"


def test_a_task_done_twice_stays_done_when_one_is_taken_back(scene):
    task = a_task(scene)
    scene.write("task_done", task=str(task.pk))
    scene.take_back(scene.write("task_done", task=str(task.pk)), why="twice")
    task.refresh_from_db()

    assert task.state == "done"


def test_a_task_left_and_taken_back_has_no_reason_any_more(scene):
    task = a_task(scene)
    scene.take_back(scene.write("task_left", task=str(task.pk), reason="no_time"))

    assert last_left([task]) == {}


def test_findings_and_recommendations_taken_back_stand_no_more_and_the_journal_says_why(scene):
    keys = [
        scene.write("finding", text="The lid is cracked"),
        scene.write("recommendation", text="A new lid"),
    ]
    for key in keys:
        scene.take_back(key, why="elsewhere")

    lines = {line.entry: line for line in told(journal_of(scene.visit))}

    assert {e.kind for e in entries_of(scene.visit)} == {"correction"}
    assert [(lines[uuid.UUID(k)].gone, lines[uuid.UUID(k)].may_go) for k in keys] == [
        ("it was another tank", False)
    ] * 2


def test_taking_back_twice_is_once_and_both_are_receipted(scene):
    wrong = scene.write("water_change", tank=str(scene.tank.pk), litres="20")

    assert [scene.take_back(wrong)["receipt"], scene.take_back(wrong)["receipt"]] == ["stored", "stored"]
    assert Withdrawal.objects.count() == 1


def test_the_same_taking_back_sent_again_is_already_there(scene):
    wrong = scene.write("water_change", tank=str(scene.tank.pk), litres="20")
    again = entry(scene.due, "correction", str(uuid.uuid4()), entry=wrong, withdraw=True, why="mistyped")

    assert [scene.send(again)[0]["receipt"], scene.send(again)[0]["receipt"]] == ["stored", "already"]


@pytest.mark.parametrize("kind", ["field", "next_visit", "correction"])
def test_what_a_new_entry_says_anew_is_not_taken_back(scene, kind):
    change = scene.write("water_change", tank=str(scene.tank.pk), litres="20")
    payloads = {
        "field": {"name": "summary", "value": "All well"},
        "next_visit": {"date": (timezone.now() + timedelta(days=3)).date().isoformat()},
        "correction": {"entry": change, "withdraw": True, "why": "mistyped"},
    }
    key = scene.write(kind, **payloads[kind])

    assert scene.take_back(key)["receipt"] == "refused"


def test_an_entry_of_another_visit_is_not_taken_back_here(scene):
    other = Scene()
    wrong = other.write("water_change", tank=str(other.tank.pk), litres="20")

    found = scene.take_back(wrong)

    assert (found["receipt"], found["reason"]) == (
        "refused",
        "There is no such entry in this visit that can be corrected.",
    )
    assert not Withdrawal.objects.exists()


def test_taking_back_needs_its_reason_and_a_number_is_not_a_taking_back(scene):
    wrong = scene.write("water_change", tank=str(scene.tank.pk), litres="20")
    amended = scene.send(entry(scene.due, "correction", entry=wrong, value="2", why="mistyped"))[0]

    assert scene.take_back(wrong, why=" ")["receipt"] == "refused"
    assert amended["reason"] == "This entry can be taken back. Then write down what is right."
    assert not Withdrawal.objects.exists()


def test_after_closing_it_makes_another_version_of_the_report(scene):
    wrong = scene.write("water_change", tank=str(scene.tank.pk), litres="20")
    scene.write("close")
    scene.take_back(wrong)

    assert Job.objects.filter(kind="report").count() == 2


def page(scene, step):
    browser = Browser()
    browser.force_login(scene.ida, backend="django.contrib.auth.backends.ModelBackend")
    return browser, f"/visits/{scene.due.pk}/{step}"


@pytest.mark.parametrize("closed", [False, True])
def test_the_page_takes_back_in_two_taps_and_shows_both(scene, closed):
    wrong = scene.write("water_change", tank=str(scene.tank.pk), litres="20")
    if closed:
        scene.write("close")
    browser, address = page(scene, "closed/" if closed else "work/")
    shown = browser.get(address).content.decode()
    assert f'name="p_entry" value="{wrong}"' in shown

    sent = {"entry": str(uuid.uuid4()), "kind": "correction", "p_entry": wrong, "p_withdraw": "on"}
    browser.post(f"/visits/{scene.due.pk}/add/", {**sent, "p_why": "mistyped", "back": address})
    after = browser.get(address).content.decode()

    assert "taken back: mistyped" in after
    assert f'name="p_entry" value="{wrong}"' not in after
    assert water_changes_of(scene.tank, timezone.now() - timedelta(days=1)) == []
