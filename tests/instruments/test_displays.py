"""A photo of a display: kept until somebody reads it, read into one delivery at the most, corrected as other readings are."""

import io
import json
import uuid
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from django.db import DatabaseError, transaction
from django.http import Http404
from PIL import Image

from servicedesk.instruments import actions
from servicedesk.instruments.actions import NotShown, Shown, correct_shown, read_display, set_photo_aside
from servicedesk.instruments.adapters.records import NotRead
from servicedesk.instruments.choices import DISPLAY
from servicedesk.instruments.models import (
    Delivery,
    DisplayPhoto,
    DisplayRead,
    Instrument,
    SentSign,
    Sign,
)
from servicedesk.instruments.queries import displays, silent_since
from servicedesk.water import actions as water
from servicedesk.water.choices import Flag
from servicedesk.water.models import Correction, HeldReading, Reading, Touched
from servicedesk.web.pictures import MOST_BYTES, NoPhoto, camera_time, rewritten, served, store
from tests.factories.displays import make_display_photo, picture
from tests.factories.people import make_client_user, make_owner, make_technician
from tests.factories.tanks import make_contact, make_instrument, make_measure, make_tank

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)
READ_AT = NOW - timedelta(minutes=20)


@pytest.fixture
def owner():
    return make_owner()


@pytest.fixture
def instrument():
    return make_instrument(reports_by="photo")


@pytest.fixture
def alk(instrument):
    return make_measure(instrument, sent_name="kh")


@pytest.fixture
def photo(instrument, owner, alk):
    return make_display_photo(instrument, by=owner, at=NOW)


def read(photo, by, now=NOW, **given):
    shown = Shown(**{"at": READ_AT, "values": {}, **given})
    return read_display(photo=photo, shown=shown, by=by, at=now)


def files():
    folder = Path(settings.MEDIA_ROOT) / "displays"
    return sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []


def test_a_photo_is_kept_without_its_metadata_and_with_what_the_camera_said(instrument, owner):
    body = picture(taken="2026:06:03 09:00:00", size=(3000, 1500))

    row = make_display_photo(instrument, by=owner, body=body, note="n" * 300, zone=ZoneInfo("Europe/Berlin"))

    kept = (Path(settings.MEDIA_ROOT) / row.file).read_bytes()
    assert b"canary" not in kept and dict(Image.open(io.BytesIO(kept)).getexif()) == {}
    assert (row.width, row.height, len(row.note)) == (2400, 1200, 200)
    assert row.camera_at == datetime(2026, 6, 3, 7, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("body", "found"),
    [
        (picture(taken="2026:06:03 09:00:00", offset="-03:00"), datetime(2026, 6, 3, 12, 0, tzinfo=UTC)),
        (picture(taken="yesterday"), None),
        (picture(), None),
        (b"no picture", None),
    ],
)
def test_the_cameras_clock_is_read_with_its_offset_or_not_at_all(body, found):
    assert camera_time(body, zone=ZoneInfo("Europe/Berlin")) == found


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"\x00\x00\x00\x18ftypheic" + bytes(40), "HEIC photo, which cannot be read here"),
        (b"\x00\x00\x00\x18ftypmp42" + bytes(40), "not a JPEG, PNG or WebP photo"),
        (picture()[:200], "not a JPEG, PNG or WebP photo"),
        (bytes(MOST_BYTES + 1), "larger than 15 MB"),
    ],
)
def test_what_is_no_photo_is_refused_in_words_and_nothing_is_kept(instrument, body, words):
    before = files()

    with pytest.raises(NoPhoto, match=words):
        make_display_photo(instrument, body=body)

    assert (DisplayPhoto.objects.count(), files()) == (0, before)


def test_too_many_pixels_for_its_bytes_are_refused():
    out = io.BytesIO()
    Image.new("L", (8000, 5001)).save(out, "PNG")

    with pytest.raises(NoPhoto, match="40 megapixels"):
        rewritten(io.BytesIO(out.getvalue()))


def test_the_same_id_and_the_same_file_are_the_same_photo(instrument, owner, photo):
    by_id = make_display_photo(instrument, by=owner, key=photo.pk, body=picture(tone=200))
    by_file = make_display_photo(instrument, by=owner)
    elsewhere = make_display_photo(make_instrument(), by=owner)

    assert by_id == by_file == photo
    assert elsewhere != photo
    with pytest.raises(NoPhoto, match="already there"):
        make_display_photo(make_instrument(), by=owner, key=photo.pk)


def test_two_who_send_it_at_once_make_one_photo_and_leave_no_file(instrument, owner, monkeypatch):
    """The other one's row comes between the look and the writing."""
    made = []

    def slow(*given, **named):
        if not made:
            made.append(None)
            made[0] = make_display_photo(instrument, by=owner)
        return rewritten(*given, **named)

    monkeypatch.setattr("servicedesk.instruments.actions.displays.rewritten", slow)
    before = len(files())

    row = make_display_photo(instrument, by=owner)

    assert row == made[0]
    assert (DisplayPhoto.objects.count(), len(files())) == (1, before + 1)


def test_what_was_read_goes_in_as_a_delivery_with_the_photo_beside_it(photo, alk, owner):
    delivery, new = read(photo, owner, values={alk.pk: 7.8})

    row = Reading.objects.select_related("series__source").get()
    assert new and (delivery.media_type, delivery.stored, delivery.seen.photo) == (DISPLAY, 1, photo)
    assert (row.value, row.entered_unit, row.at, row.origin) == (7.8, "dKH", READ_AT, delivery.pk)
    assert row.series.source.equipment == photo.instrument.equipment
    assert json.loads(delivery.body)["photo"] == str(photo.pk)
    assert Touched.objects.get(tank=photo.instrument.tank).since == READ_AT


def test_sending_it_twice_is_one_delivery_and_another_reading_of_it_is_refused(photo, alk, owner):
    first, _new = read(photo, owner, values={alk.pk: 7.8})

    again, new = read(photo, owner, values={alk.pk: 7.8}, now=NOW + timedelta(seconds=2))

    assert (again, new) == (first, False)
    with pytest.raises(NotShown, match="has read this photo before"):
        read(photo, owner, values={alk.pk: 7.9})
    assert (Delivery.objects.count(), Reading.objects.count(), DisplayRead.objects.count()) == (1, 1, 1)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "Type a value or tick a sign"),
        ({"at": NOW + timedelta(hours=1), "on": ["error"]}, "still to come"),
        ({"values": {uuid.uuid4(): 7.8}}, "does not measure that"),
        ({"on": ["line_lost"]}, "does not say that of itself"),
    ],
)
def test_what_cannot_have_been_shown_is_refused_and_the_photo_waits_on(photo, owner, given, words):
    with pytest.raises(NotShown, match=words):
        read(photo, owner, **given)

    assert list(displays.waiting_for(owner, on=NOW.date())) == [photo]
    assert Delivery.objects.count() == 0


def test_a_value_that_cannot_be_and_one_that_contradicts_are_held_apart(instrument, photo, alk, owner):
    read(photo, owner, values={alk.pk: 7.8})
    second = make_display_photo(instrument, by=owner, body=picture(tone=120))
    third = make_display_photo(instrument, by=owner, body=picture(tone=180))

    other, _new = read(second, owner, values={alk.pk: 8.4})
    wild, _new = read(third, owner, values={alk.pk: 780.0})

    assert (other.stored, other.held, wild.held) == (0, 1, 1)
    assert sorted(HeldReading.objects.values_list("entered", flat=True)) == ["780", "8.4"]


def test_a_photo_that_shows_what_is_stored_already_says_so(instrument, photo, alk, owner):
    read(photo, owner, values={alk.pk: 7.8})
    second = make_display_photo(instrument, by=owner, body=picture(tone=120))

    again, _new = read(second, owner, values={alk.pk: 7.8})

    assert (again.answer["already"], Reading.objects.count()) == (1, 1)
    assert displays.values_of(displays.photo_for(owner, second.pk, on=NOW.date())) == []


def test_what_is_older_than_ninety_days_is_stored_in_doubt(photo, alk, owner):
    old = make_display_photo(photo.instrument, by=owner, body=picture(tone=120))

    read(old, owner, at=NOW - timedelta(days=120), values={alk.pk: 7.7})
    read(photo, owner, values={alk.pk: 7.8})

    assert list(Reading.objects.order_by("at").values_list("flags", flat=True)) == [Flag.TIME_DOUBTFUL, 0]


def test_signs_that_were_on_or_are_gone_are_facts_under_its_own_names(instrument, photo, owner):
    SentSign.objects.create(instrument=instrument, sent_name="E7", kind="waste_full")
    SentSign.objects.create(instrument=instrument, sent_name="error", kind="low_reagent")

    read(photo, owner, on=["waste_full"], gone=["low_reagent"], says="E 07")

    assert list(Sign.objects.order_by("part").values_list("kind", "on", "text")) == [
        ("waste_full", True, "E 07"),
        ("low_reagent", False, "E 07"),
    ]
    assert displays.sign_names(instrument) == {
        "low_sample": "low_sample",
        "waste_full": "E7",
        "low_reagent": "error",
        "note": "note",
    }
    assert displays.open_signs(instrument) == {"waste_full": READ_AT}


def test_a_sign_without_words_says_yes_or_no(photo, owner):
    read(photo, owner, on=["error"], gone=["low_sample"])

    assert list(Sign.objects.order_by("part").values_list("text", flat=True)) == ["yes", "no"]


def test_a_line_of_volts_shows_what_they_mean(instrument, photo, owner):
    """0 V at pH 4, 5 V at pH 10: the display shows 7.12 where the line sends 2.6 V."""
    ph = make_measure(
        instrument, "ph", sent_name="line", unit="V", low_volts=0, low_value=4, high_volts=5, high_value=10
    )

    read(photo, owner, values={ph.pk: 7.12})

    row = Reading.objects.get()
    assert (row.value, row.entered_unit) == (7.12, "NBS scale")


@pytest.mark.parametrize(
    ("how", "heard"), [("photo", READ_AT), ("manual", READ_AT), ("https", None), ("mqtt", None)]
)
def test_reading_the_display_says_nothing_of_a_line_that_is_down(how, heard, owner):
    measure = make_measure(make_instrument(reports_by=how))

    read(make_display_photo(measure.instrument, by=owner), owner, values={measure.pk: 7.8})

    measure.instrument.refresh_from_db()
    assert measure.instrument.last_contact_at == heard


def test_an_older_photo_does_not_put_back_when_it_was_heard(photo, alk, owner):
    Instrument.objects.filter(pk=photo.instrument_id).update(last_contact_at=NOW)

    read(photo, owner, values={alk.pk: 7.8})

    photo.instrument.refresh_from_db()
    assert photo.instrument.last_contact_at == NOW


@pytest.mark.parametrize(("how", "silent"), [("manual", False), ("photo", True), ("https", True)])
def test_what_does_not_report_is_never_silent(how, silent):
    row = make_instrument(reports_by=how, last_contact_at=NOW - timedelta(days=9))

    assert (silent_since(row, NOW) is not None) is silent


def test_a_photo_set_aside_with_its_reason_waits_no_more_and_is_not_read(photo, alk, owner):
    with pytest.raises(NotShown, match="Say why"):
        set_photo_aside(photo=photo, why="  ", by=owner, at=NOW)
    first = set_photo_aside(photo=photo, why="It shows the wall.", by=owner, at=NOW)

    assert set_photo_aside(photo=photo, why="It shows the wall.", by=owner, at=NOW) == first
    assert list(displays.waiting_for(owner, on=NOW.date())) == []
    with pytest.raises(NotShown, match="set this photo aside: “It shows the wall.”"):
        set_photo_aside(photo=photo, why="Another reason.", by=owner, at=NOW)
    with pytest.raises(NotShown, match="set this photo aside"):
        read(photo, owner, values={alk.pk: 7.8})
    assert correct_refused(photo, 1, owner) == "This photo has no such value."


def test_a_photo_that_was_read_is_not_set_aside(photo, alk, owner):
    read(photo, owner, values={alk.pk: 7.8})

    with pytest.raises(NotShown, match="has read this photo before"):
        set_photo_aside(photo=photo, why="blurred", by=owner, at=NOW)


def correct_refused(photo, reading, by, **given):
    with pytest.raises(NotShown) as wrong:
        correct_shown(
            photo=photo,
            reading=reading,
            by=by,
            at=NOW,
            **{"new": 8.0, "why": "x", "key": uuid.uuid4(), **given},
        )
    return str(wrong.value)


def test_a_wrongly_typed_value_is_corrected_by_addition_in_the_unit_it_was_typed_in(instrument, owner):
    """2.8 mmol/L, typed as 3.8; a mmol/L of acid capacity is 2.80385 dKH: 10 mg CaO/L per degree (tables/units.csv)."""
    measure = make_measure(instrument, unit="mmol/L")
    photo = make_display_photo(instrument, by=owner)
    read(photo, owner, values={measure.pk: 3.8})
    row, key = Reading.objects.get(), uuid.uuid4()

    for _again in range(2):
        correct_shown(photo=photo, reading=row.pk, new=2.8, why="typed wrongly", key=key, by=owner, at=NOW)

    (fixed,) = displays.values_of(displays.photo_for(owner, photo.pk, on=NOW.date()))
    assert Correction.objects.count() == 1
    assert (fixed.entered, fixed.unit, fixed.corrected, fixed.why) == ("3.8", "mmol/L", True, "typed wrongly")
    assert fixed.value == pytest.approx(2.8 * 2.80385, abs=1e-4)
    correct_shown(
        photo=photo, reading=row.pk, new=None, why="it shows none", key=uuid.uuid4(), by=owner, at=NOW
    )
    assert displays.values_of(displays.photo_for(owner, photo.pk, on=NOW.date()))[0].value is None


def test_a_correction_without_a_reason_of_another_photos_value_or_to_what_cannot_be_is_refused(
    instrument, photo, alk, owner
):
    read(photo, owner, values={alk.pk: 7.8})
    other = make_display_photo(instrument, by=owner, body=picture(tone=120))
    row = Reading.objects.get()

    assert correct_refused(photo, row.pk, owner, why=" ") == "Say why the value is corrected."
    assert correct_refused(other, row.pk, owner) == "This photo has no such value."
    assert "cannot be" in correct_refused(photo, row.pk, owner, new=780.0)
    assert Correction.objects.count() == 0


def test_no_machine_delivers_what_only_a_person_reads(instrument, alk):
    body = json.dumps([{"name": "kh", "value": 7.8, "at": READ_AT.isoformat()}]).encode()

    with pytest.raises(NotRead, match="is not read here"):
        actions.receive(instrument=instrument, body=body, at=NOW, media_type=DISPLAY)
    with pytest.raises(NotRead, match="Files end in one of these"):
        actions.take_file(instrument=instrument, name="display.jpg", body=picture(), at=NOW)
    assert (DisplayPhoto.objects.count(), Delivery.objects.count()) == (0, 0)


def test_photos_and_what_became_of_them_are_added_only(photo, alk, owner):
    read(photo, owner, values={alk.pk: 7.8})

    for table in (DisplayPhoto, DisplayRead):
        for change in (
            lambda rows: rows.update(origin=uuid.uuid4()),
            lambda rows: rows._raw_delete("default"),
        ):
            with pytest.raises(DatabaseError, match="added, never altered"), transaction.atomic():
                change(table.objects.all())
    assert str(photo) and str(photo.outcome) == str(photo.outcome.delivery_id)


def test_only_those_of_ours_who_see_the_tank_see_the_photo(photo, owner):
    contact = make_client_user()
    make_contact(photo.instrument.tank.site.client, user=contact)
    assert displays.photo_for(owner, photo.pk, on=NOW.date()) == photo
    for who, key in ((make_technician(), photo.pk), (contact, photo.pk), (owner, uuid.uuid4())):
        with pytest.raises(Http404):
            displays.photo_for(who, key, on=NOW.date())


def test_the_last_value_is_that_of_this_instrument(instrument, photo, alk, owner):
    read(photo, owner, values={alk.pk: 7.8})
    water.touch(tank=make_tank(), at=NOW)

    assert displays.last_shown(instrument) == {"alkalinity": (7.8, READ_AT)}
    assert displays.last_shown(make_instrument(instrument.tank)) == {}


def test_a_picture_is_served_from_under_the_media_root_only():
    name = store(b"\xff\xd8", folder="displays")

    assert b"".join(served(name).streaming_content) == b"\xff\xd8"
    for wrong in ("../settings.py", "displays/none.jpg", ""):
        with pytest.raises(Http404):
            served(wrong)
