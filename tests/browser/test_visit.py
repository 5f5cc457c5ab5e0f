"""A visit as it is lived: on a tablet with touch, with and without JavaScript."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import expect

import reports.jobs  # noqa: F401  registers the work that is run here
from servicedesk.dispatch import jobs
from servicedesk.dispatch.models import Job
from servicedesk.visits.models import Entry, Photo, Visit
from servicedesk.water.models import Reading
from tests.factories.people import PASSWORD, make_business, make_client_user, make_owner, make_technician
from tests.factories.stops import make_reef_to_test, make_stop
from tests.factories.tanks import make_contact

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]  # a real browser


@pytest.fixture
def scene():
    make_business()
    owner, technician = make_owner(), make_technician()
    tank = make_reef_to_test()
    user = make_client_user()
    make_contact(tank.site.client, user=user)
    return {
        "owner": owner,
        "technician": technician,
        "tank": tank,
        "client": user,
        "visit": make_stop(technician, tank),
    }


def sign_in(eyes, server, user):
    page = eyes.page
    page.goto(f"{server.url}/sign-in/")
    page.fill("[name=username]", user.email)
    page.fill("[name=password]", PASSWORD)
    press(page, "main button")


def type_on_keys(page, text):
    page.wait_for_selector("[data-bench][data-ready]")
    for key in text:
        page.tap(f'[data-key="{key}"]')


def press(page, selector):
    """Press something that leads to another page, and wait until it is there."""
    with page.expect_navigation():
        page.click(selector)


def go(page, label):
    press(page, f"nav a:has-text('{label}')")


@pytest.mark.parametrize(("width", "height"), [(768, 1024), (1024, 768), (390, 844)])
def test_a_whole_visit_by_touch_ends_in_the_clients_report(scene, live_server, open_page, width, height):
    eyes = open_page(width=width, height=height)
    page = eyes.page
    sign_in(eyes, live_server, scene["technician"])

    press(page, "button.button--solid")
    press(page, "a.button--solid")
    page.wait_for_selector("[data-bench]")
    for value, word in (("25.4", "In band"), ("35.1", "In band"), ("6.1", "Below the limit")):
        type_on_keys(page, value)
        assert page.input_value("[data-value]") == value
        # half a value is judged too while the fingers rest: the word for the whole one is waited for
        expect(page.locator("[data-word]")).to_have_text(word)
        with page.expect_navigation():
            page.tap('[data-key="go"]')
    go(page, "Leave")
    page.check("input[type=checkbox][name^=on_]")
    press(page, "button:has-text('This is how it stands')")
    press(page, "button:has-text('Close the visit')")

    assert sorted(Reading.objects.values_list("entered", flat=True)) == ["25.4", "35.1", "6.1"]
    assert Visit.objects.get().state == "closed"
    assert eyes.errors == []
    job = Job.objects.get(kind="report")
    jobs.run(str(job.pk))
    job.refresh_from_db()
    assert (job.state, job.error) == ("done", "")
    owner = open_page(width=1440, height=900)
    sign_in(owner, live_server, scene["owner"])
    owner.page.goto(f"{live_server.url}/visits/{scene['visit'].pk}/report/")
    assert scene["tank"].name in owner.page.content()
    assert owner.errors == []


def test_what_was_typed_is_still_there_after_a_reload(scene, live_server, open_page):
    eyes = open_page()
    sign_in(eyes, live_server, scene["technician"])
    page = eyes.page
    page.goto(f"{live_server.url}/visits/{scene['visit'].pk}/test/")
    type_on_keys(page, "25.")

    page.reload()

    expect(page.locator("[data-value]")).to_have_value("25.")
    page.goto(f"{live_server.url}/visits/{scene['visit'].pk}/leave/")
    page.fill("#f-summary", "The skimmer ran over")
    page.reload()
    assert page.input_value("#f-summary") == "The skimmer ran over"
    assert Entry.objects.count() == 0


def test_a_visit_works_without_javascript(scene, live_server, open_page):
    eyes = open_page(scripts=False)
    sign_in(eyes, live_server, scene["technician"])
    page = eyes.page
    press(page, "button:has-text('I have arrived at')")
    assert page.url.endswith(f"/visits/{scene['visit'].pk}/")
    page.goto(f"{live_server.url}/visits/{scene['visit'].pk}/test/")
    for value in ("25.4", "35.1", "8.0"):
        page.fill("#value", value)
        press(page, ".key--go")
        assert page.text_content(".bench__word").strip() == "In band"
        press(page, "a.button--solid")
    page.goto(f"{live_server.url}/visits/{scene['visit'].pk}/leave/")
    press(page, "button:has-text('Close the visit')")

    assert Visit.objects.get().state == "closed"
    assert Reading.objects.count() == 3


def drafts_of(page):
    return page.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('draft:'))")


def test_what_was_sent_into_a_dead_network_comes_back_and_is_one_entry(scene, live_server, open_page):
    eyes = open_page()
    sign_in(eyes, live_server, scene["technician"])
    page = eyes.page
    address = f"{live_server.url}/visits/{scene['visit'].pk}/leave/"
    page.goto(address)
    page.fill("#f-summary", "The skimmer ran over")
    page.route("**/add/", lambda route: route.abort())
    with page.expect_event("requestfailed"):
        page.click("form[data-draft='field-summary'] button", no_wait_after=True)
    page.unroute("**/add/")

    page.goto(address)
    assert page.input_value("#f-summary") == "The skimmer ran over"
    assert len(drafts_of(page)) == 1
    sent = page.get_attribute("body", "data-taken")
    press(page, "form[data-draft='field-summary'] button")

    assert sent == ""
    assert [e.payload["value"] for e in Entry.objects.filter(kind="field")] == ["The skimmer ran over"]
    assert drafts_of(page) == []


def test_the_answer_lost_after_the_server_stored_it_makes_no_second_entry(scene, live_server, open_page):
    eyes = open_page()
    sign_in(eyes, live_server, scene["technician"])
    page = eyes.page
    address = f"{live_server.url}/visits/{scene['visit'].pk}/leave/"
    page.goto(address)
    page.fill("#f-summary", "The skimmer ran over")

    def swallow(route):
        route.fetch(max_redirects=0)
        route.abort()

    page.route("**/add/", swallow)
    with page.expect_event("requestfailed"):
        page.click("form[data-draft='field-summary'] button", no_wait_after=True)
    page.unroute("**/add/")
    page.goto(address)

    assert drafts_of(page) == []
    assert page.input_value("#f-summary") == "The skimmer ran over"
    assert Entry.objects.filter(kind="field").count() == 1


def test_another_persons_drafts_are_not_shown(scene, live_server, open_page):
    eyes = open_page()
    sign_in(eyes, live_server, scene["technician"])
    page = eyes.page
    address = f"{live_server.url}/visits/{scene['visit'].pk}/leave/"
    page.goto(address)
    page.fill("#f-summary", "Only mine")
    page.context.clear_cookies()

    sign_in(eyes, live_server, scene["owner"])
    page.goto(address)

    assert page.input_value("#f-summary") == ""


def barriers(page):
    return [(v["id"], v["nodes"][0]["html"][:120]) for v in Axe().run(page).response["violations"]]


def read_value(page, server, visit, parameter, value, *, second=False):
    more = "&second=1" if second else ""
    page.goto(f"{server.url}/visits/{visit.pk}/test/?parameter={parameter}{more}")
    type_on_keys(page, value)
    press(page, ".key--go")
    page.goto(f"{server.url}/visits/{visit.pk}/test/?parameter={parameter}")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_state_of_a_visit_has_a_barrier_that_axe_finds(scene, live_server, open_page, scheme):
    eyes = open_page(scheme=scheme, width=390, height=844)
    sign_in(eyes, live_server, scene["technician"])
    page, visit = eyes.page, scene["visit"]
    address = f"{live_server.url}/visits/{visit.pk}/"
    found = {}
    page.goto(address)
    press(page, "button:has-text('I have arrived at')")
    found["arrived"] = barriers(page)
    read_value(page, live_server, visit, "salinity", "35.1")
    found["in band"] = barriers(page)
    read_value(page, live_server, visit, "alkalinity", "2.1")
    found["first surprise"] = (page.text_content("[data-word]").strip(), barriers(page))
    read_value(page, live_server, visit, "alkalinity", "2.2", second=True)
    found["alarm"] = (page.text_content("[data-word]").strip(), barriers(page))
    for step in ("work", "advise", "leave"):
        page.goto(f"{address}{step}/")
        found[step] = barriers(page)
    page.goto(f"{address}work/")
    page.click("summary:has-text('Water change')")
    page.fill("[name=p_litres]", "ten")
    press(page, "form:has([name=p_litres]) button")
    found["refused"] = (page.text_content(".messages, .banner"), barriers(page))
    kept = page.input_value("[name=p_litres]")
    page.goto(f"{address}leave/")
    press(page, "button:has-text('Close the visit')")
    found["closed"] = barriers(page)

    refusal = found["refused"][0]
    assert found == {
        "arrived": [], "in band": [], "first surprise": (found["first surprise"][0], []), "alarm": ("Below the limit", []),
        "work": [], "advise": [], "leave": [], "refused": (refusal, []), "closed": [],
    }  # fmt: skip
    assert "ten" in refusal
    assert kept == "ten"
    assert eyes.errors == []


def test_two_results_that_disagree_are_told_while_typing_and_once_kept(scene, live_server, open_page):
    eyes = open_page()
    sign_in(eyes, live_server, scene["technician"])
    page, visit = eyes.page, scene["visit"]
    read_value(page, live_server, visit, "alkalinity", "6.0")
    page.goto(f"{live_server.url}/visits/{visit.pk}/test/?parameter=alkalinity&second=1")

    type_on_keys(page, "8.9")
    page.locator("[data-sentence]", has_text="do not agree").wait_for()
    typed = page.text_content("[data-word]").strip()
    press(page, ".key--go")
    page.goto(f"{live_server.url}/visits/{visit.pk}/test/?parameter=alkalinity")

    assert (typed, page.text_content("[data-word]").strip()) == ("Test again", "Test again")
    assert "do not agree" in page.text_content("[data-sentence]")
    assert eyes.errors == []


def test_one_button_takes_and_keeps_a_photo(scene, live_server, open_page, tmp_path):
    file = tmp_path / "tank.jpg"
    Image.new("RGB", (90, 60), (10, 90, 60)).save(file)
    eyes = open_page()
    sign_in(eyes, live_server, scene["technician"])
    page = eyes.page
    page.goto(f"{live_server.url}/visits/{scene['visit'].pk}/work/")

    with page.expect_file_chooser() as chosen:
        page.tap("label:has-text('Take a photo of this tank')")
    with page.expect_navigation():
        chosen.value.set_files(file)

    assert [(p.width, p.height, p.tank) for p in Photo.objects.all()] == [(90, 60, scene["tank"])]
    assert Entry.objects.filter(kind="photo").count() == 1
    assert page.locator(".photos img").count() == 1
    assert eyes.errors == []
