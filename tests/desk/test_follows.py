"""On a tank's page: what follows from its values together, and the medicines it is under."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.core import units
from servicedesk.dosing.models import Treatment
from servicedesk.instruments.models import TrustMove
from servicedesk.water.actions import source_of
from tests.factories.people import make_business, make_owner
from tests.factories.tanks import make_instrument, make_measure, make_method, make_reading, make_tank

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser():
    make_business()
    eyes = Browser()
    eyes.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")
    return eyes


def read_in(tank, parameter, value, *, days, **given):
    at = timezone.now() - timedelta(days=days)
    unit = units.parameter(parameter).unit
    method = given.pop("method", None) or make_method(parameter, tolerance_abs=0.05)
    return make_reading(tank, str(value), parameter=parameter, unit=unit, at=at, method=method, **given)


def follows_of(browser, tank):
    page = browser.get(f"/tanks/{tank.pk}/")
    return {line.name: line for line in page.context["follows"]}, page.content.decode()


def test_what_was_tested_on_one_visit_gives_what_follows_with_its_uncertainty(browser):
    tank = make_tank(water_type="reef_mixed")
    for parameter, value in (
        ("alkalinity", 7.5),
        ("ph", 8.1),
        ("temperature", 25),
        ("salinity", 35),
        ("ammonia_total", 0.2),
    ):
        read_in(tank, parameter, value, days=2)

    lines, text = follows_of(browser, tank)

    assert "±" in lines["Saturation of aragonite"].value
    assert "mg/L N" in lines["Toxic ammonia"].value
    assert "What follows from them" in text and "Mucci 1983" in text


def test_values_of_other_days_are_not_put_together_and_what_is_missing_is_said(browser):
    tank = make_tank(water_type="fresh_community")
    read_in(tank, "ammonia_total", 0.5, days=0)
    read_in(tank, "ph", 7.5, days=3)
    read_in(tank, "temperature", 25, days=5)

    lines, _text = follows_of(browser, tank)

    assert lines["Toxic ammonia"].value == ""
    assert lines["Toxic ammonia"].note == "It needs pH of the same time."


def test_an_old_test_of_what_changes_slowly_still_counts_and_a_temperature_of_another_hour_widens(browser):
    tank = make_tank(water_type="planted")
    read_in(tank, "ph", 6.8, days=0)
    read_in(tank, "carbonate_hardness", 4, days=6)
    read_in(tank, "temperature", 25, days=6)

    lines, _text = follows_of(browser, tank)

    assert lines["Carbon dioxide"].value.endswith("mg/L") and "wood" in lines["Carbon dioxide"].note


def test_an_instrument_in_doubt_counts_for_nothing(browser):
    tank = make_tank(water_type="fresh_community")
    read_in(tank, "ammonia_total", 0.5, days=0)
    read_in(tank, "temperature", 25, days=0)
    instrument = make_instrument(tank)
    measure = make_measure(instrument, "ph", unit="NBS scale")
    read_in(tank, "ph", 8.9, days=0, method=measure.method, source=source_of(instrument.equipment))
    assert follows_of(browser, tank)[0]["Toxic ammonia"].value != ""

    now = timezone.now()
    TrustMove.objects.create(
        measure=measure, at=now, trust="to_check", why="x", origin=measure.pk, received_at=now
    )

    assert follows_of(browser, tank)[0]["Toxic ammonia"].value == ""


def test_a_tank_without_values_says_nothing_of_what_follows(browser):
    lines, text = follows_of(browser, make_tank())

    assert lines == {} and "What follows from them" not in text


def test_a_treatment_stands_on_the_page_until_four_weeks_after_its_end(browser):
    tank, now = make_tank(), timezone.now()
    told = {"vet": "Dr Marl", "product": "A medicine", "form": "other", "lot": "L7", "dose": "as ordered"}
    row = Treatment(
        tank=tank, at=now - timedelta(days=5), until_on=now.date(), origin=tank.pk, received_at=now, **told
    )
    row.save()
    assert "Under treatment" in follows_of(browser, tank)[1]

    old = make_tank()
    Treatment.objects.create(
        tank=old,
        at=now - timedelta(days=90),
        until_on=now.date() - timedelta(days=40),
        origin=old.pk,
        received_at=now,
        **told,
    )
    assert "Under treatment" not in follows_of(browser, old)[1]
