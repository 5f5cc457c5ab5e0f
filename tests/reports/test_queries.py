"""What a report says and what it never says."""

import json
import re
from datetime import timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from clients.models import Client, Equipment, TankStateRow
from reports.queries import as_json, changes_between, content_of, from_json
from reports.queries.back_on import BackOn
from reports.queries.gather import scrubber
from reports.queries.mail import letter_of
from reports.queries.shape import Level, ReportContent
from reports.queries.sheet import report_html
from servicedesk.upkeep.actions import raise_task
from servicedesk.visits.models import Visit
from servicedesk.water.actions import set_default_tests
from tests.factories.people import make_technician
from tests.factories.reported import VISIT_AT, add_photo, history, make_reef, past_visit
from tests.factories.tanks import (
    make_channel,
    make_client,
    make_equipment,
    make_livestock,
    make_method,
    make_plan,
    make_site,
    make_solution,
)
from tests.factories.visited import Journey, make_due
from tests.reports.conftest import KEY_CODE, Scene

LATER = VISIT_AT + timedelta(hours=3)


def told(visit: Visit) -> ReportContent:
    return content_of(visit, at=LATER)


def all_words(content: ReportContent) -> str:
    """Everything a client can read: paper, mail in both forms."""
    html = report_html(content, number="2026-0001", version=1, changes=[], zone=ZoneInfo("UTC"))
    letter = letter_of(content, link="http://127.0.0.1/reports/x/", changes=[], version=1)
    without_style = re.sub(r"<style>.*?</style>", "", html, flags=re.DOTALL)
    return without_style + letter.subject + letter.text + letter.html


# What must be told


def test_a_visit_with_all_values_in_band_is_well(scene: Scene) -> None:
    scene.before()
    content = told(scene.tested().close())
    assert content.verdict == "well"
    assert content.sentence == "Everything we tested is as it should be."
    assert not content.danger
    assert content.reasons == []


def test_a_value_out_of_band_is_watched(scene: Scene) -> None:
    scene.before()
    content = told(scene.tested(calcium="380").close())
    assert content.verdict == "watching"
    assert content.sentence == "Calcium is a little off. We look at this again on the next visit."
    assert not content.danger


def test_a_value_out_of_band_that_somebody_dosed_against_is_acted_on(scene: Scene) -> None:
    scene.before()
    journey = scene.tested(alkalinity="6.9")
    journey.write("dose", tank=str(scene.tank.pk), solution=str(make_solution().pk), ml="40")
    content = told(journey.close())
    assert content.verdict == "acting"
    assert not content.danger
    assert content.sentence == (
        "Carbonate is a little off. We worked on this today and test again on the next visit."
    )


def test_a_value_beyond_the_limit_is_danger_even_when_history_expects_another(scene: Scene) -> None:
    history(scene.tank, technician=scene.technician)
    content = told(scene.tested(alkalinity="5.9").close())
    assert (content.verdict, content.danger) == ("acting", True)
    assert content.reasons == ["alarm"]
    level = next(x for x in content.tanks[0].levels if x.parameter == "alkalinity")
    assert (level.state, level.word) == ("under", "much too low")


def unlike_twins(scene: Scene, first: str, second: str) -> ReportContent:
    journey = scene.tested(alkalinity=first)
    journey.read(scene.tank, "alkalinity", second, seq=1)
    return told(journey.close())


def test_results_that_do_not_agree_are_no_value_and_are_tested_again(scene: Scene) -> None:
    history(scene.tank, technician=scene.technician)
    content = unlike_twins(scene, "6.4", "9.6")
    level = next(x for x in content.tanks[0].levels if x.parameter == "alkalinity")
    assert (level.state, level.word) == ("again", "our tests do not agree; we test again")
    assert (level.value_text, level.value, level.last) == ("–", None, None)
    assert content.verdict == "watching"
    assert content.sentence == (
        "Carbonate: our tests do not agree; we test again. We look at this again on the next visit."
    )
    assert content.tanks[0].changed == ["The other levels are about where they were on 11 November."]
    said = all_words(content)
    for number in ("8.0 dKH", "6.4", "9.6"):
        assert number not in said
    trends = [content.tanks[0].trend, *content.tanks[0].more]
    carbonate = next(t for t in trends if t is not None and t.name == "Carbonate")
    assert carbonate.lines[0].points[-1][0].startswith("2026-11-11")


def test_of_results_that_do_not_agree_one_beyond_the_limit_waits_for_the_owner(scene: Scene) -> None:
    scene.before()
    content = unlike_twins(scene, "5.5", "8.4")
    assert content.reasons == ["alarm"]
    assert (content.verdict, content.danger) == ("watching", False)


def test_twins_that_agree_are_told_as_their_mean(scene: Scene) -> None:
    scene.before()
    content = unlike_twins(scene, "7.8", "8.0")
    level = next(x for x in content.tanks[0].levels if x.parameter == "alkalinity")
    assert (level.value_text, level.state) == ("7.9 dKH", "in")


def test_what_changed_is_told_with_both_values(scene: Scene) -> None:
    scene.before(alkalinity="7.9")
    content = told(scene.tested(alkalinity="6.9").close())
    assert content.since == "11 November"
    assert content.tanks[0].changed == ["Carbonate fell from 7.9 to 6.9 dKH."]


def test_levels_are_three_to_five_in_the_clients_words_with_their_band(scene: Scene) -> None:
    scene.before()
    levels = told(scene.tested(nitrate="14").close()).tanks[0].levels
    assert [(x.name, x.value_text, x.band_text, x.word) for x in levels] == [
        ("Temperature", "25.3 °C", "24.5 to 26.5", "as it should be"),
        ("Salt", "35.1", "34.0 to 36.0", "as it should be"),
        ("Carbonate", "7.9 dKH", "7.2 to 9.0", "as it should be"),
        ("Calcium", "428 mg/L", "390 to 460", "as it should be"),
        ("Nitrate", "14 mg/L", "1 to 12", "a little high; algae grow faster"),
    ]


def test_after_a_water_change_only_warmth_and_salt_are_measured(scene: Scene) -> None:
    scene.before()
    journey = scene.tested(nitrate="10")
    journey.write("water_change", tank=str(scene.tank.pk), litres="100")
    block = told(journey.close()).tanks[0]
    kinds = {x.parameter: x.kind for x in block.levels}
    assert kinds == {
        "temperature": "measured",
        "salinity": "measured",
        "alkalinity": "expected",
        "calcium": "expected",
        "nitrate": "expected",
    }
    nitrate = next(x for x in block.levels if x.parameter == "nitrate")
    assert nitrate.value == pytest.approx(10 * (1 - 100 / scene.tank.net_l))
    assert nitrate.value_text == "about 8 mg/L"
    assert nitrate.word == "worked out: as it should be; 10 before the water change"
    assert "Carbonate, calcium and nitrate: not tested again after the water change" in block.did_not[-1]


def level_of(content: ReportContent, parameter: str) -> Level:
    return next(x for x in content.tanks[0].levels if x.parameter == parameter)


def renewed(scene: Scene, journey: Journey, **water: str) -> ReportContent:
    """The visit closed after a change of a hundred litres."""
    journey.write("water_change", tank=str(scene.tank.pk), litres="100", **water)
    return told(journey.close())


def test_a_dose_after_the_test_is_part_of_what_is_worked_out(scene: Scene) -> None:
    scene.before()
    journey = scene.tested(alkalinity="6.9")
    alkaline = make_solution(per_ml=10.0)
    for solution in (alkaline, make_solution("calcium", per_ml=10.0)):
        journey.write("dose", tank=str(scene.tank.pk), solution=str(solution.pk), ml="40")
    level = level_of(renewed(scene, journey), "alkalinity")
    net = scene.tank.net_l
    assert level.value == pytest.approx(8.0 + (6.9 + 40 * 10.0 / net - 8.0) * (1 - 100 / net))
    assert "6.9 before the dose and the water change" in level.word


def test_a_dose_before_the_test_is_already_in_the_value(scene: Scene) -> None:
    scene.before()
    journey = scene.journey()
    journey.write("dose", tank=str(scene.tank.pk), solution=str(make_solution(per_ml=10.0).pk), ml="40")
    journey.read(scene.tank, "alkalinity", "6.9")
    level = level_of(renewed(scene, journey), "alkalinity")
    assert level.value == pytest.approx(8.0 + (6.9 - 8.0) * (1 - 100 / scene.tank.net_l))


def test_a_test_after_the_water_change_is_a_measurement(scene: Scene) -> None:
    scene.before()
    journey = scene.journey()
    journey.write("water_change", tank=str(scene.tank.pk), litres="100")
    journey.read(scene.tank, "nitrate", "10")
    block = told(journey.close()).tanks[0]
    assert [(x.kind, x.value_text, x.word) for x in block.levels] == [
        ("measured", "10 mg/L", "as it should be")
    ]


def test_what_the_new_water_is_not_known_to_hold_stands_as_measured_before_it(scene: Scene) -> None:
    scene.before()
    make_method("ph", kind="probe")
    set_default_tests(tank=scene.tank)
    journey = scene.tested()
    journey.read(scene.tank, "ph", "8.9")
    content = renewed(scene, journey)
    level = level_of(content, "ph")
    assert (level.kind, level.value_text) == ("measured", "8.90")
    assert level.word.startswith("measured before the water change: ")
    assert level.state in ("high", "over")
    untested = next(x for x in content.tanks[0].did_not if "not tested again after the water change" in x)
    assert "acidity (ph)" in untested.lower()


def test_the_salinity_typed_for_the_new_water_counts(scene: Scene) -> None:
    scene.before()
    content = renewed(scene, scene.tested(calcium="428"), salinity="28")
    share = 100 / scene.tank.net_l
    salt, calcium = level_of(content, "salinity"), level_of(content, "calcium")
    assert salt.kind == "expected"
    assert salt.value == pytest.approx(35.1 + (28 - 35.1) * share)
    assert calcium.value == pytest.approx(428 + (420 * 28 / 35 - 428) * share)


def test_a_value_worked_out_is_judged_as_it_is_shown(scene: Scene) -> None:
    scene.before()
    net = scene.tank.net_l
    after = 12.3
    content = renewed(scene, scene.tested(nitrate=f"{after / (1 - 100 / net):.2f}"))
    level = level_of(content, "nitrate")
    assert (level.value_text, level.band_text, level.state) == ("about 12 mg/L", "1 to 12", "in")
    assert level.word.startswith("worked out: as it should be; ")
    assert content.verdict == "acting"
    assert content.sentence.startswith("Nitrate was a little off before the water change.")


def test_a_value_measured_beyond_its_limit_stays_an_alarm_after_the_water_change(scene: Scene) -> None:
    scene.before()
    content = renewed(scene, scene.tested(alkalinity="5.9"))
    assert content.reasons == ["alarm"]
    assert (content.verdict, content.danger) == ("acting", True)


def test_what_was_left_is_told_with_its_reason(scene: Scene) -> None:
    scene.before()
    task = raise_task(
        tank=scene.tank,
        key="floss",
        title="Filter floss",
        why="",
        earliest=VISIT_AT.date(),
        due=VISIT_AT.date(),
        latest=VISIT_AT.date(),
        minutes=5,
        at=VISIT_AT,
    )
    journey = scene.tested()
    journey.write("task_left", task=str(task.pk), reason="no_part")
    assert "Filter floss: a part was missing" in told(journey.close()).tanks[0].did_not


def test_what_was_not_tested_is_told_with_the_day_it_last_was(scene: Scene) -> None:
    scene.before()
    journey = scene.journey()
    journey.read(scene.tank, "temperature", "25.2")
    lines = told(journey.close()).tanks[0].did_not
    assert lines == [
        "Salt, carbonate, calcium and nitrate: not tested today; last on 11 November, usually every 14 days"
    ]


def test_equipment_that_stays_off_is_told_and_watched(scene: Scene) -> None:
    scene.before()
    lamp = make_equipment(scene.tank, name="UV lamp", kind="uv", back_on_check=True)
    pump = make_equipment(scene.tank, name="return pump", kind="return_pump", back_on_check=True)
    journey = scene.tested()
    journey.write(
        "back_on",
        tank=str(scene.tank.pk),
        on=[str(pump.pk)],
        left=[{"equipment": str(lamp.pk), "reason": "the sleeve is cracked"}],
    )
    content = told(journey.close())
    assert content.verdict == "watching"
    assert content.reasons == ["off"]
    assert content.sentence == "UV lamp stays off. We look at this again on the next visit."
    assert "UV lamp stays off: the sleeve is cracked" in content.tanks[0].did_not
    assert "Back on: return pump" in content.tanks[0].did


def test_equipment_that_nobody_checked_is_told_and_watched(scene: Scene) -> None:
    scene.before()
    make_equipment(scene.tank, name="UV lamp", kind="uv", back_on_check=True)
    make_equipment(scene.tank, name="old pump", back_on_check=True, retired_on=VISIT_AT.date())
    content = told(scene.tested().close())
    assert "Everything back on: not checked before we left (UV lamp)" in content.tanks[0].did_not
    assert content.verdict == "watching"
    assert content.sentence.startswith("Nobody wrote down that everything is back on.")


def test_without_equipment_to_check_nothing_is_said_of_it(scene: Scene) -> None:
    scene.before()
    make_equipment(scene.tank, name="tester")
    content = told(scene.tested().close())
    assert (content.verdict, content.tanks[0].did_not) == ("well", [])


def test_one_check_of_several_tanks_is_told_with_each_of_them(scene: Scene) -> None:
    bar = make_reef(scene.site, name="The small reef in the bar", order=2)
    past_visit(scene.tank, bar, technician=scene.technician, days=14)
    lamp = make_equipment(scene.tank, name="UV lamp", kind="uv", back_on_check=True)
    pump = make_equipment(bar, name="return pump", kind="return_pump", back_on_check=True)
    journey = scene.journey(scene.tank, bar)
    off = [{"equipment": str(pump.pk), "reason": "a new one is ordered"}]
    journey.write("back_on", on=[str(lamp.pk)], left=off)
    content = told(journey.close())
    first, second = content.tanks
    assert "Everything back on: UV lamp" in first.did
    assert not any("stays off" in line for line in first.did_not)
    assert "return pump stays off: a new one is ordered" in second.did_not
    assert content.reasons == ["off"]


def test_the_last_check_of_a_piece_counts(scene: Scene) -> None:
    scene.before()
    pump = make_equipment(scene.tank, name="return pump", kind="return_pump", back_on_check=True)
    journey = scene.tested()
    journey.write("back_on", on=[], left=[{"equipment": str(pump.pk), "reason": "it has to fill first"}])
    journey.write("back_on", on=[str(pump.pk)], left=[])
    content = told(journey.close())
    assert (content.verdict, content.reasons, content.tanks[0].did_not) == ("well", [], [])
    assert "Everything back on: return pump" in content.tanks[0].did


def test_a_death_is_told_honestly_and_waits(scene: Scene) -> None:
    scene.before()
    fish = make_livestock(scene.tank, name="yellow wrasse")
    journey = scene.tested()
    journey.write("livestock", livestock=str(fish.pk), change="died", number=1, cause="It had jumped out.")
    content = told(journey.close())
    assert content.reasons == ["death"]
    assert (content.verdict, content.danger) == ("acting", True)
    assert content.sentence.startswith("1 animal died.")
    assert content.tanks[0].animals[0] == "Died: 1 yellow wrasse, 25 November. It had jumped out."


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        ({"text": "The sump leaks.", "alarm": True}, "alarm"),
        ({"text": "They say we broke the lid.", "dispute": True}, "dispute"),
    ],
)
def test_an_alarm_or_a_dispute_waits(scene: Scene, payload: dict[str, object], reason: str) -> None:
    scene.before()
    journey = scene.tested()
    journey.write("finding", tank=str(scene.tank.pk), **payload)
    assert told(journey.close()).reasons == [reason]


def test_a_first_visit_waits(scene: Scene) -> None:
    content = told(scene.tested().close())
    assert content.reasons == ["first"]
    assert content.tanks[0].changed[0] == "This was our first visit to this tank."


def test_an_isolated_tank_is_never_all_well(scene: Scene) -> None:
    scene.before()
    TankStateRow.objects.create(
        tank=scene.tank,
        state="isolation",
        from_on=VISIT_AT.date() - timedelta(days=3),
        until_on=VISIT_AT.date() + timedelta(days=20),
    )
    content = told(scene.tested().close())
    assert content.verdict == "watching"
    assert content.sentence.startswith("The tank is in its own regime until 15 December: isolation.")


def test_the_question_has_its_price_and_its_two_boxes(scene: Scene) -> None:
    scene.before()
    journey = scene.tested()
    journey.write("recommendation", text="A second return pump.", price="240")
    content = told(journey.close())
    html = all_words(content)
    assert content.questions[0].price == "240 EUR"
    assert html.count('class="ask__box"') == 2
    assert "Yes, please" in html and "No, thank you" in html


def test_then_and_now_are_photos_from_the_same_place(scene: Scene) -> None:
    scene.before()
    journey = scene.tested()
    add_photo(journey, scene.tank)
    pictures = told(journey.close()).tanks[0].pictures
    assert [(p.when, p.caption) for p in pictures] == [
        ("11 November, 10:34", "from the sofa"),
        ("25 November, 10:34", "from the sofa"),
    ]


def test_the_next_visit_agreed_and_the_planned_one_are_both_told(scene: Scene) -> None:
    scene.before()
    make_due(scene.tank, technician=scene.technician, at=VISIT_AT + timedelta(days=14))
    journey = scene.tested()
    journey.write("next_visit", date="2026-11-30")
    content = told(journey.close())
    assert (content.next_visit.day, content.next_visit.then) == ("Monday 30 November", "Wednesday 9 December")


def test_the_technicians_own_words_come_first(scene: Scene) -> None:
    scene.before()
    journey = scene.tested()
    journey.write("field", name="summary", value="Your reef is well and growing.")
    journey.write("field", name="staff_do", value="Feed one cube a day\n- Keep the lid shut")
    content = told(journey.close())
    assert content.sentence == "Your reef is well and growing."
    assert content.please_do == ["Feed one cube a day", "Keep the lid shut"]


def test_a_withdrawn_reading_is_not_told(scene: Scene) -> None:
    scene.before()
    journey = scene.tested()
    wrong = next(e for e in journey.entries if e["payload"].get("parameter") == "calcium")
    journey.write("correction", entry=wrong["id"], withdraw=True, why="the cuvette was dirty")
    block = told(journey.close()).tanks[0]
    assert "calcium" not in {x.parameter for x in block.levels}
    assert block.did[0] == "4 tests: temperature, salt, carbonate and nitrate"


def test_the_trend_counts_what_lies_between_the_lines(scene: Scene) -> None:
    history(scene.tank, technician=scene.technician)
    trend = told(scene.tested(alkalinity="6.9").close()).tanks[0].trend
    assert trend is not None
    assert trend.says == "Carbonate over twelve weeks: 5 of 6 tests between the two lines."
    assert [v for _at, v in trend.lines[0].points] == [8.1, 8.0, 7.9, 8.1, 8.0, 6.9]


def test_several_tanks_lead_with_the_worst_verdict(scene: Scene) -> None:
    bar = make_reef(scene.site, name="The small reef in the bar", order=2)
    past_visit(scene.tank, bar, technician=scene.technician, days=14)
    journey = scene.journey(scene.tank, bar)
    journey.read(scene.tank, "calcium", "428")
    journey.read(bar, "calcium", "380")
    content = told(journey.close())
    assert [t.verdict for t in content.tanks] == ["well", "watching"]
    assert content.verdict == "watching"
    assert content.title == "Quay house, 2 tanks"
    assert content.sentence == (
        "The small reef in the bar: Calcium is a little off. We look at this again on the next visit. "
        "The long reef behind reception: all is well."
    )


def test_a_death_is_never_nothing_of_note(scene: Scene) -> None:
    scene.before()
    fish = make_livestock(scene.tank, name="goldfish")
    journey = scene.tested()
    journey.write("livestock", livestock=str(fish.pk), change="died", number=1, cause="old age, likely")
    block = told(journey.close()).tanks[0]
    assert block.changed == ["Animals died. The levels are about where they were on 11 November."]
    assert block.animals[0] == "Died: 1 goldfish, 25 November. Old age, likely."


def test_several_values_outside_are_told_in_the_plural(scene: Scene) -> None:
    scene.before()
    content = told(scene.tested(calcium="380", nitrate="14").close())
    assert (
        content.sentence == "Calcium and nitrate are a little off. We look at this again on the next visit."
    )


# What must never be told


def test_internal_notes_stock_prices_margins_and_plan_prices_are_never_told(scene: Scene) -> None:
    scene.before()
    solution = make_solution()
    solution.item.price_per_pack, solution.item.supplier = Decimal("87.31"), "Brine & Sons"
    solution.item.save()
    make_plan(scene.site, scene.tank, price=Decimal("913.57"))
    journey = scene.tested()
    journey.write("dose", tank=str(scene.tank.pk), solution=str(solution.pk), ml="40")
    journey.write("finding", tank=str(scene.tank.pk), text="The chef is rude to us.", internal=True)
    journey.write("finding", tank=str(scene.tank.pk), text="They say we broke the lid.", dispute=True)
    words = all_words(told(journey.close()))
    for secret in ("87.31", "913.57", "rude", "broke the lid", "haggles", "pays late", "Brine &"):
        assert secret not in words


def test_a_key_code_is_taken_out_of_whatever_was_typed(scene: Scene) -> None:
    scene.before()
    journey = scene.tested()
    journey.write("finding", tank=str(scene.tank.pk), text=f"The door opens with {KEY_CODE} again.")
    journey.write("recommendation", text=f"A new lock instead of {KEY_CODE}.")
    for name in ("summary", "staff_do", "staff_dont"):
        journey.write("field", name=name, value=f"Use {KEY_CODE}")
    words = all_words(told(journey.close()))
    assert KEY_CODE not in words
    assert "The door opens with ••• again." in words


def test_ways_in_and_telephone_numbers_of_the_site_are_never_told(scene: Scene) -> None:
    scene.site.way_in = "by the yard, alarm to the left"
    scene.site.on_site_phone = "0555 7788"
    scene.site.save()
    scene.before()
    words = all_words(told(scene.tested().close()))
    assert "yard" not in words and "0555 7788" not in words


def test_jargon_guarantees_and_certificates_are_not_in_our_own_words(scene: Scene) -> None:
    history(scene.tank, technician=scene.technician)
    journey = scene.tested(alkalinity="5.9", nitrate="14")
    journey.write("water_change", tank=str(scene.tank.pk), litres="80")
    words = all_words(told(journey.close())).lower()
    banned = (
        "guarantee",
        "certif",
        "sigma",
        "uncertaint",
        "standard deviation",
        "confidence",
        "margin of",
        "replicate",
        "±",
        "fault of",
        "medicine",
    )
    assert [word for word in banned if word in words] == []


def test_how_much_of_a_medicine_was_given_is_never_told(scene: Scene) -> None:
    scene.before()
    solution = make_solution(parameter="copper")
    journey = scene.tested()
    journey.write("dose", tank=str(scene.tank.pk), solution=str(solution.pk), ml="37.5")
    content = told(journey.close())
    assert "Copper: given by us; please add none yourself" in content.tanks[0].did
    assert "37.5" not in all_words(content)


def test_nothing_of_another_client_is_told(scene: Scene) -> None:
    other: Client = make_client(name="Marlow School")
    foreign = make_reef(make_site(other, name="Marlow School hall"), name="The school tank")
    past_visit(foreign, technician=make_technician(), days=10)
    scene.before()
    words = all_words(told(scene.tested().close()))
    assert "Marlow" not in words and "school tank" not in words


def test_an_inferred_or_expected_value_never_stands_as_measured(scene: Scene) -> None:
    scene.before()
    journey = scene.tested()
    journey.write("water_change", tank=str(scene.tank.pk), litres="50")
    for level in told(journey.close()).tanks[0].levels:
        if level.kind == "expected":
            assert level.value_text.startswith("about ") and level.word.startswith("worked out: ")
        else:
            assert level.parameter in ("temperature", "salinity")


# Versions


def test_the_content_survives_being_kept(scene: Scene) -> None:
    history(scene.tank, technician=scene.technician)
    journey = scene.tested(alkalinity="6.9")
    add_photo(journey, scene.tank)
    journey.write("recommendation", text="A second return pump.", price="240")
    content = told(journey.close())
    assert from_json(json.loads(json.dumps(as_json(content)))) == content


def test_a_corrected_value_is_what_a_second_version_says_is_new(scene: Scene) -> None:
    scene.before()
    journey = scene.tested(calcium="380")
    visit = journey.close()
    before = told(visit)
    wrong = next(e for e in journey.entries if e["payload"].get("parameter") == "calcium")
    journey.entries = []
    journey.at += timedelta(hours=1)
    journey.write("correction", entry=wrong["id"], value="428", unit="mg/L", why="misread")
    journey.hand_in()
    assert changes_between(before, told(visit)) == [
        "The verdict was “We are watching” and is “All is well”.",
        "Calcium was given as 380 mg/L; it is 428 mg/L.",
        "What changed, added: Nothing of note: the levels are about where they were on 11 November.",
        "What changed, no longer: Calcium fell from 428 to 380 mg/L.",
    ]


def test_nothing_new_is_no_change(scene: Scene) -> None:
    scene.before()
    visit = scene.tested().close()
    assert changes_between(told(visit), content_of(visit, at=LATER + timedelta(days=2))) == []


def test_dosing_is_told_in_the_clients_words(scene: Scene) -> None:
    scene.before()
    channel = make_channel(scene.tank)
    journey = scene.tested()
    journey.write("rate", channel=str(channel.pk), ml_per_day="34", why="the tubing was worn")
    journey.write("pump_check", channel=str(channel.pk), asked_ml="34", before_ml="28", after_ml="34.1")
    journey.write("refill", channel=str(channel.pk), ml_now="1000")
    assert told(journey.close()).tanks[0].did == [
        "5 tests: temperature, salt, carbonate, calcium and nitrate",
        "Carbonate: dosing pump set to 34 mL a day",
        "Carbonate: dosing pump measured, it gives 34.1 mL of 34 asked for",
        "Carbonate: container filled",
    ]


def test_of_a_treatment_the_client_reads_by_whose_word_and_nothing_that_could_be_repeated(
    scene: Scene,
) -> None:
    scene.before()
    journey = scene.tested()
    until = (VISIT_AT + timedelta(days=10)).date().isoformat()
    journey.write("treatment", tank=str(scene.tank.pk), vet="Dr Marl", product="Blue salt", form="other", lot="L7", dose="2 g in 100 L", until=until, carbon=True)  # fmt: skip
    content = told(journey.close())
    assert "A treatment, by order of the veterinarian; please add nothing yourself" in content.tanks[0].did
    assert not {word for word in ("Blue salt", "2 g", "L7") if word in all_words(content)}


def test_the_page_of_a_visit_without_any_test_says_so(scene: Scene) -> None:
    scene.before()
    journey = Journey(scene.tank, technician=scene.technician, at=VISIT_AT)
    content = told(journey.close())
    assert content.sentence == "No water was tested on this visit. We test the water on the next visit."
    assert content.verdict == "watching"
    assert "about where they were" not in all_words(content)
    assert "Your water today" not in all_words(content)


def test_a_photo_that_comes_before_the_arrival_still_ends_the_stop(scene: Scene) -> None:
    journey = scene.journey()
    add_photo(journey, scene.tank)
    visit = journey.close()
    assert visit.due_visit.stop.state == "closed"
    assert visit.arrived_at == VISIT_AT


def test_a_piece_of_equipment_does_not_repeat_its_tank(scene: Scene) -> None:
    own = make_equipment(scene.tank, name=f"Heater, {scene.tank.name}")
    shared = Equipment.objects.create(site=scene.site, name="Air pump, cellar", kind="pump")

    assert BackOn(on=[own, shared]).did == ["Everything back on: Heater, Air pump, cellar"]
    assert BackOn(unchecked=[own]).did_not == ["Everything back on: not checked before we left (Heater)"]


def test_a_version_says_that_a_death_and_a_water_change_were_taken_back(scene: Scene) -> None:
    fish = make_livestock(scene.tank)
    journey = scene.tested()
    keys = [
        journey.write("livestock", livestock=str(fish.pk), change="died", number=1),
        journey.write("water_change", tank=str(scene.tank.pk), litres="40"),
    ]
    visit = journey.close()
    before = told(visit)
    for key in keys:
        journey.write("correction", entry=key, withdraw=True, why="elsewhere")
    journey.hand_in()

    now = told(visit)

    assert any("Died: 1" in line for line in before.tanks[0].animals)
    assert not any("Died" in line for line in now.tanks[0].animals)
    assert not any("water changed" in line for line in now.tanks[0].did)
    said = " ".join(changes_between(before, now))
    assert "Died: 1" in said and "40 L of water changed" in said


@pytest.mark.parametrize(
    ("typed", "told_as"),
    [
        ("Code 4711#blue at the gate", "Code ••• at the gate"),
        ("Code 4711 # Blue at the gate", "Code ••• at the gate"),
        ("Code 47-11#BLUE.", "Code •••."),
        ("The long reef, 4711 mL", "The long reef, 4711 mL"),
    ],
)
def test_the_key_code_is_taken_out_however_it_is_written(scene: Scene, typed: str, told_as: str) -> None:
    assert KEY_CODE == "4711#blue"
    assert scrubber(scene.tested().close())(typed) == told_as


@pytest.mark.parametrize(
    ("typed", "told_as"),
    [
        ("open 90 21", "open •••"),
        ("0.9021 and 19021 stay", "0.9021 and 19021 stay"),
        ("9021.5 mg", "9021.5 mg"),
    ],
)
def test_a_code_of_digits_is_not_taken_out_of_a_value(scene: Scene, typed: str, told_as: str) -> None:
    scene.site.key_code = "9021"
    scene.site.save()

    assert scrubber(scene.tested().close())(typed) == told_as
