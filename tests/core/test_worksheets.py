"""Worksheets: worked examples against numbers reckoned by hand, and what is typed wrong refused in words without loss."""

import math
import random

import pytest

from servicedesk.core.tables import read_json
from servicedesk.core.worksheets import Ask, Refused, Result, Worksheet, answer, read, said, with_u
from servicedesk.core.worksheets.book import WORKSHEETS
from tests.core.worksheet_examples import EXAMPLES

NASTY = ["", " ", "nan", "inf", "-inf", "-1", "0", "1e999", "1_000", "７", "7.8.1", "x" * 300, "999999999", "0.000000001", "-0", "1;2;3", "7 8 9", "1 " * 50, "NaOH", "<b>"]  # fmt: skip


def worked(key, **changed):
    return answer(WORKSHEETS[key], EXAMPLES[key] | changed)


def test_every_worksheet_has_an_example_a_question_and_a_source():
    assert set(EXAMPLES) == set(WORKSHEETS)
    for sheet in WORKSHEETS.values():
        assert sheet.question.endswith("?") and sheet.sources
        assert set(EXAMPLES[sheet.key]) <= {ask.key for ask in sheet.asks}
        assert len({ask.key for ask in sheet.asks}) == len(sheet.asks)
        assert sheet.ask(sheet.asks[0].key) is sheet.asks[0]


@pytest.mark.parametrize("key", sorted(WORKSHEETS))
def test_an_example_comes_out_with_its_arithmetic_and_finite_numbers(key):
    found = worked(key)

    assert found.word and found.sentence.endswith(".")
    assert found.said and all(value is None or math.isfinite(value) for value in found.values.values())
    assert all(len(row) == len(found.heads) for row in found.rows)
    known = {hazard["id"] for hazard in read_json("hazards.json")["hazards"]}
    assert {*found.hazards, *WORKSHEETS[key].hazards} <= known


@pytest.mark.parametrize("key", sorted(WORKSHEETS))
def test_nothing_typed_breaks_a_worksheet_it_is_refused_in_a_sentence(key, seed):
    sheet, rng = WORKSHEETS[key], random.Random(seed)
    for _ in range(150):
        typed = dict(EXAMPLES[key])
        for ask in rng.sample(sheet.asks, rng.randint(1, min(3, len(sheet.asks)))):
            typed[ask.key] = rng.choice(NASTY)
        try:
            answer(sheet, typed)
        except Refused as refused:
            assert refused.fields and all(words.strip()[-1] in ".?" for words in refused.fields.values())


@pytest.mark.parametrize("key", sorted(WORKSHEETS))
def test_each_missing_thing_that_is_needed_is_named_by_its_own_field(key):
    sheet = WORKSHEETS[key]
    with_start = {ask.key for ask in sheet.asks if ask.start or ask.optional or ask.kind == "choice"}
    needed = {ask.key for ask in sheet.asks} - with_start
    if not needed:
        assert read(sheet, {})
        return
    with pytest.raises(Refused) as refused:
        read(sheet, {})
    assert set(refused.value.fields) == needed


def test_limits_are_said_with_their_unit():
    def fault(key, name, text):
        with pytest.raises(Refused) as refused:
            worked(key, **{name: text})
        return refused.value.fields[name]

    assert fault("raise", "net_l", "0") == "Net volume lies above 0 and up to 1e+06 L."
    assert fault("raise", "value", "nan").startswith("“nan” is not a number")
    assert fault("ammonia", "ph", "12") == "pH lies between 5 and 10."
    assert fault("raise", "salt", "vinegar").startswith("Strength is known by is one of: labelled")
    assert fault("level", "values", "1 " * 31) == "Their values: 30 numbers are the most."


def test_alkalinity_is_raised_in_parts_with_who_gives_them_and_what_else_happens():
    found = worked("raise")

    per_ml = 100 / 1000 / (20 / 56.077 / 1000 * 105.988 / 2)  # dKH x L a mL, 1 L of 100 g/L
    assert found.values["total_ml"] <= 1.2 * 400 / per_ml
    assert found.values["days"] == 2
    labels = {line.label: line for line in found.said}
    assert labels["By the pump"].note.endswith("then back to 20 mL a day")
    assert labels["By changing water"].unit == "L each time"
    assert "pH rises" in " ".join(found.mind) and "never together" in " ".join(found.mind)
    assert len(found.rows) == 2


def test_caustic_is_never_offered_to_the_pump_and_says_so():
    found = worked("raise", salt="NaOH", grams_per_l="40", ph="8.2", value="7", goal="13", step="4")

    assert "By the pump" not in {line.label for line in found.said}
    assert found.hazards == ("acid",)
    assert "falls out as lime" in " ".join(found.mind)


def test_what_is_not_known_is_said_and_not_guessed():
    blind = worked("raise", ph="")
    outside = worked("raise", salinity="5")

    assert "would tell how far the pH moves" in " ".join(blind.mind)
    assert "cannot be said" in " ".join(outside.mind)
    lone = worked("raise", value="7.9", goal="8", fresh="", salt="labelled", strength="20")
    assert lone.word == "One dose"
    weak = worked("raise", most="21")
    assert {line.label: line.value for line in weak.said}["By the pump"] == "no"
    useless = worked("raise", fresh="5")
    assert {line.label: line.value for line in useless.said}["By changing water"] == "no"
    assert "22 mg/L" in " ".join(worked("raise", parameter="nitrate", salt="NaNO3", value="1", goal="2").mind)
    assert worked("raise", parameter="magnesium", salt="MgCl2.6H2O", value="1200", goal="1250", step="30").word.endswith("days")  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"salt": "labelled"}, "how strong"),
        ({"grams_per_l": ""}, "how many grams"),
        ({"salt": "CaCl2"}, "raises calcium, not alkalinity"),
        ({"goal": "6"}, "no raising"),
        ({"net_l_u": "250"}, "so uncertain"),
    ],
)
def test_a_correction_that_cannot_be_is_refused_under_no_field(changed, words):
    with pytest.raises(Refused, match=words) as refused:
        worked("raise", **changed)
    assert set(refused.value.fields) == {""}


def test_changes_and_the_salt_for_them():
    found = worked("change")

    assert found.values["times"] == 4
    assert found.values["one_l"] == pytest.approx(400 * 40 / 55)
    kilograms = {line.label: line.value for line in found.said}["Salt to weigh for each change"]
    grams = found.values["litres"] * 1.0233 * 35.165 / 0.9
    assert float(kilograms) == pytest.approx(grams / 1000, rel=0.005)
    assert worked("change", goal="50", mix_salinity="").word == "One change"


def test_several_products_meet_all_rises_or_say_which_they_miss():
    assert worked("several").word == "All met"
    assert worked("several").values["days"] == 2
    short = worked("several", p3_magnesium="0", rise_magnesium="1", rise_calcium="40")
    assert short.word == "Nearly" and short.mind[0].startswith("Not every rise")


def test_keeping_level_from_many_tests_from_two_and_from_what_is_known():
    many = worked("level")
    two = worked("level", days="0 7", values="8.0 7.6")
    known = worked("level", uptake="0.5", uptake_u="0.05", must_last="20", most="200")

    assert many.values["uptake_per_day"] == pytest.approx(0.5 + 0.0517, abs=0.002)
    assert two.values["uptake_per_day"] == pytest.approx(0.4 / 7 + 0.5)
    assert known.values["setting_ml_per_day"] == pytest.approx(10)
    assert known.values["lasts_days"] == 30
    assert "strength_needed" not in known.values
    assert many.values["strength_needed"] > 20
    assert known.values["stopped_week"] == pytest.approx(3.5)
    assert known.values["test_every_days"] == 2


def test_keeping_level_says_when_no_interval_is_short_enough_and_when_nothing_is_used():
    fast = worked("level", uptake="3", now="7.5", low="6", high="")
    still = worked("level", uptake="0", now="", container="", most="")

    assert fast.mind[0].startswith("A silent fault harms within a day")
    assert worked("level", now="5").mind[0].startswith("The value is at its limit")
    assert fast.values["test_every_days"] == 1
    assert still.values["setting_ml_per_day"] == 0
    free = worked("level", uptake="1", container="", most="100", now="7", low="", high="")
    assert "lasts_days" not in free.values and free.values["stuck_day"] == pytest.approx(4)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"days": "0"}, "at least two tests"),
        ({"days": "7 0", "values": "8 7"}, "after the first"),
        ({"values": "8 12 18 25"}, "rises by itself"),
    ],
)
def test_a_level_that_cannot_be_kept_is_refused(changed, words):
    with pytest.raises(Refused, match=words):
        worked("level", **changed)


def test_three_results_by_two_methods_alike_give_their_plain_mean():
    """Common practice (no source)."""
    found = worked("right", m1="7.9 8.0 8.1", m1_rel="5", m1_step="", m2="8.2 8.3 8.4", m2_abs="", m2_rel="5", instrument="")  # fmt: skip

    assert found.values["reference"] == pytest.approx(8.15)
    assert found.word == "Reference value"


def test_an_instrument_is_outside_within_or_cannot_be_told_and_then_what_would_tell():
    assert worked("right").word == "Outside"
    within = worked("right", instrument="8.15", i_abs="1.2")
    assert within.word == "Within"
    untold = worked("right", instrument="8.5", i_abs="0.5")
    assert untold.word == "Cannot be told" and "would tell" in untold.mind[-1]
    one = worked("right", m2="", instrument="8.3", i_abs="0.4")
    assert "second independent method" in one.mind[-1] and "repeat one bias" in one.mind[0]
    fine = worked("right", instrument="8.15", i_abs="0.01", i_step="0.1")
    assert "as fine as its own display" in fine.mind[-1]
    edge = worked("right", instrument="8.6", i_abs="0.45")
    assert "no test at hand would tell" in edge.mind[-1]
    apart = worked("right", m1="7.0", m2="9.5", instrument="")
    assert apart.glyph == "again" and "do not agree" in apart.mind[0]
    bare = worked("right", m2="8.0", m2_abs="", instrument="")
    assert bare.rows[1][3] == "not stated"
    with pytest.raises(Refused, match="Nothing was tested"):
        worked("right", m1="", m2="")


def test_what_draws_on_one_lot_cannot_clear_itself_and_the_sheet_says_what_would():
    two = {"m1": "8.0", "m1_rel": "5", "m2": "8.0", "m2_abs": "0.4", "instrument": "8.0", "i_abs": "2"}
    free, one, both = (worked("right", **two, lots=lots) for lots in ("own", "one", "all"))

    assert one.values["u"] > free.values["u"] == pytest.approx(one.values["u"] / math.sqrt(2), rel=0.01)
    assert "one lot repeat" in one.mind[0] and not any("one lot repeat" in line for line in free.mind)
    assert (free.word, one.word, both.word) == ("Within", "Within", "Cannot be told")
    assert "draw on one lot" in both.mind[-1]


def test_a_batch_may_be_weighed_on_a_scale_and_is_told_that_grams_are_not_millilitres():
    scale = "kitchen scale to 5 kg, ± 2 g"
    found = worked(
        "batch", c_vessel=scale, w_vessel=scale, to_mark="mark", label_u="0", batch="1250", times="5"
    )

    # 2 g over the square root of 3 in 250 and in 1250
    assert found.values["strength_u_rel"] == pytest.approx(
        math.hypot(2 / math.sqrt(3) / 250, 2 / math.sqrt(3) / 1250)
    )
    assert "grams" in found.mind[-1]


def test_a_standard_that_reads_too_much_gives_a_factor_and_one_that_agrees_none():
    found = worked("standard")

    assert found.values["factor"] == pytest.approx(8 / 8.65)
    assert found.word == "Correct by a factor"
    assert worked("standard", results="8.0 8.1 7.9", reading="").word == "Agrees"
    assert worked("standard", results="8.0", step="").values["factor"] == 1
    with pytest.raises(Refused, match="no factor"):
        worked("standard", results="0 0")


def test_a_litre_made_up_to_a_litre_and_a_quarter_is_178_tests_of_seven_millilitres():
    """Common practice (no source)."""
    found = worked("batch")

    assert found.values["concentrate_ml"] == pytest.approx(1000)
    assert found.values["tests"] == 178


def test_the_error_of_a_batch_is_that_of_its_vessels():
    rough = worked("batch", wanted="0.5")
    own = {"c_vessel": "own vessel", "c_size": "1000", "c_tolerance": "5", "w_vessel": "own vessel", "w_size": "2000", "w_tolerance": "0", "label_u": "0"}  # fmt: skip
    scale = worked("batch", **own)
    water = worked("batch", to_mark="water", times="5", per_test="")

    assert rough.word == "Too rough" and "more than the ± 0.5 %" in rough.mind[0]
    assert scale.values["strength_u_rel"] == pytest.approx(5 / math.sqrt(3) / 1000)
    assert {line.label: line.value for line in water.said}["Water"] == "1000"
    with pytest.raises(Refused, match="not diluted"):
        worked("batch", to_mark="water", times="1")
    with pytest.raises(Refused, match="your own vessel"):
        worked("batch", c_vessel="own vessel")


def test_a_volume_by_two_ways_and_what_a_wrong_one_did():
    found = worked("volume")

    sizes = 120 * 60 * 55 / 1000 + 60 - 40 / 1.6 - 20 * 0.6
    rise = 250 * 20 / 11.5
    assert min(sizes, rise) < found.values["net_l"] < max(sizes, rise)
    assert "stronger than meant" in found.said[-1].note
    assert worked("volume", believed="300").said[-1].note.startswith("weaker")
    alone = worked("volume", length="", believed="")
    assert alone.values["net_l"] == pytest.approx(rise) and "One way alone" in alone.mind[0]
    shaped = worked("volume", added_ml="", shape="bow front", bow="10", rock="", sand="", sump="")
    assert shaped.values["net_l"] > 396 and shaped.hazards == ()
    assert worked("volume", shape="cylinder", width="", added_ml="").values["net_l"] > 0
    assert worked("volume", after="12").word == "They disagree"
    with pytest.raises(Refused, match="or both"):
        worked("volume", length="", after="")


def test_toxic_ammonia_in_fresh_and_in_sea_water():
    fresh, sea = worked("ammonia"), worked("ammonia", salinity="35", total="0.1")
    pka = 0.09018 + 2729.92 / 298.15
    assert fresh.values["toxic_mg_l_n"] == pytest.approx(0.5 / (1 + 10 ** (pka - 8.1)))
    assert fresh.word == "Act now" and any("Rivers" in line.label for line in fresh.said)
    assert sea.word == "Low" and not any("Rivers" in line.label for line in sea.said)
    assert not any("Rivers" in line.label for line in worked("ammonia", temperature="35").said)
    with pytest.raises(Refused, match="Holds from"):
        worked("ammonia", salinity="35", ph="7")


def test_skeletons_grow_or_dissolve_and_much_carbon_dioxide_is_named():
    assert worked("carbonate").word == "Skeletons can grow"
    sour = worked("carbonate", ph="7.3")
    assert sour.word == "Skeletons dissolve" and any("Much carbon dioxide" in words for words in sour.mind)
    total = worked("carbonate", scale="total scale")
    assert total.values["ph_total"] == pytest.approx(8.1)
    assert total.values["aragonite"] > worked("carbonate").values["aragonite"]
    assert worked("carbon-dioxide").word == "Bearable"
    assert worked("carbon-dioxide", ph="6.2").word == "Too much"


def test_what_a_hydrometer_or_a_conductivity_meter_means():
    by_gravity = worked("salinity")
    by_current = worked("salinity", kind="conductivity", reading="53.1")
    known = worked("salinity", kind="salinity", reading="0", temperature="-1")

    assert by_gravity.values["salinity"] == pytest.approx(35, abs=0.2)
    assert by_current.values["salinity"] == pytest.approx(35, abs=0.2)
    assert not {"Conductivity", "Oxygen when saturated"} & {line.label for line in known.said}
    with pytest.raises(Refused, match="0 to 42"):
        worked("salinity", kind="salinity", reading="60")


def test_chlorine_is_bound_by_the_reaction_that_takes_most_and_chloramine_leaves_ammonia():
    found = worked("chlorine")

    assert found.values["thiosulphate_g"] == pytest.approx(200 * 1.0 / 70.9 * 2 * 248.17 / 1000, rel=1e-3)
    assert found.values["ammonia_mg_l_n"] == pytest.approx(0.8 * 14.007 / 70.9, rel=1e-3)
    assert "Ammonia set free" not in {line.label for line in worked("chlorine", chloramine="0").said}


def test_noise_is_told_or_said_not_to_be():
    told, drowned = worked("noise"), worked("noise", running="54 55")

    assert told.values["listening_db"] == pytest.approx(told.values["level_db"] - 9.54, abs=0.01)
    assert drowned.word == "Cannot be told" and drowned.values["level_db"] is None
    assert worked("noise", measured_m="").values["listening_db"] is None


def test_numbers_are_written_without_an_exponent_and_with_their_uncertainty():
    assert [said(0), said(1234.5), said(0.012345), said(8.0)] == ["0", "1230", "0.0123", "8.00"]
    assert with_u(8.123, 0.06) == "8.12 ± 0.12"
    assert with_u(8.123, 0) == "8.12"
    assert with_u(412.3, 14) == "412 ± 28"


@pytest.mark.parametrize(
    "work", [lambda _g: 1 / 0, lambda _g: Result("x", "in", "x.", values={"x": math.inf})]
)
def test_more_than_can_be_reckoned_is_refused(work):
    with pytest.raises(Refused, match="more than can be reckoned"):
        answer(Worksheet("x", "X", "X?", (), work, ()), {})


def test_limits_with_one_edge_are_said_too():
    for ask, words in (
        (Ask("x", "It", high=5), "It is at most 5."),
        (Ask("x", "It", "L", low=6), "It is 6 L or more."),
        (Ask("x", "It", low=9, above=True), "It lies above 9."),
    ):
        with pytest.raises(Refused) as refused:
            read(Worksheet("x", "X", "X?", (ask,), lambda _g: Result("x", "in", "x."), ()), {"x": "5.5"})
        assert refused.value.fields == {"x": words}
