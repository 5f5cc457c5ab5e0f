"""The visit's pages: what is asked back, taken back, and known to have been done since the tests."""

import uuid
from datetime import date, timedelta

import pytest
from django.test import Client
from django.utils import timezone

from servicedesk.dosing.models import Dose
from servicedesk.visits.models import Entry, Visit
from servicedesk.visits.queries import today_of
from servicedesk.water.actions import correct_reading
from servicedesk.water.models import Band, ChangeWater, Correction, Reading, WaterChange
from tests.factories.people import make_business, make_technician
from tests.factories.stops import make_reef_to_test, make_stop
from tests.factories.tanks import make_channel, make_livestock, make_reading, make_solution

pytestmark = pytest.mark.django_db


class Scene:
    """A technician's browser in an open visit of one reef."""

    def __init__(self):
        make_business()
        self.ida, self.tank = make_technician(), make_reef_to_test()
        self.visit = make_stop(self.ida, self.tank)
        self.browser = Client()
        self.browser.force_login(self.ida, backend="django.contrib.auth.backends.ModelBackend")

    def add(self, kind, back="work", **payload):
        fields = {f"p_{key}": value for key, value in payload.items() if key != "sure"}
        fields |= {"sure": payload["sure"]} if "sure" in payload else {}
        address = f"/visits/{self.visit.pk}/"
        fields |= {"entry": str(uuid.uuid4()), "kind": kind, "back": f"{address}{back}/"}
        return self.browser.post(f"{address}add/", fields, follow=True).content.decode()

    def read(self, parameter, value, unit, *, seq=0):
        method = self.tank.tests.get(parameter=parameter).method_id
        fields = {
            "parameter": parameter,
            "method": str(method),
            "value": value,
            "unit": unit,
            "seq": str(seq),
        }
        return self.add("reading", "test", tank=str(self.tank.pk), **fields)

    def page(self, name):
        return self.browser.get(f"/visits/{self.visit.pk}/{name}/").content.decode()


@pytest.fixture
def scene():
    return Scene()


def test_a_water_change_larger_than_the_tank_is_asked_back_with_what_was_typed(scene):
    page = scene.add("water_change", tank=str(scene.tank.pk), litres="900")

    assert WaterChange.objects.count() == 0
    assert "900 L is more than all the water of The test reef" in page
    assert 'value="900"' in page
    assert 'name="sure"' in page


def test_a_water_change_that_is_confirmed_is_kept_however_large(scene):
    scene.add("water_change", tank=str(scene.tank.pk), litres="900", sure="on")

    assert [c.litres for c in WaterChange.objects.all()] == [900]


def test_a_dose_of_many_safe_days_is_asked_back_and_says_what_it_would_do(scene):
    solution = make_solution("alkalinity", per_ml=1.0)
    Band.objects.filter(tank=scene.tank, parameter="alkalinity").update(max_rise_per_day=0.5)
    ml = str(round(scene.tank.net_l * 4))

    page = scene.add("dose", tank=str(scene.tank.pk), solution=str(solution.pk), ml=ml)
    scene.add("dose", tank=str(scene.tank.pk), solution=str(solution.pk), ml="10")

    assert "raises alkalinity by about 4.0 dKH; 0.5 is safe in a day." in page
    assert [d.ml for d in Dose.objects.all()] == [10]


def test_more_deaths_than_animals_are_asked_back(scene):
    animals = make_livestock(scene.tank, name="blue tang")

    page = scene.add("livestock", livestock=str(animals.pk), change="died", number="5")

    assert "Only 0 of blue tang are on the list, not 5." in page
    assert Entry.objects.filter(kind="livestock").count() == 0


def test_an_amount_that_cannot_be_read_is_refused_with_its_own_reason(scene):
    page = scene.add("water_change", tank=str(scene.tank.pk), litres="ten")

    assert "“ten” is not a number" in page


def test_a_mistyped_value_is_taken_back_in_the_open_visit_and_kept_on_record(scene):
    scene.read("alkalinity", "5.0", "dKH")
    entry = Entry.objects.get(kind="reading")
    assert (
        "Take 5.0 back"
        in scene.page("test")
        + scene.browser.get(f"/visits/{scene.visit.pk}/test/?parameter=alkalinity").content.decode()
    )

    scene.add("correction", "test", entry=str(entry.pk), withdraw="on", why="mistyped")
    scene.read("alkalinity", "8.0", "dKH")

    page = scene.browser.get(f"/visits/{scene.visit.pk}/test/?parameter=alkalinity").content.decode()
    assert "Take 8.0 back" in page
    assert "Take 5.0 back" not in page
    assert Reading.objects.count() == 2
    assert [(c.old, c.new, c.why) for c in Correction.objects.all()] == [(5.0, None, "mistyped")]


def test_results_that_disagree_are_shown_from_least_to_most_and_never_averaged(scene):
    scene.read("alkalinity", "6.0", "dKH")
    scene.read("alkalinity", "8.9", "dKH", seq=1)

    page = scene.browser.get(f"/visits/{scene.visit.pk}/test/?parameter=alkalinity").content.decode()

    assert "6.0–8.9" in page
    assert "6.0, 8.9 do not agree: no average is made of them." in page
    assert "7.4" not in page
    assert "If it is right" not in page


def test_advice_knows_what_was_given_since_the_test(scene):
    solution = make_solution("alkalinity", per_ml=1.0)
    make_channel(scene.tank, solution=solution)
    for parameter, value, unit in (("temperature", "25.4", "C"), ("salinity", "35.1", "PSS-78")):
        scene.read(parameter, value, unit)
    scene.read("alkalinity", "6.9", "dKH")
    before = scene.page("advise")

    scene.add("dose", tank=str(scene.tank.pk), solution=str(solution.pk), ml="40")

    after = scene.page("advise")
    assert "I gave" in before
    assert "I gave" not in after
    assert "40 mL given since the test. Test again before the next." in after


def test_advice_says_that_water_was_changed_after_the_tests(scene):
    for parameter, value, unit in (("temperature", "25.4", "C"), ("salinity", "35.1", "PSS-78")):
        scene.read(parameter, value, unit)
    scene.read("alkalinity", "8.0", "dKH")

    scene.add("water_change", tank=str(scene.tank.pk), litres="20")

    assert "20 L were changed after these tests" in scene.page("advise")


def test_advice_names_the_water_it_reckons_with_and_when_that_was_tested(scene):
    before = scene.page("advise")
    ChangeWater.objects.create(name="Our mix", kind="salt", salinity=35, tested_on=date(2026, 3, 4))

    after = scene.page("advise")

    assert "taken as a salt mix is made to be (common practice), not measured" in before
    assert "Water for changes: Our mix" in after
    assert "tested on 4 March 2026" in after


def test_history_keeps_the_second_result_of_a_visit_whose_first_was_withdrawn(scene):
    week, now = timedelta(days=7), timezone.now()
    way = scene.tank.tests.get(parameter="alkalinity").method
    first = make_reading(scene.tank, "4.0", at=now - week, method=way, seq=0)
    make_reading(scene.tank, "8.1", at=now - week + timedelta(minutes=4), method=way, seq=1)
    make_reading(scene.tank, "8.2", at=now - week + timedelta(minutes=8), method=way, seq=2)
    correct_reading(
        reading=first, new=None, why="mistyped", by=scene.ida, at=now, origin=uuid.uuid4(), received_at=now
    )
    visit = Visit(due_visit=scene.visit, site=scene.tank.site, technician=scene.ida, arrived_at=now)

    assert [r.value for r in today_of(visit, scene.tank, at=now).before["alkalinity"]] == [pytest.approx(8.1)]
