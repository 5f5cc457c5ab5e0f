"""In a real browser: a technician is sick, the ways out stand side by side, one is chosen, the other's tablet asks, and who is to be called
stays on the page. The same by keyboard, without JavaScript, and at three sizes."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from playwright.sync_api import expect

from servicedesk.dispatch import jobs as queue
from servicedesk.dispatch.models import Job
from servicedesk.rounds.queries import mending
from tests.browser.test_visit import sign_in
from tests.factories.days import Day, clock

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]  # a real browser
NOW = clock(9, 5)


@pytest.fixture
def day(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)
    monkeypatch.setattr(mending, "SEARCH_S", 0.3)
    made = Day()
    made.begin(0, clock(9))
    return made


def barriers(page):
    found = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        found += [(scheme, v["id"], v["nodes"][0]["html"]) for v in Axe().run(page).response["violations"]]
    return found


def choice(page):
    return page.get_by_role("button", name=re.compile("Choose this.*The smallest change"))


def searched():
    queue.run(str(Job.objects.get(kind="mend_day").pk))


def test_a_sick_technician_from_the_office_to_the_tablet_that_asks(day, live_server, open_page):
    office, tablet = open_page(width=1440, height=900), open_page()
    page = office.page
    sign_in(office, live_server, day.owner)
    page.goto(f"{live_server.url}/week/")
    with page.expect_navigation():
        page.get_by_role("link", name="Today does not go as planned").click()
    assert barriers(page) == []
    page.locator("#id_sick-person").select_option(label="Ben")
    with page.expect_navigation():
        page.get_by_role("button", name=re.compile("Show the ways out.*sick")).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Ben is sick.")
    expect(page.get_by_role("button", name="Choose this")).to_have_count(1)
    searched()
    expect(page.get_by_role("button", name="Choose this")).to_have_count(3)  # the page went on by itself
    assert barriers(page) == []
    before = day.where()
    with page.expect_navigation():
        choice(page).click()
    expect(page.locator(".messages")).to_contain_text("wait for the word of Ida")
    calls = page.locator("section", has=page.get_by_role("heading", name="To be told"))
    expect(calls.get_by_role("link", name="0500")).to_have_attribute("href", "tel:0500")
    assert barriers(page) == [] and day.where() == before
    expect(calls).to_contain_text("Not before the technician accepts")

    sign_in(tablet, live_server, day.ida)
    tablet.page.goto(f"{live_server.url}/round/")
    banner = tablet.page.locator(".banner", has_text="The office asks to put Site 5 on your round")
    expect(banner).to_contain_text("All of it moves when you accept.")
    assert barriers(tablet.page) == []
    with tablet.page.expect_navigation():
        banner.get_by_role("button", name="Accept").tap()
    expect(tablet.page.locator(".banner")).to_have_count(0)
    expect(tablet.page.get_by_role("link", name="Site 5", exact=True)).to_be_visible()
    assert {who for who, _at in day.where().values()} == {"Ida"}
    page.reload()
    with page.expect_navigation():
        calls.get_by_role("button", name=re.compile("I have rung them.*Site 5")).click()
    expect(calls).to_contain_text("Rung by")
    assert office.errors == [] and tablet.errors == []


@pytest.mark.parametrize("scripts", [True, False])
def test_by_keyboard_and_without_javascript(day, live_server, open_page, scripts):
    eyes = open_page(width=1024, height=768, scripts=scripts)
    page = eyes.page
    sign_in(eyes, live_server, day.owner)
    page.goto(f"{live_server.url}/week/today/")
    page.locator("#id_sick-person").focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Tab")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    searched()
    if not scripts:
        with page.expect_navigation():
            page.get_by_role("link", name="Look again").press("Enter")
    button = choice(page)
    expect(page.get_by_role("button", name="Choose this")).to_have_count(3)
    with page.expect_navigation():
        button.press("Enter")
    expect(page.locator(".messages")).to_contain_text("In force: ")
    assert eyes.errors == []


@pytest.mark.parametrize(("width", "height"), [(390, 844), (768, 1024), (1440, 900)])
def test_ways_out_need_no_scrolling_sideways(day, live_server, open_page, width, height):
    eyes = open_page(width=width, height=height)
    trouble = day.say("sick", person=day.ben, at=NOW)
    for kind in mending.KINDS:
        day.keep(trouble, kind, at=NOW)
    sign_in(eyes, live_server, day.owner)
    for address in ("/week/today/", f"/week/today/{trouble.pk}/"):
        eyes.page.goto(live_server.url + address)
        assert eyes.page.evaluate("document.documentElement.scrollWidth") <= width
        small = eyes.page.evaluate(
            "[...document.querySelectorAll('main button, main select, main input:not([type=hidden])')]"
            ".map(e => e.type === 'checkbox' ? e.parentElement : e)"  # its words are pressed too
            ".filter(e => e.getBoundingClientRect().height < 44).map(e => e.outerHTML)"
        )
        assert small == []  # a finger needs room (WCAG 2.5.5: 44 by 44 pixels)
    assert eyes.errors == []
