"""Tablets and instruments over real HTTP: each writes down what it sends before it sends it, and sends it again until
it is answered. The web process is the one that the house's tree starts."""

import contextlib
import http.client
import json
import os
import queue
import threading
import time
import uuid
from datetime import UTC, datetime, timedelta
from http.cookies import SimpleCookie
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from tests.faults.conftest import House, free_port, wait_for

LINE = http.client.HTTPException, OSError


class Web:
    """The web process of one house, by the tree's own command."""

    def __init__(self, house: House) -> None:
        self.house, self.port = house, free_port()
        house.complaints = house.var / "complaints"
        house.env["TANKROUND_PORT"] = str(self.port)
        words = house.order("command", "web")[1:]
        self.words = [f"127.0.0.1:{self.port}" if word.startswith("127.0.0.1:") else word for word in words]
        self.process = house.start(self.words)
        wait_for(self.answers, why="the web does not answer")

    def answers(self) -> bool:
        with contextlib.suppress(*LINE):
            return ask(self.port, "GET", "/sign-in/", b"", {})[0] == 200
        return False

    def kill(self) -> None:
        """-9 to it and its children, then a new one."""
        self.house.stop(self.process)
        self.process = self.house.start(self.words)


def ask(
    port: int, method: str, path: str, body: bytes, headers: dict[str, str]
) -> tuple[int, bytes, SimpleCookie]:
    """One request on a line of its own."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    with contextlib.closing(line):
        line.request(method, path, body, headers)
        answer = line.getresponse()
        cookies = SimpleCookie()
        for value in answer.headers.get_all("Set-Cookie") or []:
            cookies.load(value)
        return answer.status, answer.read(), cookies


def sign_in(port: int, name: str, password: str) -> dict[str, str]:
    """The headers of somebody who has signed in by the form."""
    _status, _body, got = ask(port, "GET", "/sign-in/", b"", {})
    token = got["csrftoken"].value
    form = urlencode({"username": name, "password": password, "csrfmiddlewaretoken": token}).encode()
    kind = {"Content-Type": "application/x-www-form-urlencoded", "Cookie": f"csrftoken={token}"}
    status, _body, got = ask(port, "POST", "/sign-in/", form, kind)
    assert status == 302, status
    token, session = got["csrftoken"].value, got["sessionid"].value
    return {
        "Content-Type": "application/json",
        "Cookie": f"csrftoken={token}; sessionid={session}",
        "X-CSRFToken": token,
    }


class Senders:
    """Several senders at once. The journal holds one line per thing before it is sent and one when it was answered."""

    def __init__(self, web: Web, journal: Path) -> None:
        self.web, self.journal = web, journal.open("w")
        self.door = web.house.order("door")
        self.cookie = sign_in(web.port, *self.door["sign_in"])
        self.begun = datetime.now(UTC) - timedelta(hours=6)
        self.todo: queue.SimpleQueue[tuple[str, int]] = queue.SimpleQueue()
        self.lock = threading.Lock()
        self.answered, self.took, self.broken = 0, [], 0
        self.again_on: set[int] = set()
        self.again = 0
        self.statuses: set[int] = set()
        self.wrong: list[Any] = []
        self.threads: list[threading.Thread] = []

    def entry(self, number: int, visit: str, kind: str, **payload: Any) -> dict[str, Any]:
        at = self.begun + timedelta(seconds=number)
        rest = {"tablet": "far", "seq": number, "tablet_time": at.isoformat(), "zone": "Europe/London"}
        return {"id": str(uuid.uuid4()), "visit": visit, "kind": kind, "payload": payload, **rest}

    def written(self, kind: str, number: int) -> tuple[str, bytes, dict[str, str], str]:
        """Where to, what, how, and its name."""
        door = self.door
        if kind == "delivery":
            at = int(self.begun.timestamp()) + number
            pack = [{"n": "alkalinity", "v": round(7 + number / 1000, 3), "t": at}]
            way = {
                "Content-Type": "application/senml+json",
                "Authorization": f"Bearer {door['token']}",
            }
            return "/api/v1/deliveries/", json.dumps(pack).encode(), way, str(number)
        if kind == "reading":
            said = {"parameter": "alkalinity", "method": door["method"], "value": "7.9", "unit": "dKH"}
            made = self.entry(number, door["visit"], "reading", tank=door["tank"], **said)
        else:
            made = self.entry(number, door["closed"], "finding", text=f"Found {number}.")
        return "/api/v1/sync/", json.dumps({"entries": [made]}).encode(), self.cookie, made["id"]

    def note(self, **line: Any) -> None:
        with self.lock:
            self.journal.write(json.dumps(line) + "\n")
            self.journal.flush()
            os.fsync(self.journal.fileno())

    def send(self, kind: str, number: int) -> None:
        path, body, way, name = self.written(kind, number)
        self.note(sent=name, kind=kind)
        while True:
            began = time.monotonic()
            try:
                status, said, _cookies = ask(self.web.port, "POST", path, body, way)
                if status not in self.again_on:
                    break
                self.again += 1
                time.sleep(0.1)
            except LINE:
                self.broken += 1
                time.sleep(0.1)
        self.took.append(time.monotonic() - began)
        self.statuses.add(status)
        answer = json.loads(said) if status < 300 else said[:300].decode()
        if status >= 300 or (kind != "delivery" and answer["receipts"][0]["receipt"] == "refused"):
            self.wrong.append((kind, status, answer))
            return
        self.note(answered=name, kind=kind)
        with self.lock:
            self.answered += 1

    def work(self, pause: float) -> None:
        with contextlib.suppress(queue.Empty):
            while True:
                self.send(*self.todo.get_nowait())
                time.sleep(pause)

    def begin(self, kinds: list[str], number: int, *, at_once: int, pause: float = 0.0) -> None:
        for n in range(number):
            self.todo.put((kinds[n % len(kinds)], n))
        self.threads = [threading.Thread(target=self.work, args=[pause]) for _n in range(at_once)]
        for thread in self.threads:
            thread.start()

    def join(self, seconds: float) -> None:
        until = time.monotonic() + seconds
        for thread in self.threads:
            thread.join(max(until - time.monotonic(), 0.1))
        assert not any(thread.is_alive() for thread in self.threads), "senders still wait"

    def lines(self, word: str, kind: str) -> set[str]:
        """Names in the journal that were sent, or answered."""
        with open(self.journal.name) as kept:
            lines = [json.loads(line) for line in kept]
        return {line[word] for line in lines if word in line and line["kind"] == kind}
