"""One tank as the office sees it: values with their trust, the day overlay, dosing, who comes next."""

import datetime as clock
import re
import uuid
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.core.drawing.levels import LevelRow
from servicedesk.desk.queries import tank as one
from servicedesk.dosing.actions import record_dose
from servicedesk.dosing.models import RateChange, Refill
from servicedesk.instruments.actions.trust import move_trust
from servicedesk.instruments.queries import standings_of
from servicedesk.instruments.queries.mixing import minutes_since_dose
from servicedesk.watch.queries import charts
from servicedesk.water import actions as water
from servicedesk.water.queries import bands_of, latest_values
from tests.desk.test_today import make_planned
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.tanks import (
    make_band,
    make_channel,
    make_instrument,
    make_livestock,
    make_measure,
    make_method,
    make_reading,
    make_site,
    make_solution,
    make_tank,
)

pytestmark = pytest.mark.django_db
LONDON = ZoneInfo("Europe/London")
NOW = datetime(2026, 6, 3, 9, 0, tzinfo=UTC)


def text_of(html):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def page(address, who=None):
    browser = Browser()
    browser.force_login(who or make_owner(), backend="django.contrib.auth.backends.ModelBackend")
    return browser.get(address)


def make_probe(tank, parameter="ph", unit="NBS scale"):
    return make_measure(
        make_instrument(tank), parameter, unit=unit, method=make_method(parameter, kind="probe")
    )


def deliver(measure, value, at, unit="NBS scale"):
    source = water.source_of(measure.instrument.equipment)
    tank, method = measure.instrument.tank, measure.method
    make_reading(tank, value, parameter=measure.parameter, unit=unit, at=at, method=method, source=source)


def doubt(measure, trust):
    move_trust(
        measure=measure, trust=trust, why="Its line is air.", at=NOW, origin=uuid.uuid4(), received_at=NOW
    )


def levels(tank):
    latest = {parameter: value for (_t, parameter), value in latest_values([tank]).items()}
    standings = standings_of([tank])
    unmixed = minutes_since_dose(tank, latest.values(), standings)
    return one.level_rows(bands_of(tank), latest, standings, zone=LONDON, unmixed=unmixed)


def test_a_parameter_nobody_tested_has_no_trust():
    tank = make_tank()
    make_band(tank)

    assert [(row.kind, row.trust) for row in levels(tank)] == [("not_tested", "")]


def test_each_value_carries_the_trust_of_its_own_series():
    tank = make_tank()
    make_band(tank)
    make_band(tank, "ph", unit="NBS scale", low=7.9, target=8.2, high=8.4, alarm_low=None, alarm_high=None)
    probe = make_probe(tank)
    make_reading(tank, "6.9", at=NOW)
    deliver(probe, "8.1", NOW)
    doubt(probe, "to_check")

    assert [(row.label, row.state, row.trust) for row in levels(tank)] == [
        ("pH", "in", "to_check"),
        ("Alkalinity", "low", "believed"),
    ]


def test_a_test_by_hand_after_a_doubted_delivery_is_believed():
    tank = make_tank()
    make_band(tank)
    measure = make_measure(make_instrument(tank))
    deliver(measure, "6.1", NOW, "dKH")
    doubt(measure, "not_to_act_on")
    assert levels(tank)[0].mark == "doubt"

    make_reading(tank, "8.0", at=NOW + timedelta(hours=1))

    assert (levels(tank)[0].mark, levels(tank)[0].trust) == ("in", "believed")


def test_a_value_as_shown_on_the_mark_is_in_band_here_too():
    tank = make_tank()
    make_band(tank)
    make_reading(tank, "7.2", at=NOW)

    assert levels(tank)[0].state == "in"


def test_the_lead_says_what_wants_attention_before_it_counts():
    rows = [LevelRow("pH", state="in"), LevelRow("Salinity", state="low")]

    assert one.lead_of(rows, "Alkalinity is low.") == "Alkalinity is low."
    assert one.lead_of(rows, "") == "1 of 2 values stand in band."
    assert one.lead_of(rows[:1], "") == "Everything that was measured stands in band."
    assert one.lead_of([LevelRow("pH", kind="not_tested")], "") == "Nothing has been measured here yet."


def overlays(tank, now=NOW):
    return one.overlays_of(tank, bands_of(tank), standings_of([tank]), now=now, zone=LONDON)


def with_ph(times):
    tank = make_tank()
    make_band(tank, "ph", unit="NBS scale", low=7.9, target=8.2, high=8.4, alarm_low=None, alarm_high=None)
    probe = make_probe(tank)
    for number, at in enumerate(times):
        deliver(probe, f"{8 + number % 3 / 10}", at)
    return tank


def test_a_week_of_ph_delivered_often_is_laid_over_one_day():
    tank = with_ph([NOW - timedelta(hours=4 * n) for n in range(60)])
    (overlay,) = overlays(tank)

    assert [d.day.isoformat() for d in overlay.days] == [f"2026-05-{d}" for d in range(28, 32)] + [
        f"2026-06-0{d}" for d in (1, 2, 3)
    ]
    assert overlay.now == 10.0
    assert overlay.title == "pH over 7 days by the hour: between 8.00 and 8.20."


def test_an_instrument_that_speaks_twice_a_day_has_no_overlay():
    assert overlays(with_ph([NOW - timedelta(hours=12 * n) for n in range(14)])) == []


def test_an_overlay_without_today_names_its_newest_day():
    tank = with_ph([NOW - timedelta(hours=30 + 4 * n) for n in range(20)])
    (overlay,) = overlays(tank)

    assert overlay.now is None
    assert overlay.title.endswith("Nothing of today; the thick line is Tuesday 2 June.")


def test_values_by_hand_make_no_overlay():
    tank = make_tank()
    make_band(tank, "ph", unit="NBS scale", low=7.9, target=8.2, high=8.4, alarm_low=None, alarm_high=None)
    method = make_method("ph")
    for number in range(40):
        at = NOW - timedelta(hours=4 * number)
        make_reading(tank, "8.1", parameter="ph", unit="NBS scale", at=at, method=method)

    assert overlays(tank) == []


def dose(channel, ml_per_day, ml_now, days_ago=0):
    at = NOW - timedelta(days=days_ago)
    common = {"channel": channel, "at": at, "received_at": at}
    RateChange.objects.create(ml_per_day=ml_per_day, origin=uuid.uuid4(), **common)
    Refill.objects.create(ml_now=ml_now, origin=uuid.uuid4(), **common)


def test_a_channel_says_its_rate_what_is_left_and_for_how_long():
    tank = make_tank()
    dose(make_channel(tank), 100, 1000, days_ago=8)
    dose(make_channel(tank), 50, 1000)
    make_channel(tank)

    said = sorted((d.words, d.empty_soon) for d in one.dosed_at(tank, now=NOW))
    assert said == [
        ("100 mL a day, 200 mL left, 2 days", True),
        ("50 mL a day, 1000 mL left, 20 days", False),
        ("gives nothing, never filled", False),
    ]


def test_an_empty_container_says_so():
    tank = make_tank()
    dose(make_channel(tank), 100, 100, days_ago=8)

    assert [d.words for d in one.dosed_at(tank, now=NOW)] == ["100 mL a day, its container is empty"]


def test_the_next_visit_names_who_comes_and_when():
    tank, ida = make_tank(), make_technician(name="Ida")
    assert one.next_visit(tank, now=NOW, zone=LONDON) == ""

    make_planned(tank, ida, clock.date(2026, 6, 4), clock.time(12, 24))
    assert one.next_visit(tank, now=NOW, zone=LONDON) == "Thursday 4 June, 12:24, Ida, 45 min."

    make_planned(tank, ida, clock.date(2026, 6, 3), clock.time(12, 24))
    assert one.next_visit(tank, now=NOW, zone=LONDON) == "Today 12:24, Ida, 45 min."

    later = NOW + timedelta(hours=3)
    assert one.next_visit(tank, now=later, zone=LONDON) == "Ida was due today at 12:24 and has not begun."


def test_the_page_shows_trust_livestock_cautions_and_one_chart_whose_table_is_one_tap_away():
    tank = make_tank(make_site(cautions=["mains"]))
    make_band(tank)
    make_livestock(tank, name="cleaner shrimps", sensitive_to=["copper"])
    measure = make_measure(make_instrument(tank))
    deliver(measure, "8.0", timezone.now() - timedelta(hours=2), "dKH")
    doubt(measure, "to_check")
    html = page(f"/tanks/{tank.pk}/").content.decode()
    said = text_of(html)

    assert "In band to be checked" in said
    assert "Alkalinity to be checked: Its line is air." in said
    assert "cleaner shrimps sensitive to copper" in said
    assert "Mains near water." in said
    assert "Local codes and licensed practice come first." in said
    assert '<td class="number">8 dKH</td>' not in html

    address = re.search(r'class="chart__table"><a href="([^"]+)"', html)[1].replace("&amp;", "&")
    opened = page(f"/tanks/{tank.pk}/" + address).content.decode()
    assert '<details id="table" open>' in opened
    assert '<td class="number">8 dKH</td>' in opened


def test_a_technician_sees_a_tank_in_sight_and_no_other():
    tank = make_tank()

    assert page(f"/tanks/{tank.pk}/", make_technician()).status_code == 404


@pytest.mark.parametrize("count", [1, 3])
def test_more_values_instruments_and_channels_ask_no_more_queries(count, django_assert_max_num_queries):
    tank, now = make_tank(), timezone.now()
    for parameter in ("alkalinity", "calcium", "magnesium")[:count]:
        make_band(tank, parameter, unit="dKH" if parameter == "alkalinity" else "mg/L", low=7, high=9)
        measure = make_measure(make_instrument(tank), parameter)
        deliver(measure, "8.0", now - timedelta(hours=2), "dKH" if parameter == "alkalinity" else "mg/L")
        dose(make_channel(tank), 100, 1000)
        make_livestock(tank)
    browser = Browser()
    browser.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")

    with django_assert_max_num_queries(21):
        browser.get(f"/tanks/{tank.pk}/")


def test_a_value_that_came_before_a_dose_was_mixed_in_is_marked_and_not_judged():
    tank = make_tank()
    make_band(tank, "ph", unit="NBS scale", low=8.0, high=8.4, alarm_low=7.7, alarm_high=8.6)
    measure = make_measure(make_instrument(tank, after_dose_minutes=30), "ph", unit="NBS scale")
    record_dose(
        tank=tank, solution=make_solution("alkalinity"), ml=5, at=NOW - timedelta(minutes=20), by=None, origin=uuid.uuid4(), received_at=NOW
    )  # fmt: skip
    deliver(measure, "8.2", NOW - timedelta(hours=2))
    deliver(measure, "8.8", NOW - timedelta(minutes=8))

    (row,) = levels(tank)
    assert (row.value_text, row.state, row.word) == ("8.80", "again", "Water not mixed")
    assert row.method.endswith("measured 12 min after a dose: water not mixed")
    chart = charts.chart_of(tank, bands_of(tank)["ph"], standings_of([tank]), days=7, now=NOW, zone=LONDON)
    assert sorted(len(one.points) for one in chart.series if "water not mixed" in one.label) == [1]

    make_business()
    browser = Browser()
    browser.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")
    words = "measured 12 min after a dose: water not mixed"
    assert words in browser.get(f"/tanks/{tank.pk}/").content.decode()
    assert f"Last result {words}." in browser.get(f"/instruments/{measure.instrument_id}/").content.decode()
    type(measure.instrument).objects.update(after_dose_minutes=0)
    assert words not in browser.get(f"/tanks/{tank.pk}/").content.decode()
    assert words not in browser.get(f"/instruments/{measure.instrument_id}/").content.decode()
