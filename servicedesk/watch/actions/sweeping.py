"""The sweep: every tank with news is claimed and judged."""

from dataclasses import replace
from datetime import datetime, timedelta
from time import sleep

from django.db import transaction

from clients.models import Tank
from servicedesk.dosing.queries import channels_of
from servicedesk.instruments.queries import measures_of
from servicedesk.instruments.queries.mixing import mixing_of
from servicedesk.watch.actions.containers import judge_bottles, judge_containers
from servicedesk.watch.actions.devices import judge_devices
from servicedesk.watch.actions.foreseen import judge_foreseen
from servicedesk.watch.actions.rows import rows_known
from servicedesk.watch.actions.silence import watch_silence
from servicedesk.watch.actions.values import judge_doubted, judge_speed, judge_value, settled
from servicedesk.watch.models import Awake
from servicedesk.watch.queries import Newest, looked, newest_of
from servicedesk.water.models import Touched
from servicedesk.water.queries import bands_of

DOSES_KNOWN = timedelta(days=7)
"""What came before a dose was mixed in is looked for so far back."""


@transaction.atomic
def judge_tank(*, tank: Tank, at: datetime, since: datetime | None = None) -> None:
    """Judge one tank's instruments first, since they say what is believed, then its newest values, containers and bottles. `since` is the
    earliest of its news: what hangs on nothing newer is not judged anew; None judges everything."""
    with rows_known(tank):
        _judge(tank, at, since)


def _judge(tank: Tank, at: datetime, since: datetime | None) -> None:
    bands, measures, channels = bands_of(tank), list(measures_of([tank])), list(channels_of([tank]))
    mixing = mixing_of(tank, measures, since=at - DOSES_KNOWN, until=at)
    judge_devices(tank, measures, at, since)
    found = newest_of(tank, at, mixing)
    for parameter, band in bands.items():
        newest = found.get(parameter, Newest())
        newest = replace(
            newest,
            believed=newest.believed and settled(tank, newest.believed, band, mixing),
            in_doubt=newest.in_doubt and settled(tank, newest.in_doubt, band, mixing),
        )
        told = judge_value(tank, parameter, newest, band, at)
        judge_doubted(tank, parameter, newest, band, told=told, at=at)
        judge_speed(tank, newest.believed, band, at, mixing)
    latest = {parameter: n.believed for parameter, n in found.items() if n.believed}
    judge_containers(tank, channels, latest, bands, at)
    judge_bottles(tank, measures, at)
    judge_foreseen(tank, bands, measures, channels, at, mixing)


def sweep(*, at: datetime, pause_s: float = 0.0) -> int:
    """Claim every tank with news and judge it; how many. A tank touched again meanwhile stays for the next sweep. `pause_s` lets others write between
    two tanks, where the database has one writer (SQLite): they would else wait for the whole sweep."""
    done = 0
    for tank_id, since in list(Touched.objects.order_by("since", "pk").values_list("tank", "since")[:500]):
        tank = Tank.objects.select_related("site").get(pk=tank_id)
        with transaction.atomic():
            if not Touched.objects.filter(tank=tank, since=since).delete()[0]:
                continue
            judge_tank(tank=tank, at=at, since=since)
        done += 1
        sleep(pause_s)
    return done


def wake(*, at: datetime) -> bool:
    """Say that the watch looks again after a pause of its own, where there was one: nobody was silent meanwhile that we know of."""
    last = looked(now=at)
    if last.at is None or not last.stale:
        return False
    Awake.objects.create(at=at)
    return True


def look(*, at: datetime, pause_s: float = 0.0) -> dict[str, int]:
    """One look at everything: how many tanks with news were judged, how many instruments are silent."""
    return {"judged": sweep(at=at, pause_s=pause_s), "silent": len(watch_silence(at=at))}
