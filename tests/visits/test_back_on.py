"""What stays off, and a visit left without the check, reach the office at once and go when they are mended."""

import pytest
from django.utils import timezone

from clients.models import Equipment
from servicedesk.visits.actions import take_entries
from servicedesk.watch.models import Attention
from tests.factories.people import make_technician
from tests.factories.stops import entry, make_reef_to_test, make_stop
from tests.factories.tanks import make_equipment

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene():
    ida, tank = make_technician(name="Ida"), make_reef_to_test()
    pump = make_equipment(tank, kind="return_pump", name="Return pump")
    skimmer = make_equipment(tank, kind="skimmer", name="Skimmer")
    Equipment.objects.update(back_on_check=True)
    return ida, pump, skimmer, make_stop(ida, tank)


def take(scene, *entries):
    receipts = take_entries(entries=entries, by=scene[0], at=timezone.now())
    assert [r["reason"] for r in receipts] == [""] * len(entries)


def open_rows():
    rows = Attention.objects.filter(cleared_at__isnull=True).order_by("key")
    return sorted((row.sentence, row.severity) for row in rows)


def test_a_visit_closed_without_the_check_is_told(scene):
    take(scene, entry(scene[3], "close"))

    assert open_rows() == [("Nobody wrote down that everything is back on. Ask Ida.", 2)]


def test_a_visit_closed_after_the_check_is_silent(scene):
    _ida, pump, skimmer, visit = scene

    take(scene, entry(visit, "back_on", on=[str(pump.pk), str(skimmer.pk)], left=[]), entry(visit, "close"))

    assert open_rows() == []


def test_what_stays_off_is_told_with_its_reason_and_what_keeps_animals_alive_is_told_now(scene):
    _ida, pump, skimmer, visit = scene
    left = [
        {"equipment": str(pump.pk), "reason": "new pump ordered"},
        {"equipment": str(skimmer.pk), "reason": "it foams."},
    ]

    take(scene, entry(visit, "back_on", on=[], left=left), entry(visit, "close"))

    assert open_rows() == [
        ("Return pump stays off: new pump ordered.", 1),
        ("Skimmer stays off: it foams.", 2),
    ]


def test_what_runs_again_is_told_no_more(scene):
    _ida, pump, skimmer, visit = scene
    off = [{"equipment": str(pump.pk), "reason": "new pump ordered"}]
    take(scene, entry(visit, "back_on", on=[str(skimmer.pk)], left=off), entry(visit, "close"))

    take(scene, entry(visit, "back_on", on=[str(pump.pk), str(skimmer.pk)], left=[]))

    assert open_rows() == []


def test_the_check_that_comes_late_clears_what_was_missing(scene):
    _ida, pump, skimmer, visit = scene
    take(scene, entry(visit, "close"))

    take(scene, entry(visit, "back_on", on=[str(pump.pk), str(skimmer.pk)], left=[]))

    assert open_rows() == []
