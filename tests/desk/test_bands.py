"""All bands of a tank on one page, each with what is usual for its water, kept by one save."""

import re

import pytest
from django.test import Client as Browser

from servicedesk.water.models import Band, Touched
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.tanks import make_band, make_tank

pytestmark = pytest.mark.django_db


def signed_in(user):
    make_business()
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def typed(**given):
    return {f"alkalinity-{name}": value for name, value in given.items()}


def limits(tank):
    return Band.objects.values_list("alarm_low", "low", "target", "high", "alarm_high").get(
        tank=tank, parameter="alkalinity"
    )


KEPT = {"alarm_low": "6.3", "low": "7.2", "target": "8", "high": "9", "alarm_high": "11", "max_rise_per_day": "0.5", "max_fall_per_day": "0.8"}  # fmt: skip


def test_a_technician_changes_no_bands():
    tank = make_band(make_tank()).tank

    answer = signed_in(make_technician()).post(f"/tanks/{tank.pk}/bands/", typed(**{**KEPT, "low": "1"}))

    assert (answer.status_code, limits(tank)) == (404, (6.3, 7.2, 8.0, 9.0, 11.0))


@pytest.mark.parametrize(
    ("column", "text", "said"),
    [
        ("low", "9.5", "is under"),
        ("target", "9.1", "High is under Target"),
        ("alarm_high", "8.9", "Upper limit is under High"),
        ("low", "9", "is under"),
        ("high", "7.2", "is under"),
        ("target", "8o", "Did you mean 80?"),
        ("low", "nan", "is not a number"),
        ("alarm_low", "-4", "cannot be in water"),
        ("max_rise_per_day", "0", "More than nought"),
    ],
)
def test_numbers_that_do_not_fit_are_refused_at_their_place_and_stay(column, text, said):
    tank = make_band(make_tank()).tank

    page = signed_in(make_owner()).post(f"/tanks/{tank.pk}/bands/", typed(**{**KEPT, column: text}))

    assert said in page.content.decode()
    assert f'value="{text}"' in page.content.decode()
    assert limits(tank) == (6.3, 7.2, 8.0, 9.0, 11.0)


def test_low_and_high_alike_without_a_target_are_refused():
    tank = make_band(make_tank()).tank

    page = signed_in(make_owner()).post(
        f"/tanks/{tank.pk}/bands/", typed(**{**KEPT, "target": "", "low": "9"})
    )

    assert "Low and high are alike" in page.content.decode()


def test_one_save_keeps_what_was_changed_and_has_the_tank_judged_anew():
    tank = make_band(make_tank()).tank

    signed_in(make_owner()).post(
        f"/tanks/{tank.pk}/bands/", typed(**{**KEPT, "low": "7,4", "alarm_high": ""})
    )

    assert limits(tank) == (6.3, 7.4, 8.0, 9.0, None)
    assert Touched.objects.filter(tank=tank).exists()
    assert Band.objects.count() == 1


def test_a_page_saved_as_it_stands_writes_nothing():
    tank = make_band(make_tank(), low=7.123456789).tank
    browser = signed_in(make_owner())

    browser.post(f"/tanks/{tank.pk}/bands/", typed(**{**KEPT, "low": "7.123457"}))

    assert limits(tank)[1] == 7.123456789
    assert not Touched.objects.exists()


def test_a_parameter_without_a_band_gets_one_when_numbers_are_typed():
    tank = make_tank()

    signed_in(make_owner()).post(f"/tanks/{tank.pk}/bands/", {"calcium-low": "380", "calcium-high": "450"})

    band = Band.objects.get()
    assert (band.parameter, band.unit, band.low, band.target, band.high) == (
        "calcium",
        "mg/L",
        380,
        None,
        450,
    )


def test_limits_are_typed_and_shown_in_the_tanks_unit_and_kept_in_the_canonical_one():
    tank = make_tank()
    make_band(tank, "temperature", unit="F", low=24.5, target=25.5, high=26.5, alarm_low=23, alarm_high=28, max_rise_per_day=1, max_fall_per_day=1)  # fmt: skip
    browser = signed_in(make_owner())

    page = browser.get(f"/tanks/{tank.pk}/bands/").content.decode()
    browser.post(
        f"/tanks/{tank.pk}/bands/",
        {"temperature-alarm_low": "73.4", "temperature-low": "75.2", "temperature-target": "77.9", "temperature-high": "79.7", "temperature-alarm_high": "82.4", "temperature-max_rise_per_day": "3.6", "temperature-max_fall_per_day": "1.8"},
    )  # fmt: skip

    band = Band.objects.get()
    assert ('value="76.1"' in page, "usual 76.1" in page) == (True, True)
    assert (round(band.low, 9), round(band.max_rise_per_day, 9), band.max_fall_per_day) == (24, 2, 1)


def test_what_is_usual_for_the_water_stands_beside_each_number():
    page = signed_in(make_owner()).get(f"/tanks/{make_tank().pk}/bands/").content.decode()

    assert ("usual 7.2" in page, "usual 1250" in page, "mixed reef" in page) == (True, True, False)
    assert "stony coral reef" in page


@pytest.mark.parametrize("count", [1, 3])
def test_the_page_asks_as_often_for_three_bands_as_for_one(count, django_assert_num_queries):
    tank, browser = make_tank(), signed_in(make_owner())
    for number in range(count):
        make_band(tank, ["alkalinity", "calcium", "ph"][number], unit=["dKH", "mg/L", "pH"][number], low=None, alarm_low=None)  # fmt: skip

    with django_assert_num_queries(4):
        assert browser.get(f"/tanks/{tank.pk}/bands/").status_code == 200


def test_wait_and_deadband_are_typed_on_a_bands_own_page_and_refused_in_words():
    band = make_band(make_tank())
    browser = signed_in(make_owner())
    table = browser.get(f"/tanks/{band.tank.pk}/bands/").content.decode()
    (address,) = re.findall(r'href="([^"]*/band/[^"]*)"[^>]*>Wait and deadband', table)
    whole = {
        "parameter": "alkalinity",
        "unit": "dKH",
        "low": "7.2",
        "high": "9",
        "wait_minutes": "20",
        "deadband": "0,15",
    }

    wrong = browser.post(address, {**whole, "deadband": "-1", "wait_minutes": "1441"}).content.decode()
    assert "Nought or more." in wrong and "1440 minutes, at the most" in wrong

    browser.post(address, whole)
    band.refresh_from_db()
    assert (band.deadband, band.wait_minutes) == (0.15, 20)
