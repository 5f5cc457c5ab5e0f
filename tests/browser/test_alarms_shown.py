"""In a real browser: alarms are turned on with a click, a sealed message is opened, shown by the worker with its words and its way, and turned off.

Chromium without a window reaches no push service (and none is reached from tests), so that `PushManager.subscribe` is stood in for: it makes real keys
with the browser's own cryptography and names a push service on this machine. What is pushed there is opened by the browser itself and handed to the
worker by the browser's tools (`ServiceWorker.deliverPushMessage`), as a push service would."""

import json

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from servicedesk.dispatch import jobs
from servicedesk.dispatch.models import Message, Subscription
from servicedesk.watch import actions as watch
from servicedesk.watch.models import OwnBrowser
from tests.browser.test_visit import sign_in
from tests.factories.people import make_business, make_owner
from tests.factories.pushes import b64, push_service
from tests.factories.tanks import make_tank

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]  # a real browser

STAND_IN = """
(() => {
  const kept = { now: null };
  const address = "ENDPOINT";
  PushManager.prototype.getSubscription = async () => kept.now;
  PushManager.prototype.subscribe = async function (given) {
    const pair = await crypto.subtle.generateKey({ name: "ECDH", namedCurve: "P-256" }, true, ["deriveBits"]);
    const point = await crypto.subtle.exportKey("raw", pair.publicKey);
    const auth = crypto.getRandomValues(new Uint8Array(16)).buffer;
    window.name = JSON.stringify({ jwk: await crypto.subtle.exportKey("jwk", pair.privateKey), auth: [...new Uint8Array(auth)], point: [...new Uint8Array(point)], visible: given.userVisibleOnly, key: [...given.applicationServerKey] });
    kept.now = { endpoint: address, options: {}, getKey: (name) => (name === "auth" ? auth : point), unsubscribe: async () => { window.name = ""; kept.now = null; return true; } };
    return kept.now;
  };
  if (window.name) kept.now = { endpoint: address, options: {}, unsubscribe: async () => { window.name = ""; kept.now = null; return true; } };
})();
"""
"""`window.name` lives from page to page: what a browser would keep of its subscription."""

OPEN = """
async (body) => {
  const kept = JSON.parse(window.name), octets = Uint8Array.from(atob(body), (sign) => sign.charCodeAt(0));
  const salt = octets.slice(0, 16), theirs = octets.slice(21, 21 + octets[20]), sealed = octets.slice(21 + octets[20]);
  const say = (text) => new TextEncoder().encode(text), subtle = crypto.subtle;
  const derive = async (material, salt, info, length) => {
    const key = await subtle.importKey("raw", material, "HKDF", false, ["deriveBits"]);
    return new Uint8Array(await subtle.deriveBits({ name: "HKDF", hash: "SHA-256", salt, info }, key, length * 8));
  };
  const own = await subtle.importKey("jwk", kept.jwk, { name: "ECDH", namedCurve: "P-256" }, false, ["deriveBits"]);
  const other = await subtle.importKey("raw", theirs, { name: "ECDH", namedCurve: "P-256" }, false, []);
  const shared = await subtle.deriveBits({ name: "ECDH", public: other }, own, 256);
  const info = new Uint8Array([...say("WebPush: info"), 0, ...kept.point, ...theirs]);
  const secret = await derive(shared, new Uint8Array(kept.auth), info, 32);
  const key = await derive(secret, salt, say("Content-Encoding: aes128gcm\\0"), 16);
  const nonce = await derive(secret, salt, say("Content-Encoding: nonce\\0"), 12);
  const aes = await subtle.importKey("raw", key, "AES-GCM", false, ["decrypt"]);
  const plain = new Uint8Array(await subtle.decrypt({ name: "AES-GCM", iv: nonce }, aes, sealed));
  return new TextDecoder().decode(plain.slice(0, plain.lastIndexOf(2)));
}
"""
SHOWN = """
async () => {
  const registration = await navigator.serviceWorker.getRegistration("/alarms/");
  const shown = await registration.getNotifications();
  return shown.map((one) => ({ title: one.title, body: one.body, tag: one.tag, link: one.data.link, stays: one.requireInteraction }));
}
"""


def shown_at_last(page):
    """What is shown, asked until there is something; nothing after half a minute."""
    for _time in range(300):
        found = page.evaluate(SHOWN)
        if found:
            return found
        page.wait_for_timeout(100)
    return []


CLICK = """
async (tag) => {
  const opened = [];
  self.clients.openWindow = async (link) => { opened.push(link); return null; };
  const [notification] = await self.registration.getNotifications({ tag });
  const waited = [];
  const event = new NotificationEvent("notificationclick", { notification });
  event.waitUntil = (promise) => waited.push(promise);
  self.dispatchEvent(event);
  await Promise.all(waited);
  return opened;
}
"""


@pytest.fixture
def service(settings, tmp_path, monkeypatch):
    settings.PUSH_HOSTS = {"localhost"}
    with push_service(tmp_path) as made:
        monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "push.pem"))
        yield made


@pytest.fixture
def eyes(live_server, open_page, service):
    make_business()
    eyes = open_page()
    eyes.page.context.grant_permissions(["notifications"], origin=live_server.url)
    eyes.page.add_init_script(STAND_IN.replace("ENDPOINT", f"{service.url}/p/one"))
    sign_in(eyes, live_server, make_owner(name="Petra"))
    eyes.page.goto(f"{live_server.url}/alarms/browsers/")
    return eyes


def turn_on(eyes):
    page = eyes.page
    page.get_by_label("What you call this browser").fill("telephone")
    page.get_by_label("Told of").select_option(label="every alarm")
    page.get_by_role("button", name="Turn on alarms in this browser").click()
    page.get_by_text("Alarms are shown here from now on.").wait_for()


def worker_of(page):
    """The browser's tools for its workers, and the number of ours."""
    tools, found = page.context.new_cdp_session(page), []
    tools.on("ServiceWorker.workerRegistrationUpdated", lambda said: found.extend(said["registrations"]))
    tools.send("ServiceWorker.enable")
    while not found:
        page.wait_for_timeout(20)
    return tools, next(row["registrationId"] for row in found if row["scopeURL"].endswith("/alarms/"))


def test_an_alarm_is_shown_by_a_browser_that_was_turned_on(eyes, live_server, service, settings):
    page = eyes.page
    turn_on(eyes)
    row = OwnBrowser.objects.get()
    assert (row.name, row.told_of) == ("telephone", 2)
    expect(page.locator("[data-here]")).to_be_visible()
    expect(page.get_by_role("button", name="Turn on alarms in this browser")).to_be_hidden()
    kept = json.loads(page.evaluate("window.name"))
    assert kept["visible"] is True
    assert b64(bytes(kept["key"])) == page.locator("[data-browsers]").get_attribute("data-key")
    assert b64(bytes(kept["point"])) == row.subscription.p256dh

    tank = make_tank(name="Reception reef")
    alarm = watch.raise_attention(
        key="a", at=timezone.now(), kind="beyond_limit", severity=1, tank=tank, site=tank.site, parameter="nitrate",
        word="beyond_limit", sentence="Nitrate 80 mg/L, over the limit of 50.", why="Measured.",
    )  # fmt: skip
    watch.tell(at=timezone.now())
    message = Message.objects.get(channel="push")
    jobs.deliver(str(message.pk))
    ((_path, _headers, body),) = service.got
    said = page.evaluate(OPEN, b64_plain(body))
    assert json.loads(said)["title"] == "Now: Reception reef"

    tools, number = worker_of(page)
    for _twice in range(2):
        push = {"origin": live_server.url, "registrationId": number, "data": said}
        tools.send("ServiceWorker.deliverPushMessage", push)
    assert shown_at_last(page) == [
        {
            "title": "Now: Reception reef",
            "body": "Nitrate 80 mg/L, over the limit of 50.",
            "tag": str(message.pk),
            "link": f"/alarms/{alarm.pk}/",
            "stays": True,
        }
    ], "the same twice is shown once"
    (worker,) = page.context.service_workers
    assert worker.evaluate(CLICK, str(message.pk)) == [f"/alarms/{alarm.pk}/"]
    page.goto(live_server.url + f"/alarms/{alarm.pk}/")
    page.get_by_role("heading", name="Nitrate 80 mg/L, over the limit of 50.").wait_for()
    page.goto(f"{live_server.url}/alarms/browsers/")
    page.get_by_text("worked last").wait_for()
    assert eyes.errors == []


def b64_plain(body):
    text = b64(body).replace("-", "+").replace("_", "/")
    return text + "=" * (-len(text) % 4)


@pytest.mark.parametrize(
    ("said", "title", "link"),
    [
        ("", "Tankround", "/alarms/"),
        ("no JSON", "Tankround", "/alarms/"),
        ("null", "Tankround", "/alarms/"),
        (json.dumps({"title": "T", "link": "https://elsewhere.example/alarms/1/"}), "T", "/alarms/"),
        (json.dumps({"title": "T", "link": "//elsewhere.example/x"}), "T", "/alarms/"),
        (json.dumps({"title": "T", "link": "javascript:alert(1)"}), "T", "/alarms/"),
        (json.dumps({"title": "T", "link": "/alarms/7/"}), "T", "/alarms/7/"),
    ],
)
def test_whatever_is_pushed_something_is_shown_that_stays_in_the_house(eyes, live_server, said, title, link):
    page = eyes.page
    turn_on(eyes)
    tools, number = worker_of(page)

    tools.send(
        "ServiceWorker.deliverPushMessage",
        {"origin": live_server.url, "registrationId": number, "data": said},
    )

    (shown,) = shown_at_last(page)
    assert (shown["title"], shown["link"], shown["stays"]) == (title, link, False)


def test_turning_off_ends_it_in_the_browser_too(eyes):
    page = eyes.page
    turn_on(eyes)

    page.get_by_role("button", name="Turn off").click()

    page.get_by_text("No alarm is shown in “telephone” any more.").wait_for()
    expect(page.get_by_role("button", name="Turn on alarms in this browser")).to_be_visible()
    assert page.evaluate("window.name") == ""
    assert Subscription.objects.get().gone_at is not None
    assert eyes.errors == []


def test_a_browser_that_refuses_is_told_what_to_do(eyes, live_server):
    page = eyes.page
    page.add_init_script("Notification.requestPermission = async () => 'denied';")
    page.reload()
    page.get_by_role("button", name="Turn on alarms in this browser").click()
    page.get_by_text("Notifications from us are refused in this browser.").wait_for()

    page.add_init_script("delete window.PushManager;")
    page.reload()
    page.get_by_text("This browser cannot show alarms.").wait_for()
    expect(page.get_by_role("button", name="Turn on alarms in this browser")).to_be_hidden()
    assert not Subscription.objects.exists()


def test_a_push_service_that_is_not_reached_is_said(eyes):
    page = eyes.page
    page.add_init_script(
        "PushManager.prototype.subscribe = async () => { throw new DOMException('x', 'AbortError'); };"
    )
    page.reload()
    page.get_by_label("What you call this browser").fill("telephone")
    page.get_by_role("button", name="Turn on alarms in this browser").click()

    page.get_by_text("the browser did not reach its push service").wait_for()
    assert page.get_by_label("What you call this browser").input_value() == "telephone"
    expect(page.get_by_role("button", name="Turn on alarms in this browser")).to_be_enabled()
    assert not Subscription.objects.exists()


def test_without_scripts_the_page_says_so_and_turns_off(live_server, open_page, service):
    make_business()
    owner = make_owner(name="Petra")
    eyes = open_page(scripts=False)
    page = eyes.page
    sign_in(eyes, live_server, owner)
    page.goto(f"{live_server.url}/alarms/browsers/")
    page.get_by_text("Turning alarms on in a browser needs JavaScript").wait_for()
    expect(page.get_by_role("button", name="Turn on alarms in this browser")).to_be_hidden()
    point = "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"
    watch.turn_on(
        person=owner, endpoint=f"{service.url}/p", p256dh=point, auth="BTBZMqHH6r4Tts7J_aSIgg", name="desk", told_of=1, at=timezone.now()
    )  # fmt: skip
    page.reload()
    page.get_by_role("button", name="Turn off").click()
    page.get_by_text("No alarm is shown in “desk” any more.").wait_for()
    assert Subscription.objects.get().gone_at is not None
