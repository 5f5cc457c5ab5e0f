"""Photos: what is refused, what is left of a kept one, and the tablet's door for them."""

import io
import uuid
from pathlib import Path

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import Http404
from django.test import Client
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from django.utils import timezone
from PIL import Image

from servicedesk.rounds.models import Stop
from servicedesk.visits.actions import take_entries
from servicedesk.visits.actions.photos import keep_photo
from servicedesk.visits.models import Photo, Visit
from servicedesk.visits.queries import entries_of
from servicedesk.web.pictures import MOST_BYTES, NoPhoto, rewritten
from tests.factories.people import make_client_user, make_technician
from tests.factories.stops import entry, make_reef_to_test, make_stop

UNREADABLE = "This is not a JPEG, PNG or WebP photo that can be read."


def picture(form="JPEG", size=(60, 40), *, mode="RGB", **options):
    out = io.BytesIO()
    Image.new(mode, size, (10, 90, 60, 0)[: len(mode)]).save(out, form, **options)
    return out.getvalue()


def with_exif(orientation):
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = orientation, "canary maker"
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
    return picture(exif=exif)


@pytest.mark.parametrize(
    "body", [b"", b"no picture", picture("GIF"), picture("BMP"), b"\xff\xd8\xff\xe0 cut", b"<svg xmlns='x'/>"]
)
def test_rewriting_what_is_no_photo_is_refused(body):
    with pytest.raises(NoPhoto, match=UNREADABLE):
        rewritten(io.BytesIO(body))


def test_rewriting_a_file_of_more_than_fifteen_megabytes_is_refused():
    with pytest.raises(NoPhoto, match="larger than 15 MB"):
        rewritten(io.BytesIO(b"\xff\xd8" + bytes(MOST_BYTES)))


def test_rewriting_more_than_forty_megapixels_is_refused_before_it_is_decoded():
    with pytest.raises(NoPhoto, match="more than 40 megapixels"):
        rewritten(io.BytesIO(picture("PNG", (8000, 5001), mode="L")))


def test_a_rewritten_photo_holds_no_metadata_and_stands_upright():
    body, width, height = rewritten(io.BytesIO(with_exif(6)))

    kept = Image.open(io.BytesIO(body))
    assert (kept.format, width, height, dict(kept.getexif())) == ("JPEG", 40, 60, {})
    assert b"canary" not in body
    assert b"Exif" not in body


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_a_rewritten_photo_is_at_most_sixteen_hundred_pixels_long(form):
    _body, width, height = rewritten(io.BytesIO(picture(form, (2400, 1200))))

    assert (width, height) == (1600, 800)


def test_a_photo_with_transparent_parts_is_taken():
    assert rewritten(io.BytesIO(picture("PNG", mode="RGBA")))[1:] == (60, 40)


@pytest.fixture
def ida():
    return make_technician(name="Ida")


@pytest.fixture
def tank():
    return make_reef_to_test()


@pytest.fixture
def visit(ida, tank):
    return make_stop(ida, tank)


def keep(visit, by, *, key=None, tank=None, body=None, caption="From the left"):
    return keep_photo(
        key=key or uuid.uuid4(),
        visit_id=visit.pk,
        tank_id=tank.pk if tank else None,
        file=io.BytesIO(body or picture()),
        caption=caption,
        taken_at=timezone.now(),
        by=by,
    )


@pytest.mark.django_db
def test_a_photo_of_somebody_elses_visit_is_missing(visit):
    with pytest.raises(Http404):
        keep(visit, make_technician(name="Olu"))

    assert Photo.objects.count() == 0


@pytest.mark.django_db
def test_a_photo_whose_caption_cannot_be_stored_is_refused(visit, ida):
    with pytest.raises(NoPhoto, match="cannot be stored"):
        keep(visit, ida, caption="left\x00")

    assert Photo.objects.count() == 0


@pytest.mark.django_db
def test_the_same_photo_again_is_the_same_photo(visit, ida, tank):
    key = uuid.uuid4()

    first, again = keep(visit, ida, key=key, tank=tank), keep(visit, ida, key=key, tank=tank)

    assert first == again
    assert Photo.objects.count() == 1
    assert (first.tank, first.caption) == (tank, "From the left")


@pytest.mark.django_db
def test_a_photo_of_another_sites_tank_is_kept_without_it(visit, ida):
    assert keep(visit, ida, tank=make_reef_to_test()).tank is None


@pytest.mark.django_db
def test_a_photo_that_comes_first_opens_the_visit_and_lies_under_a_random_name(visit, ida):
    photo = keep(visit, ida)

    assert Visit.objects.get().pk == visit.pk
    assert Stop.objects.get().state == "under_way"
    assert (Path(settings.MEDIA_ROOT) / photo.file).read_bytes().startswith(b"\xff\xd8")
    assert len(Path(photo.file).stem) == 32


def put(browser, key, **fields):
    return browser.put(f"/api/v1/photos/{key}/", encode_multipart(BOUNDARY, fields), MULTIPART_CONTENT)


def upload(body=None):
    return SimpleUploadedFile("../../evil.html", body or picture(), "text/html")


@pytest.fixture
def browser(ida):
    made = Client()
    made.force_login(ida, backend="django.contrib.auth.backends.ModelBackend")
    return made


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"file": "words"}, "file"),
        ({"visit": "not an id"}, "visit"),
        ({"tank": "not an id"}, "visit"),
        ({"caption": "a\x00b"}, "caption"),
        ({"taken_at": "noon"}, "taken_at"),
    ],
)
def test_putting_a_broken_photo_names_the_field(browser, visit, change, field):
    answer = put(browser, uuid.uuid4(), **{"file": upload(), "visit": str(visit.pk), **change})

    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")
    assert field in answer.content.decode()
    assert Photo.objects.count() == 0


@pytest.mark.django_db
def test_putting_a_photo_as_a_client_is_refused(visit):
    browser = Client()
    browser.force_login(make_client_user(), backend="django.contrib.auth.backends.ModelBackend")

    assert put(browser, uuid.uuid4(), file=upload(), visit=str(visit.pk)).status_code == 403


@pytest.mark.django_db
def test_a_put_photo_is_shown_to_its_technician_as_a_picture_and_nothing_else(browser, visit, tank):
    key = uuid.uuid4()

    answers = [
        put(browser, key, file=upload(), visit=str(visit.pk), tank=str(tank.pk)) for _again in range(2)
    ]
    shown = browser.get(f"/photos/{key}/")

    assert [a.json() for a in answers] == [{"photo": str(key), "width": 60, "height": 40}] * 2
    assert Photo.objects.count() == 1
    assert shown["Content-Type"] == "image/jpeg"
    assert shown["X-Content-Type-Options"] == "nosniff"
    assert b"".join(shown.streaming_content).startswith(b"\xff\xd8")


@pytest.mark.django_db
def test_an_entry_names_a_photo_that_has_come(visit, ida, tank):
    photo = keep(visit, ida, tank=tank)
    elsewhere = keep(make_stop(ida, make_reef_to_test()), ida)
    named = [
        entry(visit, "photo", photo=str(photo.pk), tank=str(tank.pk), caption="The overflow"),
        entry(visit, "photo", photo=str(elsewhere.pk)),
    ]

    receipts = take_entries(entries=named, by=ida, at=timezone.now())

    assert [r["receipt"] for r in receipts] == ["stored", "refused"]
    assert [e.payload["caption"] for e in entries_of(Visit.objects.get(pk=visit.pk), "photo")] == [
        "The overflow"
    ]


@pytest.mark.django_db
def test_a_photo_opens_the_visit_and_the_next_one_joins_it(visit, ida):
    first = keep(visit, ida)
    arrived = Visit.objects.get(pk=visit.pk).arrived_at
    second = keep(visit, ida)

    assert first.visit_id == second.visit_id == visit.pk
    assert Visit.objects.get(pk=visit.pk).arrived_at == arrived
    assert Stop.objects.get(due_visit=visit).arrived_at == arrived


@pytest.mark.django_db
def test_an_id_that_is_taken_by_another_photo_is_refused(visit, ida):
    key = uuid.uuid4()
    keep(visit, ida, key=key)

    with pytest.raises(NoPhoto, match="already there"):
        keep(make_stop(ida, make_reef_to_test()), ida, key=key)

    assert [photo.visit_id for photo in Photo.objects.all()] == [visit.pk]
