"""The far side of the fault tests: a process with the house's real settings and an own data folder.

`python -m tests.faults.stage` reads one order a line from its input and answers one line of JSON. Other words run one
part: `writer`, `ticker`, `claimer`."""

import json
import os
import sys
import time
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

import django

django.setup()

from django.core.management import call_command  # noqa: E402  after the set-up
from django.db import OperationalError, transaction  # noqa: E402
from django.utils import timezone  # noqa: E402

from clients.models import Tank  # noqa: E402
from reports.models import Report  # noqa: E402
from servicedesk.desk.management.serving import children, prepare_files  # noqa: E402
from servicedesk.dispatch import actions, jobs  # noqa: E402
from servicedesk.dispatch.models import Job, Message  # noqa: E402
from servicedesk.instruments.actions import make_token  # noqa: E402
from servicedesk.staff.models import User  # noqa: E402
from servicedesk.visits.models import Visit  # noqa: E402
from servicedesk.watch import actions as watch  # noqa: E402
from servicedesk.water import actions as water  # noqa: E402
from tests.factories.people import PASSWORD, make_business, make_owner, make_technician  # noqa: E402
from tests.factories.reported import STEADY, VISIT_AT, hotel, make_reef, past_visit  # noqa: E402
from tests.factories.stops import make_stop  # noqa: E402
from tests.factories.tanks import make_contact, make_instrument, make_measure, make_site  # noqa: E402
from tests.factories.visited import Journey  # noqa: E402
from tests.faults import kinds  # noqa: E402, F401  registers the tests' own work

EARLIEST_DAYS = 400
MOVED_FROM = datetime(2027, 1, 1, 6, 0, tzinfo=UTC)


def say(answer: Any) -> None:
    sys.stdout.write(json.dumps(answer, default=str) + "\n")
    sys.stdout.flush()


def setup() -> dict[str, Any]:
    """A business with one reef and its first visit; the first report waits for the owner's word, later ones go."""
    call_command("migrate", interactive=False, verbosity=0)
    make_business()
    make_owner()
    client = hotel()
    make_contact(client, email="front.desk@example.org")
    reef = make_reef(make_site(client))
    past_visit(reef, technician=make_technician(), days=EARLIEST_DAYS)
    return {"tanks": Tank.objects.count()}


def close(day: int) -> dict[str, Any]:
    """A visit of everyday results is closed; says which work that asked for."""
    at = VISIT_AT - timedelta(days=EARLIEST_DAYS - 1 - day)
    technician = User.objects.get(role="technician")
    journey = Journey(Tank.objects.get(), technician=technician, at=at)
    for parameter, value in STEADY.items():
        journey.read(Tank.objects.get(), parameter, value)
    visit: Visit = journey.close()
    return {"job": Job.objects.get(key=f"report:{visit.pk}:1").pk}


def on_the_broker(name: str) -> dict[str, Any]:
    """An instrument of alkalinity that publishes under this name."""
    instrument = make_instrument(Tank.objects.get(), mqtt_name=name)
    make_measure(instrument, "alkalinity", sent_name="alk", unit="dKH")
    return {"instrument": instrument.pk}


def heal() -> dict[str, Any]:
    """Move the time of all leases and pauses into the past, as if the holder had been gone for long."""
    past = timezone.now() - timedelta(seconds=1)
    Job.objects.filter(state="running").update(lease_until=past)
    Job.objects.filter(state="queued").update(not_before=None)
    Job.objects.update(rung_at=None)
    Message.objects.filter(state__in=["sending", "unsure"]).update(lease_until=past)
    Message.objects.filter(state="queued").update(not_before=None)
    return {}


def tick() -> dict[str, Any]:
    jobs.tick_once(at=timezone.now())
    return {}


def look(job: str) -> dict[str, Any]:
    row = Job.objects.get(pk=job)
    letters = Message.objects.filter(job=row)
    return {
        "state": row.state,
        "attempt": row.attempt,
        "error": row.error,
        "reports": Report.objects.filter(job=row.pk).count(),
        "letters": [
            {"id": m.message_id, "state": m.state, "tries": m.tries, "error": m.error} for m in letters
        ],
    }


def ask(kind: str, number: int) -> dict[str, Any]:
    made = [
        actions.ask(kind=kind, key=f"{kind}:{uuid.uuid4()}", args={}, at=timezone.now())
        for _n in range(number)
    ]
    return {"jobs": [job.pk for job in made]}


def states() -> dict[str, Any]:
    return {str(job.pk): [job.kind, job.state, job.attempt, job.error] for job in Job.objects.all()}


def door() -> dict[str, Any]:
    """What a tablet and an instrument need to write: a sign-in, today's stop, a closed one, a pass."""
    technician, tank = User.objects.get(role="technician"), Tank.objects.get()
    instrument = make_instrument(tank)
    make_measure(instrument)
    return {
        "sign_in": [technician.email, PASSWORD],
        "visit": str(make_stop(technician, tank).pk),
        "closed": str(Visit.objects.filter(state="closed").earliest("closed_at").pk),
        "tank": str(tank.pk),
        "method": str(tank.tests.get(parameter="alkalinity").method_id),
        "token": make_token(instrument=instrument, at=timezone.now())[1],
    }


def detector() -> None:
    """Judge and look for silence without pause; says how often it did."""
    for number in count(1):
        watch.sweep(at=timezone.now())
        watch.watch_silence(at=timezone.now())
        if number % 20 == 0:
            say({"looked": number})
        time.sleep(0.02)


def command(name: str) -> list[str]:
    """How the house's own process tree starts one of its children."""
    if name == "web":
        prepare_files()
    port = int(os.environ.get("TANKROUND_PORT", "0"))
    return next(child.command for child in children(port) if child.name == name)


def writer(number: str, times: str) -> None:
    """Write readings and ask for work in one transaction each; name each only after its commit."""
    tank = Tank.objects.get()
    method = tank.tests.get(parameter="alkalinity").method
    at = timezone.now() - timedelta(days=1)
    for n in range(int(times)):
        origin = uuid.uuid4()
        try:
            with transaction.atomic():
                water.record_reading(
                    tank=tank,
                    parameter="alkalinity",
                    method=method,
                    source=water.by_hand(),
                    at=at + timedelta(seconds=n, milliseconds=int(number)),
                    entered="7.9",
                    unit="dKH",
                    seq=0,
                    by=None,
                    origin=origin,
                    part=0,
                    received_at=timezone.now(),
                )
                actions.ask(kind="quick", key=f"writer:{origin}", args={}, at=timezone.now())
        except OperationalError as error:
            say({"locked": str(error)})
            continue
        say({"written": str(origin)})


def ticker(ticks: str) -> None:
    """Days of moved time, one tick a day."""
    jobs.DAILY.clear()
    jobs.EVERY.clear()
    jobs.daily("counted", MOVED_FROM.time())
    jobs._bell = lambda kind, key: None  # type: ignore[assignment]
    for n in range(int(ticks)):
        jobs.tick_once(at=MOVED_FROM + timedelta(days=n, minutes=1))
    say({"ticked": int(ticks)})


def claimer(wanted: str) -> None:
    """Do what waits, in whatever order, until so many are done by all together."""
    until = time.monotonic() + 90
    while time.monotonic() < until:
        waiting = list(Job.objects.filter(kind="counted", state="queued").order_by("?")[:20])
        for job in waiting:
            jobs.run(str(job.pk))
        if not waiting:
            if Job.objects.filter(kind="counted", state="done").count() >= int(wanted):
                return
            time.sleep(0.02)


ORDERS: dict[str, Callable[..., Any]] = {
    "on_the_broker": on_the_broker,
    "setup": setup,
    "close": close,
    "heal": heal,
    "tick": tick,
    "look": look,
    "ask": ask,
    "states": states,
    "command": command,
    "door": door,
}
PARTS: dict[str, Callable[..., None]] = {
    "writer": writer,
    "ticker": ticker,
    "claimer": claimer,
    "detector": detector,
}


def main() -> None:
    if len(sys.argv) > 1:
        PARTS[sys.argv[1]](*sys.argv[2:])
        return
    Path(os.environ["TANKROUND_VAR"]).mkdir(parents=True, exist_ok=True)
    for line in sys.stdin:
        order, *given = json.loads(line)
        say(ORDERS[order](*given))


if __name__ == "__main__":
    main()
