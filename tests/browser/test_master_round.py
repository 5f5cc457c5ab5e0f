"""In a real browser at a desk and on a phone: a master round is asked for, looked at without barriers in light and dark, and one client's
change adopted by keyboard alone and taken back; the same without JavaScript."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from clients.models import PlanChange
from servicedesk.rounds.models import MasterLine, MasterRound
from tests.browser.test_visit import sign_in
from tests.rounds.test_master import Cycle

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]  # a real browser


@pytest.fixture
def cycle():
    return Cycle()


@pytest.mark.parametrize(("width", "scripts"), [(1440, True), (390, False)])
def test_asked_seen_adopted_by_keyboard_and_taken_back(cycle, live_server, open_page, width, scripts):
    eyes = open_page(width=width, height=1000, scripts=scripts)
    page = eyes.page
    sign_in(eyes, live_server, cycle.owner)
    page.goto(f"{live_server.url}/week/")
    page.get_by_role("link", name="The master round").click()
    page.get_by_role("button", name="Work it out").press("Enter")
    expect(page.get_by_text("It waits for a free worker")).to_be_visible()
    master = cycle.search(MasterRound.objects.get())
    page.goto(f"{live_server.url}/week/master/{master.pk}/")
    expect(page.locator("h1 + .lead")).to_contain_text("4 weeks of 7 clients")
    for scheme in ("light", "dark") if scripts else ():  # the checker itself is a script
        page.emulate_media(color_scheme=scheme)
        assert [v["id"] for v in Axe().run(page).response["violations"]] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width

    line = MasterLine.objects.filter(master=master, changes=True).order_by("-saved_s").first()
    row = page.locator(f"#line-{line.pk}")
    row.get_by_role("button", name="Adopt").focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    expect(page.locator(".messages")).to_contain_text("as proposed from")
    line.refresh_from_db()
    assert line.state == "adopted" and line.change == PlanChange.objects.get()

    row.get_by_role("button", name="Take it back").focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    expect(page.locator(".messages")).to_contain_text("as before from")
    line.refresh_from_db()
    assert line.state == "back"
