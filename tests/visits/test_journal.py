import uuid
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from clients.models import Sight
from servicedesk.dispatch.models import Job
from servicedesk.dosing.models import Dose, Refill
from servicedesk.upkeep.actions import raise_task
from servicedesk.visits.actions import take_entries
from servicedesk.visits.models import Entry, Visit
from servicedesk.water.models import Correction, HeldReading, Reading, WaterChange
from servicedesk.water.queries import readings_of
from tests.factories.people import make_technician
from tests.factories.stops import entry, make_reef_to_test, make_stop
from tests.factories.tanks import make_channel, make_solution

pytestmark = pytest.mark.django_db


@pytest.fixture
def ida():
    return make_technician(name="Ida")


@pytest.fixture
def tank():
    return make_reef_to_test()


@pytest.fixture
def visit(ida, tank):
    return make_stop(ida, tank)


def take(by, *entries, **rest):
    return take_entries(entries=entries, by=by, at=timezone.now(), **rest)


def reading(visit, tank, value, *, parameter="alkalinity", key=None, seq=0):
    method = str(tank.tests.get(parameter=parameter).method_id)
    unit = {"alkalinity": "dKH", "temperature": "C", "salinity": "PSS-78"}[parameter]
    return entry(
        visit,
        "reading",
        key,
        tank=str(tank.pk),
        parameter=parameter,
        method=method,
        value=value,
        unit=unit,
        seq=seq,
    )


def words(receipts):
    return [(r["receipt"], r["reason"]) for r in receipts]


def test_an_entry_for_a_foreign_visit_is_refused_like_one_that_is_missing(visit, tank):
    stranger = make_technician()

    foreign = take(stranger, reading(visit, tank, "8.0"))
    missing = take(stranger, {**reading(visit, tank, "8.0"), "visit": str(uuid.uuid4())})

    assert words(foreign) == words(missing) == [("refused", "There is no such visit for you.")]
    assert Entry.objects.count() == 0


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"kind": "poem"}, "This kind of entry is not known. Update the tablet's page."),
        ({"id": "x"}, "“id” is not an id."),
        ({"tablet_time": "yesterday"}, "“tablet_time” is not a time with its offset."),
        ({"tablet_time": "2026-06-01T10:00:00"}, "“tablet_time” is not a time with its offset."),
        ({"seq": True}, "“seq” is not a whole number."),
        ({"more": 1}, "“more” is not part of an entry."),
        ({"payload": []}, "“payload” is not an object of sensible size."),
    ],
)
def test_an_entry_that_is_not_sound_is_refused_in_words(ida, visit, change, sentence):
    assert words(take(ida, {**entry(visit, "arrive"), **change})) == [("refused", sentence)]


@pytest.mark.parametrize("value", ["78o", "", "nan", "1_000", "７"])
def test_a_reading_that_is_no_number_is_refused_and_leaves_nothing(ida, visit, tank, value):
    receipts = take(ida, reading(visit, tank, value))

    assert receipts[0]["receipt"] == "refused"
    assert (Entry.objects.count(), Reading.objects.count()) == (0, 0)


def test_a_reading_is_stored_as_typed_and_in_the_canonical_unit(ida, visit, tank):
    entry_ = reading(visit, tank, "2,9")
    entry_["payload"]["unit"] = "meq/L"

    take(ida, entry_)

    row = Reading.objects.get()
    assert (row.entered, row.entered_unit, round(row.value, 3)) == ("2,9", "meq/L", 8.131)


def test_an_extreme_reading_is_kept(ida, visit, tank):
    assert words(take(ida, reading(visit, tank, "1.1"))) == [("stored", "")]


def test_a_reading_that_physically_cannot_be_is_held_apart_with_its_reason(ida, visit, tank):
    take(ida, reading(visit, tank, "95"))

    assert [h.reason for h in HeldReading.objects.all()] == [
        "95 dKH cannot be: alkalinity lies between 0 and 60 dKH."
    ]
    assert Reading.objects.count() == 0


def test_the_same_entry_again_is_already_there(ida, visit, tank):
    one = reading(visit, tank, "8.0")

    first, second = take(ida, one), take(ida, one)

    assert (words(first), words(second)) == ([("stored", "")], [("already", "")])
    assert (Entry.objects.count(), Reading.objects.count()) == (1, 1)


def test_the_same_id_with_other_content_is_refused(ida, visit, tank):
    one = reading(visit, tank, "8.0")
    take(ida, one)

    other = reading(visit, tank, "9.0", key=uuid.UUID(one["id"]))

    assert take(ida, other)[0]["receipt"] == "refused"
    assert [r.value for r in Reading.objects.all()] == [8.0]


def test_one_bad_entry_does_not_hold_up_the_others(ida, visit, tank):
    receipts = take(ida, entry(visit, "arrive"), reading(visit, tank, "x"), reading(visit, tank, "8.0"))

    assert [r["receipt"] for r in receipts] == ["stored", "refused", "stored"]


def test_facts_of_other_rooms_are_made_once(ida, visit, tank):
    channel, solution = make_channel(tank, container_ml=2000), make_solution()
    task = raise_task(
        tank=tank,
        key="t",
        title="Clean",
        why="",
        earliest=visit.due,
        due=visit.due,
        latest=visit.due,
        at=timezone.now(),
    )
    batch = [
        entry(visit, "water_change", tank=str(tank.pk), litres="50"),
        entry(visit, "dose", tank=str(tank.pk), solution=str(solution.pk), ml="40"),
        entry(visit, "refill", channel=str(channel.pk), ml_now="1900"),
        entry(visit, "task_done", task=str(task.pk)),
    ]

    take(ida, *batch)
    take(ida, *batch)

    assert (WaterChange.objects.count(), Dose.objects.count(), Refill.objects.count()) == (1, 1, 1)
    task.refresh_from_db()
    assert task.state == "done"


def test_closing_asks_for_the_report_once(ida, visit, tank):
    close = entry(visit, "close")

    take(ida, entry(visit, "arrive"), close)
    take(ida, close)

    assert Visit.objects.get().state == "closed"
    assert [j.key for j in Job.objects.filter(kind="report")] == [f"report:{visit.pk}:1"]


def test_additions_to_a_closed_visit_ask_for_the_next_version_once_per_batch(ida, visit, tank):
    one = reading(visit, tank, "8.0")
    take(ida, one, entry(visit, "close"))

    correction = entry(visit, "correction", entry=one["id"], value="8.4", unit="dKH", why="misread")
    take(ida, correction, entry(visit, "finding", text="A crack in the rim."))

    assert [j.key for j in Job.objects.filter(kind="report").order_by("key")] == [
        f"report:{visit.pk}:1",
        f"report:{visit.pk}:2",
    ]
    assert [r.value for r in readings_of(tank)] == [8.4]
    assert [r.value for r in Reading.objects.all()] == [8.0]
    assert Correction.objects.get().why == "misread"


def test_a_reading_of_the_past_is_never_altered_or_removed_by_the_database(ida, visit, tank):
    take(ida, reading(visit, tank, "8.0"))
    refused = []
    for statement in (
        "UPDATE water_reading SET value = 9",
        "DELETE FROM water_reading",
        "UPDATE visits_entry SET kind = 'close'",
    ):
        with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
        refused.append(statement)

    assert len(refused) == 3
    assert Reading.objects.get().value == 8.0


def test_a_tablets_wrong_clock_is_corrected_and_both_times_are_kept(ida, visit, tank):
    now = timezone.now()
    wrong = now - timedelta(hours=3)
    one = {**reading(visit, tank, "8.0"), "tablet_time": wrong.isoformat()}

    take_entries(entries=[one], by=ida, at=now, sent_at=wrong)

    row = Entry.objects.get()
    assert abs((row.at - now).total_seconds()) < 1
    assert abs((row.tablet_time - wrong).total_seconds()) < 0.001
    assert row.clock_offset == pytest.approx(3 * 3600, abs=1)


def test_a_technician_sees_the_tank_fourteen_days_to_either_side(visit, ida, tank):
    row = Sight.objects.get()

    assert ((row.last_day - visit.due).days, (visit.due - row.first_day).days) == (14, 14)


def test_closing_a_closed_visit_again_asks_for_no_other_version(ida, visit, tank):
    take(ida, entry(visit, "close"))

    take(ida, entry(visit, "close"))

    assert [j.key for j in Job.objects.filter(kind="report")] == [f"report:{visit.pk}:1"]


def test_what_another_sender_stores_at_the_same_moment_is_asked_for_again_and_nothing_else_is_lost(
    ida, visit, tank, monkeypatch
):
    """Two senders of one entry: the slower meets the faster one's row only when it writes its own."""
    real, key = Entry.objects.filter, uuid.uuid4()
    first = entry(visit, "field", key, name="summary", value="one")
    take(ida, first)
    second = entry(visit, "field", None, name="summary", value="two")
    missed = {"left": 1}

    def not_there_yet(*given, **asked):
        if asked == {"pk": key} and missed["left"]:
            missed["left"] -= 1
            return Entry.objects.none()
        return real(*given, **asked)

    monkeypatch.setattr(Entry.objects, "filter", not_there_yet)

    said = words(take(ida, first, second))

    assert said == [("refused", "It was being stored just then. Send it again."), ("stored", "")]
    assert missed["left"] == 0
    assert words(take(ida, first)) == [("already", "")]
    assert Entry.objects.count() == 2
