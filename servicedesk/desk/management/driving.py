"""A house of its own for a bench: a fresh database and folder, a fleet with passes, the real process tree in front of it, and senders that
keep to a timetable.

`python -m servicedesk.desk.management.driving make N` fills the database that the surroundings name; `… count` says what is stored."""

import contextlib
import http.client
import json
import os
import shutil
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.cookies import SimpleCookie
from itertools import count
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit, urlunsplit

PASSWORD = "a bench under the willow"
OWNER = "bench@tankround.invalid"
A_SITE = 10
DOOR = "/api/v1/deliveries/"
READY_S, SENDERS = 90.0, 48


def make(number: int) -> dict[str, Any]:
    """A business with so many instruments of alkalinity, one at each tank; an owner; the passes."""
    from django.core.management import call_command  # noqa: PLC0415  these need a Django that is set up
    from django.utils import timezone  # noqa: PLC0415

    from clients.models import Client, Equipment, Site, Tank  # noqa: PLC0415
    from servicedesk.instruments.actions import make_token  # noqa: PLC0415
    from servicedesk.instruments.models import Instrument, Measure  # noqa: PLC0415
    from servicedesk.staff.models import Business, User  # noqa: PLC0415
    from servicedesk.water import actions as water  # noqa: PLC0415
    from servicedesk.water.models import Method  # noqa: PLC0415

    call_command("migrate", interactive=False, verbosity=0)
    Business.objects.update_or_create(only=True, defaults={"name": "Bench"})
    User.objects.create_user(role="owner", email=OWNER, name="Owner", password=PASSWORD)
    client, now = Client.objects.create(name="bench"), timezone.now()
    method = Method.objects.create(parameter="alkalinity", name="bench", kind="titrator", tolerance_rel=0.05)
    passes, tank = [], None
    for n in range(number):
        if n % A_SITE == 0:
            site = Site.objects.create(client=client, name=f"Site {n // A_SITE}")
        tank = Tank.objects.create(
            site=site, name=f"Tank {n}", water_type="reef_mixed", gross_l=500, net_l=400
        )
        water.set_default_bands(tank=tank)
        equipment = Equipment.objects.create(site=site, tank=tank, name=f"box {n}", kind="instrument")
        instrument = Instrument.objects.create(equipment=equipment, tank=tank, mqtt_name=f"box{n}")
        Measure.objects.create(
            instrument=instrument, parameter="alkalinity", sent_name="alk", unit="dKH", method=method
        )
        passes.append(make_token(instrument=instrument, at=now)[1])
    return {"passes": passes, "tank": str(tank.pk) if tank else ""}


def stored() -> dict[str, Any]:
    """How many readings there are, how many different ones, and when the last pack came (Unix seconds)."""
    from servicedesk.instruments.models import Delivery  # noqa: PLC0415
    from servicedesk.water.models import Reading  # noqa: PLC0415

    rows = Reading.objects.all()
    last = Delivery.objects.order_by("-received_at").values_list("received_at", flat=True).first()
    return {
        "readings": rows.count(),
        "different": rows.values("series", "at", "seq").distinct().count(),
        "last": last.timestamp() if last else 0.0,
    }


def free_port() -> int:
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


@contextlib.contextmanager
def own_database() -> Iterator[str]:
    """The address of an empty database beside the one that is named, gone afterwards; "" for SQLite."""
    from django.conf import settings  # noqa: PLC0415
    from django.db import connection  # noqa: PLC0415

    if not settings.DATABASE_URL:
        yield ""
        return
    name = f"tankround_bench_{os.getpid()}_{uuid.uuid4().hex[:6]}"
    with connection.cursor() as cursor:
        cursor.execute(f'CREATE DATABASE "{name}"')
    try:
        yield urlunsplit(urlsplit(settings.DATABASE_URL)._replace(path=f"/{name}"))
    finally:
        with connection.cursor() as cursor:
            cursor.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')


class Driven:
    """The process tree over its own data, and what is known of it."""

    def __init__(self, var: Path, database: str, *, number: int, given: dict[str, str] | None = None) -> None:
        from django.conf import settings  # noqa: PLC0415

        self.port = free_port()
        self.env = {
            **os.environ,
            "TANKROUND_VAR": str(var),
            "DATABASE_URL": database,
            "DJANGO_SETTINGS_MODULE": "servicedesk.settings.prod",
            "TANKROUND_NO_BOOTSTRAP": "1",
            "PYTHONPATH": str(settings.ROOT),
            **(given or {}),
        }
        self.root = settings.ROOT
        made = self._asked("make", str(number))
        self.passes: list[str] = made["passes"]
        self.tank: str = made["tank"]
        words = [sys.executable, str(self.root / "manage.py"), "start", "--port", str(self.port)]
        self.log = (var / "said").open("w")
        self.tree = subprocess.Popen(words, env=self.env, cwd=self.root, stdout=self.log, stderr=self.log)
        self._wait()
        self.cookie = sign_in(self.port)

    def _asked(self, *words: str) -> Any:
        order = [sys.executable, "-m", "servicedesk.desk.management.driving", *words]
        said = subprocess.run(
            order, env=self.env, cwd=self.root, stdout=subprocess.PIPE, text=True, check=True
        )
        return json.loads(said.stdout)

    def _wait(self) -> None:
        until = time.monotonic() + READY_S
        while time.monotonic() < until:
            with contextlib.suppress(OSError, http.client.HTTPException):
                if asked(self.port, "GET", "/sign-in/")[0] == 200:
                    return
            if self.tree.poll() is not None:
                break
            time.sleep(0.2)
        raise SystemExit(f"The house does not answer: {Path(self.log.name).read_text()[-2000:]}")

    def stored(self) -> dict[str, Any]:
        found: dict[str, Any] = self._asked("count")
        return found

    def end(self) -> None:
        self.tree.send_signal(signal.SIGINT)
        try:
            self.tree.wait(20)
        except subprocess.TimeoutExpired:
            self.tree.kill()
            self.tree.wait()
        self.log.close()


@contextlib.contextmanager
def driven(*, number: int, given: dict[str, str] | None = None) -> Iterator[Driven]:
    """A house with so many instruments, ended and thrown away afterwards."""
    var = Path(tempfile.mkdtemp(prefix="tankround-bench-"))
    try:
        with own_database() as database:
            house = Driven(var, database, number=number, given=given)
            try:
                yield house
            finally:
                house.end()
    finally:
        shutil.rmtree(var, ignore_errors=True)


def asked(
    port: int, method: str, path: str, body: bytes = b"", headers: dict[str, str] | None = None
) -> tuple[int, bytes, SimpleCookie]:
    """One request on a line of its own."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    with contextlib.closing(line):
        line.request(method, path, body or None, headers or {})
        answer = line.getresponse()
        cookies = SimpleCookie()
        for value in answer.headers.get_all("Set-Cookie") or []:
            cookies.load(value)
        return answer.status, answer.read(), cookies


def sign_in(port: int) -> dict[str, str]:
    """The owner's cookies."""
    token = asked(port, "GET", "/sign-in/")[2]["csrftoken"].value
    form = urlencode({"username": OWNER, "password": PASSWORD, "csrfmiddlewaretoken": token}).encode()
    kind = {"Content-Type": "application/x-www-form-urlencoded", "Cookie": f"csrftoken={token}"}
    status, _said, got = asked(port, "POST", "/sign-in/", form, kind)
    if status != 302:
        raise SystemExit(f"The owner cannot sign in: {status}.")
    return {"Cookie": f"sessionid={got['sessionid'].value}"}


@dataclass
class Found:
    """What came of many requests: seconds of each from when it was due, and how often each status (0: no answer)."""

    took: list[float] = field(default_factory=list)
    statuses: Counter[int] = field(default_factory=Counter)
    seconds: float = 0.0

    @property
    def p95_ms(self) -> float:
        return 1000 * statistics.quantiles(self.took, n=20)[-1] if len(self.took) > 1 else 0.0

    @property
    def errors(self) -> int:
        """Answers that are neither taken nor “too often”."""
        return sum(n for status, n in self.statuses.items() if status not in (200, 201, 429))


Asking = Callable[[int], tuple[str, str, bytes, dict[str, str]]]


def drive(
    port: int, ask: Asking, *, number: int, rate: float | Callable[[int], float] = 0.0, senders: int = SENDERS, until: threading.Event | None = None
) -> Found:  # fmt: skip
    """Send `number` requests, so many a second whatever the answers take (or each so many seconds after the beginning as `rate` says of it), or,
    without a rate, one after the other from each sender. How long one took counts from when it was due."""
    found, numbers, lock, begun = Found(), count(), threading.Lock(), time.monotonic()

    def send() -> None:
        while True:
            n = next(numbers)
            if n >= number or (until is not None and until.is_set()):
                return
            if callable(rate):
                due = begun + rate(n)
            else:
                due = begun + n / rate if rate else time.monotonic()
            time.sleep(max(0.0, due - time.monotonic()))
            method, path, body, headers = ask(n)
            try:
                status = asked(port, method, path, body, headers)[0]
            except (OSError, http.client.HTTPException):
                status = 0
            with lock:
                found.took.append(time.monotonic() - due)
                found.statuses[status] += 1

    threads = [threading.Thread(target=send) for _n in range(senders)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    found.seconds = time.monotonic() - begun
    return found


def pack(seconds: list[float], value: float = 8.0) -> bytes:
    """A pack of readings of alkalinity at these moments (Unix seconds)."""
    return json.dumps(
        [{"n": "alk", "u": "dKH", "v": value + (n % 20) / 100, "t": t} for n, t in enumerate(seconds)]
    ).encode()


def delivery(token: str, seconds: list[float], value: float = 8.0) -> tuple[str, str, bytes, dict[str, str]]:
    way = {"Authorization": f"Bearer {token}", "Content-Type": "application/senml+json"}
    return "POST", DOOR, pack(seconds, value), way


@contextlib.contextmanager
def pages_meanwhile(house: Driven, *, a_second: float = 2.0) -> Iterator[dict[str, Found]]:
    """The tank's page and the office's first page asked again and again while something else goes on; filled in at the end."""
    over, found = threading.Event(), dict[str, Found]()
    pages = {"tank page": f"/tanks/{house.tank}/", "office page": "/today/"}

    def look(name: str, path: str) -> None:
        found[name] = drive(
            house.port, lambda n: ("GET", path, b"", house.cookie), number=10**9, rate=a_second, senders=4, until=over
        )  # fmt: skip

    threads = [threading.Thread(target=look, args=page) for page in pages.items()]
    for thread in threads:
        thread.start()
    try:
        yield found
    finally:
        over.set()
        for thread in threads:
            thread.join()


def main(words: list[str]) -> None:
    import django  # noqa: PLC0415

    django.setup()
    said = make(int(words[1])) if words[0] == "make" else stored()
    print(json.dumps({**said, "at": datetime.now(UTC).isoformat()}))


if __name__ == "__main__":
    main(sys.argv[1:])
