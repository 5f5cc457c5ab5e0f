"""An instrument is brought into use step by step: what is missing is said, what was left is taken up, and the client's note is written."""

import json
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.instruments.actions import commissioning as steps
from servicedesk.instruments.actions import receive
from servicedesk.instruments.models import Calibration, Commissioning, Instrument, StageDone, Token
from servicedesk.instruments.queries import trust_of
from servicedesk.watch.actions import judge_tank
from servicedesk.water.models import Reading
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.stops import make_stop
from tests.factories.tanks import make_instrument, make_measure, make_method, make_tank

pytestmark = pytest.mark.django_db


@pytest.fixture
def tank():
    make_business()
    return make_tank()


@pytest.fixture
def measure(tank):
    method = make_method(kind="titrator", tolerance_rel=0, tolerance_abs=0.3, resolution=0.05)
    return make_measure(make_instrument(tank), method=method, sent_name="alk")


@pytest.fixture
def kit():
    return make_method("alkalinity", name="kit", kind="kit", tolerance_rel=0.02)


@pytest.fixture
def ida(tank):
    ida = make_technician(name="Ida")
    make_stop(ida, tank)
    return ida


def browse(person):
    browser = Browser()
    browser.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return browser


@pytest.fixture
def press(measure, ida):
    browser, address = browse(ida), f"/instruments/{measure.instrument_id}/commissioning/"

    def pressed(step, **typed):
        return browser.post(address, {"step": step, **typed}, follow=True).content.decode()

    return pressed


def send(measure, value=8.1):
    receive(
        instrument=measure.instrument, body=json.dumps([{"n": "alk", "v": value}]).encode(), at=timezone.now()
    )


def test_a_technician_brings_it_into_use_on_the_spot(measure, kit, press):
    assert "Begun" in press("begin")
    press("placed", where="cabinet, left", safe="on")
    assert "trk_" in press("pass") and Token.objects.count() == 1
    assert "Nothing was heard of it yet: look" in press("heard")
    send(measure)
    press("heard")
    press("calibrated", measure=measure.pk, reference="8,0", before="8.3", after="8.05")
    assert trust_of(measure) == "to_check"
    press("agrees", measure=measure.pk, method=kit.pk, results="8.0 8.1", shown="8.1")
    press("noise", without_low="40", without_high="42", running_low="47", running_high="49")
    text = press("end")

    assert "In use since" in text and "they agree" in text and "By itself about 47 dB(A)" in text
    row = Commissioning.objects.get()
    assert row.ended_at is not None and row.note.startswith(
        "A new instrument now tests alkalinity between our visits."
    )
    assert [s.stage for s in row.done.order_by("at", "pk")] == [
        "placed",
        "pass",
        "heard",
        "calibrated",
        "agrees",
        "noise",
    ]
    assert (Calibration.objects.count(), Reading.objects.filter(series__source__kind="hand").count()) == (
        1,
        2,
    )
    assert "It is in use already." in press("heard")


def test_trust_comes_back_by_the_agreement_test_alone(measure, kit, press, tank):
    press("begin")
    send(measure)
    press("calibrated", measure=measure.pk, reference="8", before="8.3", after="")
    judge_tank(tank=tank, at=timezone.now())
    assert trust_of(measure) == "to_check"

    send(measure, 8.05)
    press("agrees", measure=measure.pk, method=kit.pk, results="8.0", shown="8.05")
    judge_tank(tank=tank, at=timezone.now() + timedelta(seconds=5))

    assert trust_of(measure) == "believed"


def test_what_disagrees_is_told_with_its_numbers_and_the_tests_are_kept(measure, kit, press):
    press("begin")
    text = press("agrees", measure=measure.pk, method=kit.pk, results="8.0 8.1", shown="9.4")

    assert "Off by +1.35, allowed 0.30" in text
    assert Reading.objects.count() == 2 and not StageDone.objects.exists()


def test_what_is_missing_is_named_at_the_end(press):
    press("begin")
    assert "Not done yet: Set up and safe, A pass, Heard, Agrees." in press("end")


def test_warming_up_takes_its_time(measure, press):
    Instrument.objects.update(warm_up_minutes=30)
    press("begin")
    assert "Set it up first." in press("warm")
    press("placed", where="shelf", safe="on")
    assert "It needs 30 more minutes." in press("warm")
    row, ida = Commissioning.objects.get(), Commissioning.objects.get().begun_by
    row.instrument.refresh_from_db()
    later = timezone.now() + timedelta(minutes=31)
    assert steps.warm(row=row, by=ida, at=later, placed_at=timezone.now()).words == "It ran for 31 minutes."
    with pytest.raises(steps.NotCommissioned, match="one more minute"):
        steps.warm(row=row, by=ida, at=later, placed_at=later - timedelta(minutes=29, seconds=20))


@pytest.mark.parametrize(
    ("step", "typed", "words"),
    [
        ("placed", {"where": "x"}, "This field is required"),
        ("agrees", {"results": "eight", "shown": "8"}, "is not a number"),
        ("agrees", {"results": "8 " * 11, "shown": "8"}, "At most ten results."),
        ("agrees", {"results": "900", "shown": "8"}, "cannot be"),
        ("agrees", {"results": ";", "shown": "8"}, "Test by hand first"),
        (
            "noise",
            {"without_low": "50", "without_high": "40", "running_low": "60", "running_high": "61"},
            "lower end",
        ),
        ("calibrated", {"reference": "", "before": "8"}, "field is required"),
    ],
)
def test_what_is_typed_wrong_is_said_at_its_place_and_nothing_is_done(
    measure, kit, press, step, typed, words
):
    press("begin")
    text = press(step, **{"measure": measure.pk, "method": kit.pk, **typed})

    assert words in text or "required" in words and "required" in text.lower()
    assert not StageDone.objects.exists()


def test_a_way_of_testing_something_else_is_refused(measure, press):
    make_measure(measure.instrument, "calcium", sent_name="ca", unit="mg/L")
    calcium = make_method("calcium", name="calcium kit", kind="kit")
    press("begin")

    assert "tests something else" in press(
        "agrees", measure=measure.pk, method=calcium.pk, results="8", shown="8"
    )


def test_noise_that_cannot_be_told_apart_is_an_upper_limit(press):
    """Common practice: 52 to 54 without it, 54 to 55 with it."""
    press("begin")
    assert "Not told apart" in press(
        "noise", without_low="52", without_high="54", running_low="54", running_high="55"
    )


def test_it_is_left_and_taken_up_again_and_done_once_more_when_it_ended(measure, kit, press, ida):
    press("begin")
    press("placed", where="shelf", safe="on")
    press("begin")
    assert Commissioning.objects.count() == 1
    row = Commissioning.objects.get()
    Commissioning.objects.update(ended_at=timezone.now(), note="x")
    assert (
        "Do it once more"
        in browse(ida).get(f"/instruments/{measure.instrument_id}/commissioning/").content.decode()
    )
    press("begin")
    assert Commissioning.objects.exclude(pk=row.pk).get().ended_at is None
    row.refresh_from_db()
    with pytest.raises(steps.NotCommissioned, match="in use already"):
        steps.give_pass(row=row, by=ida, at=timezone.now())
    with pytest.raises(steps.NotCommissioned, match="Say where"):
        steps.placed(row=Commissioning.objects.get(ended_at=None), by=ida, at=timezone.now(), where=" ")


def test_what_was_not_begun_or_is_no_step_is_missing_and_strangers_meet_nothing(measure, ida):
    address = f"/instruments/{measure.instrument_id}/commissioning/"
    assert "Step by step" in browse(ida).get(address).content.decode()
    assert browse(ida).post(address, {"step": "placed"}).status_code == 404
    browse(ida).post(address, {"step": "begin"})
    assert browse(ida).post(address, {"step": "dance"}).status_code == 404
    assert browse(make_technician(email="bob@sluicegate.invalid")).get(address).status_code == 404
    assert browse(make_owner()).get(address).status_code == 200


def test_an_ended_one_gives_no_pass_on_the_page(measure, press):
    press("begin")
    Commissioning.objects.update(ended_at=timezone.now())

    assert "It is in use already." in press("pass")


def test_the_clients_note_names_all_that_it_tests_and_no_noise_that_nobody_measured(measure, kit, press):
    make_measure(measure.instrument, "calcium", sent_name="ca", unit="mg/L")
    make_measure(measure.instrument, "magnesium", sent_name="mg", unit="mg/L")
    press("begin")
    press("placed", where="shelf", safe="on")
    press("pass")
    send(measure)
    press("heard")
    press("agrees", measure=measure.pk, method=kit.pk, results="8.0", shown="8.05")
    press("end")

    note = Commissioning.objects.get().note
    assert (
        note
        == "A new instrument now tests alkalinity, calcium and magnesium between our visits. We compared it with our own tests: they agree."
    )
