"""Messages by a gateway: the template filled in, the signature, what is done with every answer, and no way into the house's own network."""

import json
import threading
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from servicedesk.dispatch import jobs
from servicedesk.dispatch.actions import post
from servicedesk.dispatch.models import Gateway, Message
from servicedesk.dispatch.queries import refusal_words
from servicedesk.web import posting

NOON = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)
KEY = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
TEMPLATE = '{"to": "{to}", "words": "{subject}", "long": "{text}"}'


class Receiver(BaseHTTPRequestHandler):
    """Takes what is handed over and answers as it is told."""

    status = 202
    got: list[tuple[dict[str, str], bytes]] = []

    def do_POST(self):  # noqa: N802  the library's name
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.got.append(({name.lower(): value for name, value in self.headers.items()}, body))
        self.send_response(self.status)
        self.send_header("Location", "/elsewhere")
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *given):
        pass


@pytest.fixture
def receiver(settings):
    settings.PULL_HOSTS, settings.PULL_PRIVATE = {"127.0.0.1"}, True
    Receiver.status, Receiver.got = 202, []
    server = ThreadingHTTPServer(("127.0.0.1", 0), Receiver)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}/take"
    server.shutdown()
    server.server_close()


def make_gateway(url, **given):
    row = Gateway(**{"name": "Words", "url": url, "template": TEMPLATE, **given})
    row.full_clean()
    row.save()
    return row


def sent_by(gateway, subject="Now: Quay: silent", to="+44 1632 960001"):
    row = post(key="a", recipient=to, subject=subject, text="Line one\nLine two", at=NOON, gateway=gateway)
    jobs.deliver(str(row.pk))
    row.refresh_from_db()
    return row


def test_the_signature_is_that_of_the_published_example():
    """Source: the example that the reference libraries of the Standard Webhooks specification 1.0 are tested with (from memory)."""
    headers = posting.signed(
        key=posting.key_of(KEY),
        message="msg_p5jXN8AQM9LWM0D4loKWxJek",
        seconds=1614265330,
        body=b'{"test": 2432232314}',
    )

    assert headers["webhook-signature"] == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
    assert "webhook-signature" not in posting.signed(key=b"", message="m", seconds=1, body=b"")


@pytest.mark.parametrize("nasty", ['a "b" \\ {text} {to}', "Zürich\n1 < 2 & 3 = 3 % 4", "{", "\x00\u2028"])
def test_no_word_leaves_its_place(nasty):
    words = {"to": "t", "subject": nasty, "text": "long", "id": "i"}

    assert json.loads(posting.filled(TEMPLATE, posting.JSON, words)) == {
        "to": "t",
        "words": nasty,
        "long": "long",
    }
    form = posting.filled("to={to}&words={subject}&id={id}", posting.FORM, words).decode()
    assert parse_qs(form, keep_blank_values=True) == {"to": ["t"], "words": [nasty], "id": ["i"]}
    assert posting.filled("{subject} {other}", posting.TEXT, words).decode() == f"{nasty} {{other}}"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"template": '{"to": "{to}"}'}, "template"),
        ({"template": '{"words": {subject}}'}, "template"),
        ({"header": "X-Key"}, "header"),
        ({"header": "X Key: a"}, "header"),
        ({"header": "X-Key: a\r\nHost: b"}, "header"),
        ({"signing_key": "whsec_!!"}, "signing_key"),
        ({"signing_key": "whsec_c2hvcnQ="}, "signing_key"),
        ({"url": "file:///etc/passwd"}, "url"),
    ],
)
def test_what_cannot_be_used_is_said_at_its_field(given, field):
    row = Gateway(**{"name": "Words", "url": "https://words.example/take", "template": TEMPLATE, **given})

    with pytest.raises(ValidationError) as wrong:
        row.full_clean()
    assert set(wrong.value.message_dict) == {field}


@pytest.mark.django_db
def test_a_message_is_handed_over_once_with_its_line_and_its_signature(receiver):
    gateway = make_gateway(receiver, header="X-Key: abc", signing_key=KEY)

    row = sent_by(gateway)
    jobs.deliver(str(row.pk))

    ((headers, body),) = Receiver.got
    assert (row.state, row.error, row.channel) == ("sent", "", "gateway")
    assert json.loads(body) == {
        "to": "+44 1632 960001",
        "words": "Now: Quay: silent",
        "long": "Line one\nLine two",
    }
    assert (headers["x-key"], headers["content-type"]) == ("abc", "application/json")
    expected = posting.signed(
        key=posting.key_of(KEY), message=str(row.pk), seconds=int(headers["webhook-timestamp"]), body=body
    )
    assert {name: headers[name] for name in expected} == expected
    assert abs(int(headers["webhook-timestamp"]) - timezone.now().timestamp()) < 60


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("status", "state", "said"),
    [
        (503, "queued", "The gateway asked to wait"),
        (429, "queued", "The gateway asked to wait"),
        (401, "failed", "The gateway refused our sign-in."),
        (400, "failed", "The gateway did not take it."),
        (302, "failed", "The gateway did not take it."),
    ],
)
def test_every_answer_has_its_end_and_its_sentence(receiver, status, state, said):
    Receiver.status = status

    row = sent_by(make_gateway(receiver))

    assert (row.state, row.sent_at) == (state, None)
    assert refusal_words(row.error).startswith(said)
    assert len(Receiver.got) == 1


@pytest.mark.django_db
def test_what_was_refused_for_a_while_goes_out_later_under_the_same_id(receiver):
    Receiver.status = 503
    row = sent_by(make_gateway(receiver))
    Receiver.status = 200
    Message.objects.update(not_before=timezone.now() - timedelta(seconds=1))

    jobs.deliver(str(row.pk))

    row.refresh_from_db()
    assert row.state == "sent"
    assert [headers["webhook-id"] for headers, _body in Receiver.got] == [str(row.pk)] * 2


@pytest.mark.django_db
def test_a_sender_that_vanished_is_followed_under_the_same_id_and_said(receiver):
    row = post(key="a", recipient="x", subject="s", text="t", at=NOON, gateway=make_gateway(receiver))
    past = timezone.now() - timedelta(minutes=5)
    Message.objects.update(state="sending", tries=1, lease_until=past)

    jobs.deliver(str(row.pk))

    row.refresh_from_db()
    assert (row.state, "twice" in row.error) == ("sent", True)
    assert [headers["webhook-id"] for headers, _body in Receiver.got] == [str(row.pk)]


@pytest.mark.django_db
def test_a_host_that_is_not_allowed_is_never_asked(receiver, settings):
    gateway = make_gateway(receiver)
    settings.PULL_HOSTS = {"words.example"}
    row = sent_by(gateway)
    assert (row.state, Receiver.got) == ("failed", [])
    assert refusal_words(row.error).startswith("Nothing is sent to this address")

    settings.PULL_HOSTS, settings.PULL_PRIVATE = {"127.0.0.1"}, False
    Message.objects.all().delete()
    row = sent_by(gateway)
    assert (row.state, Receiver.got) == ("failed", [])
    assert refusal_words(row.error).startswith("Nothing is sent to this address")


@pytest.mark.django_db
def test_a_gateway_that_is_away_is_tried_again(settings):
    settings.PULL_HOSTS, settings.PULL_PRIVATE = {"127.0.0.1"}, True

    row = sent_by(make_gateway("http://127.0.0.1:9/take"))

    assert row.state == "queued"
    assert refusal_words(row.error).startswith("The gateway was not reached.")
