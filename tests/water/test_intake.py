"""Many values at once: stored, there already, or held apart, each by itself, on both databases alike."""

import random
import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.db import IntegrityError

from servicedesk.water import actions
from servicedesk.water.actions import Apart, Incoming, hold_apart, take_in
from servicedesk.water.actions import intake as bench
from servicedesk.water.actions.intake import text_of
from servicedesk.water.models import HeldReading, Reading, Touched
from servicedesk.web.bulk import Same, insert_all, insert_new
from tests.factories.tanks import make_equipment, make_method, make_reading, make_tank

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def tank():
    return make_tank()


@pytest.fixture
def source(tank):
    return actions.source_of(make_equipment(tank))


@pytest.fixture
def method():
    return make_method("alkalinity", kind="titrator")


def values(method, *numbers, start=0, unit="dKH"):
    return [
        Incoming(start + n, "alkalinity", method, NOON + timedelta(minutes=n), value, unit)
        for n, value in enumerate(numbers)
    ]


def take(tank, source, rows, origin=None):
    return take_in(tank=tank, source=source, rows=rows, origin=origin or uuid.uuid4(), received_at=NOON)


def test_values_are_stored_in_the_canonical_unit_with_what_was_sent(tank, source, method):
    taken = take(tank, source, values(method, 2.9, 3.0, unit="meq/L"))

    assert (taken.stored, taken.already, taken.held) == ([0, 1], [], [])
    row = Reading.objects.order_by("at").first()
    assert row.value == pytest.approx(2.9 * 2.8, rel=0.01)
    assert (row.entered, row.entered_unit, row.series.source) == ("2.9", "meq/L", source)
    assert Touched.objects.get().since == NOON


def test_the_same_again_is_there_already_and_another_value_is_held_apart(tank, source, method):
    take(tank, source, values(method, 7.0, 7.1, 7.2))

    taken = take(tank, source, values(method, 7.0, 7.5, 7.2, 7.3))

    assert (taken.stored, sorted(taken.already)) == ([3], [0, 2])
    assert taken.held == [(1, "Another value is already stored for this moment.")]
    assert sorted(Reading.objects.values_list("value", flat=True)) == [7.0, 7.1, 7.2, 7.3]
    assert HeldReading.objects.get().entered == "7.5"


def test_in_one_batch_the_first_of_two_for_one_moment_stands(tank, source, method):
    rows = values(method, 7.0, 7.1)
    rows += [rows[0]._replace(part=2), rows[1]._replace(part=3, value=9.0)]

    taken = take(tank, source, rows)

    assert (taken.stored, taken.already, [part for part, _why in taken.held]) == ([0, 1], [2], [3])


def test_what_cannot_be_is_held_apart_in_words_and_stops_nothing(tank, source, method):
    rows = values(method, 7.0, 4000.0, float("nan"), float("inf"), 7.1)
    rows.append(Incoming(9, "alkalinity", method, NOON, 7.0, "stone"))
    rows.append(Incoming(10, "alkalinity", method, NOON, 7.0, "mmol/kg"))

    taken = take(tank, source, rows)

    reasons = dict(taken.held)
    assert taken.stored == [0, 4]
    assert "cannot be" in reasons[1] and "cannot be" in reasons[2] and "cannot be" in reasons[3]
    assert "is not measured in" in reasons[9] and "needs the density" in reasons[10]
    assert HeldReading.objects.count() == 5


def test_the_same_origin_again_stores_and_holds_nothing_twice(tank, source, method):
    origin, rows = uuid.uuid4(), values(method, 7.0, 4000.0)

    take(tank, source, rows, origin)
    again = take(tank, source, rows, origin)

    assert again.already == [0]
    assert (Reading.objects.count(), HeldReading.objects.count()) == (1, 1)


def test_a_batch_of_nothing_is_nothing(tank, source):
    assert take(tank, source, []) == bench.Taken()
    assert not Touched.objects.exists()


def test_seven_bad_of_five_hundred_are_named_and_the_rest_stored(tank, source, method):
    seed = random.randrange(2**32)
    print(f"seed {seed}")
    bad = set(random.Random(seed).sample(range(500), 7))
    rows = values(method, *(9000.0 if n in bad else 7 + n / 1000 for n in range(500)))

    taken = take(tank, source, rows)

    assert {part for part, _why in taken.held} == bad
    assert len(taken.stored) == Reading.objects.count() == 493
    again = take(tank, source, rows)
    assert (again.stored, len(again.already)) == ([], 493)


@pytest.mark.parametrize("many", [2, bench.FEW + 5])
def test_somebody_who_is_quicker_between_look_and_insert_loses_nothing(
    tank, source, method, monkeypatch, many
):
    """The look, where there is one, sees nothing; the insert meets a row."""
    take(tank, source, values(method, 7.0))
    monkeypatch.setattr(bench, "_between", lambda **given: [])

    taken = take(tank, source, values(method, *(7.0 + n / 100 for n in range(many))))

    assert (taken.stored, taken.already) == (list(range(1, many)), [0])
    assert Reading.objects.count() == many


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (7.0, "7"),
        (8.1, "8.1"),
        (0.1 + 0.2, "0.3"),
        (1e-7, "0.0000001"),
        (-0.5, "-0.5"),
        (1e22, "1e+22"),
        (123456.789, "123456.789"),
    ],
)
def test_a_number_is_written_as_it_would_be_typed(value, text):
    assert text_of(value) == text


def test_texts_with_signs_of_the_wire_come_out_as_they_went_in(tank):
    """Tabs, quotes, braces, backslashes, line ends: nothing of a text is read as more than text."""
    words = ["a\tb", 'c"d', "{e,f}", "g\\h", "i\nj", "\\N", "NULL", "Ω", "k\rl"]
    held = [Apart(n, "alkalinity", None, word, "u", word) for n, word in enumerate(words)]
    source = actions.source_of(make_equipment(tank))

    hold_apart(tank=tank, source=source, rows=held, origin=uuid.uuid4(), received_at=NOON)

    assert list(HeldReading.objects.order_by("part").values_list("reason", flat=True)) == words


def columns_like(row, method, *, values_, entered):
    return {
        "series_id": Same(row.series_id),
        "at": [NOON + timedelta(days=1, minutes=n) for n in range(len(values_))],
        "seq": Same(0),
        "value": values_,
        "entered": entered,
        "entered_unit": Same("dKH"),
        "flags": Same(0),
        "by_id": Same(None),
        "origin": Same(uuid.uuid4()),
        "part": list(range(len(values_))),
        "received_at": Same(NOON),
    }


def test_rows_go_in_whole_or_not_at_all(tank, method):
    row = make_reading(tank, "7.9", method=method)
    columns = columns_like(row, method, values_=[1.0, 2.5], entered=["1\t", "\\2"])

    insert_all(Reading, columns)
    assert set(Reading.objects.values_list("entered", flat=True)) == {"7.9", "1\t", "\\2"}
    assert insert_new(Reading, columns, returning="part") == []


def test_one_that_is_there_refuses_all(tank, method):
    row = make_reading(tank, "7.9", method=method)
    columns = columns_like(row, method, values_=[1.0], entered=["1"])
    insert_all(Reading, columns)

    with pytest.raises(IntegrityError):
        insert_all(Reading, {**columns, "origin": Same(uuid.uuid4())})


def test_nothing_goes_in_of_nothing(tank):
    none = {"series_id": [], "at": []}
    insert_all(Reading, none)

    assert insert_new(Reading, none, returning="part") == []


def test_many_rows_go_in_whatever_a_statement_holds(tank, source, method, monkeypatch):
    from servicedesk.web import bulk  # noqa: PLC0415

    monkeypatch.setattr(bulk, "MOST_VALUES", 30)
    monkeypatch.setattr(bench, "_between", lambda **given: [1])
    taken = take(tank, source, values(method, *(7 + n / 100 for n in range(25))))

    assert len(taken.stored) == Reading.objects.count() == 25


def test_what_is_held_keeps_a_bool_and_a_missing_time(tank, source, method):
    from servicedesk.web.bulk import _element, _text  # noqa: PLC0415

    assert (_text(True), _text(False), _element(None), _element(1.5), _element("a")) == (
        "t",
        "f",
        "NULL",
        "1.5",
        '"a"',
    )
