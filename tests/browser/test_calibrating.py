"""In a real browser on a tablet: two buffers with an interruption end in restored trust; a re-test that disagrees leaves trust down."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from servicedesk.instruments.models import Calibration, ProcedureStep
from servicedesk.instruments.queries import trust_of
from servicedesk.upkeep.models import Task
from servicedesk.visits.models import Entry
from tests.browser.test_visit import press, sign_in
from tests.factories.calibrated import make_ph
from tests.factories.people import make_business, make_technician
from tests.factories.stops import make_reef_to_test, make_stop

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]  # a real browser


@pytest.fixture
def scene():
    make_business()
    ida, tank = make_technician(name="Ida"), make_reef_to_test()
    return {"ida": ida, "tank": tank, "visit": make_stop(ida, tank), "ph": make_ph(tank)}


def go_on(page):
    press(page, "form.form > button.button--wide >> nth=0")


def begin(page, live_server, scene):
    """From the visit's work to the first step."""
    page.goto(f"{live_server.url}/visits/{scene['visit'].pk}/")
    press(page, "button.button--solid")
    page.goto(f"{live_server.url}/visits/{scene['visit'].pk}/work/")
    press(page, "a:has-text('Calibrate step by step')")
    press(page, "button:has-text('Begin')")
    page.check("[name=off]")
    page.check("[name=safe]")
    go_on(page)


def measure(page, shown, mv):
    page.fill("[name=temperature]", "25")
    page.fill("[name=shown]", shown)
    page.fill("[name=mv]", mv)
    page.check("[name=steady]")


def set_it(page):
    page.check("#is_set")
    press(page, "button[value=set]")


def retest(page, shown):
    form = page.locator("form[data-draft^='retest-standard']")
    form.locator("[name=temperature]").fill("25")
    form.locator("[name=shown]").fill(shown)
    form.locator("[name=steady]").check()
    with page.expect_navigation():
        form.locator("button.button--wide").click()


def barriers(page):
    """What axe finds on the page as it stands, in light and in dark."""
    found = set()
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        found |= {one["id"] for one in Axe().run(page).response["violations"]}
    page.emulate_media(color_scheme="light")
    return found


def test_two_buffers_with_an_interruption_end_in_restored_trust(scene, live_server, open_page):
    eyes = open_page(width=768, height=1024)
    page = eyes.page
    sign_in(eyes, live_server, scene["ida"])
    begin(page, live_server, scene)
    measure(page, "6,75", "6")
    go_on(page)
    expect(page.locator("h1")).to_have_text("Second buffer")
    expect(page.locator("[data-clock]")).to_contain_text(":")

    measure(page, "8,98", "-126")
    page.goto(
        f"{live_server.url}/visits/{scene['visit'].pk}/work/"
    )  # the telephone rings: off to another page
    press(page, "a:has-text('Calibrate step by step')")
    press(page, "button:has-text('Go on')")
    expect(page.locator("h1")).to_have_text("Second buffer")
    assert page.input_value("[name=shown]") == "8,98"  # what was typed was kept on the tablet
    go_on(page)

    expect(page.locator(".verdict__word")).to_have_text("Set it")
    expect(page.locator(".facts")).to_contain_text("57.0 mV per pH, 96.4 % of Nernst's")
    set_it(page)
    page.go_back()
    expect(page.locator("h1")).to_have_text("Judge and set")
    page.goto(f"{live_server.url}/calibrations/{ProcedureStep.objects.first().procedure_id}/")
    assert trust_of(scene["ph"]) == "to_check"
    retest(page, "9,17")

    expect(page.locator(".verdict__word")).to_have_text("Believed again")
    assert trust_of(scene["ph"]) == "believed"
    assert list(ProcedureStep.objects.order_by("pk").values_list("step", flat=True)) == [
        "ready", "first", "second", "set", "retest",
    ]  # fmt: skip
    row = Calibration.objects.get()
    assert (row.before, row.after, row.slope_mv_per_ph) == (8.98, 9.17, pytest.approx(57.02, abs=0.01))
    assert Entry.objects.filter(kind="calibration").count() == 1
    press(page, "a:has-text('Back to the visit')")
    assert eyes.errors == []


def test_a_retest_that_disagrees_leaves_trust_down_and_a_task(scene, live_server, open_page):
    eyes = open_page(width=768, height=1024)
    page = eyes.page
    sign_in(eyes, live_server, scene["ida"])
    begin(page, live_server, scene)
    measure(page, "6,75", "6")
    go_on(page)
    assert barriers(page) == set()
    measure(page, "8,98", "-126")
    go_on(page)
    assert barriers(page) == set()
    set_it(page)
    retest(page, "8,9")

    expect(page.locator(".verdict__word")).to_have_text("Does not agree")
    expect(page.locator(".verdict__text")).to_contain_text("Off by -0.280, at most 0.100 agrees.")
    assert trust_of(scene["ph"]) == "to_check"
    assert Calibration.objects.count() == 0
    assert Task.objects.get().title.startswith("Calibrate again: pH")
    page.goto(f"{live_server.url}/tanks/{scene['tank'].pk}/")
    expect(page.locator("body")).to_contain_text("A re-test after calibrating did not agree.")
    page.go_back()
    assert barriers(page) == set()
    assert eyes.errors == []


def test_it_works_on_a_telephone_without_scripts(scene, live_server, open_page):
    eyes = open_page(width=390, height=844, scripts=False)
    page = eyes.page
    sign_in(eyes, live_server, scene["ida"])
    begin(page, live_server, scene)
    for shown, mv in (("6,75", "6"), ("8,98", "-126")):
        measure(page, shown, mv)
        go_on(page)
    set_it(page)
    retest(page, "9,17")

    assert trust_of(scene["ph"]) == "believed"
