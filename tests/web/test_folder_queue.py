"""A message in the folder is there whole or not at all, so that no reader ends a worker over half of one."""

import os
from pathlib import Path
from queue import Empty
from threading import Thread

import pytest
from kombu import Connection

from servicedesk.celery import app
from servicedesk.web import folder_queue


@pytest.fixture
def channel(tmp_path: Path):
    folders = {"data_folder_in": str(tmp_path), "data_folder_out": str(tmp_path)}
    connection = Connection(transport=folder_queue.Transport, transport_options=folders)
    yield connection.default_channel
    connection.release()


def test_the_queue_of_the_program_is_this_one() -> None:
    with app.connection_for_write("filesystem://localhost") as connection:
        assert connection.get_transport_cls() is folder_queue.Transport


def test_a_message_that_is_still_being_written_is_not_there(channel, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = []
    rename = os.replace

    def slowly(beside: Path, whole: Path) -> None:
        with pytest.raises(Empty):
            channel._get("bell")
        seen.append(Path(beside).read_text())
        rename(beside, whole)

    monkeypatch.setattr(os, "replace", slowly)
    channel._put("bell", {"id": 7})

    assert seen == ['{"id": 7}']
    assert channel._get("bell") == {"id": 7}


def test_a_reader_beside_a_busy_writer_meets_every_message_once_and_no_half_one(channel) -> None:
    count = 300
    writer = Thread(target=lambda: [channel._put("bell", {"id": number}) for number in range(count)])
    writer.start()
    found = []
    while writer.is_alive() or len(found) < count:
        try:
            found.append(channel._get("bell")["id"])
        except Empty:
            if not writer.is_alive():
                break
    writer.join()

    assert sorted(found) == list(range(count))
