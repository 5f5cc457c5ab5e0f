"""Worksheets on a page and through the API: filled in from the tank, refused in the core's own words, kept from others."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.core import units
from servicedesk.core.worksheets import Refused, read
from servicedesk.core.worksheets.book import WORKSHEETS
from servicedesk.desk.queries.worksheets import text_of
from servicedesk.dosing.models import RateChange
from servicedesk.dosing.queries import uptake_of
from servicedesk.water.actions import source_of
from servicedesk.water.models import WaterChange
from tests.core.worksheet_examples import EXAMPLES
from tests.factories.people import make_business, make_client_user, make_owner, make_technician
from tests.factories.stops import make_reef_to_test, make_stop
from tests.factories.tanks import (
    make_band,
    make_channel,
    make_instrument,
    make_item,
    make_measure,
    make_method,
    make_reading,
    make_solution,
)

pytestmark = pytest.mark.django_db
SIGNED = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture
def browser():
    make_business()
    eyes = Browser()
    eyes.force_login(make_owner(), backend=SIGNED)
    return eyes


@pytest.fixture
def reef():
    tank = make_reef_to_test()
    tank.bands.filter(parameter="alkalinity").update(max_rise_per_day=1.0)
    solution = make_solution("alkalinity", per_ml=20.0, per_ml_u_rel=0.02)
    channel = make_channel(tank, solution=solution, step_ml=0.5, container_ml=2000)
    now = timezone.now()
    RateChange.objects.create(
        channel=channel, at=now - timedelta(days=40), ml_per_day=10, origin=channel.pk, received_at=now
    )
    for ago, value in ((28, 8.0), (21, 7.6), (14, 7.2), (7, 6.8), (0.1, 6.4)):
        read_in(tank, "alkalinity", value, at=now - timedelta(days=ago))
    return tank


def read_in(tank, parameter, value, **given):
    return make_reading(tank, str(value), parameter=parameter, unit=units.parameter(parameter).unit, **given)


def ask(browser, sheet, tank=None, **typed):
    address = f"/tanks/{tank.pk}/worksheets/{sheet}/" if tank else f"/worksheets/{sheet}/"
    return browser.get(address, typed)


def test_a_worksheet_of_a_tank_is_worked_from_what_is_known_of_it(browser, reef):
    answer = ask(browser, "raise", reef, **{"for": "alkalinity"})

    result = answer.context["result"]
    total = (8 - 6.4) * reef.net_l / 20
    assert result.values["total_ml"] == pytest.approx(total, rel=0.1)
    assert result.values["total_ml"] <= total
    labels = {line.label: line for line in result.said}
    assert labels["By the pump"].note.endswith("then back to 10 mL a day")
    assert b"Acids and alkalis" in answer.content


@pytest.mark.parametrize("key", sorted(WORKSHEETS))
def test_every_worksheet_opens_empty_with_its_example_and_with_a_tank(browser, reef, key):
    empty = ask(browser, key)
    example = ask(browser, key, **EXAMPLES[key])
    of_tank = ask(browser, key, reef)

    assert {empty.status_code, example.status_code, of_tank.status_code} == {200}
    assert example.context["result"] is not None
    assert example.context["result"].sentence in example.content.decode().replace("&#x27;", "'")


def test_what_is_typed_wrong_stands_there_with_what_to_do_and_nothing_is_lost(browser):
    answer = ask(browser, "volume", length="1oo", width="60")

    text = answer.content.decode()
    assert "“1oo” is not a number. Did you mean 100?" in text
    assert 'value="1oo"' in text and 'value="60"' in text
    assert answer.context["result"] is None


def test_what_does_not_go_together_is_said_above_the_form(browser):
    text = ask(browser, "raise", **(EXAMPLES["raise"] | {"goal": "5"})).content.decode()

    assert "It needs no raising" in text and 'role="alert"' in text


def test_page_api_and_core_refuse_alike(browser):
    typed = EXAMPLES["ammonia"] | {"ph": "nan", "total": "-1"}
    with pytest.raises(Refused) as core:
        read(WORKSHEETS["ammonia"], typed)
    page = ask(browser, "ammonia", **typed)
    door = browser.get("/api/v1/worksheets/ammonia/", typed)

    assert {k: v[0] for k, v in page.context["form"].errors.items()} == core.value.fields
    assert door.status_code == 400 and door["Content-Type"] == "application/problem+json"
    assert {e["pointer"]: e["detail"] for e in door.json()["errors"]} == {
        f"/{key}": words for key, words in core.value.fields.items()
    }


def test_the_door_for_machines_says_what_it_took_and_what_came_out(browser, reef):
    door = browser.get(
        "/api/v1/worksheets/raise/", {"tank": str(reef.pk), "for": "alkalinity", "goal": "7.4"}
    )

    said = door.json()
    assert said["taken"]["net_l"] == f"{reef.net_l:g}" and said["taken"]["goal"] == "7.4"
    assert said["values"]["days"] == 2 or said["values"]["days"] == 1
    assert said["sources"] and said["why"]
    assert browser.get("/api/v1/worksheets/raise/", {"tank": "x"}).status_code == 404
    assert browser.get("/api/v1/worksheets/none-such/").status_code == 404
    assert browser.get("/worksheets/none-such/").status_code == 404
    refused = browser.get("/api/v1/worksheets/raise/", EXAMPLES["raise"] | {"goal": "5"})
    assert refused.json()["errors"][0]["pointer"] == "/_"


def test_uptake_counts_what_the_channel_gave(reef):
    found = uptake_of(reef, "alkalinity", at=timezone.now())

    given = 10 * 20 / reef.net_l
    assert found.per_day == pytest.approx(0.4 / 7 + given, rel=0.02)
    assert uptake_of(reef, "calcium", at=timezone.now()) is None


def test_a_temporary_rate_counts_for_its_time_and_a_change_moves_the_value(reef):
    now, channel = timezone.now(), reef.channels.get()
    RateChange.objects.create(
        channel=channel, at=now - timedelta(days=10), until=now - timedelta(days=8), ml_per_day=30, origin=reef.pk, received_at=now
    )  # fmt: skip
    more = uptake_of(reef, "alkalinity", at=now)
    WaterChange.objects.create(tank=reef, at=now - timedelta(days=9), litres=reef.net_l / 10, origin=reef.pk, received_at=now)  # fmt: skip
    changed = uptake_of(reef, "alkalinity", at=now)

    assert more.per_day > 0.4 / 7 + 10 * 20 / reef.net_l
    assert changed.per_day != more.per_day


def test_of_water_nobody_tested_only_what_came_after_its_change_tells(reef):
    type(reef).objects.filter(pk=reef.pk).update(water_type="fresh_community")
    reef.refresh_from_db()
    now = timezone.now()
    WaterChange.objects.create(tank=reef, at=now - timedelta(days=10), litres=20, origin=reef.pk, received_at=now)  # fmt: skip

    assert uptake_of(reef, "alkalinity", at=now) is None  # two tests since then


def test_keep_level_takes_uptake_limits_and_the_channel(browser, reef):
    result = ask(browser, "level", reef).context["result"]

    assert result.values["setting_ml_per_day"] == pytest.approx(0.4 / 7 * reef.net_l / 20 + 10, abs=0.5)
    assert result.values["test_every_days"] == 1
    assert "lasts_days" in result.values


def test_who_is_right_takes_the_last_tests_by_hand_and_the_nearest_of_the_instrument(browser, reef):
    make_measure(make_instrument(reef), "alkalinity")
    form = ask(browser, "right", reef, **{"for": "alkalinity"}).context["form"]
    assert form.data["m1"] == "6.4"

    other = make_method("alkalinity", name="another kit", tolerance_abs=0.3)
    read_in(reef, "alkalinity", 6.7, at=timezone.now(), method=other)
    answer = ask(browser, "right", reef, **{"for": "alkalinity"})
    assert len(answer.context["result"].rows) == 2
    assert answer.context["form"].data["lots"] == "own"


def test_who_is_right_knows_what_draws_on_one_reagent(browser, reef):
    reagent = make_item(name="alkalinity reagent")
    kit = make_method("alkalinity", name="kit of one reagent", tolerance_abs=0.3, reagent=reagent)
    later = timezone.now() + timedelta(hours=1)
    read_in(reef, "alkalinity", 6.7, at=later, method=kit)

    def lots():
        return ask(browser, "right", reef, **{"for": "alkalinity"}).context["form"].data["lots"]

    assert lots() == "one"
    instrument = make_instrument(reef)
    measure = make_measure(instrument, "alkalinity", reagent=reagent)
    read_in(reef, "alkalinity", 6.9, at=later, method=measure.method, source=source_of(instrument.equipment))
    assert lots() == "all"


def test_a_technician_meets_only_tanks_in_sight_and_a_client_none(reef):
    make_business()
    ida, stranger, contact = Browser(), Browser(), Browser()
    technician = make_technician()
    make_stop(technician, reef)
    ida.force_login(technician, backend=SIGNED)
    stranger.force_login(make_technician(email="bob@sluicegate.invalid"), backend=SIGNED)
    contact.force_login(make_client_user(), backend=SIGNED)

    assert ask(ida, "raise", reef).status_code == 200
    assert ida.get(f"/tanks/{reef.pk}/worksheets/").status_code == 200
    for nobody in (stranger, contact):
        assert ask(nobody, "raise", reef).status_code == 404
        assert nobody.get("/api/v1/worksheets/raise/", {"tank": str(reef.pk)}).status_code in (403, 404)
    assert contact.get("/worksheets/").status_code == 404
    assert contact.get("/api/v1/worksheets/raise/").status_code == 403
    assert stranger.get("/worksheets/").status_code == 200


def test_the_tank_s_page_offers_what_its_values_ask_for(browser, reef):
    make_band(reef, "nitrate", unit="mg/L NO3", low=1, high=10, target=5, alarm_low=0, alarm_high=50)
    make_band(reef, "ammonia_total", unit="mg/L N", low=0, target=0, high=0.1, alarm_low=0, alarm_high=0.5)
    read_in(reef, "nitrate", 40, at=timezone.now())
    read_in(reef, "ammonia_total", 1, at=timezone.now())

    offered = browser.get(f"/tanks/{reef.pk}/").context["problems"]

    assert ("Alkalinity is low", "raise", "alkalinity") in offered
    assert ("Nitrate is high", "change", "nitrate") in offered
    assert offered[0][1] == "ammonia"
    change = ask(browser, "change", reef).context["form"].data
    assert change["parameter"] == "nitrate" and change["value"] == "40"
    several = ask(browser, "several", reef).context["form"].data
    assert several["rise_alkalinity"] == "1.6" and several["p1_alkalinity"] == "20"


def test_numbers_are_filled_in_as_people_type_them():
    assert [text_of(v) for v in (None, 0, 7.5, 0.0000948, 123456.7, 2e-12)] == [
        "",
        "0",
        "7.5",
        "0.0000948",
        "123457",
        "0",
    ]


def test_ph_comes_on_the_scale_that_is_asked_or_not_at_all(browser, reef):
    for name, value in (("ph", 8.2), ("salinity", 35), ("temperature", 25)):
        read_in(reef, name, value, at=timezone.now())
    assert float(ask(browser, "raise", reef).context["form"].data["ph"]) == pytest.approx(8.06, abs=0.02)

    read_in(reef, "salinity", 5, at=timezone.now() + timedelta(minutes=1))
    assert ask(browser, "raise", reef).context["form"].data["ph"] == ""


def test_the_longest_harmless_silence_becomes_a_recurring_task_that_can_still_be_changed(browser, reef):
    page = ask(browser, "level", reef, **{"for": "alkalinity"})
    address = page.context["rule"]

    form = browser.get(address).context["form"]
    assert form["title"].value() == "Test Alkalinity by hand"
    assert (form["every"].value(), form["unit"].value()) == ("1", "days")
    assert page.content.decode().count("Make it a recurring task") == 1
    assert "Make it a recurring task" not in ask(browser, "level", **EXAMPLES["level"]).content.decode()
    assert (
        "Test what is dosed by hand"
        in browser.get(ask(browser, "level", reef).context["rule"]).content.decode()
    )
