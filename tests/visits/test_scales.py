"""A value is read off the scale of the instrument at hand, and kept in the tank's own unit with what was read."""

import uuid

import pytest

from servicedesk.water.models import HeldReading, Method, Reading
from tests.factories.scenes import Scene
from tests.factories.tanks import make_method

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene():
    return Scene()


def way(parameter, unit, **given):
    return make_method(parameter, name=f"{unit} {uuid.uuid4()}", unit=unit, **given)


def read(scene, parameter, method, value, **more):
    entry = {"tank": str(scene.tank.pk), "parameter": parameter, "method": str(method.pk), "value": value}
    return scene.send(scene.entry("reading", **entry, unit=method.unit, seq=0, **more))[0]


def test_a_refractometer_that_compensates_needs_no_temperature(scene):
    # 1.0264 at 25/25 is practical salinity 35 (TEOS-10 density, to the last digit shown)
    found = read(scene, "salinity", way("salinity", "SG", reference_c=25, compensates=True), "1.0264")
    row = Reading.objects.get()

    assert found["receipt"] == "stored"
    assert row.value == pytest.approx(35.0, abs=0.1)
    assert (row.entered, row.entered_unit) == ("1.0264", "SG")


def test_a_hydrometer_is_turned_with_the_temperature_of_that_water(scene):
    hydrometer = way("salinity", "SG", reference_c=25)
    cool = read(scene, "salinity", hydrometer, "1.0264", temperature_c="20")
    without = read(scene, "salinity", hydrometer, "1.0264")

    assert (cool["receipt"], without["receipt"]) == ("stored", "refused")
    assert "the temperature of the water" in without["reason"]
    assert Reading.objects.get().value == pytest.approx(33.2, abs=0.2)


def test_a_conductivity_of_the_standard_water_is_salinity_35(scene):
    # 42.914 mS/cm at 15 °C on the ITS-68 scale is salinity 35 (PSS-78)
    read(scene, "salinity", way("salinity", "mS/cm"), "42.914", temperature_c="15")

    assert Reading.objects.get().value == pytest.approx(35.0, abs=0.01)


def test_oxygen_in_per_cent_is_turned_with_the_tanks_own_salinity(scene):
    meter = way("dissolved_oxygen", "% saturation")
    before = read(scene, "dissolved_oxygen", meter, "100", temperature_c="25")
    read(scene, "salinity", way("salinity", "ppt"), "35")
    read(scene, "dissolved_oxygen", meter, "100", temperature_c="25")

    assert (before["receipt"], "the salinity of the water" in before["reason"]) == ("refused", True)
    # sea water of salinity 35 at 25 °C, 1013.25 hPa: 6.75 mg/L (Garcia and Gordon 1992)
    assert Reading.objects.get(series__parameter="dissolved_oxygen").value == pytest.approx(6.75, abs=0.03)


def test_what_the_formula_does_not_hold_for_is_refused_in_words(scene):
    found = read(scene, "salinity", way("salinity", "SG", reference_c=25, compensates=True), "1.9")

    assert found["receipt"] == "refused" and found["reason"]
    assert not Reading.objects.exists() and not HeldReading.objects.exists()


def test_the_bench_shows_the_scale_asks_for_the_temperature_and_shows_what_was_read(scene):
    hydrometer = way("salinity", "SG", reference_c=25)
    page = scene.page(f"test/?parameter=salinity&method={hydrometer.pk}")
    read(scene, "salinity", hydrometer, "1.0264", temperature_c="25")
    after = scene.page("test/?parameter=salinity")

    assert 'name="p_unit" value="SG"' in page
    assert 'name="p_temperature_c"' in page and "data-unjudged" in page
    assert "35.0 (read 1.0264 SG)" in after


def test_a_scale_in_another_plain_unit_is_judged_while_it_is_typed(scene):
    ppm = way("alkalinity", "mg/L CaCO3")
    page = scene.page(f"test/?parameter=alkalinity&method={ppm.pk}")
    read(scene, "alkalinity", ppm, "143")

    assert 'data-factor="0.056' in page
    assert Reading.objects.get().value == pytest.approx(143 * 0.056, abs=0.05)
    assert Method.objects.get(pk=ppm.pk).unit == "mg/L CaCO3"
