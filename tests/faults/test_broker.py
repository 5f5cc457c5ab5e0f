"""A real MQTT broker: readings published while the listener is killed and the broker restarted are there, each once."""

import contextlib
import json
import shutil
import socket
import sqlite3
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.faults.conftest import House, Sink, free_port, wait_for

pytestmark = [
    pytest.mark.faults,
    pytest.mark.mosquitto,
    pytest.mark.slow,
]  # real processes are started and killed
READINGS, KILLS = 150, 5


class Broker:
    """A broker that keeps its sessions on disk."""

    def __init__(self, folder: Path) -> None:
        program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
        self.port, self.folder = free_port(), folder
        folder.mkdir()
        folder.chmod(0o777)
        lines = [f"listener {self.port} 127.0.0.1", "allow_anonymous true", "persistence true", f"persistence_location {folder}/",
                 "autosave_interval 1", "autosave_on_changes true", "max_queued_messages 0", "user root"]  # fmt: skip
        self.settings = folder / "broker.conf"
        self.settings.write_text("\n".join(lines) + "\n")
        self.command = [program, "-c", str(self.settings)]
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self.process = subprocess.Popen(self.command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

        def answers() -> bool:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1):
                return True
            return False

        wait_for(answers, seconds=10, why="the broker does not answer")

    def stop(self) -> None:
        assert self.process is not None
        self.process.terminate()
        self.process.wait(timeout=10)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    made = Broker(tmp_path / "broker")
    made.start()
    yield made
    made.stop()


@pytest.fixture
def served(tmp_path: Path, redis_port: int, sink: Sink) -> Iterator[House]:
    made = House(tmp_path / "house", redis_port, sink)
    yield made
    made.end()


def stored(database: Path) -> list[float]:
    with closing(sqlite3.connect(database, timeout=20)) as rows:
        return [
            row[0] for row in rows.execute("SELECT value FROM water_reading WHERE value BETWEEN 5 AND 5.2")
        ]


def published(broker: Broker, number: int, begun: float) -> None:
    """One reading, acknowledged by the broker (quality 1)."""
    client = mqtt.Client(
        CallbackAPIVersion.VERSION2, client_id="device", protocol=mqtt.MQTTv311, clean_session=True
    )
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    body = json.dumps([{"n": "alk", "u": "dKH", "v": 5 + number / 1000, "t": begun + number}])
    client.publish("tankround/box", body, qos=1).wait_for_publish(10)
    client.disconnect()
    client.loop_stop()


def until(what: Callable[[], bool], why: str) -> None:
    wait_for(what, seconds=40, why=why)


def test_every_acknowledged_reading_is_there_once_whatever_dies(served: House, broker: Broker) -> None:
    served.order("on_the_broker", "box")
    served.env["TANKROUND_MQTT"] = f"mqtt://127.0.0.1:{broker.port}"
    listen = ["manage.py", "listen"]
    listener, begun = served.start(listen), time.time() - 3600
    time.sleep(3)  # the first session must be made before anything is published
    for number in range(READINGS):
        if number and number % (READINGS // (KILLS + 1)) == 0:
            served.stop(listener)
            listener = served.start(listen)
        if number == READINGS // 2:
            broker.stop()
            broker.start()
        published(broker, number, begun)
    if listener.poll() is not None:
        listener = served.start(listen)

    until(lambda: len(set(stored(served.database))) == READINGS, "readings are missing")

    values = stored(served.database)
    assert len(values) == len(set(values)) == READINGS
    assert sorted(round((value - 5) * 1000) for value in values) == list(range(READINGS))
