"""A calibration on its pages: one step a screen, sent twice is one fact, what is mistyped stays, and who may see it."""

import re
import uuid
from datetime import date, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.desk.actions.calibrating import owe_again, settle
from servicedesk.desk.queries import calibrating as page
from servicedesk.instruments.models import Calibration, Instrument, Measure, Procedure, ProcedureStep
from servicedesk.instruments.queries import trust_of
from servicedesk.upkeep.models import Task
from servicedesk.visits.models import Entry
from servicedesk.watch.actions import judge_tank
from servicedesk.water.models import Reading
from tests.factories.calibrated import Doing, make_cell, make_line, make_ph, make_pump, make_titrator
from tests.factories.people import make_business, make_client_user, make_owner, make_technician
from tests.factories.stops import make_stop
from tests.factories.tanks import (
    make_contact,
    make_instrument,
    make_item,
    make_lot,
    make_measure,
    make_method,
    make_reading,
    make_tank,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def tank():
    make_business()
    return make_tank()


@pytest.fixture
def ida(tank):
    ida = make_technician(name="Ida")
    make_stop(ida, tank)
    return ida


@pytest.fixture
def ph(tank):
    return make_ph(tank)


def browse(person):
    browser = Browser()
    browser.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return browser


class Desk:
    """A person at the pages of one procedure."""

    def __init__(self, person, measure, **more):
        self.browser = browse(person)
        address = f"/instruments/{measure.instrument_id}/calibrate/"
        self.page = self.browser.post(address, {"of": measure.pk, **more}, follow=True)
        self.row = Procedure.objects.latest("begun_at")

    def at(self, step):
        return f"/calibrations/{self.row.pk}/{step}/"

    def press(self, step, key=None, **typed):
        typed = {"entry": key or uuid.uuid4(), **typed}
        self.page = self.browser.post(self.at(step), typed, follow=True)
        return self.text

    @property
    def text(self):
        return re.sub(r"\s+", " ", self.page.content.decode())

    @property
    def here(self):
        return self.page.request["PATH_INFO"].split("/")[-2]

    def ready(self):
        return self.press("ready", off="on", safe="on")

    def buffers(self, first="6,75", second="8,98", mv=("6", "-126")):
        self.ready()
        given = {"temperature": "25", "steady": "on", "by": "buffer"}
        self.press("first", standard="phosphate", shown=first, mv=mv[0], **given)
        return self.press("second", standard="borax", shown=second, mv=mv[1], **given)

    def again(self, shown, **more):
        given = {"standard": "borax", "temperature": "25", "steady": "on", "by": "standard", **more}
        return self.press("retest", shown=shown, **given)


def test_two_buffers_from_the_instruments_page_to_belief(ph, ida):
    desk = Desk(ida, ph)
    assert desk.here == "ready" and "Mains near water" in desk.text and "thin" in desk.text
    text = desk.buffers()
    assert desk.here == "set"
    assert "Set it" in text and "57.0 mV per pH, 96.4 % of Nernst" in text and "-1.7 mV" in text
    assert "6.87 in the first buffer, 9.18 in the second" in text
    assert "Set it at the device first" in desk.press("set", do="set")
    assert desk.here == "set" and trust_of(ph) == "to_check"
    desk.press("set", do="set", is_set="on")
    assert desk.here == "retest"
    text = desk.again("9,17")

    assert desk.here == "end" and "Believed again" in text
    assert "8.980 where 9.180 was true" in text and "9.170 where 9.180 was true" in text
    assert trust_of(ph) == "believed"
    row = Calibration.objects.get()
    assert (row.before, row.after, row.by) == (8.98, 9.17, ida)
    kept = browse(make_owner()).get(f"/instruments/{ph.instrument_id}/").content.decode()
    assert "slope 57.0 mV/pH, offset -1.7 mV" in kept and f"/calibrations/{desk.row.pk}/" in kept
    assert "showed 8.980 where 9.180 was true, then 9.170" in kept


def test_what_does_not_agree_is_said_and_leaves_a_task_that_agreement_calls_off(ph, ida):
    desk = Desk(ida, ph)
    desk.buffers()
    desk.press("set", do="set", is_set="on")
    text = desk.again("8,9")

    assert "Does not agree" in text and "Off by -0.280, at most 0.100 agrees." in text
    assert "It showed 8.900 where 9.180 was true" in text
    assert (desk.here, trust_of(ph), Calibration.objects.count()) == ("retest", "to_check", 0)
    task = Task.objects.get()
    assert task.title.startswith("Calibrate again: pH, device") and task.why.startswith("Off by -0.280")
    assert (task.state, task.equipment, task.tank) == ("open", ph.instrument.equipment, ph.instrument.tank)
    desk.again("8,9")
    assert Task.objects.count() == 1
    desk.again("9,18")
    task.refresh_from_db()
    assert (task.state, trust_of(ph)) == ("called_off", "believed")


def test_a_spent_electrode_is_to_be_replaced(ph, ida):
    desk = Desk(ida, ph)
    text = desk.buffers(mv=("2", "-110"))
    assert "Do not set it" in text and "spent: clean it" in text
    assert 'value="set"' not in text and 'value="as_it_was"' not in text
    text = desk.press("set", do="leave_off")
    assert "Left off" in text and "stays to be checked" in text
    assert Task.objects.get().title.startswith("Replace the electrode: pH")
    assert "Replace the electrode" in text


def test_left_off_before_anything_was_measured_leaves_nothing(ph, ida):
    desk = Desk(ida, ph)
    desk.ready()
    text = desk.press("first", do="leave_off")
    assert "it stands as it stood before" in text
    assert (Task.objects.count(), trust_of(ph)) == (0, "believed")
    desk.press("first", do="leave_off")
    assert "has ended" in desk.press("first", by="buffer", standard="phosphate", temperature="25", shown="7", steady="on")  # fmt: skip
    other = Desk(ida, ph)
    assert "No step was done" in other.press("ready", do="leave_off")


def test_the_same_form_twice_and_the_back_button_make_one_fact(ph, ida):
    desk = Desk(ida, ph)
    desk.ready()
    key = uuid.uuid4()
    given = {"by": "buffer", "standard": "phosphate", "temperature": "25", "shown": "6,8", "steady": "on"}
    desk.press("first", key, **given)
    desk.press("first", key, **given)
    assert (desk.here, ProcedureStep.objects.filter(step="first").count()) == ("second", 1)
    assert str(key) in desk.text  # the tablet's draft of it may go
    before = desk.browser.get(desk.at("first")).content.decode()
    assert "Do this step again" in before and "it showed 6.80" in before and "On to the next step" in before
    desk.press("first", **given)
    assert (desk.here, ProcedureStep.objects.filter(step="first").count()) == ("second", 2)


def test_it_waits_where_it_was_left_also_for_somebody_else(ph, ida):
    desk = Desk(ida, ph)
    desk.ready()
    owner = make_owner()
    listed = browse(owner).get(f"/instruments/{ph.instrument_id}/calibrate/").content.decode()
    assert "Go on" in listed and "by Ida" in listed and "to be checked" in listed.lower()
    other = Desk(owner, ph)
    assert (other.row, other.here) == (desk.row, "first")
    assert browse(owner).get(f"/calibrations/{desk.row.pk}/retest/").status_code == 302
    assert "Calibrate it, step by step" in browse(owner).get(f"/instruments/{ph.instrument_id}/").content.decode()  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"shown": "8.o"}, "Did you mean 8.0?"), ({"shown": "acht"}, "is not a number"), ({"steady": ""}, "required"),
        ({"temperature": "70"}, "0 to 50 °C"), ({"minute_before": "6,9"}, "It still moves: 0.1 within a minute"),
        ({"standard": "label"}, "Say what its label says"), ({"standard": "salt"}, "valid choice"),
        ({"standard": "label", "value": "7,0", "good_to": "-1"}, "half-width"),
    ],
)  # fmt: skip
def test_what_is_typed_wrong_is_said_and_stays(ph, ida, typed, words):
    desk = Desk(ida, ph)
    desk.ready()
    key = uuid.uuid4()
    given = {"standard": "phosphate", "temperature": "24,5", "shown": "6,80", "steady": "on", "mv": "5,5", "code": "B77"}  # fmt: skip
    text = desk.press("first", key, by="buffer", **{**given, **typed})

    assert words in text and desk.here == "first"
    assert 'value="5,5"' in text and 'value="B77"' in text and f'value="{key}"' in text
    assert ProcedureStep.objects.filter(step="first").count() == 0


def test_an_expired_lot_is_named_in_the_list_and_refused(ph, ida):
    item = make_item(kind="standard", name="Buffer nine")
    old = make_lot(item, code="X1", expires_on=date(2026, 1, 31))
    fine = make_lot(item, code="X2", expires_on=date(2096, 1, 31))
    make_lot(item, code="X3")
    desk = Desk(ida, ph)
    text = desk.ready()
    assert "Buffer nine: X1, expired 31 Jan 2026" in text and "X2, until 31 Jan 2096" in text
    given = {"by": "buffer", "standard": "phosphate", "temperature": "25", "shown": "6,8", "steady": "on"}
    assert "Lot X1 expired on" in desk.press("first", lot=old.pk, **given)
    desk.press("first", lot=fine.pk, code="", **given)
    desk.press("second", lot=fine.pk, **{**given, "standard": "borax", "shown": "9,0"})
    desk.press("set", do="set", is_set="on")
    assert "Buffer nine: X2" in desk.again("9,18")


def test_a_titrator_by_a_standard_works_out_the_new_setting(tank, ida):
    titrator = make_titrator(tank)
    desk = Desk(ida, titrator)
    text = desk.ready()
    assert desk.here == "reference" and "A check standard" in text
    assert "required" in desk.press("reference", by="standard", value="8")
    desk.press("reference", by="standard", value="8", good_to="0,1")
    text = desk.press("shown", by="shown", values="8,45 8,55", steady="on")
    assert "the old one times 0.9412" in text and "the other way round" in text
    text = desk.browser.get(desk.at("set"), {"old": "1,25"}).content.decode()
    assert "Set it from 1.25 to 1.176." in text and 'value="1,25"' in text
    assert "times" in desk.browser.get(desk.at("set"), {"old": "x"}).content.decode()
    text = desk.press("set", do="set", is_set="on", old="1,25")
    assert 'name="value" value="8"' in text and 'name="good_to" value="0.1"' in text  # the same bottle again
    text = desk.press("retest", by="standard", value="8", good_to="0,1", shown="8,05", steady="on")
    assert "Believed again" in text and "0.9412" in text
    assert ProcedureStep.objects.get(step="set").data["new"] == pytest.approx(1.176, abs=0.001)


def test_numbers_stand_in_the_devices_own_unit(tank, ida):
    """2.85 meq/L are 7.991 dKH; shown 3.00."""
    method = make_method(kind="titrator", tolerance_rel=0.03, resolution=0.01)
    measure = make_measure(make_instrument(tank), method=method, unit="meq/L", sent_name="alk")
    desk = Desk(ida, measure)
    assert "meq/L" in desk.ready()
    desk.press("reference", by="standard", value="2,85", good_to="0,03")
    text = desk.press("shown", by="shown", values="3,00", steady="on")
    assert "2.850 ± 0.035 meq/L is true, it shows 3.000 meq/L" in text and "+0.150 ± " in text
    desk.press("set", do="set", is_set="on")
    desk.press("retest", by="standard", value="2,85", good_to="0,03", shown="2,86", steady="on")
    row = Calibration.objects.get()
    assert row.reference == pytest.approx(2.85 * 2.8038502149)
    assert row.reference_u == pytest.approx(0.03 * 2.8038502149 / 3**0.5)
    assert row.after == pytest.approx(2.86 * 2.8038502149)


def test_a_test_by_hand_is_the_reference_and_the_retest(tank, ida):
    titrator = make_titrator(tank)
    kit = make_method(name="drop kit", kind="kit", tolerance_rel=0, tolerance_abs=0.2)
    desk = Desk(ida, titrator)
    assert "drop kit" in desk.ready()
    assert "One to ten numbers" in desk.press("reference", by="hand", method=kit.pk, results=";")
    assert "is not a number" in desk.press("reference", by="hand", method=kit.pk, results="8 acht")
    desk.press("reference", by="hand", method=kit.pk, results="8,0 8,1")
    desk.press("shown", by="shown", values="8,7", steady="on")
    desk.press("set", do="set", is_set="on")
    text = desk.press("retest", by="hand", method=kit.pk, results="8,0", shown="8,1")
    assert "Believed again" in text and trust_of(titrator) == "believed"
    assert Reading.objects.filter(series__method=kit).count() == 3
    judge_tank(tank=tank, at=timezone.now() + timedelta(minutes=1))
    assert trust_of(titrator) == "believed"


def test_what_is_far_off_asks_to_look_for_a_cause_and_within_the_noise_nothing_is_set(tank, ida):
    desk = Desk(ida, make_titrator(tank))
    desk.ready()
    desk.press("reference", by="standard", value="8", good_to="0,1")
    text = desk.press("shown", by="shown", values="9,1", steady="on")
    assert "Look first" in text and "Reagent made up wrongly" in text
    text = desk.press("set", do="set", is_set="on")
    assert "say that you did" in text and 'name="is_set" checked' in text
    desk.press("shown", by="shown", values="8,05", steady="on")
    assert desk.here == "set" and "Leave it as it is" in desk.text and 'value="set"' not in desk.text
    desk.press("set", do="as_it_was")
    text = desk.press("retest", by="standard", value="8", good_to="0,1", shown="8,0", steady="on")
    assert "It was left as it was, and a re-test agrees." in text
    assert Calibration.objects.get().left_as_is is True


def test_a_cell_and_a_line_and_a_volume(tank, ida):
    cell = make_cell(tank)
    desk = Desk(ida, cell)
    assert "mS/cm at 25" in desk.ready()
    desk.press("standard", by="standard", standard="label_ms_cm", value="53", temperature="25", good_to="0,5")
    text = desk.press("shown", by="shown", values="33,2", steady="on")
    assert "Its cell constant: the old one times 1.0" in text
    line = make_line(tank)
    desk = Desk(ida, line)
    desk.ready()
    desk.press("low", by="point", true="6,865", good_to="0,02", volts="4,8")
    text = desk.press("high", by="point", true="9,18", good_to="0,02", volts="6,45")
    assert "6.865 at 4.8 V" in text and "nothing is set at the device" in text
    desk.press("set", do="set", is_set="on")
    assert "Volts that arrive" in desk.text
    assert "Believed again" in desk.again("6,44")
    assert Measure.objects.get(pk=line.pk).high_value == 9.18


def test_a_channel_by_volume_begun_from_the_instrument(tank, ida):
    instrument, channel = make_pump(tank)
    browser = browse(ida)
    address = f"/instruments/{instrument.pk}/calibrate/"
    assert "By volume" in browser.get(address).content.decode()
    browser.post(address, {"of": channel.pk})
    desk = Desk.__new__(Desk)
    desk.browser, desk.row = browser, Procedure.objects.get()
    desk.ready()
    assert "required" in desk.press("run", by="run", asked="50")
    text = desk.press("run", by="run", asked="50", caught="46 46,4", good_to="0,5")
    assert "92.4 %" in text and "the old one times 0.9240" in text and "1.0823" in text
    desk.press("set", do="set", is_set="on")
    text = desk.press("retest", by="volume", caught="44", good_to="0,5")
    assert "Does not agree" in text and Task.objects.get().title.startswith("Calibrate again: ")
    text = desk.press("retest", by="volume", caught="49,6", good_to="0,5")
    assert "It gives what it is told" in text and Task.objects.get().state == "called_off"


def test_from_a_visit_it_stands_in_the_journal_and_the_task_can_be_ticked(ph, ida, tank):
    visit = stop_of(ida)
    task = Task.objects.create(
        key="x", tank=tank, equipment=ph.instrument.equipment, title="Calibrate pH", earliest=timezone.now().date(),
        due=timezone.now().date(), latest=timezone.now().date(), made_at=timezone.now(),
    )  # fmt: skip
    browse(ida).post(f"/visits/{visit}/arrive/")
    work = browse(ida).get(f"/visits/{visit}/work/").content.decode()
    assert f"/instruments/{ph.instrument_id}/calibrate/?visit={visit}&amp;task={task.pk}" in work
    assert "Calibrate step by step" in work
    desk = Desk(ida, ph, visit=visit, task=task.pk)
    desk.buffers()
    desk.press("set", do="set", is_set="on")
    text = desk.again("9,17")

    assert "Task done" in text and f"/visits/{visit}/work/" in text
    entry = Entry.objects.get(kind="calibration")
    assert entry.payload == {"measure": str(ph.pk), "reference": "9.180000", "before": "8.980000", "after": "9.170000"}  # fmt: skip
    assert Calibration.objects.get().origin == entry.pk
    assert trust_of(ph) == "believed"
    back = {"entry": str(entry.pk), "withdraw": True, "why": "wrong probe"}
    browse(ida).post(
        f"/visits/{visit}/add/",
        {"entry": uuid.uuid4(), "kind": "correction", "p_withdraw": "on", "p_entry": back["entry"], "p_why": back["why"]},
    )  # fmt: skip
    assert trust_of(ph) == "to_check"


def stop_of(ida):
    from servicedesk.rounds.models import DueVisit  # noqa: PLC0415

    return DueVisit.objects.get().pk


def test_a_check_that_left_it_as_it_was_is_no_entry_and_a_strangers_visit_takes_none(ph, ida):
    doing = Doing(ph, ida).buffers(first=6.87, second=9.17)
    Procedure.objects.update(visit=stop_of(ida))
    doing.row.refresh_from_db()
    doing.set(anew=False)
    doing.again(9.18)
    assert settle(procedure=doing.row, by=ida, at=doing.at) is False
    other = Doing(ph, ida, doing.at + timedelta(minutes=1)).buffers()
    assert settle(procedure=other.row, by=ida, at=other.at) is False
    Procedure.objects.filter(pk=other.row.pk).update(visit=uuid.uuid4())
    other.set()
    other.again(9.18)
    assert settle(procedure=other.row, by=ida, at=other.at) is False
    assert Entry.objects.count() == 0 and Calibration.objects.count() == 2


def test_a_channel_from_a_visit_stands_in_the_journal(tank, ida):
    from servicedesk.instruments.actions import calibrating, measuring, retesting  # noqa: PLC0415

    instrument, channel = make_pump(tank)
    visit, now = stop_of(ida), timezone.now()
    row = calibrating.begin(instrument=instrument, channel=channel, by=ida, at=now, visit=visit)
    given = {"procedure": row, "by": ida, "at": now}
    calibrating.make_ready(**given, origin=uuid.uuid4())
    measuring.pump_run(**given, asked=50.0, caught=[35.0], good_to=0.5, origin=uuid.uuid4())
    assert owe_again(procedure=row, why="x", at=now).title.startswith("Replace the tubing: ")
    measuring.pump_run(**given, asked=50.0, caught=[46.0], good_to=0.5, origin=uuid.uuid4())
    retesting.set_it(**given, anew=True, looked=False, old=None, origin=uuid.uuid4())
    retesting.retest_pump(**given, caught=49.5, good_to=0.5, origin=uuid.uuid4())
    assert settle(procedure=row, by=ida, at=now) is True
    entry = Entry.objects.get(kind="pump_check")
    assert entry.payload["before_ml"] == "46.000000" and Task.objects.get().state == "called_off"


def test_what_is_to_be_done_is_named_by_what_was_found(ph, ida, tank):
    doing = Doing(ph, ida).buffers(mv=(-126.0, 6.0))
    assert owe_again(procedure=doing.row, why="x", at=doing.at).title.startswith("Calibrate again: pH")
    doing = Doing(make_titrator(tank), ida).ready()
    doing.standard(value=8.0, good_to=0.1)
    doing.shown(12.0)
    assert owe_again(procedure=doing.row, why="x" * 300, at=doing.at).title.startswith("Look for the cause")


def test_values_that_say_nothing_are_told_on_the_page(ph, ida):
    desk = Desk(ida, ph)
    assert "Measure again" in desk.buffers(mv=("-126", "6")) and "mixed up" in desk.text


def test_the_tanks_value_should_lie_between_the_buffers(ph, ida, tank):
    make_reading(tank, "6.4", parameter="ph", unit="NBS scale")
    assert page.default_buffers(ph) == ("phthalate", "phosphate")
    desk = Desk(ida, ph)
    assert "does not lie between the two buffers" in desk.buffers()


def test_what_doses_by_itself_is_switched_off_first_and_on_again_at_the_end(ph, ida):
    Instrument.objects.filter(pk=ph.instrument_id).update(own_dosing="socket")
    desk = Desk(ida, ph)
    assert "This instrument doses by itself." in desk.text
    assert "required" in desk.press("ready", safe="on")
    desk.ready()
    desk.press("first", do="leave_off")
    assert "Switch on again what you switched off." in desk.text


def test_nothing_can_be_set_on_a_laboratorys_value_and_nothing_but_its_own_is_begun(tank, ida):
    measure = make_measure(make_instrument(tank), method=make_method(kind="laboratory", name="lab"))
    address = f"/instruments/{measure.instrument_id}/calibrate/"
    browser = browse(ida)
    assert "compare it with a test by hand" in browser.get(address).content.decode()
    assert "Nothing can be set here on the spot" in browser.post(address, {"of": measure.pk}).content.decode()
    assert browser.post(address, {"of": uuid.uuid4()}).status_code == 404
    assert browser.post(address, {"of": "x"}).status_code == 404
    empty = make_instrument(tank)
    assert "measures nothing" in browser.get(f"/instruments/{empty.pk}/calibrate/").content.decode()


def test_without_a_way_of_testing_by_hand_only_the_standard_is_offered(tank, ida):
    desk = Desk(ida, make_titrator(tank))
    text = desk.ready()
    assert "A check standard" in text and "A test by hand" not in text


def test_strangers_and_contacts_meet_nothing_and_no_step_but_its_own_is_there(ph, ida, tank):
    desk = Desk(ida, ph)
    address = f"/instruments/{ph.instrument_id}/calibrate/"
    contact = make_client_user()
    make_contact(tank.site.client, user=contact)
    bob = make_technician(email="bob@sluicegate.invalid")
    for person in (bob, contact):
        for at in (address, f"/calibrations/{desk.row.pk}/", desk.at("ready")):
            assert browse(person).get(at).status_code == 404, (person, at)
            assert browse(person).post(at, {"of": ph.pk, "entry": uuid.uuid4()}).status_code in (404, 405)
    assert browse(ida).get(f"/calibrations/{uuid.uuid4()}/").status_code == 404
    assert browse(ida).get(desk.at("dance")).status_code == 404
    assert browse(ida).post(desk.at("ready"), {"entry": "x"}).status_code == 404
    assert browse(ida).post(desk.at("end"), {"entry": uuid.uuid4()}).status_code == 404
    assert Browser().get(address).status_code == 302
    assert ProcedureStep.objects.count() == 0
