"""Messages to browsers: sealed and signed on the line, what becomes of every answer of the push service, and where nothing is sent."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from servicedesk.dispatch import actions, jobs, queries
from servicedesk.dispatch.actions import NotSubscribed, post, subscribe
from servicedesk.dispatch.models import Gateway, Message, Subscription
from servicedesk.dispatch.queries import refusal_words
from servicedesk.web import pushing
from servicedesk.web.faults import fault_point
from tests.factories.pushes import Keys, claims_of, push_service, unb64

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)
PAUSE = timedelta(minutes=1)


@pytest.fixture
def service(settings, tmp_path, monkeypatch):
    settings.PUSH_HOSTS = {"localhost"}
    settings.PUSH_CONTACT = "mailto:rounds@tankround.invalid"
    with push_service(tmp_path) as made:
        monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "push.pem"))
        yield made


@pytest.fixture
def keys():
    return Keys()


def take(service, keys, path="/p/one"):
    return subscribe(endpoint=service.url + path, p256dh=keys.p256dh, auth=keys.auth, at=NOON)


def sent_to(subscription, *, key="a", urgent=True, made=None):
    row = post(
        key=key,
        recipient="Ida, telephone",
        subject="Now: Reception reef",
        text="Nitrate 80 mg/L, over the limit of 50.",
        link="/alarms/7/",
        at=made or timezone.now(),
        subscription=subscription,
        urgent=urgent,
    )
    jobs.deliver(str(row.pk))
    row.refresh_from_db()
    subscription.refresh_from_db()
    return row


def test_a_message_is_opened_by_its_browser_and_signed_by_us(service, keys, settings):
    subscription = take(service, keys)

    row = sent_to(subscription)
    jobs.deliver(str(row.pk))

    ((path, headers, body),) = service.got
    assert (row.state, row.error, row.channel, path) == ("sent", "", "push", "/p/one")
    assert json.loads(keys.opened(body)) == {
        "title": "Now: Reception reef",
        "line": "Nitrate 80 mg/L, over the limit of 50.",
        "link": "/alarms/7/",
        "id": str(row.pk),
        "urgent": True,
    }
    claims, signer = claims_of(headers["authorization"])
    assert (claims["aud"], claims["sub"]) == (service.url, "mailto:rounds@tankround.invalid")
    assert 0 < claims["exp"] - timezone.now().timestamp() <= 24 * 3600
    assert unb64(signer) == pushing.public_of(pushing.key_of(settings.PUSH_KEY))
    assert subscription.last_ok_at == row.sent_at


@pytest.mark.parametrize(("urgent", "urgency", "hours"), [(True, "high", 4), (False, "normal", 24)])
def test_what_cannot_wait_is_urgent_and_no_longer_kept_than_it_is_worth(
    service, keys, urgent, urgency, hours
):
    made = timezone.now() - timedelta(hours=1)

    sent_to(take(service, keys), urgent=urgent, made=made)

    ((_path, headers, _body),) = service.got
    assert headers["urgency"] == urgency
    assert headers["content-encoding"] == "aes128gcm"
    assert (hours - 1) * 3600 - 30 <= int(headers["ttl"]) <= (hours - 1) * 3600
    assert unb64(headers["topic"]) == Message.objects.get().pk.bytes


@pytest.mark.parametrize(
    ("status", "state", "gone", "said"),
    [
        (201, "sent", False, ""),
        (202, "sent", False, ""),
        (404, "failed", True, "This browser takes no more messages."),
        (410, "failed", True, "This browser takes no more messages."),
        (400, "failed", False, "The push service refused our key."),
        (403, "failed", False, "The push service refused our key."),
        (413, "failed", False, "The push service found it too long."),
        (302, "failed", False, "The push service did not take it."),
        (429, "queued", False, "The push service asked to wait"),
        (500, "queued", False, "The push service asked to wait"),
        (503, "queued", False, "The push service asked to wait"),
    ],
)
def test_every_answer_has_its_end_and_its_sentence(service, keys, status, state, gone, said):
    service.status, service.headers = status, {"Location": "/elsewhere"}
    subscription = take(service, keys)

    row = sent_to(subscription)

    assert (row.state, subscription.gone_at is not None) == (state, gone)
    assert refusal_words(row.error).startswith(said) and bool(row.error) == bool(said)
    assert (subscription.last_ok_at is not None) == (state == "sent")
    assert len(service.got) == 1
    assert queries.trouble()["mail"] == (1 if state == "failed" and not gone else 0)
    assert len(queries.messages_in_trouble()) == queries.trouble()["mail"]


def test_a_browser_that_is_gone_is_forgotten_and_asked_no_more(service, keys):
    service.status = 410
    subscription = take(service, keys)
    waiting = post(
        key="b", recipient="x", subject="s", text="t", at=timezone.now(), subscription=subscription
    )
    sent_to(subscription)
    service.status = 201

    jobs.deliver(str(waiting.pk))

    waiting.refresh_from_db()
    assert (subscription.endpoint, subscription.p256dh, subscription.auth) == ("", "", "")
    assert (waiting.state, len(service.got)) == ("failed", 1)
    assert refusal_words(waiting.error).startswith("This browser takes no more messages.")


@pytest.mark.parametrize(
    ("asked", "waited"),
    [("600", timedelta(minutes=10)), ("5", PAUSE), ("999999999", timedelta(minutes=125)), ("soon", PAUSE)],
)
@pytest.mark.parametrize("name", ["Retry-After", "retry-after"])
def test_a_push_service_that_asks_to_wait_is_waited_for_within_reason(service, keys, name, asked, waited):
    service.status, service.headers = 429, {name: asked}
    before = timezone.now()

    row = sent_to(take(service, keys))

    assert row.state == "queued"
    assert waited <= row.not_before - before <= waited + timedelta(seconds=30)


def test_it_goes_out_later_under_the_same_topic_and_sealed_anew(service, keys):
    service.status = 500
    subscription = take(service, keys)
    row = sent_to(subscription)
    service.status = 201
    Message.objects.update(not_before=timezone.now() - timedelta(seconds=1))

    jobs.deliver(str(row.pk))

    row.refresh_from_db()
    (_path, first, one), (_path, second, two) = service.got
    assert (row.state, row.tries) == ("sent", 2)
    assert first["topic"] == second["topic"]
    assert one[:16] != two[:16] and keys.opened(one) == keys.opened(two)


def test_after_five_tries_it_is_given_up_and_shown(service, keys):
    service.status = 503
    row = sent_to(take(service, keys))
    for _n in range(6):
        Message.objects.update(not_before=timezone.now() - timedelta(seconds=1))
        jobs.deliver(str(row.pk))

    row.refresh_from_db()
    assert (row.state, row.tries, len(service.got)) == ("failed", 5, 5)
    assert queries.trouble()["mail"] == 1


def test_a_sender_that_vanished_is_followed_and_its_message_replaces_the_first(service, keys, monkeypatch):
    """The fence of every message: the second carries the topic of the first, and the row says that it may have gone twice."""
    subscription = take(service, keys)

    def vanish(name):
        if name == "after_250":
            raise SystemExit
        fault_point(name)

    with monkeypatch.context() as patched, pytest.raises(SystemExit):
        patched.setattr(jobs, "fault_point", vanish)
        sent_to(subscription)
    assert Message.objects.get().state == "sending"
    Message.objects.update(lease_until=timezone.now() - timedelta(seconds=1))

    jobs.deliver(str(Message.objects.get().pk))

    row = Message.objects.get()
    assert (row.state, "twice" in row.error) == ("sent", True)
    assert len({headers["topic"] for _path, headers, _body in service.got}) == 1
    assert len(service.got) == 2


def test_one_who_lost_the_lease_ends_nothing(service, keys):
    subscription = take(service, keys)
    row = post(key="a", recipient="x", subject="s", text="t", at=NOON, subscription=subscription)
    old = actions.claim_message(message_id=row.pk, at=NOON)
    actions.claim_message(message_id=row.pk, at=NOON + timedelta(minutes=5))

    assert not actions.message_sent(message=old, at=NOON)
    subscription.refresh_from_db()
    assert subscription.last_ok_at is None


@pytest.mark.parametrize(("urgent", "hours"), [(True, 4), (False, 24)])
def test_what_would_come_too_late_is_not_sent(service, keys, urgent, hours):
    row = sent_to(take(service, keys), urgent=urgent, made=timezone.now() - timedelta(hours=hours, seconds=1))

    assert (row.state, service.got) == ("failed", [])
    assert refusal_words(row.error).startswith("The push service was away for so long")


def test_a_push_service_that_is_away_is_tried_again(settings, keys):
    settings.PUSH_HOSTS = {"localhost"}
    row = sent_to(subscribe(endpoint="https://localhost:9/p", p256dh=keys.p256dh, auth=keys.auth, at=NOON))

    assert row.state == "queued"
    assert refusal_words(row.error).startswith("The push service was not reached.")


def test_a_certificate_that_nobody_vouches_for_gets_nothing(service, keys, monkeypatch):
    monkeypatch.delenv("SSL_CERT_FILE")

    row = sent_to(take(service, keys))

    assert (row.state, service.got) == ("queued", [])


def test_a_host_that_is_no_more_allowed_gets_nothing(service, keys, settings):
    subscription = take(service, keys)
    settings.PUSH_HOSTS = {"push.example.net"}

    row = sent_to(subscription)

    assert (row.state, service.got) == ("failed", [])
    assert refusal_words(row.error).startswith("Nothing is sent to this browser")


def test_a_key_of_ours_that_is_none_is_said_and_not_tried_again(service, keys, settings):
    settings.PUSH_KEY = "none"

    row = sent_to(take(service, keys))

    assert (row.state, service.got) == ("failed", [])
    assert refusal_words(row.error).startswith("The push service did not take it.")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"endpoint": "http://push.example.net/p"}, "begins with https"),
        ({"endpoint": "https://push.example.net/" + "x" * 1000}, "too long"),
        ({"endpoint": ""}, "begins with https"),
        ({"p256dh": "AAAA"}, "octets"),
        ({"auth": "AAAA"}, "octets"),
        ({"auth": "ä"}, "holds signs"),
    ],
)
def test_what_a_browser_cannot_have_said_is_refused(keys, given, said):
    sound = {"endpoint": "https://push.example.net/p", "p256dh": keys.p256dh, "auth": keys.auth}

    with pytest.raises(NotSubscribed, match=said):
        subscribe(at=NOON, **{**sound, **given})
    assert not Subscription.objects.exists()


def test_one_address_is_one_browser_and_the_newer_holds():
    old, new = Keys(), Keys()
    endpoint = "https://push.example.net/p"
    first = subscribe(endpoint=endpoint, p256dh=old.p256dh, auth=old.auth, at=NOON)

    second = subscribe(endpoint=endpoint, p256dh=new.p256dh, auth=new.auth, at=NOON + PAUSE)

    first.refresh_from_db()
    assert (first.gone_at, first.endpoint) == (NOON + PAUSE, "")
    assert (second.gone_at, second.p256dh) == (None, new.p256dh)
    assert actions.end_subscription(subscription_id=first.pk, at=NOON + 2 * PAUSE) is False
    first.refresh_from_db()
    assert first.gone_at == NOON + PAUSE
    assert str(first) == str(first.pk)


@pytest.mark.parametrize(
    "columns",
    [
        {"endpoint": "https://push.example.net/p", "p256dh": "", "auth": "a"},
        {"endpoint": "https://push.example.net/p", "p256dh": "a", "auth": "a", "gone_at": NOON},
    ],
)
def test_the_table_holds_no_browser_without_keys_and_none_that_is_gone_with_them(columns):
    with pytest.raises(IntegrityError), transaction.atomic():
        Subscription.objects.create(made_at=NOON, **columns)


def test_the_table_holds_no_message_of_two_ways(keys):
    subscription = subscribe(
        endpoint="https://push.example.net/p", p256dh=keys.p256dh, auth=keys.auth, at=NOON
    )
    row = post(key="a", recipient="x", subject="s", text="t", at=NOON, subscription=subscription)

    with pytest.raises(IntegrityError), transaction.atomic():
        Message.objects.filter(pk=row.pk).update(channel="mail")


def test_a_gateway_that_says_gone_is_a_gateway_that_did_not_take_it(settings, service):
    settings.PULL_HOSTS, settings.PULL_PRIVATE, service.status = {"localhost"}, True, 410
    gateway = Gateway.objects.create(name="Words", url=f"{service.url}/take", template='{"to": "{subject}"}')
    row = post(key="a", recipient="x", subject="s", text="t", at=NOON, gateway=gateway)

    jobs.deliver(str(row.pk))

    row.refresh_from_db()
    assert (row.state, len(service.got), queries.trouble()["mail"]) == ("failed", 1, 1)
    assert refusal_words(row.error).startswith("The gateway did not take it.")
