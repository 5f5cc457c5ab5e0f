"""The watch ended between any two statements, and begun again: one alarm, one letter, one all-clear each."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection, transaction

from servicedesk.dispatch.models import Message
from servicedesk.instruments.models import Instrument
from servicedesk.watch import actions
from servicedesk.watch.actions import sweeping
from servicedesk.watch.models import Attention, AttentionStep, Telling
from servicedesk.water.models import Touched
from tests.factories.people import make_business, make_owner
from tests.factories.tanks import make_band, make_instrument, make_measure, make_reading, make_tank

pytestmark = [pytest.mark.django_db, pytest.mark.slow]  # a look for every statement of a look
NOON = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
MOST_STATEMENTS = 400


class Killed(Exception):
    """The process ended here."""


class After:
    """Ends the process before the statement of that number."""

    def __init__(self, number):
        self.left = number

    def __call__(self, execute, sql, params, many, context):
        if not sql.startswith(("SAVEPOINT", "RELEASE", "ROLLBACK")):
            self.left -= 1
            if self.left < 0:
                raise Killed
        return execute(sql, params, many, context)


def look(at):
    actions.look(at=at)
    actions.tell(at=at)


@pytest.fixture
def scene():
    make_business(zone="Europe/London")
    make_owner()
    tank = make_tank()
    make_band(tank)
    make_reading(tank, "5.0", at=NOON - 5 * MINUTE)
    for _n in range(2):
        make_measure(
            make_instrument(
                make_tank(), interval_minutes=30, grace_minutes=10, last_contact_at=NOON - timedelta(hours=2)
            )
        )
    return tank


def counted():
    return {
        "alarms": Attention.objects.count(),
        "open": Attention.objects.filter(cleared_at__isnull=True).count(),
        "letters": Message.objects.count(),
        "tellings": Telling.objects.count(),
        "told": AttentionStep.objects.filter(step="told").count(),
    }


def killed_at_each(prepare):
    """What stands after a look that was ended before its nth statement and begun again a minute later, for every n; how many n there are."""
    for number in range(MOST_STATEMENTS):
        with transaction.atomic():
            at = prepare()
            try:
                with connection.execute_wrapper(After(number)):
                    look(at)
            except Killed:
                transaction.set_rollback(False)  # what the test's own transaction holds is what was committed
                ended = True
            else:
                ended = False
            look(at + MINUTE)
            look(at + 3 * MINUTE)
            yield number, counted()
            transaction.set_rollback(True)
        if not ended:
            return
    pytest.fail(f"A look has more than {MOST_STATEMENTS} statements.")


def test_a_look_that_ends_at_any_statement_raises_and_tells_each_cause_once(scene):
    numbers = []
    for number, found in killed_at_each(lambda: NOON):
        numbers.append(number)
        assert found == {"alarms": 3, "open": 3, "letters": 3, "tellings": 3, "told": 3}, number
    assert len(numbers) > 50


def test_a_look_that_ends_at_any_statement_clears_each_cause_once(scene):
    look(NOON)
    look(NOON + 3 * MINUTE)

    def calmed():
        Instrument.objects.update(last_contact_at=NOON + 4 * MINUTE)
        make_reading(scene, "8.0", at=NOON + 4 * MINUTE)
        return NOON + 5 * MINUTE

    for number, found in killed_at_each(calmed):
        assert found == {"alarms": 3, "open": 0, "letters": 3, "tellings": 3, "told": 3}, number


def test_the_check_itself_sees_what_a_look_without_its_transaction_would_lose(scene, monkeypatch):
    """A planted fault: the tank is claimed and not judged in the same transaction."""

    def leaky(*, at, pause_s=0.0):
        for touched in list(Touched.objects.all()):
            tank = touched.tank
            touched.delete()
            sweeping.judge_tank(tank=tank, at=at)
        return 0

    monkeypatch.setattr(sweeping, "sweep", leaky)
    lost = [number for number, found in killed_at_each(lambda: NOON) if found["alarms"] < 3]

    assert lost != []
