"""In a real browser at a desk: a stop of a proposed week is held, another one carried to another day, its cost is read, and the week put in
force. The same by keyboard, by touch, and without JavaScript."""

from datetime import timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from servicedesk.rounds.models import Pin, Proposed, Stop
from tests.browser.test_visit import press, sign_in
from tests.rounds.test_planned_week import MONDAY, Week

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]  # a real browser
LATER = MONDAY + timedelta(days=3)


@pytest.fixture
def week():
    made = Week()
    made.proposal = made.search(made.ask())
    return made


def opened(week, live_server, eyes, at=0):
    sign_in(eyes, live_server, week.owner)
    eyes.page.goto(f"{live_server.url}/week/plan/{week.proposal.pk}/?at={week.visits[at].pk}")
    return eyes.page


def line(week, number):
    return Proposed.objects.get(proposal=week.proposal, due_visit=week.visits[number])


def stop(page, week, number):
    return page.locator(f"#stop-{week.visits[number].pk}")


def middle(part):
    part.scroll_into_view_if_needed()
    box = part.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_held_carried_paid_for_and_put_in_force(week, live_server, open_page):
    eyes = open_page(width=1440, height=1400)
    page = opened(week, live_server, eyes)
    with page.expect_navigation():
        stop(page, week, 0).get_by_role("button", name="Hold here").click()
    expect(stop(page, week, 0)).to_contain_text("Held here")
    assert Pin.objects.get().due_visit == week.visits[0]

    page.goto(f"{live_server.url}/week/plan/{week.proposal.pk}/?at={week.visits[1].pk}")
    grip = stop(page, week, 1).locator(".carried__grip")
    target = page.locator(f"td[data-round='{LATER}'][data-technician='{week.ben.pk}']")
    x, y = middle(grip)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 20, y + 20, steps=4)
    expect(page.locator(".carry__flag")).to_have_text("Site 1")
    expect(page.locator(".carry__flag")).to_be_in_viewport()
    page.mouse.move(*middle(target), steps=8)
    assert target.get_attribute("data-under") is not None
    with page.expect_navigation():
        page.mouse.up()
    expect(page.locator(".messages")).to_contain_text("Site 1: Ben, ")
    expect(page.locator(".messages")).to_contain_text("more at the wheel, overtime as before")
    expect(stop(page, week, 1)).to_contain_text("Moved by")
    assert (line(week, 1).technician, line(week, 1).day) == (week.ben, LATER)

    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        assert [v["id"] for v in Axe().run(page).response["violations"]] == []
    with page.expect_navigation():
        page.get_by_role("button", name="Put it in force").click()
    expect(page.locator(".messages")).to_contain_text("In force: ")
    assert Stop.objects.get(due_visit=week.visits[1]).round.day == LATER
    assert eyes.errors == []


def test_let_fall_nowhere_or_called_back_by_escape_a_stop_stays(week, live_server, open_page):
    eyes = open_page(width=1440, height=1400)
    page = opened(week, live_server, eyes)
    before = line(week, 0).day
    target = page.locator(f"td[data-round='{LATER}'][data-technician='{week.ben.pk}']")
    for escape in (True, False):
        page.mouse.move(*middle(stop(page, week, 0).locator(".carried__grip")))
        page.mouse.down()
        page.mouse.move(*(middle(target) if escape else (5, 5)), steps=5)
        if escape:
            page.keyboard.press("Escape")
        page.mouse.up()
        expect(page.locator(".carry__flag")).to_have_count(0)
    assert line(week, 0).day == before and page.locator(".messages").count() == 0


def test_with_a_finger_on_a_telephone_a_stop_changes_its_place(week, live_server, open_page):
    eyes = open_page(width=390, height=1400)
    page = opened(week, live_server, eyes)
    mine = list(Proposed.objects.filter(proposal=week.proposal, technician=line(week, 0).technician, day=line(week, 0).day).order_by("order"))  # fmt: skip
    first, last = (week.visits.index(row.due_visit) for row in (mine[0], mine[-1]))
    hand = page.context.new_cdp_session(page)
    page.locator(f"#stop-{week.visits[first].pk}").evaluate("row => row.scrollIntoView({block: 'start'})")
    page.evaluate("scrollBy(0, -300)")
    grip, box = stop(page, week, first).locator(".carried__grip").bounding_box(), stop(page, week, last).bounding_box()  # fmt: skip
    x, y = grip["x"] + grip["width"] / 2, grip["y"] + grip["height"] / 2
    assert first != last and box["y"] + box["height"] < 1300
    hand.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for step in range(1, 9):
        there = {"x": x + 40, "y": y + (box["y"] + box["height"] - 8 - y) * step / 8}
        hand.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [there]})
    with page.expect_navigation():
        hand.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert line(week, first).order == len(mine)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert eyes.errors == []


@pytest.mark.parametrize("scripts", [True, False])
def test_by_keyboard_and_without_javascript(week, live_server, open_page, scripts):
    eyes = open_page(width=1440, height=1400, scripts=scripts)
    page = opened(week, live_server, eyes)
    mine = line(week, 0)
    button = "Later" if mine.order == 1 else "Earlier"
    stop(page, week, 0).get_by_role("button", name=button).focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert line(week, 0).order == (2 if mine.order == 1 else mine.order - 1)
    with page.expect_navigation():
        stop(page, week, 0).get_by_role("link", name="Elsewhere").press("Enter")
    page.get_by_label("By whom").select_option(label="Ben")
    page.get_by_label("On which day").select_option(LATER.isoformat())
    page.get_by_label("As which stop").fill("")
    press(page, "main button.button--solid")
    expect(page.locator(".messages")).to_contain_text("Site 0: Ben, ")
    assert (line(week, 0).technician, line(week, 0).day) == (week.ben, LATER)
    assert eyes.errors == []
