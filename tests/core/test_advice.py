import pytest

from servicedesk.core.advice import judge
from servicedesk.core.advice.compile import compile_sheet
from tests.core.vectors import sheet_of

GOOD = {
    "temperature": 25.5, "salinity": 35.0, "ph": 8.2, "ammonia_total": 0.0, "nitrite": 0.0, "alkalinity": 8.0,
    "calcium": 430.0, "magnesium": 1340.0, "nitrate": 5.0, "phosphate": 0.05, "dissolved_oxygen": 6.6,
}  # fmt: skip


def said(water_type="reef_stony", state="normal", **values):
    given = {**GOOD, **values} if water_type.startswith("reef") else values
    confirmed = {f"{p}:n": 2.0 for p in given}
    return judge(compile_sheet(sheet_of(water_type, state=state)), {**confirmed, **given})


@pytest.mark.parametrize(
    ("value", "word", "sentence"),
    [
        (8.0, "in_band", "Between 7.2 and 9.0 dKH."),
        (7.2, "in_band", "Between 7.2 and 9.0 dKH."),
        (6.9, "below", "0.3 under the low mark of 7.2 dKH."),
        (6.1, "below_limit", "0.2 under the limit of 6.3 dKH."),
        (9.4, "above", "0.4 over the high mark of 9.0 dKH."),
        (11.5, "above_limit", "0.5 over the limit of 11.0 dKH."),
    ],
)
def test_verdict_of_a_confirmed_value(value, word, sentence):
    verdict = said(alkalinity=value).verdicts["alkalinity"]

    assert (verdict.word, verdict.sentence) == (word, sentence)


def test_verdict_of_a_single_value_far_from_history_is_test_again_and_keeps_its_word():
    verdict = said(**{"alkalinity": 6.0, "alkalinity:n": 1.0}).verdicts["alkalinity"]

    assert (verdict.word, verdict.also) == ("test_again", "below_limit")
    assert verdict.sentence == "History expects 6.8 to 8.8 dKH; 6.0 is kept. Test again before anyone acts."


def test_advice_waits_while_a_test_is_missing():
    found = said(alkalinity=6.9, calcium=None)

    assert [line.sentence_id for line in found.advice] == ["waits"]
    assert "calcium" not in found.verdicts or found.verdicts["calcium"].word == "not_tested"


def test_advice_waits_while_a_value_is_a_surprise():
    found = said(**{"alkalinity": 6.0, "alkalinity:n": 1.0})

    assert [line.sentence_id for line in found.advice] == ["again"]


def test_low_alkalinity_is_raised_within_the_safe_daily_change():
    line = said(alkalinity=6.9).advice[0]

    assert line.sentence_id == "raise"
    assert line.ml is not None
    assert line.ml * 1.06 / 437 <= 0.5
    assert "÷ 1.060 per mL" in line.why


def test_alkalinity_and_calcium_are_kept_apart():
    assert [line.sentence_id for line in said(alkalinity=6.9, calcium=380.0).advice] == [
        "raise",
        "or_change",
        "raise",
        "or_change",
        "apart",
    ]


def test_salinity_comes_first_and_the_rest_waits():
    ids = [line.sentence_id for line in said(salinity=36.6, alkalinity=6.9).advice]

    assert ids == ["salinity_high", "after_salinity"]


def test_ammonia_is_acted_on_at_once_whatever_else_is_missing():
    found = said(ammonia_total=0.3, calcium=None, alkalinity=None)

    assert [line.sentence_id for line in found.urgent] == ["act_ammonia"]


def test_nitrite_in_fresh_water_is_acted_on_at_once():
    assert "act_nitrite" in [line.sentence_id for line in said("fresh_community", nitrite=0.4).urgent]


def test_overheating_is_acted_on_at_once():
    assert "act_heat" in [line.sentence_id for line in said(temperature=29.0).urgent]


def test_ph_is_never_chased():
    assert "ph_not_chased" in [line.sentence_id for line in said(ph=7.8).advice]


def test_old_acid_water_is_tested_for_ammonia_before_ph_is_raised():
    given = {
        "temperature": 25.0,
        "ph": 6.3,
        "general_hardness": 8.0,
        "carbonate_hardness": 5.0,
        "nitrite": 0.0,
        "nitrate": 20.0,
        "ammonia_total": 0.6,
    }

    assert "acid_old" in [line.sentence_id for line in said("fresh_community", **given).advice]


def test_a_tank_in_treatment_forbids_what_is_usual():
    assert [line.sentence_id for line in said(state="treatment", alkalinity=6.9).advice] == ["state_forbids"]


def test_a_value_of_an_instrument_not_to_be_acted_on_starts_nothing():
    found = said("reef_soft", **{"alkalinity": 7.0, "alkalinity:doubt": 1.0})

    assert "not_acted_on" in [line.sentence_id for line in found.advice]
    assert "raise" not in [line.sentence_id for line in found.advice]


def test_all_in_band_needs_nothing():
    assert [line.sentence_id for line in said().advice] == ["all_well"]


def test_nothing_tested_says_nothing_of_being_well():
    found = judge(compile_sheet(sheet_of("reef_stony")), {})

    assert [line.sentence_id for line in found.advice] == ["waits"]


def test_high_nitrate_is_lowered_by_a_water_change_within_a_third_of_the_tank():
    line = next(x for x in said(nitrate=24.0).advice if x.sentence_id == "lower_by_change")

    assert 0 < float(line.parts["litres"]) <= 0.3 * 437 + 0.5
