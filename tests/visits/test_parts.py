"""A correction in parts: the first is given, what remains is a task; a temporary rate ends, and somebody sees to it."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from servicedesk.dosing.actions import set_rate
from servicedesk.dosing.models import RateChange
from servicedesk.upkeep.models import Task
from servicedesk.visits.queries.sheet import products_of, salt_in
from tests.factories.scenes import Scene
from tests.factories.tanks import make_channel, make_solution
from tests.visits.test_pages import Scene as Pages

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene():
    return Scene()


def test_what_remains_of_a_dose_is_a_task_that_goes_when_the_dose_is_taken_back(scene):
    solution = make_solution("alkalinity")
    wrote = scene.write("dose", tank=str(scene.tank.pk), solution=str(solution.pk), ml="40", rest_ml="80.5", rest_days="2")  # fmt: skip

    task = Task.objects.get(key__startswith="rest:")
    assert task.title == "Test Alkalinity again, then give the rest"
    assert task.why == f"80.5 mL of {solution.item.name} remain, in 2 days."
    assert (task.due - task.earliest, task.latest > task.due) == (timedelta(0), True)
    assert task.hazards == ["acid"]

    scene.take_back(wrote)
    task.refresh_from_db()
    assert task.state == "called_off"


@pytest.mark.parametrize(("rest", "days"), [("-1", "2"), ("80", "61"), ("80", "-1"), ("80", "x"), ("x", "2")])
def test_a_rest_that_cannot_be_is_refused_and_nothing_is_kept(scene, rest, days):
    solution = make_solution("alkalinity")

    said = scene.send(
        scene.entry(
            "dose", tank=str(scene.tank.pk), solution=str(solution.pk), ml="40", rest_ml=rest, rest_days=days
        )
    )[0]

    assert said["receipt"] == "refused"
    assert not Task.objects.filter(key__startswith="rest:").exists()


def test_a_dose_without_a_rest_books_nothing(scene):
    scene.write("dose", tank=str(scene.tank.pk), solution=str(make_solution().pk), ml="40")

    assert not Task.objects.filter(key__startswith="rest:").exists()


def test_a_temporary_rate_ends_and_a_task_says_what_the_pump_runs_at_then(scene):
    channel = make_channel(scene.tank)
    at = timezone.now()
    set_rate(channel=channel, ml_per_day=12.5, at=at - timedelta(days=3), by=None, origin=channel.pk, received_at=at)  # fmt: skip

    wrote = scene.write("rate", channel=str(channel.pk), ml_per_day="30", days="4", why="correction in parts")

    rate = RateChange.objects.get(ml_per_day=30)
    assert rate.until - rate.at == timedelta(days=4)
    task = Task.objects.get(key__startswith="rate-end:")
    assert task.title == f"See that {channel.solution.item.name} runs at 12.5 mL a day again"
    scene.take_back(wrote)
    task.refresh_from_db()
    assert task.state == "called_off"


def test_a_rate_for_no_days_is_refused_and_one_without_days_stays(scene):
    channel = make_channel(scene.tank)

    assert (
        scene.send(scene.entry("rate", channel=str(channel.pk), ml_per_day="30", days="0.5"))[0]["receipt"]
        == "refused"
    )
    scene.write("rate", channel=str(channel.pk), ml_per_day="30")
    assert RateChange.objects.get().until is None
    assert not Task.objects.filter(key__startswith="rate-end:").exists()


def test_a_channel_never_set_ends_at_nothing(scene):
    channel = make_channel(scene.tank)

    scene.write("rate", channel=str(channel.pk), ml_per_day="30", days="1")

    assert "runs at 0 mL a day again" in Task.objects.get(key__startswith="rate-end:").title


@pytest.mark.parametrize(
    ("composition", "salt"),
    [("Na2CO3, 100 g/L", "Na2CO3"), ("soda", ""), ("", ""), ("NaHCO3", "NaHCO3")],
)
def test_a_solution_s_salt_is_known_where_its_composition_begins_with_it(composition, salt):
    assert salt_in(composition) == salt


def test_a_product_knows_the_channel_that_gives_it(scene):
    solution = make_solution("alkalinity", composition="NaOH 40 g/L")
    make_solution("alkalinity", per_ml=9.0)
    channel = make_channel(scene.tank, solution=solution, step_ml=0.5, max_ml_per_day=90)

    (product,) = products_of(scene.tank, at=timezone.now())

    assert (product.salt, product.channel, product.running_ml) == ("NaOH", str(channel.pk), 0.0)
    assert (product.pump_step_ml, product.most_ml) == (0.5, 90)


def test_on_the_page_the_rest_is_offered_to_the_pump_until_its_rate_is_set():
    scene = Pages()
    scene.tank.bands.filter(parameter="alkalinity").update(max_rise_per_day=0.4)
    channel = make_channel(scene.tank, solution=make_solution("alkalinity", per_ml=1.0, composition="Na2CO3"))
    for parameter, value, unit in (("temperature", "25.4", "C"), ("salinity", "35.1", "PSS-78"), ("alkalinity", "6.9", "dKH")):  # fmt: skip
        scene.read(parameter, value, unit)
    page = scene.page("advise")
    rate = re.search(r'name="p_ml_per_day" value="([\d.]+)"', page)[1]
    rest = re.search(r'name="p_rest_ml" value="([\d.]+)"', page)[1]

    assert "It raises pH for hours" in page and "By the pump:" in page
    scene.add("dose", tank=str(scene.tank.pk), solution=str(channel.solution_id), ml="100", rest_ml=rest, rest_days="2")  # fmt: skip
    scene.add("rate", "advise", channel=str(channel.pk), ml_per_day=rate, days="2", why="correction in parts")

    after = scene.page("advise")
    assert "I set the pump to" in page and "I set the pump to" not in after
    assert Task.objects.filter(key__startswith="re").count() == 1
    assert Task.objects.filter(key__startswith="rate-end").count() == 1
