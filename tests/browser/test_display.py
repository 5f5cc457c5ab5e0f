"""A display is photographed and read, on a telephone, with and without JavaScript."""

from datetime import timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from playwright.sync_api import expect

from servicedesk.instruments.actions import Shown, read_display
from servicedesk.instruments.models import Delivery, DisplayPhoto
from servicedesk.water.models import Reading
from tests.browser.test_visit import press, sign_in
from tests.factories.displays import make_display_photo, picture
from tests.factories.people import make_business, make_owner
from tests.factories.tanks import make_band, make_instrument, make_measure, make_tank

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]  # a real browser


@pytest.fixture
def scene():
    make_business()
    tank = make_tank()
    make_band(tank)
    alk = make_measure(make_instrument(tank, reports_by="manual"))
    owner = make_owner()
    now = timezone.now()
    before = make_display_photo(alk.instrument, by=owner, at=now, body=picture(tone=200))
    shown = Shown(at=now - timedelta(hours=5), values={alk.pk: 7.9}, on=["error"])
    read_display(photo=before, shown=shown, by=owner, at=now)
    return {"owner": owner, "alk": alk, "before": before}


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "display.jpg"
    path.write_bytes(picture(size=(900, 600)))
    return path


def barriers(page):
    return [(v["id"], v["nodes"][0]["html"][:120]) for v in Axe().run(page).response["violations"]]


def too_wide(page):
    return page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")


@pytest.mark.parametrize("scripts", [True, False])
def test_a_display_is_read_on_a_telephone_and_stands_on_the_instruments_page(
    scene, live_server, open_page, file, scripts
):
    eyes = open_page(width=390, height=844, scripts=scripts)
    page, alk = eyes.page, scene["alk"]
    sign_in(eyes, live_server, scene["owner"])
    page.goto(f"{live_server.url}/instruments/{alk.instrument_id}/")
    press(page, "a.button--solid:has-text('Read its display')")

    page.set_input_files("[name=photo]", file)
    if scripts:
        expect(page.locator("[data-display-shown] img")).to_be_visible()
    page.fill(f"[name='value-{alk.pk}']", "7,8")
    page.check("[name='on-waste_full']")
    found = [barriers(page) if scripts else [], too_wide(page) if scripts else 0]
    press(page, "button:has-text('Send the photo and what it shows')")

    expect(page.locator("main")).to_contain_text("7.8 dKH")
    expect(page.locator("main")).to_contain_text("In band")
    found += [barriers(page) if scripts else [], too_wide(page) if scripts else 0]
    page.goto(f"{live_server.url}/instruments/{alk.instrument_id}/")
    photo = DisplayPhoto.objects.exclude(pk=scene["before"].pk).get()
    drawn = page.locator(f"img[src='/photos/displays/{photo.pk}/']")
    drawn.scroll_into_view_if_needed()
    expect(drawn).to_have_js_property("naturalWidth", 900) if scripts else expect(drawn).to_be_visible()
    assert sorted(Reading.objects.values_list("value", flat=True)) == [7.8, 7.9]
    assert found == [[], 0, [], 0]
    assert eyes.errors == []


def test_photo_now_and_typing_later(scene, live_server, open_page, file):
    eyes = open_page(width=390, height=844)
    page, alk = eyes.page, scene["alk"]
    sign_in(eyes, live_server, scene["owner"])
    page.goto(f"{live_server.url}/instruments/{alk.instrument_id}/display/")
    page.set_input_files("[name=photo]", file)
    press(page, "button:has-text('Send the photo, type later')")
    assert Delivery.objects.count() == 1, "the one from before"

    page.goto(f"{live_server.url}/instruments/")
    press(page, "a:has-text('One photo of a display is to be read.')")
    found = [barriers(page), too_wide(page)]
    press(page, "a.row__subject")
    found += [barriers(page), too_wide(page)]
    page.fill(f"[name='value-{alk.pk}']", "8.1")
    press(page, "button:has-text('Take in what it shows')")

    expect(page.locator("main")).to_contain_text("8.1 dKH")
    page.goto(f"{live_server.url}/display-photos/")
    expect(page.locator("main")).to_contain_text("No photo of a display waits.")
    assert found == [[], 0, [], 0]
    assert eyes.errors == []


def test_a_file_that_the_browser_cannot_show_is_said_at_once_and_refused_with_what_was_typed(
    scene, live_server, open_page, tmp_path
):
    heic = tmp_path / "display.heic"
    heic.write_bytes(b"\x00\x00\x00\x18ftypheic" + bytes(64))
    eyes = open_page(width=390, height=844)
    page, alk = eyes.page, scene["alk"]
    sign_in(eyes, live_server, scene["owner"])
    page.goto(f"{live_server.url}/instruments/{alk.instrument_id}/display/")

    page.fill(f"[name='value-{alk.pk}']", "7,8")
    page.set_input_files("[name=photo]", heic)
    expect(page.locator("[data-display-wrong]")).to_be_visible()
    press(page, "button:has-text('Send the photo and what it shows')")

    expect(page.locator("main")).to_contain_text("This is a HEIC photo")
    assert page.input_value(f"[name='value-{alk.pk}']") == "7,8"
    assert DisplayPhoto.objects.count() == 1
