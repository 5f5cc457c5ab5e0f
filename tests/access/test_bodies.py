"""P9 and P22 for each door of the instruments by itself: generated bodies by HTTPS in each tongue, by topic, as files, as letters and as answers
to being asked. Nothing ends in an error that nobody foresaw, and afterwards every page still answers."""

from contextlib import suppress
from email.message import EmailMessage

import pytest
from django.utils import timezone
from rest_framework.exceptions import ParseError

from servicedesk.instruments.actions import mailbox, pulls
from servicedesk.instruments.actions.files import TONGUES as ENDS
from servicedesk.instruments.actions.files import take_file
from servicedesk.instruments.adapters.records import NotRead
from servicedesk.instruments.management.listening import take as take_word
from servicedesk.instruments.models import Delivery, Instrument, Pull
from tests.access.test_generated import TONGUES, Doors

pytestmark = pytest.mark.django_db
MAPPINGS = [
    "alkalinity = 0.value dKH",
    "alkalinity = readings.0.value dKH\nat = readings.0.at",
    "alkalinity = value dKH",
]
FEW, MANY, RUNS = 40, 10_000, 10
"""So many bodies a door in the short form; in the long one so many a run, and so many runs."""


@pytest.fixture(autouse=True)
def patient(settings):
    """One device sends thousands of bodies here."""
    settings.DEVICE_A_MINUTE = 10**9


class Letters:
    """A mailbox with one letter in it, as far as one letter is taken out."""

    def __init__(self, raw: bytes) -> None:
        self.raw = raw

    def uid(self, _command: str, _number: str, what: str):
        sized = "SIZE" in what
        head = b"1 (RFC822.SIZE %d)" % len(self.raw)
        return ("OK", [head]) if sized else ("OK", [(head, self.raw)])


class EachDoor:
    """Puts generated bodies through one door after another."""

    def __init__(self, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
        self.doors, self.monkeypatch = Doors(seed), monkeypatch
        self.rng, self.row = self.doors.rng, self.doors.world.instrument
        Instrument.objects.filter(pk=self.row.pk).update(mqtt_name="box")
        self.row.refresh_from_db()
        self.tag = mailbox.tag_of(self.row)

    def by_https(self, tongue: str) -> None:
        answer = self.doors.instrument(tongue)
        assert answer.status_code in (200, 201, 400), (answer.status_code, answer.content[:300])

    def by_topic(self) -> None:
        body = self.doors.body(self.rng.choice(TONGUES))
        topic = self.rng.choice(["box", "box", "box", "box/status", "box/alkalinity", "nobody", "box/a/b"])
        assert take_word(topic=topic, payload=body, at=timezone.now())

    def by_file(self) -> None:
        body, end = self.doors.body(self.rng.choice(TONGUES)), self.rng.choice([*ENDS, ".doc", ""])
        with suppress(NotRead, ParseError):
            take_file(instrument=self.row, name=f"values{end}", body=body, at=timezone.now())

    def by_letter(self) -> None:
        letter, rng = EmailMessage(), self.rng
        letter["To"] = f"box+{self.tag if rng.random() < 0.95 else 'stranger'}@mail.example"
        letter.set_content("Values are attached.")
        for _n in range(rng.randint(0, 2)):
            name, body = f"values{rng.choice([*ENDS, '.doc'])}", self.doors.body(rng.choice(TONGUES))
            letter.add_attachment(body, maintype="application", subtype="octet-stream", filename=name)
        raw = bytes(letter)
        if rng.random() < 0.1:  # a byte on the way
            place = rng.randrange(len(raw))
            raw = raw[:place] + bytes([rng.randrange(256)]) + raw[place + 1 :]
        taken = mailbox._take(Letters(raw), "1", {self.tag: self.row}, timezone.now())
        assert taken in (True, False)

    def by_asking(self) -> None:
        shape, tongue = self.rng.choice(
            [("json", "application/json"), ("table", "text/csv"), ("json", "text/csv")]
        )
        body = self.doors.body(tongue)
        self.monkeypatch.setattr(pulls, "fetch", lambda *_given, **_named: body)
        Pull.objects.filter(instrument=self.row).delete()
        row = Pull.objects.create(
            instrument=self.row, url="http://box.example/", shape=shape, mapping=self.rng.choice(MAPPINGS), every_minutes=60
        )  # fmt: skip
        made = pulls.pull(row=row, at=timezone.now())
        row.refresh_from_db()
        assert (made is None) == bool(row.failed)

    def one(self, door: str) -> None:
        if door in TONGUES:
            self.by_https(door)
        else:
            getattr(self, door)()


DOORS = [*TONGUES, "by_topic", "by_file", "by_letter", "by_asking"]


def put_through(
    seed: int, monkeypatch: pytest.MonkeyPatch, doors: list[str], cases: int, readers: list[str] | None = None
) -> None:
    each = EachDoor(seed, monkeypatch)
    for door in doors:
        before = Delivery.objects.count()
        for number in range(cases):
            state = each.rng.getstate()
            try:
                each.one(door)
            except Exception as wrong:
                each.rng.setstate(state)
                pytest.fail(f"{door}, case {number} of seed {seed}: {wrong!r}")
        assert Delivery.objects.count() > before, f"nothing of {door} was taken in"
    assert each.doors.broken_pages(readers) == []


@pytest.mark.slow  # many bodies
def test_generated_bodies_through_each_door_of_instruments_break_nothing(seed, monkeypatch):
    put_through(seed, monkeypatch, DOORS, FEW, ["owner"])


@pytest.mark.long
@pytest.mark.parametrize("run", range(RUNS))
@pytest.mark.parametrize("door", DOORS)
def test_a_hundred_thousand_generated_bodies_through_one_door(seed, monkeypatch, door, run):
    put_through(seed, monkeypatch, [door], MANY)


def test_what_nobody_foresaw_is_seen(monkeypatch):
    def breaks(**_given):
        raise RuntimeError("planted")

    monkeypatch.setattr("tests.access.test_bodies.take_file", breaks)
    with pytest.raises(pytest.fail.Exception, match="by_file, case 0 of seed 5: RuntimeError"):
        put_through(5, monkeypatch, ["by_file"], 3)
