"""Procedures of calibration: what is refused, what is worked out, and that only a re-test that agrees makes anything believed again."""

import json
import uuid
from datetime import date, timedelta

import pytest
from django.utils import timezone

from servicedesk.core.chemistry import standards
from servicedesk.dosing.models import PumpCheck
from servicedesk.instruments.actions import (
    NotCalibrated,
    calibrating,
    measuring,
    move_trust,
    receive,
    retesting,
)
from servicedesk.instruments.actions.measuring import Bottle
from servicedesk.instruments.actions.trust import doubt_anew
from servicedesk.instruments.models import Calibration, Measure, Procedure, ProcedureStep, TrustMove
from servicedesk.instruments.queries import trust_of
from servicedesk.instruments.queries.pairs import begun_at
from servicedesk.instruments.queries.procedures import here, judged, kept_steps
from servicedesk.stock.models import Movement
from servicedesk.water.models import HeldReading, Reading
from tests.factories.calibrated import Doing, make_cell, make_line, make_ph, make_pump, make_titrator, new
from tests.factories.people import make_business, make_technician
from tests.factories.tanks import make_item, make_lot, make_measure, make_method, make_place

pytestmark = pytest.mark.django_db


@pytest.fixture
def ida():
    make_business()
    return make_technician(name="Ida")


@pytest.fixture
def ph(ida):
    return make_ph()


@pytest.fixture
def titrator(ida):
    return make_titrator()


def test_two_buffers_end_in_belief_and_in_one_fact(ph, ida):
    """By hand: (6 + 126) / 2.315 = 57.019 mV per pH; 96.38 % of Nernst's; at pH 7: 6 - 57.019 × 0.135 = -1.698 mV."""
    doing = Doing(ph, ida).buffers()
    assert trust_of(ph) == "to_check"
    doing.set()
    assert (trust_of(ph), Calibration.objects.count()) == ("to_check", 0)

    done = doing.again(9.17)

    assert done.data["agrees"] is True
    assert trust_of(ph) == "believed"
    row = Calibration.objects.get()
    assert (row.measure, row.by, row.procedure) == (ph, ida, doing.row)
    assert (row.reference, row.before, row.after, row.after_reference) == (9.18, 8.98, 9.17, 9.18)
    assert row.slope_mv_per_ph == pytest.approx(57.0194, abs=1e-4)
    assert row.offset_mv == pytest.approx(-1.6976, abs=1e-4)
    assert row.left_as_is is False
    ended = Procedure.objects.get()
    assert (ended.ended_as, ended.ended_at) == ("agrees", doing.at)
    assert here(ended, kept_steps(ended)) == "end"


def test_a_retest_that_differs_leaves_trust_down_and_another_one_may_still_agree(ph, ida):
    doing = Doing(ph, ida).buffers()
    doing.set()

    failed = doing.again(8.9)

    assert failed.data["agrees"] is False
    assert trust_of(ph) == "to_check" and Calibration.objects.count() == 0
    assert TrustMove.objects.order_by("-at", "-pk").first().why.startswith("A re-test after calibrating did not agree. Off by -0.280")  # fmt: skip
    assert here(doing.row, kept_steps(doing.row)) == "retest"
    doing.again(9.16)
    assert trust_of(ph) == "believed" and Calibration.objects.count() == 1


def test_what_was_tested_before_it_was_set_or_failed_brings_no_belief_back(ph, ida):
    """The watch lets a test by hand bring belief back that is newer than the last move: each setting and each failure is one."""
    start = timezone.now() - timedelta(hours=1)
    doing = Doing(ph, ida, start).buffers()
    doing.at = start + timedelta(minutes=10)
    doing.set()
    doing.at = start + timedelta(minutes=20)
    doing.again(8.9)

    moves = TrustMove.objects.filter(measure=ph).order_by("at")
    assert [(m.at - start).total_seconds() / 60 for m in moves] == [0, 10, 20]
    assert {m.trust for m in moves} == {"to_check"}


def test_a_doubt_told_twice_is_one(ph, ida):
    given = {"measure": ph, "why": "x", "at": timezone.now(), "origin": new(), "received_at": timezone.now()}
    assert doubt_anew(**given) == doubt_anew(**given)
    assert TrustMove.objects.get().trust == "to_check"


def test_what_was_not_to_be_acted_on_stays_so_until_the_retest(ph, ida):
    move_trust(
        measure=ph, trust="not_to_act_on", why="x", at=timezone.now() - timedelta(days=1), origin=new(), received_at=timezone.now()
    )  # fmt: skip
    doing = Doing(ph, ida).buffers()
    doing.set()
    assert trust_of(ph) == "not_to_act_on"
    doing.again(8.5)
    assert trust_of(ph) == "not_to_act_on"
    doing.again(9.18)
    assert trust_of(ph) == "believed"


def test_a_spent_electrode_is_not_set(ph, ida):
    """(2 + 110) / 2.315 = 48.4 mV per pH: 81.8 %."""
    doing = Doing(ph, ida).buffers(mv=(2.0, -110.0))
    assert judged(doing.row, kept_steps(doing.row)).electrode.word == "spent"
    with pytest.raises(NotCalibrated, match="not mended by setting"):
        doing.set()
    assert not ProcedureStep.objects.filter(step="set").exists()


def test_a_worn_electrode_is_set_with_a_word_of_warning(ph, ida):
    """(3 + 121) / 2.315 = 53.56 mV per pH: 90.5 %."""
    doing = Doing(ph, ida).buffers(mv=(3.0, -121.0))
    found = judged(doing.row, kept_steps(doing.row))
    assert found.electrode.word == "worn" and "grows old" in found.mind[0]
    doing.set()


def test_a_sound_electrode_far_off_was_only_set_wrongly(ph, ida):
    doing = Doing(ph, ida).buffers(first=5.5, second=7.8)
    assert judged(doing.row, kept_steps(doing.row)).word == "look"
    with pytest.raises(NotCalibrated, match="look for the cause first"):
        doing.set()
    doing.set(looked=True)


def test_without_a_voltage_far_off_is_not_set_and_a_bad_slope_is_looked_at(ph, ida):
    doing = Doing(ph, ida).buffers(first=5.5, second=7.8, mv=None)
    assert judged(doing.row, kept_steps(doing.row)).word == "stop"
    doing.buffer("first", "phosphate", 6.9)
    doing.buffer("second", "borax", 8.75)
    found = judged(doing.row, kept_steps(doing.row))
    assert (found.word, found.electrode) == ("look", None)
    assert found.percent == pytest.approx(79.9, abs=0.1) and "The voltage in each buffer" in found.mind[0]


def test_within_the_noise_it_is_left_and_still_tested_again(ph, ida):
    """Left as it was: compared, but nothing new began for the watch."""
    doing = Doing(ph, ida).buffers(first=6.87, second=9.17)
    assert judged(doing.row, kept_steps(doing.row)).word == "leave"
    doing.set(anew=False)
    doing.again(9.18)

    row = Calibration.objects.get()
    assert row.left_as_is is True and trust_of(ph) == "believed"
    assert begun_at(ph, timezone.now() + timedelta(days=1)) is None


def test_buffers_too_near_or_unlike_in_warmth(ph, ida):
    doing = Doing(ph, ida).ready()
    doing.buffer("first", "phosphate", 6.8)
    with pytest.raises(NotCalibrated, match="lie 0.55 apart"):
        doing.buffer("second", "phosphate_3", 7.4)
    doing.buffer("second", "label", 8.3, value=8.4, temperature_c=29.0)
    mind = judged(doing.row, kept_steps(doing.row)).mind
    assert "near each other" in mind[0] and "not equally warm" in mind[1]


def test_voltages_mixed_up_are_refused_when_it_is_set(ph, ida):
    doing = Doing(ph, ida).buffers(mv=(-126.0, 6.0))
    with pytest.raises(NotCalibrated, match="mixed up"):
        doing.set()


def test_a_value_that_moves_is_not_taken(ph, ida):
    doing = Doing(ph, ida).ready()
    bottle = Bottle("phosphate", temperature_c=25.0)
    with pytest.raises(NotCalibrated, match="It still moves: 0.05 within a minute, at most 0.02"):
        measuring.buffer_read(
            **doing.rest, step="first", bottle=bottle, shown=6.8, mv=None, minute_before=6.85
        )
    measuring.buffer_read(**doing.rest, step="first", bottle=bottle, shown=6.8, mv=None, minute_before=6.82)


@pytest.mark.parametrize(
    ("bottle", "words"),
    [
        (Bottle("phosphate"), "how warm"), (Bottle("label", value=7.0), "how warm"), (Bottle("label", temperature_c=25.0), "label"),
        (Bottle("kcl_01", temperature_c=25.0), "one of the list"), (Bottle("borax", temperature_c=55.0), "0 to 50 °C"),
        (Bottle("borax", temperature_c=25.0, good_to=-1.0), "half-width"),
    ],
)  # fmt: skip
def test_a_bottle_that_tells_nothing_is_refused(ph, ida, bottle, words):
    doing = Doing(ph, ida).ready()
    with pytest.raises(NotCalibrated, match=words):
        measuring.buffer_read(
            **doing.rest, step="first", bottle=bottle, shown=6.8, mv=None, minute_before=None
        )
    assert list(kept_steps(doing.row)) == ["ready"]


def test_an_expired_lot_is_refused_and_a_good_one_is_named_and_used_up(ph, ida):
    item = make_item(kind="standard", unit="mL")
    place = make_place(kind="van", keeper=ida)
    now = timezone.now()
    Movement.objects.create(item=item, place=place, amount=500, reason="received", at=now, received_at=now)
    old = make_lot(item, code="OLD", expires_on=date(2026, 1, 31))
    good = make_lot(item, code="NEW", expires_on=now.date() + timedelta(days=30))
    doing = Doing(ph, ida).ready()
    with pytest.raises(NotCalibrated, match="Lot OLD expired on 2026-01-31"):
        doing.buffer("first", "phosphate", 6.8, lot=old)
    done = doing.buffer("first", "phosphate", 6.8, lot=good, used=20.0)
    doing.buffer("second", "borax", 9.0, lot=make_lot(item))

    assert done.lot == good
    used = Movement.objects.get(reason="used")
    assert (used.amount, used.lot, used.place, used.origin) == (-20, good, place, done.origin)
    doing.set()
    doing.again(9.18)
    assert Calibration.objects.get().lot is not None


def test_the_same_form_twice_is_one_fact_and_a_later_step_does_not_come_first(ph, ida):
    doing = Doing(ph, ida)
    again = Doing(ph, ida)
    assert again.row == doing.row
    with pytest.raises(NotCalibrated, match="First comes: Make ready"):
        doing.buffer("first", "phosphate", 6.8)
    rest = doing.rest
    first = calibrating.make_ready(**rest)
    assert calibrating.make_ready(**rest) == first
    given = {**doing.rest, "step": "first", "bottle": Bottle("phosphate", temperature_c=25.0), "shown": 6.8}
    kept = measuring.buffer_read(**given, mv=None, minute_before=None)
    assert measuring.buffer_read(**given, mv=None, minute_before=None) == kept
    doing.buffer("second", "borax", 9.0)
    rest = {**doing.rest, "anew": True, "looked": False, "old": None}
    assert retesting.set_it(**rest) == retesting.set_it(**rest)
    rest = {**doing.rest, "bottle": Bottle("borax", temperature_c=25.0), "shown": 9.18, "minute_before": None}
    assert retesting.retest_standard(**rest) == retesting.retest_standard(**rest)
    assert ProcedureStep.objects.count() == 5 and Calibration.objects.count() == 1
    with pytest.raises(NotCalibrated, match="has ended"):
        doing.ready()


def test_a_step_done_again_takes_those_after_it_away(ph, ida):
    doing = Doing(ph, ida).buffers()
    doing.set()
    doing.buffer("first", "phosphate", 6.80, 5.0)

    assert list(kept_steps(doing.row)) == ["ready", "first"]
    assert here(doing.row, kept_steps(doing.row)) == "second"
    assert ProcedureStep.objects.count() == 5


def test_left_off_before_anything_was_measured_it_stands_as_before(ph, ida):
    doing = Doing(ph, ida).ready()
    assert trust_of(ph) == "to_check"
    row = calibrating.leave_off(**doing.rest)
    assert (row.ended_as, trust_of(ph)) == ("left", "believed")
    assert calibrating.leave_off(**doing.rest).ended_at == row.ended_at


def test_left_off_after_it_was_measured_it_stays_to_be_checked(ph, ida):
    doing = Doing(ph, ida).buffers()
    assert calibrating.leave_off(**doing.rest).ended_as == "left"
    assert trust_of(ph) == "to_check"
    other = Doing(ph, ida).buffers()
    other.set()
    other.again(8.5)
    assert calibrating.leave_off(**other.rest).ended_as == "differs"
    assert calibrating.leave_off(**Doing(ph, ida).rest).ended_as == "left"


def test_what_it_sends_meanwhile_is_no_water_of_the_tank(ph, ida):
    now = timezone.now()
    pack = [
        {"n": "ph", "v": 9.18, "t": now.timestamp() - 60},
        {"n": "ph", "v": 8.2, "t": now.timestamp() - 7200},
    ]
    doing = Doing(ph, ida, now - timedelta(minutes=20)).ready()
    receive(instrument=ph.instrument, body=json.dumps(pack).encode(), at=now)

    assert Reading.objects.get().value == 8.2
    held = HeldReading.objects.get()
    assert held.reason == calibrating.AWAY and held.decided_at is None
    doing.at = now
    calibrating.leave_off(**doing.rest)
    held.refresh_from_db()
    assert (held.decision, held.decided_by) == ("discarded", ida)
    pack = [{"n": "ph", "v": 8.3, "t": now.timestamp() + 10}]
    receive(instrument=ph.instrument, body=json.dumps(pack).encode(), at=now + timedelta(minutes=1))
    assert Reading.objects.count() == 2


def test_what_was_forgotten_holds_nothing_back_for_longer_than_two_hours(ph, ida):
    now = timezone.now()
    Doing(ph, ida, now - timedelta(hours=3)).ready()
    receive(instrument=ph.instrument, body=json.dumps([{"n": "ph", "v": 8.2}]).encode(), at=now)
    assert Reading.objects.count() == 1


def test_a_titrator_by_a_check_standard_gets_a_factor(titrator, ida):
    """By hand: 8.0 / 8.5 = 0.94118; old 1.25 becomes 1.17647."""
    doing = Doing(titrator, ida).ready()
    doing.standard(value=8.0, good_to=0.1)
    assert Procedure.objects.get().away_from is not None
    doing.shown(8.45, 8.55)
    done = doing.set(old=1.25)
    assert (done.data["factor"], done.data["new"]) == pytest.approx((0.941176, 1.176471), abs=1e-6)
    assert done.words == "Set from 1.25 to 1.176."
    doing.again(8.05, key="label", value=8.0, good_to=0.1)

    row = Calibration.objects.get()
    assert (row.reference, row.before, row.after) == (8.0, pytest.approx(8.5), 8.05)
    assert (row.factor, row.offset, row.slope_mv_per_ph) == (pytest.approx(0.941176, abs=1e-6), None, None)
    assert row.reference_u == pytest.approx(0.1 / 3**0.5)


def test_a_titrator_by_tests_by_hand_that_are_kept(titrator, ida):
    kit = make_method(name="kit", kind="kit", tolerance_rel=0, tolerance_abs=0.2)
    doing = Doing(titrator, ida).ready()
    rest = doing.rest
    taken = measuring.hand_taken(**rest, method=kit, results=[8.0, 8.1])
    assert measuring.hand_taken(**rest, method=kit, results=[8.0, 8.1]) == taken
    assert Reading.objects.filter(origin=taken.origin).count() == 2
    assert Procedure.objects.get().away_from is None
    rest = {**doing.rest, "values": [8.6], "minute_before": None}
    assert measuring.shown_read(**rest) == measuring.shown_read(**rest)
    doing.set()
    doing.at += timedelta(minutes=10)
    rest = {**doing.rest, "method": kit, "results": [8.0], "shown": 8.1}
    assert retesting.retest_hand(**rest) == retesting.retest_hand(**rest)
    assert trust_of(titrator) == "believed"
    assert (Reading.objects.count(), Calibration.objects.get().lot) == (3, None)
    assert Calibration.objects.get().at == doing.at - timedelta(minutes=10)  # as of when it was set


def test_an_offset_where_an_offset_is_what_is_set(ida):
    warm = make_cell(parameter="temperature", unit="C", tolerance_rel=0, tolerance_abs=0.2)
    doing = Doing(warm, ida).ready()
    doing.standard(value=25.0, good_to=0.05)
    doing.shown(25.4)
    assert doing.set(old=-0.1).data["new"] == pytest.approx(-0.5)
    doing.again(25.0, key="label", value=25.0, good_to=0.05)
    row = Calibration.objects.get()
    assert (row.factor, row.offset) == (None, pytest.approx(-0.4))


@pytest.mark.parametrize(
    ("results", "words"), [([], "Test by hand first"), ([8.0, 9.5], "too far apart"), ([900.0], "cannot be")]
)
def test_tests_by_hand_that_say_nothing_are_refused(titrator, ida, results, words):
    kit = make_method(name="kit", kind="kit", tolerance_rel=0, tolerance_abs=0.2)
    doing = Doing(titrator, ida).ready()
    with pytest.raises(NotCalibrated, match=words):
        measuring.hand_taken(**doing.rest, method=kit, results=results)
    assert Reading.objects.count() == 0


def test_its_own_reagent_clears_nobody_and_another_parameter_says_nothing(ida):
    reagent = make_item()
    titrator = make_titrator(reagent=reagent)
    own = make_method(name="same bottle", kind="kit", tolerance_rel=0, tolerance_abs=0.2, reagent=reagent)
    other = make_method(name="another", kind="kit", tolerance_rel=0, tolerance_abs=0.2, reagent=make_item())
    doing = Doing(titrator, ida).ready()
    with pytest.raises(NotCalibrated, match="the instrument's own reagent"):
        measuring.hand_taken(**doing.rest, method=own, results=[8.0])
    with pytest.raises(NotCalibrated, match="tests something else"):
        measuring.hand_taken(**doing.rest, method=make_method("calcium"), results=[8.0])
    measuring.hand_taken(**doing.rest, method=other, results=[8.0])


def test_a_standard_without_a_width_and_values_that_are_none(titrator, ida):
    doing = Doing(titrator, ida).ready()
    with pytest.raises(NotCalibrated, match="how good the standard is"):
        doing.standard(value=8.0)
    with pytest.raises(NotCalibrated, match="one of the list"):
        doing.standard(key="borax", value=8.0, good_to=0.1)
    rest = {**doing.rest, "step": "reference", "bottle": Bottle("label", value=8.0, good_to=0.1)}
    assert measuring.standard_taken(**rest) == measuring.standard_taken(**rest)
    with pytest.raises(NotCalibrated, match="one value or more"):
        doing.shown()
    with pytest.raises(NotCalibrated, match="First comes"):
        doing.set()
    doing.shown(0.0)
    with pytest.raises(NotCalibrated, match="above nought"):
        doing.set()


def test_a_cell_for_salinity_in_a_standard_for_conductivity(ida):
    """PSS-78: 53.0 mS/cm at 25 °C is 34.947; shown 33.2."""
    cell = make_cell()
    doing = Doing(cell, ida).ready()
    doing.standard("standard", standards.LABEL_MS_CM, value=53.0, temperature_c=25.0, good_to=0.5)
    known = kept_steps(doing.row)["standard"].data
    assert known["reference"] == pytest.approx(34.947, abs=0.001)
    assert known["u"] == pytest.approx(34.947 * 0.5 / 53 / 3**0.5, rel=1e-3)
    doing.shown(33.2)
    found = doing.set()
    assert found.data["factor"] == pytest.approx((34.947 / 33.2) ** 0.9, abs=0.002)
    doing.again(34.8, standards.LABEL_MS_CM, value=53.0)
    assert trust_of(cell) == "believed"


def test_a_cell_for_salinity_in_what_says_a_salinity_or_stands_in_the_table(ida):
    doing = Doing(make_cell(), ida).ready()
    doing.standard("standard", "label", value=35.0, temperature_c=22.0)
    doing.standard("standard", "kcl_01", temperature_c=25.0)
    assert kept_steps(doing.row)["standard"].data["reference"] == pytest.approx(7.37, abs=0.1)
    with pytest.raises(NotCalibrated, match="one of the list"):
        doing.standard("standard", "borax", temperature_c=25.0)
    with pytest.raises(NotCalibrated, match="how warm"):
        doing.standard("standard", "label", value=35.0)


@pytest.mark.parametrize(
    ("compensates", "key", "value", "warm", "true"),
    [(False, "kcl_01", None, 20.0, 11.6159), (True, "kcl_01", None, 20.0, 12.8246), (False, "label", 12.88, 20.0, 12.88 * 0.9045),
     (True, "label", 12.88, 20.0, 12.88)],
)  # fmt: skip
def test_a_meter_that_compensates_is_to_show_the_value_at_its_own_temperature(ida, compensates, key, value, warm, true):  # fmt: skip
    cell = make_cell(parameter="conductivity", unit="mS/cm", compensates=compensates, reference_c=25.0)
    doing = Doing(cell, ida).ready()
    done = doing.standard("standard", key, value=value, temperature_c=warm)
    assert done.data["reference"] == pytest.approx(true)
    assert done.data["u"] == pytest.approx(0.01 * true / 3**0.5)
    doing.shown(true * 0.97)
    assert doing.set().data["factor"] == pytest.approx(1 / 0.97)


def test_a_line_takes_two_points_that_are_ours_to_keep(ida):
    """By hand: 6.865 at 4.8 V, 9.18 at 6.45 V: 1.40303 a volt; 6.44 V is then 9.166."""
    line = make_line()
    doing = Doing(line, ida).ready()
    rest = {**doing.rest, "step": "low", "true": 6.865, "good_to": 0.02, "volts": 4.8}
    assert measuring.point_read(**rest) == measuring.point_read(**rest)
    with pytest.raises(NotCalibrated, match="that tells no line"):
        measuring.point_read(**doing.rest, step="high", true=9.18, good_to=0.02, volts=4.81)
    with pytest.raises(NotCalibrated, match="half-width"):
        measuring.point_read(**doing.rest, step="high", true=9.18, good_to=-1.0, volts=6.45)
    measuring.point_read(**doing.rest, step="high", true=9.18, good_to=0.02, volts=6.45)
    found = judged(doing.row, kept_steps(doing.row))
    assert [round(one.delta, 3) for _point, one in found.points] == [-0.145, -0.15]
    doing.set()
    line = Measure.objects.get(pk=line.pk)
    assert (line.low_volts, line.low_value, line.high_volts, line.high_value) == (4.8, 6.865, 6.45, 9.18)
    doing.row = Procedure.objects.get()
    doing.again(6.44)
    row = Calibration.objects.get()
    assert row.after == pytest.approx(9.16597, abs=1e-5)
    assert row.before == pytest.approx(6.45 * 1.4)


def test_a_line_left_as_it_was_keeps_its_points(ida):
    line = make_line()
    doing = Doing(line, ida).ready()
    measuring.point_read(**doing.rest, step="low", true=6.72, good_to=0.02, volts=4.8)
    measuring.point_read(**doing.rest, step="high", true=9.03, good_to=0.02, volts=6.45)
    doing.set(anew=False)
    assert Measure.objects.get(pk=line.pk).low_volts == 0


@pytest.fixture
def pump(ida):
    instrument, channel = make_pump()
    row = calibrating.begin(instrument=instrument, channel=channel, by=ida, at=timezone.now())
    return row, {"procedure": row, "by": ida, "at": timezone.now()}


def test_a_channel_by_volume(pump):
    """By hand: told 50, caught 46 and 46.4: 92.4 %."""
    row, given = pump
    calibrating.make_ready(**given, origin=new())
    again = {**given, "asked": 50.0, "caught": [46.0, 46.4], "good_to": 0.5, "origin": new()}
    assert measuring.pump_run(**again) == measuring.pump_run(**again)
    ((_point, found),) = judged(row, kept_steps(row)).points
    assert (found.word, found.factor) == ("set", pytest.approx(0.924))
    retesting.set_it(**given, anew=True, looked=False, old=None, origin=new())
    far = retesting.retest_pump(**given, caught=44.0, good_to=0.5, origin=new())
    assert far.data["agrees"] is False and not PumpCheck.objects.exists()
    again = {**given, "caught": 49.6, "good_to": 0.5, "origin": new()}
    assert retesting.retest_pump(**again) == retesting.retest_pump(**again)

    ran = PumpCheck.objects.get()
    assert (ran.asked_ml, ran.before_ml, ran.after_ml) == (50, pytest.approx(46.2), 49.6)
    row.refresh_from_db()
    assert row.ended_as == "agrees" and not TrustMove.objects.exists()


def test_worn_tubing_is_not_set(pump):
    row, given = pump
    calibrating.make_ready(**given, origin=new())
    measuring.pump_run(**given, asked=50.0, caught=[35.0], good_to=0.5, origin=new())
    assert judged(row, kept_steps(row)).word == "stop"
    calibrating.leave_off(**given, origin=new())


@pytest.mark.parametrize(
    ("asked", "caught", "good_to"), [(0, [1.0], 0.5), (50, [], 0.5), (50, [0.0], 0.5), (50, [49.0], -1)]
)
def test_a_run_without_a_volume_is_refused(pump, asked, caught, good_to):
    _row, given = pump
    calibrating.make_ready(**given, origin=new())
    with pytest.raises(NotCalibrated, match="above nought"):
        measuring.pump_run(**given, asked=asked, caught=caught, good_to=good_to, origin=new())


def test_a_pump_has_no_standard_and_a_probe_no_volume(pump, ph, ida):
    row, given = pump
    for step in ("first", "reference"):
        with pytest.raises((NotCalibrated, ValueError)):
            measuring.standard_taken(**given, step=step, bottle=Bottle("label", value=1.0), origin=new())
    calibrating.make_ready(**given, origin=new())
    measuring.pump_run(**given, asked=50.0, caught=[47.0], good_to=0.5, origin=new())
    with pytest.raises(NotCalibrated, match="by volume"):
        measuring.standard_taken(**given, step="run", bottle=Bottle("label", value=1.0), origin=new())
    retesting.set_it(**given, anew=True, looked=False, old=None, origin=new())
    with pytest.raises(NotCalibrated, match="tested again by volume"):
        retesting.retest_standard(
            **given, bottle=Bottle("label"), shown=1.0, minute_before=None, origin=new()
        )
    with pytest.raises(NotCalibrated, match="above nought"):
        retesting.retest_pump(**given, caught=0.0, good_to=0.5, origin=new())
    doing = Doing(ph, ida).buffers()
    doing.set()
    with pytest.raises(NotCalibrated, match="Only a pump"):
        retesting.retest_pump(**doing.rest, caught=50.0, good_to=0.5)


def test_what_cannot_be_set_on_the_spot_is_not_begun(ida):
    strip = make_method(name="laboratory", kind="laboratory")
    measure = make_measure(make_ph().instrument, method=strip)
    with pytest.raises(NotCalibrated, match="compare it with a test by hand"):
        Doing(measure, ida)


def test_a_procedure_goes_on_by_what_it_was_begun_with(ph, ida):
    """Its method was changed meanwhile: it is not measured by other rules half way."""
    Doing(ph, ida).buffers()
    type(ph.method).objects.filter(pk=ph.method_id).update(kind="laboratory")
    row = Procedure.objects.select_related("measure__method").get()
    assert judged(row, kept_steps(row)).points


def test_one_of_each_is_open_and_of_one_thing_only(ph, ida):
    from django.db import IntegrityError, transaction  # noqa: PLC0415

    doing = Doing(ph, ida)
    given = {"instrument": ph.instrument, "kind": "two_buffers", "begun_at": doing.at, "begun_by": ida}
    for wrong in ({"measure": ph}, {}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Procedure.objects.create(**given, **wrong)
    assert uuid.UUID(str(doing.row.pk))
