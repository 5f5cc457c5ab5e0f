"""The journal as it is read back: names in the place of ids, amounts with units."""

from datetime import date

import pytest
from django.utils import timezone

from servicedesk.upkeep.actions import raise_task
from servicedesk.visits.actions import take_entries
from servicedesk.visits.models import Visit
from servicedesk.visits.queries import entries_of, told
from tests.factories.people import make_technician
from tests.factories.stops import entry, make_reef_to_test, make_stop
from tests.factories.tanks import make_channel, make_solution

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene():
    ida, tank = make_technician(name="Ida"), make_reef_to_test()
    return ida, tank, make_stop(ida, tank)


def read_back(scene, *entries):
    ida, _tank, visit = scene
    receipts = take_entries(entries=entries, by=ida, at=timezone.now())
    assert [r["reason"] for r in receipts] == [""] * len(entries)
    return [(line.kind, line.text, line.by) for line in told(entries_of(Visit.objects.get(pk=visit.pk)))]


def test_a_task_is_told_by_its_title_and_one_left_by_the_words_of_its_reason(scene):
    _ida, tank, visit = scene
    day = date(2026, 11, 25)
    task = raise_task(
        tank=tank,
        key="k",
        title="Rinse the filter",
        why="",
        earliest=day,
        due=day,
        latest=day,
        at=timezone.now(),
    )

    lines = read_back(scene, entry(visit, "task_left", task=str(task.pk), reason="no_time"))

    assert lines == [("Task left", "Rinse the filter: no time left", "Ida")]


def test_a_water_change_names_its_tank(scene):
    _ida, tank, visit = scene

    lines = read_back(scene, entry(visit, "water_change", tank=str(tank.pk), litres="40"))

    assert lines == [("Water change", f"{tank.name}: 40 L", "Ida")]


def test_a_dose_and_a_rate_name_solution_and_amount(scene):
    _ida, tank, visit = scene
    solution = make_solution()
    channel = make_channel(tank=tank, solution=solution)

    lines = read_back(
        scene,
        entry(visit, "dose", tank=str(tank.pk), solution=str(solution.pk), ml="12"),
        entry(visit, "rate", channel=str(channel.pk), ml_per_day="30", why="uptake rose"),
    )

    assert sorted(text for _kind, text, _by in lines) == sorted(
        [f"{tank.name}: {solution.item.name}: 12 mL", f"{solution.item.name}: 30 mL a day: uptake rose"]
    )
