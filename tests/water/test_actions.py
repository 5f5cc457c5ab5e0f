"""Taking in what is measured: once, as typed, the impossible apart; corrections add and name their reason."""

import uuid
from datetime import timedelta

import pytest
from django.db import IntegrityError

from servicedesk.water import actions
from servicedesk.water.actions import readings
from servicedesk.water.models import Band, Correction, HeldReading, Reading, TankTest, Touched, WaterChange
from servicedesk.water.queries import latest_of_series
from tests.factories.people import make_technician
from tests.factories.tanks import NOON, make_band, make_equipment, make_method, make_reading, make_tank

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def tank():
    return make_tank()


def correct(reading, new, *, why="A slip of the pen", **given):
    said = {"by": make_technician(), "at": NOON, "origin": uuid.uuid4(), "received_at": NOON, **given}
    return actions.correct_reading(reading=reading, new=new, why=why, **said)


@pytest.mark.parametrize(
    ("typed", "given"),
    [
        ("seven", {}),
        ("", {}),
        ("nan", {}),
        ("7.9", {"unit": "furlong"}),
        ("7.9", {"parameter": "courage"}),
        ("1", {"parameter": "salinity", "unit": "SG"}),
    ],
)
def test_what_is_no_value_is_refused_and_nothing_is_kept(tank, typed, given):
    method = make_method("alkalinity")
    with pytest.raises(actions.NotWater):
        make_reading(tank, typed, method=method, **given)
    assert not Reading.objects.exists() and not HeldReading.objects.exists()


@pytest.mark.parametrize("typed", ["-1", "1000"])
def test_a_value_that_physically_cannot_be_is_held_apart_once_with_its_reason(tank, typed):
    key = uuid.uuid4()
    first = make_reading(tank, typed, origin=key)
    assert make_reading(tank, typed, origin=key) == first
    held = HeldReading.objects.get()
    assert (held.entered, held.tank, "cannot be" in held.reason) == (typed, tank, True)
    assert not Touched.objects.exists()


def test_the_same_news_twice_is_one_reading_and_the_same_moment_with_another_value_is_held(tank):
    method, key = make_method("alkalinity"), uuid.uuid4()
    first = make_reading(tank, "7.9", method=method, origin=key)

    assert make_reading(tank, "8.8", method=method, origin=key) == first, "the entry is what it was"
    assert make_reading(tank, "7.9", method=method) == first, "the same value for the same moment"
    other = make_reading(tank, "8.1", method=method)

    assert isinstance(other, HeldReading)
    assert other.reason == "Another value is already stored for this moment."
    assert Reading.objects.get().entered == "7.9"


def test_a_race_for_the_same_moment_gives_the_one_that_won(tank, monkeypatch):
    """Somebody stores the same between our look and our insert."""
    method = make_method("alkalinity")
    won = make_reading(tank, "7.9", method=method)
    save = Reading.save

    def late(row, *given, **named):
        if row.pk is None:
            raise IntegrityError("UNIQUE")
        return save(row, *given, **named)

    class Blind:
        """A look that sees nothing the first time."""

        def __init__(self, rows):
            self.rows, self.looks = rows, 0

        def first(self):
            self.looks += 1
            return None if self.looks == 1 else self.rows.first()

    row = Reading(series=won.series, at=won.at, seq=won.seq, value=won.value, received_at=NOON)
    real = Reading.objects.filter
    monkeypatch.setattr(Reading, "save", late)
    monkeypatch.setattr(Reading.objects, "filter", lambda **given: Blind(real(**given)))
    assert readings._store(row) == won

    monkeypatch.setattr(Reading.objects, "filter", lambda **given: Blind(real(pk=0)))
    with pytest.raises(IntegrityError):
        readings._store(row)


def test_news_keeps_the_earliest_time_of_a_tank(tank):
    actions.touch(tank=tank, at=NOON)
    actions.touch(tank=tank, at=NOON + HOUR)
    assert Touched.objects.get().since == NOON
    actions.touch(tank=tank, at=NOON - HOUR)
    assert Touched.objects.get().since == NOON - HOUR


def test_people_are_one_source_and_a_device_another(tank):
    device = make_equipment(tank)
    assert actions.by_hand() == actions.by_hand()
    assert actions.source_of(device) == actions.source_of(device) != actions.by_hand()


@pytest.mark.parametrize("why", ["", "  "])
def test_a_correction_without_a_reason_is_refused(tank, why):
    with pytest.raises(actions.NotWater, match="why"):
        correct(make_reading(tank, "7.9"), 2.9, why=why)


@pytest.mark.parametrize("new", [-1.0, 1e308, float("nan"), float("inf")])
def test_a_correction_to_what_physically_cannot_be_is_refused(tank, new):
    with pytest.raises(actions.NotWater, match="cannot be"):
        correct(make_reading(tank, "7.9"), new)
    assert not Correction.objects.exists()


def test_corrections_are_numbered_and_tell_what_stood_before(tank):
    reading, key = make_reading(tank, "7.9"), uuid.uuid4()
    first = correct(reading, 2.9, origin=key)
    assert correct(reading, 3.3, origin=key) == first, "the same entry again"
    withdrawn = correct(reading, None)
    back = correct(reading, 2.8)

    assert [(row.number, row.old, row.new) for row in (first, withdrawn, back)] == [
        (1, reading.value, 2.9),
        (2, 2.9, None),
        (3, reading.value, 2.8),
    ]
    reading.refresh_from_db()
    assert reading.entered == "7.9"


@pytest.mark.parametrize("litres", [0, -5, 6000.1, float("nan"), float("inf")])
def test_a_water_change_that_cannot_be_is_refused(tank, litres):
    with pytest.raises(actions.NotWater, match="say how much water"):
        actions.record_water_change(
            tank=tank, litres=litres, at=NOON, by=None, origin=uuid.uuid4(), received_at=NOON
        )
    assert not WaterChange.objects.exists()


def test_a_water_change_is_kept_once(tank):
    said = {"tank": tank, "litres": 60, "at": NOON, "by": None, "origin": uuid.uuid4(), "received_at": NOON}
    assert actions.record_water_change(**said) == actions.record_water_change(**said)
    assert Touched.objects.get().since == NOON


def test_a_tank_gets_the_bands_of_its_water_and_keeps_those_it_has(tank):
    own = make_band(tank, low=7.7)
    made = actions.set_default_bands(tank=tank)

    assert made and own.parameter not in {band.parameter for band in made}
    assert Band.objects.get(tank=tank, parameter="alkalinity").low == 7.7
    assert actions.set_default_bands(tank=tank) == []


def test_a_tank_gets_tests_for_what_it_has_bands_and_ways_for(tank):
    make_band(tank)
    make_band(tank, "calcium", unit="mg/L", low=400, target=420, high=450, alarm_low=350, alarm_high=500)
    make_method("alkalinity", name="b way")
    usual = make_method("alkalinity", name="a way")
    make_method("calcium", kind="titrator")
    make_method("calcium", retired_on=NOON.date())

    assert [row.method for row in actions.set_default_tests(tank=tank)] == [usual]
    assert actions.set_default_tests(tank=tank) == []
    assert TankTest.objects.count() == 1


def test_when_the_newest_value_is_withdrawn_the_one_before_it_stands_again(tank):
    first = make_reading(tank, "8.0", at=NOON)
    second = make_reading(tank, "4.0", method=first.series.method, at=NOON + timedelta(days=1))

    correct(second, None)

    assert [row.value for row in latest_of_series([tank])] == [pytest.approx(8.0)]
