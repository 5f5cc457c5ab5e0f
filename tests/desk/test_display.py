"""The page on which a display is read: photo and values at once, or the photo now and its values later."""

import re
import uuid
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.desk.queries.display import came_of, leads
from servicedesk.instruments.actions import Shown, read_display
from servicedesk.instruments.models import Delivery, DisplayPhoto, Sign
from servicedesk.instruments.queries import displays
from servicedesk.water.models import Correction, HeldReading, Reading
from tests.factories.displays import make_display_photo, picture
from tests.factories.people import make_business, make_client_user, make_owner, make_technician
from tests.factories.stops import make_stop
from tests.factories.tanks import make_band, make_contact, make_instrument, make_measure, make_tank

pytestmark = pytest.mark.django_db
LOCAL, ZONE = "%Y-%m-%dT%H:%M", ZoneInfo("Europe/London")


def signed_in(user):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


@pytest.fixture
def owner():
    make_business()
    return make_owner()


@pytest.fixture
def browser(owner):
    return signed_in(owner)


@pytest.fixture
def alk():
    tank = make_tank()
    make_band(tank)
    return make_measure(make_instrument(tank, reports_by="manual"), sent_name="kh")


def photo_file(body=None, name="display.jpg"):
    return SimpleUploadedFile(name, picture() if body is None else body, "image/jpeg")


def minute(ago=0):
    return (timezone.now() - timedelta(minutes=ago)).astimezone(ZONE).strftime(LOCAL)


def typed(alk, value="7,8", **given):
    return {"key": str(uuid.uuid4()), f"value-{alk.pk}": value, "at": minute(), **given}


def send(browser, alk, said, **files):
    return browser.post(f"/instruments/{alk.instrument_id}/display/", {**said, **files}, follow=True)


def words(answer):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def test_photo_and_value_at_once_stand_on_the_instruments_page(browser, alk):
    answer = send(browser, alk, typed(alk), photo=photo_file())

    photo = DisplayPhoto.objects.get()
    assert answer.request["PATH_INFO"] == f"/display-photos/{photo.pk}/"
    assert "One value is taken in." in words(answer)
    assert "In band" in words(answer) and "7.8 dKH" in words(answer)
    assert Reading.objects.get().value == 7.8
    page = browser.get(f"/instruments/{alk.instrument_id}/").content.decode()
    assert f'src="/photos/displays/{photo.pk}/"' in page and "Read off its display" in page


def test_the_form_asks_each_measure_with_unit_last_value_and_band(browser, owner, alk):
    photo = make_display_photo(alk.instrument, by=owner)
    at = timezone.now() - timedelta(hours=3)
    read_display(
        photo=photo, shown=Shown(at=at, values={alk.pk: 7.9}, on=["error"]), by=owner, at=timezone.now()
    )

    said = words(browser.get(f"/instruments/{alk.instrument_id}/display/"))

    assert "Last 7.9, " in said and "Band 7.2 to 9.0." in said and " dKH " in said
    assert "No longer: reports an error" in said and "It says so since" in said


def test_an_instrument_whose_measures_nobody_wrote_down_says_where_they_go(browser):
    said = words(browser.get(f"/instruments/{make_instrument().pk}/display/"))

    assert "It is not written down yet what this instrument measures." in said


def test_sending_twice_is_one_photo_and_one_delivery(browser, alk):
    said = typed(alk)

    for _again in range(2):
        answer = send(browser, alk, said, photo=photo_file())

    assert answer.status_code == 200
    assert (DisplayPhoto.objects.count(), Delivery.objects.count(), Reading.objects.count()) == (1, 1, 1)


def test_a_photo_now_and_its_values_later(browser, alk):
    answer = send(
        browser, alk, {"key": str(uuid.uuid4()), "note": "by mail", "later": "1"}, photo=photo_file()
    )
    photo = DisplayPhoto.objects.get()
    assert "waits to be read" in words(answer)
    assert "One photo of a display waits." in words(browser.get("/display-photos/"))
    assert "One photo of a display is to be read." in words(browser.get("/instruments/"))
    assert "One photo of its display is to be read." in words(
        browser.get(f"/instruments/{alk.instrument_id}/")
    )
    assert "Filled in: when the photo came." in words(answer)
    form = browser.get(f"/instruments/{alk.instrument_id}/display/")
    assert f'href="/display-photos/{photo.pk}/"' in form.content.decode() and "waits to be read" in words(
        form
    )

    answer = browser.post(f"/display-photos/{photo.pk}/", {**typed(alk), "told": "1"}, follow=True)

    assert "One value is taken in." in words(answer)
    assert "No photo of a display waits." in words(browser.get("/display-photos/"))
    again = browser.post(f"/display-photos/{photo.pk}/", {**typed(alk, "8"), "told": "1"})
    assert "has read this photo before" in words(again) and 'value="8"' in again.content.decode()
    assert Delivery.objects.count() == 1


def test_what_is_typed_with_later_pressed_is_not_lost(browser, alk):
    send(browser, alk, typed(alk, later="1"), photo=photo_file())

    assert Reading.objects.get().value == 7.8


def test_a_photo_that_came_before_is_led_to_what_came_of_it(browser, alk):
    send(browser, alk, typed(alk), photo=photo_file())

    empty = send(browser, alk, {"key": str(uuid.uuid4()), "at": minute(), "later": "1"}, photo=photo_file())
    nothing = browser.post(f"/display-photos/{DisplayPhoto.objects.get().pk}/", {}, follow=True)

    assert "Typed by" in words(empty) and "Typed by" in words(nothing)
    assert "waits to be read" not in words(empty)
    assert DisplayPhoto.objects.count() == 1


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"\x00\x00\x00\x18ftypheic" + bytes(40), "This is a HEIC photo"),
        (b"not a photo", "not a JPEG, PNG or WebP photo"),
        (b"", "empty"),
        (None, "A photo of its display is needed."),
    ],
)
def test_a_file_that_is_no_photo_is_refused_and_everything_typed_stays(browser, alk, body, said):
    files = {} if body is None else {"photo": photo_file(body)}
    keep = typed(alk, "7,85", note="from the client", **{"on-waste_full": "on"}, says="E7")

    answer = send(browser, alk, keep, **files)

    page = answer.content.decode()
    assert said in words(answer)
    for kept in (
        'value="7,85"',
        'value="from the client"',
        'value="E7"',
        f'value="{keep["key"]}"',
        keep["at"],
    ):
        assert kept in page
    assert re.search(r'name="on-waste_full"[^>]*checked', page)
    assert (DisplayPhoto.objects.count(), Delivery.objects.count()) == (0, 0)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"value": "7.8o"}, "Did you mean 7.80?"),
        ({"value": ""}, "Type a value or tick a sign"),
        ({"at": "soon"}, "valid date"),
        ({"on-error": "on", "gone-error": "on"}, "It cannot show both."),
        ({"at": minute(-60 * 30)}, "still to come"),
    ],
)
def test_a_refused_value_keeps_the_photo_and_what_was_typed(browser, owner, alk, change, said):
    first = make_display_photo(alk.instrument, by=owner, body=picture(tone=180))
    read_display(
        photo=first, shown=Shown(at=timezone.now(), values={}, on=["error"]), by=owner, at=timezone.now()
    )

    answer = send(browser, alk, typed(alk, **change) | renamed(alk, change), photo=photo_file())

    photo = DisplayPhoto.objects.exclude(pk=first.pk).get()
    assert said in words(answer)
    assert f'action="/display-photos/{photo.pk}/"' in answer.content.decode()
    assert Reading.objects.count() == 0
    fixed = browser.post(f"/display-photos/{photo.pk}/", {**typed(alk), "told": "1"}, follow=True)
    assert "One value is taken in." in words(fixed)


def renamed(alk, change):
    return {f"value-{alk.pk}": change["value"]} if "value" in change else {}


def with_clock(at):
    return picture(
        taken=at.strftime("%Y:%m:%d %H:%M:%S"), offset=at.strftime("%z")[:3] + ":" + at.strftime("%z")[3:]
    )


def test_the_cameras_time_is_asked_about_and_taken_only_when_chosen(browser, owner, alk):
    taken = datetime.now(ZONE).replace(microsecond=0) - timedelta(hours=2)
    said = typed(alk)

    asked = send(browser, alk, said, photo=photo_file(with_clock(taken)))

    photo = DisplayPhoto.objects.get()
    assert "The camera’s clock says" in words(asked) and "Take it in with the camera’s time" in words(asked)
    assert Reading.objects.count() == 0
    browser.post(f"/display-photos/{photo.pk}/", {**said, "told": "1", "clock": "camera"})
    assert Reading.objects.get().at == taken


def test_the_typed_time_stands_where_it_is_sent_again_or_close_to_the_cameras(browser, owner, alk):
    taken = datetime.now(ZONE).replace(microsecond=0) - timedelta(hours=2)
    said = typed(alk)
    send(browser, alk, said, photo=photo_file(with_clock(taken)))

    send(browser, alk, said)
    assert Reading.objects.count() == 0, "nobody was asked yet"
    browser.post(f"/display-photos/{DisplayPhoto.objects.get().pk}/", {**said, "told": "1"})
    near = typed(alk, "7.9", at=minute(50))
    send(browser, alk, near, photo=photo_file(with_clock(timezone.now() - timedelta(minutes=55))))

    times = [row.at for row in Reading.objects.order_by("at")]
    assert [at.astimezone(ZONE).strftime(LOCAL) for at in times] == [near["at"], said["at"]]


def test_signs_are_ticked_and_words_without_a_tick_are_a_note(browser, alk):
    send(browser, alk, {**typed(alk, ""), "on-waste_full": "on", "says": "E7"}, photo=photo_file())
    answer = send(browser, alk, typed(alk, "", says="rinse soon"), photo=photo_file(picture(tone=180)))
    gone = {**typed(alk, ""), "gone-waste_full": "on"}
    last = send(browser, alk, gone, photo=photo_file(picture(tone=120)))

    assert list(Sign.objects.order_by("pk").values_list("kind", "on", "text")) == [
        ("waste_full", True, "E7"),
        ("note", True, "rinse soon"),
        ("waste_full", False, "no"),
    ]
    assert "One sign is taken in." in words(answer) and "Notes something" in words(answer)
    assert "No longer: its waste bottle is full" in words(last)


def test_what_is_held_apart_or_there_already_is_said(browser, alk):
    send(browser, alk, typed(alk, "7.8", at=minute(5)), photo=photo_file())
    same = send(browser, alk, typed(alk, "7.8", at=minute(5)), photo=photo_file(picture(tone=180)))
    wild = send(browser, alk, typed(alk, "780"), photo=photo_file(picture(tone=120)))

    assert "One was there already." in words(same) and "All of it was stored before." in words(same)
    assert "One is held apart." in words(wild) and "780 dKH cannot be" in words(wild)
    assert HeldReading.objects.get().entered == "780"


def test_a_photo_that_cannot_be_read_is_set_aside_with_a_reason(browser, owner, alk):
    photo = make_display_photo(alk.instrument, by=owner)
    address = f"/display-photos/{photo.pk}/"

    empty = browser.post(address, {"aside": "1", "why": ""})
    blank = browser.post(address, {"aside": "1", "why": "\u2028"})
    answer = browser.post(address, {"aside": "1", "why": "It shows the wall."}, follow=True)
    later = browser.post(address, {**typed(alk), "told": "1"})

    assert "Why it is not read is needed." in words(empty) and blank.status_code == 200
    assert "Set aside" in words(answer) and "It shows the wall." in words(answer)
    assert "set this photo aside" in words(later)
    assert (Delivery.objects.count(), displays.waiting_for(owner, on=timezone.now().date()).count()) == (0, 0)


def test_a_wrongly_typed_value_is_corrected_beside_its_photo(browser, owner, alk):
    send(browser, alk, typed(alk, "8.7"), photo=photo_file())
    photo, row = DisplayPhoto.objects.get(), Reading.objects.get()
    address, said = f"/display-photos/{photo.pk}/correct/", {"reading": str(row.pk), "key": str(uuid.uuid4())}

    wrong = browser.post(address, {**said, "new": "7.8o", "why": "swapped"})
    wild = browser.post(address, {**said, "new": "780", "why": "swapped"})
    done = [browser.post(address, {**said, "new": "7,8", "why": "swapped"}, follow=True) for _again in "12"]

    assert "Did you mean 7.80?" in words(wrong) and 'value="swapped"' in wrong.content.decode()
    assert "cannot be" in words(wild)
    assert "7.8 dKH" in words(done[1]) and "typed 8.7, corrected: swapped" in words(done[1])
    assert list(Correction.objects.values_list("old", "new")) == [(8.7, 7.8)]


def test_a_value_taken_out_is_said_and_an_unread_photo_has_none_to_correct(browser, owner, alk):
    send(browser, alk, typed(alk), photo=photo_file())
    photo, row = DisplayPhoto.objects.get(), Reading.objects.get()
    said = {"reading": str(row.pk), "key": str(uuid.uuid4()), "new": "", "why": "it shows none"}

    answer = browser.post(f"/display-photos/{photo.pk}/correct/", said, follow=True)

    assert "taken out" in words(answer)
    waiting = make_display_photo(alk.instrument, by=owner, body=picture(tone=180))
    assert browser.post(f"/display-photos/{waiting.pk}/correct/", said).status_code == 404


def test_a_value_outside_its_band_and_one_without_a_band_are_judged_so(owner, alk):
    calcium = make_measure(alk.instrument, "calcium", unit="mg/L")
    photo = make_display_photo(alk.instrument, by=owner)
    read_display(
        photo=photo, shown=Shown(at=timezone.now(), values={alk.pk: 6.0, calcium.pk: 420.0}), by=owner, at=timezone.now()
    )  # fmt: skip

    found = came_of(displays.photo_for(owner, photo.pk, on=timezone.now().date()))

    assert [(line.name, line.now, line.glyph) for line in found] == [
        ("Alkalinity", "6.0 dKH", "under"),
        ("Calcium", "420 mg/L", ""),
    ]


@pytest.mark.parametrize(
    ("how", "silent", "first"),
    [("manual", False, True), ("photo", False, True), ("https", False, False), ("mqtt", True, True)],
)
def test_reading_the_display_comes_first_where_nothing_else_is_heard(browser, how, silent, first):
    last = timezone.now() - timedelta(days=9) if silent else None
    row = make_instrument(reports_by=how, last_contact_at=last)

    page = browser.get(f"/instruments/{row.pk}/").content.decode()

    solid = f'<a class="button button--solid" href="/instruments/{row.pk}/display/">'
    assert (leads(row, silent=silent), solid in page) == (first, first)
    assert page.count(f'href="/instruments/{row.pk}/display/"') == 1


def test_a_technician_who_sees_the_tank_reads_its_display_from_the_tanks_page(owner, alk):
    ida = make_technician()
    make_stop(ida, alk.instrument.tank)
    browser = signed_in(ida)

    assert (
        f'href="/instruments/{alk.instrument_id}/display/"'
        in browser.get(f"/tanks/{alk.instrument.tank_id}/").content.decode()
    )
    answer = send(browser, alk, typed(alk), photo=photo_file())

    photo = DisplayPhoto.objects.get()
    assert "One value is taken in." in words(answer)
    assert browser.get(f"/photos/displays/{photo.pk}/")["Content-Type"] == "image/jpeg"
    assert browser.get("/display-photos/").status_code == 404, "the list is the office's"


@pytest.mark.parametrize("role", ["technician", "client"])
def test_who_does_not_see_the_tank_or_is_a_client_finds_none_of_it(owner, alk, role):
    photo = make_display_photo(alk.instrument, by=owner)
    user = make_technician() if role == "technician" else make_client_user()
    if role == "client":
        make_contact(alk.instrument.tank.site.client, user=user)
    browser = signed_in(user)

    for address in (f"/instruments/{alk.instrument_id}/display/", f"/display-photos/{photo.pk}/", f"/photos/displays/{photo.pk}/", "/display-photos/"):  # fmt: skip
        assert browser.get(address).status_code == 404
    assert send(browser, alk, typed(alk), photo=photo_file(picture(tone=180))).status_code == 404
    assert browser.post(f"/display-photos/{photo.pk}/", {**typed(alk), "told": "1"}).status_code == 404
    assert browser.post(f"/display-photos/{photo.pk}/correct/", {}).status_code == 404
    assert (DisplayPhoto.objects.count(), Delivery.objects.count()) == (1, 0)


def test_an_id_that_is_none_makes_one(browser, alk):
    send(browser, alk, {**typed(alk), "key": "none"}, photo=photo_file())

    assert DisplayPhoto.objects.count() == 1


def test_an_id_of_another_instruments_photo_is_refused_in_words(browser, owner, alk):
    other = make_display_photo(make_instrument(), by=owner, body=picture(tone=180))

    answer = send(browser, alk, {**typed(alk), "key": str(other.pk)}, photo=photo_file())

    assert "A photo of this id is already there." in words(answer)
    assert DisplayPhoto.objects.count() == 1
