"""Where the series of instruments stand, read in one query however many there are."""

import uuid
from datetime import UTC, date, datetime, timedelta

import pytest
from django.utils import timezone

from servicedesk.instruments.actions.loads import record_load
from servicedesk.instruments.actions.trust import move_trust
from servicedesk.instruments.choices import Trust
from servicedesk.instruments.queries import BY_HAND, empty_day, loads_of, standing_of, standings_of
from servicedesk.staff.queries import business_zone
from tests.factories.people import make_business
from tests.factories.tanks import make_instrument, make_measure, make_tank

pytestmark = pytest.mark.django_db


def moved(measure, *trusts):
    now = timezone.now()
    for number, trust in enumerate(trusts):
        move_trust(
            measure=measure,
            trust=trust,
            why=f"why {trust}",
            at=now + timedelta(minutes=number),
            origin=uuid.uuid4(),
            received_at=now,
        )


def test_a_test_by_hand_and_an_instrument_that_never_moved_are_believed():
    measure = make_measure(make_instrument())
    standings = standings_of([measure.instrument.tank])

    assert standing_of(standings, None, "alkalinity") is BY_HAND
    assert standing_of(standings, measure.instrument.equipment_id, "alkalinity") == BY_HAND


def test_the_last_move_counts_with_its_reason_for_its_own_series_only():
    instrument = make_instrument()
    alkalinity, ph = make_measure(instrument), make_measure(instrument, "ph", unit="NBS scale")
    moved(alkalinity, "to_check", "not_to_act_on")
    standings = standings_of([instrument.tank])

    found = standing_of(standings, instrument.equipment_id, "alkalinity")
    assert (found.trust, found.why) == (Trust.NOT_TO_ACT_ON, "why not_to_act_on")
    assert standing_of(standings, instrument.equipment_id, ph.parameter).trust == Trust.BELIEVED


def test_another_tanks_instruments_are_left_out():
    moved(make_measure(make_instrument()), "to_check")

    assert standings_of([make_tank()]) == {}


@pytest.mark.parametrize("count", [1, 3])
def test_trust_is_read_in_one_query(count, django_assert_num_queries):
    tank = make_tank()
    for _number in range(count):
        moved(make_measure(make_instrument(tank)), "to_check")

    with django_assert_num_queries(1):
        assert len(standings_of([tank])) == count


def test_a_bottle_is_empty_on_the_businesss_day_and_not_on_greenwichs():
    make_business(zone="Pacific/Auckland")
    measure = make_measure(make_instrument(), ml_per_test=1, tests_per_day=1)
    at = datetime(2026, 6, 3, 20, 0, tzinfo=UTC)  # 08:00 on the 4th in Auckland
    record_load(measure=measure, ml=2, at=at, by=None, origin=uuid.uuid4(), received_at=at)

    load = loads_of([measure], at)[measure.pk]
    assert empty_day(measure, load, at.astimezone(business_zone())) == date(2026, 6, 6)
