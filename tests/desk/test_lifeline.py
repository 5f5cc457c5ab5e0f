"""What an instrument needs next, what happened to it, and every delivery as it came."""

import json
import uuid
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client as Browser

from servicedesk.desk.queries.lifeline import needs_of, timeline
from servicedesk.dispatch.models import Withdrawal
from servicedesk.instruments.actions.deliveries import receive, refuse
from servicedesk.instruments.actions.trust import move_trust
from servicedesk.instruments.models import Calibration, Commissioning, ReagentLoad, Sign
from servicedesk.watch.models import Attention
from tests.factories.people import make_business, make_owner
from tests.factories.tanks import make_instrument, make_item, make_lot, make_measure, make_method

pytestmark = pytest.mark.django_db
ZONE = ZoneInfo("Europe/London")
NOW = datetime(2026, 6, 20, 9, 0, tzinfo=ZONE)
DAY = timedelta(days=1)


def signed_in():
    make_business(zone="Europe/London")
    browser = Browser()
    browser.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")
    return browser


def calibrated(measure, days_ago, **given):
    at = NOW - days_ago * DAY
    return Calibration.objects.create(
        **{"measure": measure, "at": at, "reference": 8.0, "before": 7.6, "origin": uuid.uuid4(), "received_at": at, **given}
    )  # fmt: skip


def filled(measure, days_ago, **given):
    at = NOW - days_ago * DAY
    return ReagentLoad.objects.create(
        **{"measure": measure, "at": at, "ml": 100.0, "origin": uuid.uuid4(), "received_at": at, **given}
    )  # fmt: skip


def needs(*measures):
    return [(need.name, need.words, need.pressing) for need in needs_of(measures, now=NOW, zone=ZONE)]


def test_a_bottle_says_how_many_tests_are_left_and_until_when():
    measure = make_measure(make_instrument(), ml_per_test=1, tests_per_day=4, calibrate_every_days=0)
    filled(measure, 10)
    assert needs(measure) == [
        ("Alkalinity", "60 tests left in the bottle, by its schedule until 5 July", False)
    ]

    filled(measure, 0, ml=1.0)
    assert needs(measure) == [
        ("Alkalinity", "one test left in the bottle, by its schedule until 20 June", True)
    ]


def test_a_calibration_is_due_passed_or_never_made():
    measure = make_measure(make_instrument(), calibrate_every_days=30)
    assert needs(measure) == [("Alkalinity", "never calibrated, as far as is written down", False)]
    calibrated(measure, 40)
    assert needs(measure) == [("Alkalinity", "calibrated 11 May, was due again 10 June", True)]
    calibrated(measure, 30)
    assert needs(measure) == [("Alkalinity", "calibrated 21 May, due again 20 June", True)]
    taken = calibrated(measure, 22)
    assert needs(measure) == [("Alkalinity", "calibrated 29 May, due again 28 June", False)]

    Withdrawal.objects.create(withdrawn=taken.origin, origin=uuid.uuid4(), at=NOW, received_at=NOW)  # fmt: skip
    assert needs(measure) == [("Alkalinity", "calibrated 21 May, due again 20 June", True)]


def test_a_signal_and_what_needs_none_is_never_due():
    instrument = make_instrument()
    never = make_measure(instrument, calibrate_every_days=0)
    power = make_measure(
        instrument, parameter="power", sent_name="p", unit="on", method=make_method("power"), calibrate_every_days=30
    )  # fmt: skip

    assert needs(never, power) == []


def test_everything_that_happened_stands_in_one_line_newest_first():
    owner, instrument = make_owner(), make_instrument()
    measure = make_measure(instrument)
    Commissioning.objects.create(instrument=instrument, begun_by=owner, begun_at=NOW - 9 * DAY, ended_at=NOW - 8 * DAY, note="Runs.")  # fmt: skip
    lot = make_lot(make_item(), code="A7")
    filled(measure, 7, lot=lot)
    filled(measure, 6, ml=50.0)
    calibrated(measure, 5)
    move_trust(measure=measure, trust="to_check", why="A test contradicts it.", at=NOW - 4 * DAY, origin=uuid.uuid4(), received_at=NOW)  # fmt: skip
    for days, on, kind in ((3, True, "waste_full"), (2, False, "waste_full"), (2.5, True, "alive")):
        Sign.objects.create(
            instrument=instrument, kind=kind, on=on, text="W", at=NOW - days * DAY, received_at=NOW
        )
    common = {"instrument": instrument, "tank": instrument.tank, "changed_at": NOW}
    Attention.objects.create(key="s", kind="silent", severity=2, since=NOW - 1.5 * DAY, cleared_at=NOW - DAY, sentence="It is silent.", **common)  # fmt: skip
    Attention.objects.create(key="b", kind="running_out", severity=2, since=NOW, sentence="Bottle.", **common)
    Attention.objects.create(key="d", kind="drifts", severity=3, since=NOW - DAY / 2, sentence="It drifts.", why="0.2 a month", **common)  # fmt: skip

    found = timeline(instrument, [measure], until=NOW, most=50)

    assert [(moment.words, moment.why) for moment in found] == [
        ("It drifts.", "0.2 a month"),
        ("over: It is silent.", ""),
        ("It is silent.", ""),
        ("no more: its waste bottle is full", "W"),
        ("its waste bottle is full", "W"),
        ("Alkalinity: to be checked", "A test contradicts it."),
        ("Alkalinity calibrated: it showed 7.6 where 8.0 dKH was true", ""),
        ("Alkalinity: a bottle of 50 mL put in", ""),
        ("Alkalinity: a bottle of 100 mL put in", "lot A7"),
        ("brought into use", "Runs."),
        ("bringing it into use was begun", owner.name),
    ]
    assert [m.at for m in found] == sorted((m.at for m in found), reverse=True)
    assert timeline(instrument, [measure], until=NOW, most=3) == found[:3]
    assert [m.words for m in timeline(instrument, [measure], until=NOW - 8.5 * DAY, most=9)] == [
        found[-1].words
    ]


def test_the_page_says_what_it_needs_and_what_happened():
    measure = make_measure(make_instrument(), calibrate_every_days=30)
    calibrated(measure, 3)

    page = signed_in().get(f"/instruments/{measure.instrument.pk}/").content.decode()

    assert "due again" in page and "it showed 7.6 where 8.0 dKH was true" in page


def test_every_delivery_is_on_record_a_page_at_a_time_and_opens_as_it_came():
    measure = make_measure(make_instrument())
    instrument = measure.instrument
    for number in range(53):
        at = NOW + timedelta(minutes=number)
        body = json.dumps(
            [{"n": measure.sent_name, "u": "dKH", "v": 8.0, "t": at.timestamp()}, {"n": "x", "v": 1}]
        )
        receive(instrument=instrument, body=body.encode(), at=at)
    refused = refuse(
        instrument=instrument,
        body=b"<b>no</b>" * 3000,
        at=NOW - DAY,
        media_type="text/csv",
        reason="No head.",
    )
    browser = signed_in()

    first = browser.get(f"/instruments/{instrument.pk}/history/")
    second = browser.get(f"/instruments/{instrument.pk}/history/", {"before": first.context["older"]})
    shown = [row.pk for answer in (first, second) for row in answer.context["deliveries"]]
    assert shown == list(instrument.deliveries.order_by("-received_at").values_list("pk", flat=True))
    assert len(shown) == 54 and second.context["older"] == ""
    assert "The newest" in second.content.decode() and "The newest" not in first.content.decode()
    assert browser.get(f"/instruments/{instrument.pk}/history/?before=yesterday").status_code == 200
    assert browser.get(f"/instruments/{instrument.pk}/history/?before=2026-02-31T00:00:00").status_code == 200

    one = browser.get(f"/deliveries/{shown[0]}/").content.decode()
    assert (
        "1 stored, 1 held apart" in one
        and "is not something this instrument measures" in one
        and "dKH" in one
    )
    other = browser.get(f"/deliveries/{refused.pk}/").content.decode()
    assert "No head." in other and "&lt;b&gt;no" in other and "<b>no" not in other
    assert browser.get(f"/deliveries/{uuid.uuid4()}/").status_code == 404
