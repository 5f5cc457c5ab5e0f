"""Packs of readings through the real doors, HTTP and MQTT, and what pages take meanwhile."""

import contextlib
import json
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from servicedesk.desk.management.driving import (
    Driven,
    Found,
    delivery,
    drive,
    driven,
    free_port,
    pack,
    pages_meanwhile,
)

INSTRUMENTS, SENDERS = 20, 4
BEGINS_WITHIN_S, ALL_WITHIN_S, LOOK_EVERY_S = 20.0, 600.0, 3.0
SINCE_S = 60 * 24 * 3600.0


def moments(n: int, rows: int, begun: float) -> list[float]:
    """Of the nth pack: each instrument's in turn, minute by minute, none twice."""
    start = begun + 60.0 * rows * (n // INSTRUMENTS)
    return [start + 60 * k for k in range(rows)]


@contextlib.contextmanager
def broker() -> Iterator[int | None]:
    """The port of a broker of its own; None where there is none on this machine."""
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
    if program is None:
        yield None
        return
    port, folder = free_port(), Path(tempfile.mkdtemp(prefix="tankround-broker-"))
    lines = [f"listener {port} 127.0.0.1", "allow_anonymous true", "persistence false", "max_queued_messages 0"]  # fmt: skip
    (folder / "broker.conf").write_text("\n".join(lines) + "\n")
    folder.chmod(0o755)
    said = subprocess.Popen(
        [program, "-c", str(folder / "broker.conf")], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        until = time.monotonic() + BEGINS_WITHIN_S
        while time.monotonic() < until:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                break
            time.sleep(0.1)
        yield port
    finally:
        said.terminate()
        said.wait()
        shutil.rmtree(folder, ignore_errors=True)


def by_http(house: Driven, *, batches: int, rows: int) -> Found:
    """Each pack posted with its instrument's pass."""
    begun = time.time() - SINCE_S

    def one(n: int) -> Any:
        return delivery(house.passes[n % INSTRUMENTS], moments(n, rows, begun))

    return drive(house.port, one, number=batches, senders=SENDERS)


def by_mqtt(house: Driven, port: int, *, batches: int, rows: int) -> tuple[int, float]:
    """Each pack published with quality 1, thirty days on from those that were posted; how many readings were stored, and in how many seconds."""
    import paho.mqtt.client as mqtt  # noqa: PLC0415  only this door needs it
    from paho.mqtt.enums import CallbackAPIVersion  # noqa: PLC0415

    before, begun = house.stored()["readings"], time.time() - SINCE_S / 2
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="bench", protocol=mqtt.MQTTv311)
    client.connect("127.0.0.1", port)
    client.loop_start()
    since = time.time()
    for n in range(batches):
        client.publish(f"tankround/box{n % INSTRUMENTS}", pack(moments(n, rows, begun)), qos=1)
    there, last = 0, since
    while there < batches * rows and time.time() - since < ALL_WITHIN_S:
        time.sleep(LOOK_EVERY_S)
        found = house.stored()
        there, last = found["readings"] - before, found["last"]
    client.disconnect()
    client.loop_stop()
    return there, max(last - since, 0.001)


def whole_way(*, batches: int, rows: int, say: Callable[[str], object]) -> tuple[dict[str, Any], list[str]]:
    """Readings a second through both doors, p95 of two pages meanwhile; and, in sentences, what was not stored."""
    metrics: dict[str, Any] = {}
    failed = []
    with broker() as port:
        given = {"TANKROUND_MQTT": f"mqtt://127.0.0.1:{port}"} if port else {}
        with driven(number=INSTRUMENTS, given=given) as house:
            say(f"{batches * rows} readings by HTTP …")
            with pages_meanwhile(house) as pages:
                found = by_http(house, batches=batches, rows=rows)
            metrics["http_rows_per_s"] = round(rows * found.statuses[201] / found.seconds)
            metrics |= {f"http: {name} p95 ms": round(page.p95_ms, 1) for name, page in pages.items()}
            if house.stored()["readings"] != rows * batches or found.errors:
                failed.append(
                    f"By HTTP {house.stored()['readings']} of {rows * batches} are stored: {dict(found.statuses)}."
                )
            if port is None:
                say("There is no mosquitto on this machine: MQTT is left out.")
                return metrics, failed
            say(f"{batches * rows} readings by MQTT …")
            with pages_meanwhile(house) as pages:
                there, took = by_mqtt(house, port, batches=batches, rows=rows)
            metrics["mqtt_rows_per_s"] = round(there / took)
            metrics |= {f"mqtt: {name} p95 ms": round(page.p95_ms, 1) for name, page in pages.items()}
            if there != rows * batches:
                failed.append(f"By MQTT {there} of {rows * batches} are stored: {json.dumps(metrics)}.")
    return metrics, failed
