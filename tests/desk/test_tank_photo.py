"""A tank's photo, given by the office."""

import io
from pathlib import Path

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from PIL import Image

from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.tanks import make_tank

pytestmark = pytest.mark.django_db


def signed_in(user):
    make_business()
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def picture(size=(1200, 900), form="JPEG"):
    out, image = io.BytesIO(), Image.new("RGB", size, (20, 90, 120))
    exif = Image.Exif()
    exif[0x010E] = "canary of a place"
    image.save(out, form, exif=exif)
    return SimpleUploadedFile("front.jpg", out.getvalue(), "image/jpeg")


def test_a_technician_gives_a_tank_no_photo():
    tank = make_tank()

    answer = signed_in(make_technician()).post(f"/tanks/{tank.pk}/photo/", {"photo": picture()})

    tank.refresh_from_db()
    assert (answer.status_code, tank.photo) == (404, "")


@pytest.mark.parametrize(
    ("file", "said"),
    [
        (SimpleUploadedFile("x.jpg", b"GIF89a not a photo"), "not a JPEG, PNG or WebP"),
        (SimpleUploadedFile("x.jpg", b""), "empty"),
        ("", "A photo from the front is needed"),
    ],
)
def test_what_is_no_photo_is_refused_in_words_and_the_old_one_stays(file, said):
    tank = make_tank(photo="tanks/old.jpg")

    page = signed_in(make_owner()).post(f"/tanks/{tank.pk}/photo/", {"photo": file}).content.decode()

    tank.refresh_from_db()
    assert said in page
    assert tank.photo == "tanks/old.jpg"


def test_the_photo_is_written_small_and_without_its_metadata_and_shown_to_those_who_see_the_tank():
    tank, browser = make_tank(), signed_in(make_owner())

    browser.post(f"/tanks/{tank.pk}/photo/", {"photo": picture()})

    body = b"".join(browser.get(f"/tank-photos/{tank.pk}/").streaming_content)
    assert Image.open(io.BytesIO(body)).size == (640, 480)
    assert b"canary" not in body
    assert signed_in(make_technician()).get(f"/tank-photos/{tank.pk}/").status_code == 404


def test_a_new_photo_takes_the_place_of_the_old_one(django_capture_on_commit_callbacks):
    tank, browser = make_tank(), signed_in(make_owner())
    browser.post(f"/tanks/{tank.pk}/photo/", {"photo": picture()})
    tank.refresh_from_db()
    old = Path(settings.MEDIA_ROOT) / tank.photo
    there_before = old.is_file()

    with django_capture_on_commit_callbacks(execute=True):
        browser.post(f"/tanks/{tank.pk}/photo/", {"photo": picture((300, 200))})

    tank.refresh_from_db()
    assert (there_before, old.exists(), (Path(settings.MEDIA_ROOT) / tank.photo).is_file()) == (
        True,
        False,
        True,
    )


def test_a_photo_is_taken_away():
    tank, browser = make_tank(), signed_in(make_owner())
    browser.post(f"/tanks/{tank.pk}/photo/", {"photo": picture()})

    browser.post(f"/tanks/{tank.pk}/photo/", {"away": "1"})

    tank.refresh_from_db()
    assert (tank.photo, browser.get(f"/tank-photos/{tank.pk}/").status_code) == ("", 404)
