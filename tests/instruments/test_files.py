"""Files as deliveries: uploaded, or found in the inbox; taken or refused with a reason, never removed."""

import os
import time
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.instruments.actions import NotRead, empty_inbox, take_file
from servicedesk.instruments.jobs import inbox
from servicedesk.instruments.models import Delivery
from servicedesk.water.models import Reading
from tests.factories.people import make_business, make_owner
from tests.factories.tanks import make_instrument, make_measure

pytestmark = pytest.mark.django_db


@pytest.fixture
def instrument():
    instrument = make_instrument(mqtt_name="hall")
    make_measure(instrument, "alkalinity", sent_name="alk")
    return instrument


def table(rows, days=0.0):
    begun = timezone.now() - timedelta(days=days, minutes=rows)
    lines = [
        "at,name,value",
        *(f"{(begun + timedelta(minutes=n)).isoformat()},alk,{7 + n % 10 / 10:.1f}" for n in range(rows)),
    ]
    return "\n".join(lines).encode()


def put(folder, name, body, age=60):
    place = folder / "hall"
    place.mkdir(exist_ok=True, parents=True)
    path = place / name
    path.write_bytes(body)
    then = time.time() - age
    os.utime(path, (then, then))
    return path


def test_a_long_table_is_taken_in_in_parts_and_again_changes_nothing(instrument):
    body = table(2000)

    first = take_file(instrument=instrument, name="log.CSV", body=body, at=timezone.now())
    again = take_file(instrument=instrument, name="log.csv", body=body, at=timezone.now())

    assert [d.pk for d in first] == [d.pk for d in again] and len(first) == 3
    assert Reading.objects.count() == 2000


@pytest.mark.parametrize(
    ("name", "body"),
    [
        ("a.json", b'{"readings":[{"name":"alk","value":8.1}]}'),
        ("a.json", b'[{"n":"alk","v":8.1}]'),
        ("a.senml", b'[{"n":"alk","v":8.1}]'),
        ("a.cbor", b"\x81\xa2\x00\x63alk\x02\x08"),
    ],
)
def test_a_file_is_read_by_the_end_of_its_name(instrument, name, body):
    take_file(instrument=instrument, name=name, body=body, at=timezone.now())

    assert Reading.objects.count() == 1


def test_what_is_too_large_or_of_another_kind_is_refused(instrument):
    for name, body, words in (
        ("a.csv", b"x" * (4 * 1024 * 1024 + 1), "at most 4 MB"),
        ("a.exe", b"MZ", "Files end in"),
    ):
        with pytest.raises(NotRead, match=words):
            take_file(instrument=instrument, name=name, body=body, at=timezone.now())


def test_the_inbox_is_emptied_and_nothing_in_it_is_lost(instrument, tmp_path):
    put(tmp_path, "good.csv", table(3))
    put(tmp_path, "bad.csv", b"nonsense")
    put(tmp_path, "huge.csv", b"x" * (4 * 1024 * 1024 + 1))
    put(tmp_path, "fresh.csv", table(2), age=0)
    put(tmp_path, ".hidden.csv", table(2))
    (tmp_path / "hall" / "link.csv").symlink_to("/etc/hostname")
    (tmp_path / "nobody").mkdir()
    (tmp_path / "nobody" / "x.csv").write_bytes(table(1))

    assert empty_inbox(folder=tmp_path, at=timezone.now()) == {"taken": 1, "refused": 2}

    assert Reading.objects.count() == 3
    place = tmp_path / "hall"
    assert len(list((place / "taken").iterdir())) == 1
    reasons = [path.read_text() for path in (place / "refused").glob("*.why.txt")]
    assert len(reasons) == 2 and any("at most 4 MB" in reason for reason in reasons)
    assert sorted(path.name for path in place.iterdir() if path.is_file() or path.is_symlink()) == [
        ".hidden.csv",
        "fresh.csv",
        "link.csv",
    ]
    assert (tmp_path / "nobody" / "x.csv").exists()


def test_two_files_of_one_name_lie_beside_each_other(instrument, tmp_path):
    now = timezone.now()
    for n in range(3):
        put(tmp_path, "log.csv", table(2 + n))
        empty_inbox(folder=tmp_path, at=now)

    assert len(list((tmp_path / "hall" / "taken").iterdir())) == 3


def test_without_an_inbox_there_is_nothing_to_do(tmp_path, settings):
    settings.INBOX = tmp_path / "none"
    assert inbox(None) == {"taken": 0, "refused": 0}


def test_the_office_uploads_history_and_reads_what_was_wrong(instrument):
    make_business()
    browser = Browser()
    browser.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")
    address = f"/instruments/{instrument.pk}/file/"

    def upload(name, body, **given):
        return browser.post(
            address, {"file": SimpleUploadedFile(name, body), **given}, follow=True
        ).content.decode()

    assert "5 values stored, 0 held apart." in upload("old.csv", table(5, days=400), history="on")
    assert Reading.objects.filter(flags=0).count() == 5
    assert "Files end in one of these" in upload("old.exe", b"MZ")
    assert "This is not JSON" in upload("a.json", b"[nonsense")
    assert "first line names the columns" in upload("a.csv", b"x")
    assert browser.post(address, {}).status_code == 200
    assert Delivery.objects.count() == 1
