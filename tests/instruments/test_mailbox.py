"""A real mailbox: what is attached to letters is taken in once, what cannot be used waits there for a person, a break loses nothing."""

import imaplib
import os
import pwd
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, suppress
from email.message import EmailMessage
from pathlib import Path

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.dispatch.actions import ask
from servicedesk.dispatch.jobs import run
from servicedesk.instruments.actions import (
    NoMailbox,
    NotRead,
    address_of,
    empty_mailbox,
    mailbox,
    mailbox_of,
)
from servicedesk.instruments.adapters.letters import read_letter
from servicedesk.instruments.jobs import mailbox as look
from servicedesk.instruments.models import Delivery
from servicedesk.water.models import Reading
from tests.factories.people import make_business, make_owner
from tests.factories.tanks import make_instrument, make_measure

real = [pytest.mark.django_db, pytest.mark.dovecot, pytest.mark.slow]  # a server is started
USER, PASSWORD = "readings@example.org", "s:e/c@ret"


def settings_of(folder: Path, port: int) -> str:
    me = pwd.getpwnam("nobody") if os.geteuid() == 0 else pwd.getpwuid(os.geteuid())
    os.chown(folder / "mail", me.pw_uid, me.pw_gid)
    group = "nogroup" if os.geteuid() == 0 else os.getgid()
    return f"""
protocols = imap
base_dir = {folder}/run
log_path = {folder}/log
ssl = no
disable_plaintext_auth = no
mail_location = maildir:{folder}/mail/%u
default_login_user = {me.pw_name}
default_internal_user = {me.pw_name}
default_internal_group = {group}
first_valid_uid = 1
passdb {{
  driver = static
  args = password={PASSWORD}
}}
userdb {{
  driver = static
  args = uid={me.pw_uid} gid={me.pw_gid} home={folder}/mail
}}
service imap-login {{
  chroot =
  inet_listener imap {{
    address = 127.0.0.1
    port = {port}
  }}
  inet_listener imaps {{
    port = 0
  }}
}}
service anvil {{
  chroot =
}}
service stats {{
  chroot =
}}
"""


@pytest.fixture(scope="module")
def server() -> Iterator[int]:
    folder = Path(tempfile.mkdtemp(prefix="post-"))  # the server's own user must be able to walk to it
    folder.chmod(0o755)
    (folder / "mail").mkdir()
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    (folder / "conf").write_text(settings_of(folder, port))
    program = shutil.which("dovecot") or "/usr/sbin/dovecot"
    process = subprocess.Popen([program, "-F", "-c", str(folder / "conf")], stdout=subprocess.DEVNULL)
    ends = time.monotonic() + 15
    while time.monotonic() < ends:
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
            break
        time.sleep(0.05)
    yield port
    process.terminate()
    process.wait(timeout=10)
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def box(server: int, request: pytest.FixtureRequest) -> mailbox.Mailbox:
    """A mailbox of its own for each test."""
    user = f"{abs(hash(request.node.nodeid))}@example.org"
    return mailbox_of(f"imap://{user.replace('@', '%40')}:s%3Ae%2Fc%40ret@127.0.0.1:{server}/INBOX")


def inside(box: mailbox.Mailbox) -> imaplib.IMAP4:
    line = imaplib.IMAP4(box.host, box.port, timeout=10)
    line.login(box.user, box.password)
    line.select("INBOX")
    return line


def put(box: mailbox.Mailbox, *letters: bytes) -> None:
    line = inside(box)
    for raw in letters:
        assert line.append("INBOX", "", "", raw)[0] == "OK"
    line.logout()


def marked(box: mailbox.Mailbox, word: str) -> int:
    line = inside(box)
    found = len(line.uid("SEARCH", word)[1][0].split())
    line.logout()
    return found


def letter(to: str, *attached: tuple[str, bytes]) -> bytes:
    made = EmailMessage()
    made["From"], made["To"], made["Subject"] = "somebody@example.net", to, "Readings"
    made.set_content("See what is attached.")
    for name, body in attached:
        made.add_attachment(body, maintype="application", subtype="octet-stream", filename=name)
    return made.as_bytes()


def table(first: float, rows: int = 3) -> bytes:
    lines = [f"{(timezone.now() - timezone.timedelta(minutes=rows - n)).isoformat()},alk,{first + n / 10:.1f}" for n in range(rows)]  # fmt: skip
    return "\n".join(["at,name,value", *lines]).encode()


@pytest.fixture
def instrument():
    row = make_instrument()
    make_measure(row, "alkalinity", sent_name="alk")
    return row


class TestReal:
    pytestmark = real

    def test_what_is_attached_is_taken_in_once(self, box, instrument):
        put(
            box,
            letter(address_of(instrument, box), ("a.csv", table(7.0)), ("b.json", b'[{"n":"alk","v":8.1}]')),
        )

        assert empty_mailbox(mailbox=box, at=timezone.now()) == {"taken": 1, "left": 0}
        assert empty_mailbox(mailbox=box, at=timezone.now()) == {"taken": 0, "left": 0}

        assert Reading.objects.count() == 4
        assert (marked(box, "SEEN"), marked(box, "FLAGGED")) == (1, 0)

    def test_an_end_between_storing_and_marking_loses_and_doubles_nothing(self, box, instrument, monkeypatch):
        put(box, letter(address_of(instrument, box), ("a.csv", table(7.0))))
        uid = imaplib.IMAP4.uid

        def breaks(line, command, *given):
            if command == "STORE":
                raise OSError("the line broke")
            return uid(line, command, *given)

        with monkeypatch.context() as broken:
            broken.setattr(imaplib.IMAP4, "uid", breaks)
            with pytest.raises(NoMailbox, match="broke off"):
                empty_mailbox(mailbox=box, at=timezone.now())
        assert (Reading.objects.count(), marked(box, "UNSEEN")) == (3, 1)

        assert empty_mailbox(mailbox=box, at=timezone.now()) == {"taken": 1, "left": 0}
        assert (Reading.objects.count(), Delivery.objects.count()) == (3, 1)

    def test_what_cannot_be_used_is_left_for_a_person_and_nothing_behind_it_waits(
        self, box, instrument, monkeypatch
    ):
        monkeypatch.setattr(mailbox, "LARGEST", 20_000)
        own, other = address_of(instrument, box), address_of(make_instrument(), box)
        good = ("a.csv", table(7.0))
        put(
            box,
            letter("readings+aaaaaaaaaaaaaaaaaaaa@example.org", good),
            letter("readings@example.org", good),
            letter(own),
            letter(f"{own}, {other}", good),
            letter(own, ("picture.png", b"\x89PNG")),
            letter(own, ("big.csv", b"x" * 30_000)),
            letter(own, ("bad.csv", b"nonsense"), ("good.csv", table(8.0))),
            b"\x00\xff no letter at all",
            b"To: <\r\nSubject: mangled\r\n\r\nx",
            letter(own.upper(), ("last.csv", table(9.0))),
        )

        assert empty_mailbox(mailbox=box, at=timezone.now()) == {"taken": 1, "left": 9}

        assert sorted(Reading.objects.values_list("value", flat=True)) == [8.0, 8.1, 8.2, 9.0, 9.1, 9.2]
        assert (marked(box, "FLAGGED"), marked(box, "UNSEEN")) == (9, 0)
        reasons = [row.answer["refused"] for row in Delivery.objects.filter(state="refused")]
        assert sorted(reason.split(":")[0] for reason in reasons) == ["bad.csv", "picture.png"]

    def test_an_instrument_out_of_use_has_no_address_any_more(self, box, instrument):
        put(box, letter(address_of(instrument, box), ("a.csv", table(7.0))))
        instrument.equipment.retired_on = timezone.now().date()
        instrument.equipment.save()

        assert empty_mailbox(mailbox=box, at=timezone.now()) == {"taken": 0, "left": 1}
        assert Reading.objects.count() == 0

    def test_a_wrong_password_or_folder_is_said(self, box):
        for wrong in (
            mailbox.Mailbox(False, box.host, box.port, box.user, "other", "INBOX"),
            mailbox.Mailbox(False, box.host, box.port, box.user, box.password, 'no "such'),
        ):
            with pytest.raises(NoMailbox, match="did not let us in"):
                empty_mailbox(mailbox=wrong, at=timezone.now())


@pytest.mark.django_db
def test_a_mailbox_that_is_away_is_said_on_the_page_and_the_address_stands_with_the_instrument(
    instrument, settings
):

    settings.IMAP = "imaps://readings%40example.org:x@127.0.0.1:9/INBOX"
    make_business()
    browser = Browser()
    browser.force_login(make_owner())
    run(str(ask(kind="mailbox", key="mailbox:1", args={}, at=timezone.now()).pk))

    assert "The mailbox was not reached" in browser.get("/instruments/").content.decode()
    page = browser.get(f"/instruments/{instrument.pk}/").content.decode()
    assert address_of(instrument, mailbox_of(settings.IMAP)) in page

    settings.IMAP = ""
    assert look(None) == {}
    assert "The mailbox" not in browser.get("/instruments/").content.decode()
    assert "By letter" not in browser.get(f"/instruments/{instrument.pk}/").content.decode()


@pytest.mark.django_db
def test_the_tag_is_the_instruments_own_and_the_installations(instrument, settings):
    box = mailbox_of("imaps://readings@example.org@mail.example.org")
    first, other = address_of(instrument, box), address_of(make_instrument(), box)
    settings.SECRET_KEY = "another installation"

    assert first.startswith("readings+") and first.endswith("@example.org")
    assert len({first, other, address_of(instrument, box)}) == 3
    assert (box.port, box.secure, box.folder) == (993, True, "INBOX")


@pytest.mark.parametrize(
    "wrong", ["", "imaps://mail.example.org", "http://a:b@c/", "imaps://a:b@c:99999999/"]
)
def test_a_setting_that_is_none_is_said(wrong):
    with pytest.raises(NoMailbox, match="is written"):
        mailbox_of(wrong)


@pytest.mark.parametrize(
    "raw",
    [
        b"To: <\r\n\r\nx",
        b"To: .:\r\n\r\nx",
        b"To: \r\n .[\r\n\r\nx",
        b"To: ?=\\=?utf-8?q?@[\r\n \r\n\r\nx",
    ],
)
def test_a_mangled_letter_is_refused_and_breaks_nothing(raw):
    with pytest.raises(NotRead, match="cannot be taken apart"):
        read_letter(raw)


@pytest.mark.parametrize("raw", [b"", b"\xff\xfe", b"To: " + b"+a@" * 5000, b"Content-Type: multipart/mixed; boundary=a\r\n\r\n--a\r\nContent-Transfer-Encoding: base64\r\nContent-Disposition: attachment; filename=a.csv\r\n\r\n!!\r\n--a--",
                                 b"Content-Type: text/plain; charset=nonsense\r\nContent-Disposition: attachment; filename*=nonsense''%ff\r\n\r\nx"])  # fmt: skip
def test_a_letter_of_any_kind_is_read_or_refused(raw):
    try:
        letter = read_letter(raw)
    except NotRead as wrong:
        assert "cannot be taken apart" in str(wrong)
    else:
        assert letter.tags == ()
