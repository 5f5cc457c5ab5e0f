"""In a real browser: an instrument sends, falls silent, its one alarm is seen, handed on, acted on and clears; values held apart are taken in;
an address is tried on a sample and kept."""

import json
import threading
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from django.utils import timezone

from servicedesk.instruments.actions import make_token, receive
from servicedesk.instruments.models import Commissioning, Instrument, Pull
from servicedesk.watch import actions as watch
from servicedesk.watch.models import Attention
from servicedesk.water.models import HeldReading, Reading
from tests.browser.test_visit import sign_in
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.tanks import make_instrument, make_measure, make_method

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]  # a real browser


@pytest.fixture
def instrument():
    make_business()
    instrument = make_instrument(interval_minutes=30, grace_minutes=5)
    make_measure(instrument, "alkalinity", sent_name="alk")
    make_measure(instrument, "temperature", sent_name="temp", unit="C")
    return instrument


@pytest.fixture
def eyes(instrument, live_server, open_page):
    eyes = open_page()
    sign_in(eyes, live_server, make_owner(name="Petra"))
    return eyes


def test_an_alarm_is_met_once_seen_handed_on_acted_on_and_clears(instrument, eyes, live_server):
    ida, now = make_technician(name="Ida"), timezone.now()
    token = make_token(instrument=instrument, at=now)[1]
    page = eyes.page
    answer = page.request.post(
        f"{live_server.url}/api/v1/deliveries/",
        data=json.dumps([{"n": "alk", "v": 8.1}]),
        headers={"Authorization": f"Bearer {token}", "Content-Type": "application/senml+json"},
    )
    assert answer.status == 201
    page.goto(f"{live_server.url}/instruments/{instrument.pk}/")
    page.get_by_text("1 stored, 0 held apart").wait_for()

    Instrument.objects.update(last_contact_at=now - timedelta(hours=2))
    for minutes in range(0, 10, 2):
        watch.watch_silence(at=now + timedelta(minutes=minutes))
        watch.tell(at=now + timedelta(minutes=minutes))
    assert Attention.objects.count() == 1
    page.goto(f"{live_server.url}/alarms/")
    page.get_by_text("not seen yet").first.wait_for()
    page.locator(".row__subject").first.click()
    page.get_by_role("button", name="I have seen it").click()
    page.get_by_text("nobody else is called").wait_for()
    page.get_by_label("To whom").select_option(label="Ida")
    page.get_by_role("button", name="Tell them").click()
    page.get_by_text("Ida is told.").wait_for()
    page.get_by_label("What you do about it").fill("The plug was out")
    page.get_by_role("button", name="Write it down").click()
    page.get_by_text("Petra: The plug was out").wait_for()
    watch.tell(at=now + timedelta(minutes=12))
    assert ida.tellings.count() == 1

    Instrument.objects.update(last_contact_at=timezone.now())
    watch.watch_silence(at=timezone.now())
    page.goto(f"{live_server.url}/alarms/")
    page.get_by_text("No alarm stands open.").wait_for()
    assert eyes.errors == []


def test_values_held_apart_are_taken_in_as_what_they_are(instrument, eyes, live_server):
    rows = [
        {"n": "temp", "u": "degF", "v": 77 + n, "t": timezone.now().timestamp() - 60 * n} for n in range(3)
    ]
    receive(instrument=instrument, body=json.dumps(rows).encode(), at=timezone.now())
    page = eyes.page
    page.goto(f"{live_server.url}/instruments/")
    page.get_by_role("link", name="3 values are held apart.").click()
    page.locator(".row__subject").first.click()
    page.get_by_label("What it is, and by what it was measured").select_option(index=1)
    page.get_by_label("In which unit it came").select_option("F")
    page.get_by_role("button", name="Take them in").click()
    page.get_by_text("3 values are taken in.").wait_for()

    assert sorted(round(v, 2) for v in Reading.objects.values_list("value", flat=True)) == [
        25.0,
        25.56,
        26.11,
    ]
    assert set(HeldReading.objects.values_list("decision", flat=True)) == {"released"}
    assert eyes.errors == []


class Box(BaseHTTPRequestHandler):
    """A device that answers when it is asked."""

    def do_GET(self):  # noqa: N802  the library's name
        body = b'{"now": {"kh": 7.9}}'
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *given):
        pass


def test_an_address_is_tried_on_a_sample_and_kept(instrument, eyes, live_server, settings):
    settings.PULL_HOSTS, settings.PULL_PRIVATE = {"127.0.0.1"}, True
    box = ThreadingHTTPServer(("127.0.0.1", 0), Box)
    threading.Thread(target=box.serve_forever, daemon=True).start()
    page = eyes.page
    page.goto(f"{live_server.url}/instruments/{instrument.pk}/")
    page.get_by_role("link", name="Ask it at an address").click()
    page.get_by_label("Its address").fill(f"http://127.0.0.1:{box.server_port}/")
    page.get_by_label("What stands where").fill("alk = now.kh dKH")
    page.get_by_role("button", name="Try it").click()
    page.get_by_text("7.9 dKH").wait_for()
    assert not Reading.objects.exists()
    page.get_by_role("button", name="Keep it").click()
    page.get_by_text("It is asked from now on.").wait_for()
    box.shutdown()
    box.server_close()

    assert Pull.objects.get().mapping == "alk = now.kh dKH"
    assert eyes.errors == []


def test_an_instrument_is_brought_into_use_on_the_tablet(instrument, eyes, live_server):
    """Interrupted in the middle: what was done is there again."""
    make_method("alkalinity", name="drop kit", kind="kit", tolerance_rel=0.05)
    page, address = eyes.page, f"{live_server.url}/instruments/{instrument.pk}/commissioning/"
    page.goto(address)
    page.get_by_role("button", name="Begin").click()
    page.get_by_label("Where it stands").fill("cabinet, left")
    page.get_by_label("Cables hang in a loop").check()
    page.locator("button[value=placed]").click()
    page.get_by_role("button", name="Show a pass").click()
    text = page.locator("code").inner_text()
    assert page.locator("svg[class*=segno], .drawing svg").count() == 1
    answer = page.request.post(
        f"{live_server.url}/api/v1/deliveries/",
        data=json.dumps([{"n": "alk", "v": 8.1}]),
        headers={"Authorization": f"Bearer {text}", "Content-Type": "application/senml+json"},
    )
    assert answer.status == 201
    page.goto(f"{live_server.url}/alarms/")  # called away
    page.goto(address)
    page.locator("button[value=heard]").click()
    page.get_by_text("Its values come.").wait_for()
    agrees = page.locator("section", has=page.get_by_role("heading", name="Agrees"))
    agrees.get_by_label("Tested by hand with").select_option(label="Alkalinity, drop kit")
    agrees.get_by_label("Results by hand").fill("8.0 8,2 8.1")
    agrees.get_by_label("It shows at the same time").fill("8.1")
    page.locator("button[value=agrees]").click()
    page.get_by_role("button", name="It is in use").click()
    page.get_by_text("We compared it with our own tests: they agree.").wait_for()

    assert Commissioning.objects.get().ended_at is not None
    assert eyes.errors == []
