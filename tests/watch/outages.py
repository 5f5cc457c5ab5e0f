"""A fleet with outages over virtual days, and an account of its own of what the watch must say of each: the oracle knows nothing of the watch's
code, only of the rule as it is written down."""

import random
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import ceil
from statistics import median_high
from uuid import UUID

from servicedesk.instruments.models import Delivery, Instrument
from servicedesk.watch import actions
from servicedesk.watch.models import Attention
from tests.factories.tanks import make_instrument, make_site, make_tank

EVERY_S = 60
LEARNED_AT_S = (3 * 60 + 45) * 60
DAY_S = 24 * 60 * 60
INTERVALS, GRACES = (10, 15, 30, 60, 120, 360), (5, 10, 20, 40)
APART_S = 3 * 60 * 60
QUIET_END_S = 8 * 60 * 60
A_SITE = 10


@dataclass
class Device:
    """One instrument: when its words come (seconds from the beginning), and what it is."""

    row: Instrument
    interval: int
    grace: int
    words: list[float]


@dataclass
class Said:
    """What became of one silence: when it was raised and when the all-clear came, None for not yet."""

    raised: float
    cleared: float | None = None


@dataclass
class Fleet:
    start: datetime
    seconds: int
    devices: list[Device] = field(default_factory=list)

    def at(self, second: float) -> datetime:
        return self.start + timedelta(seconds=second)

    def upcoming(self) -> list[tuple[float, Device]]:
        return sorted(((word, d) for d in self.devices for word in d.words), key=lambda pair: pair[0])


def words_of(chance: random.Random, interval: int, grace: int, seconds: int, a_day: float) -> list[float]:
    """When one instrument speaks: every interval, a little early or late, and not at all in an outage, of which there are so many a day. They are at least three hours apart,
    so that each is an alarm of its own, and end before the end."""
    step, late = interval * 60.0, grace * 60.0
    found, now, quiet_until = [0.0 - chance.random() * step], 0.0, 0.0
    last_end = 0.0
    end = min(QUIET_END_S, seconds / 3)
    settled = seconds - end
    while now < seconds:
        now += step + (chance.random() - 0.5) * 0.6 * min(step, late)
        limit = step + late
        if now > last_end + APART_S and now < settled and chance.random() < a_day * step / DAY_S:
            length = min(limit * chance.choice((0.3, 0.7, 0.95, 1.05, 1.5, 3, 10)), 3.0 * DAY_S)
            quiet_until = last_end = min(now + length, settled + end / 2)
        if now >= quiet_until and now < seconds:
            found.append(now)
    return found


def make_fleet(chance: random.Random, number: int, days: float, start: datetime, *, a_day: float) -> Fleet:
    fleet = Fleet(start, int(days * DAY_S))
    site = make_site()
    for n in range(number):
        site = make_site() if n % A_SITE == 0 else site
        interval, grace = chance.choice(INTERVALS), chance.choice(GRACES)
        words = words_of(chance, interval, grace, fleet.seconds, a_day)
        row = make_instrument(
            make_tank(site),
            interval_minutes=interval,
            grace_minutes=grace,
            last_contact_at=fleet.at(words[0]),
        )
        fleet.devices.append(Device(row, interval, grace, words))
    return fleet  # fmt: skip


def limit_by_rule(device: Device, until: float) -> float:
    """Seconds of silence that are not usual any more, by the rule: interval and grace; once twenty gaps are known (of the last 400), the middle gap
    and grace, but never under a quarter over the gap that 99 of 100 do not exceed. In whole minutes."""
    heard = device.words[1 : bisect_right(device.words, until)][
        -401:
    ]  # the first word was before anybody kept it
    gaps = sorted((b - a) / 60 for a, b in zip(heard, heard[1:], strict=False))
    if len(gaps) < 20:
        return 60.0 * (device.interval + device.grace)
    rare = gaps[ceil(0.99 * len(gaps)) - 1]
    return 60.0 * round(max(median_high(gaps) + device.grace, 1.25 * rare))


def expected_of(device: Device, seconds: int, looks: Callable[[float], float]) -> list[Said]:
    """When each silence of one instrument must be raised and cleared: at the first look after it was due, at the first look after the next word.
    `looks` gives the first look at or after a moment. A silence that nobody could see between two looks is none."""
    found = []
    for last, following in zip(device.words, [*device.words[1:], None], strict=True):
        end = seconds + 1.0 if following is None else following
        due = None
        limit, since = limit_by_rule(device, last_learning(last)), last
        while due is None and since <= end:
            turn = last_learning(since) + DAY_S
            moment = max(since, last + limit)
            if moment < min(end, turn):
                due = moment
            limit, since = limit_by_rule(device, min(turn, last)), turn
        if due is not None and looks(due) < end:
            found.append(Said(looks(due), None if following is None else looks(following)))
    return found


def last_learning(second: float) -> float:
    """The last time at or before a moment at which habits were learned."""
    return (second - LEARNED_AT_S) // DAY_S * DAY_S + LEARNED_AT_S


class Watching:
    """Plays the fleet and looks at it as often as `offsets` says in each minute; keeps what was raised and cleared, look by look."""

    def __init__(
        self,
        fleet: Fleet,
        *,
        look: Callable[[datetime], object] | None = None,
        offsets: tuple[float, ...] = (0.0,),
    ) -> None:
        self.fleet, self.offsets = fleet, offsets
        self.look = look or (lambda at: actions.watch_silence(at=at))
        self.said: dict[UUID, list[Said]] = defaultdict(list)
        self.open: set[UUID] = set()
        self.todo = fleet.upcoming()
        self.place = 0

    def hear(self, until: float) -> None:
        """Everything that was sent up to a moment is taken in."""
        rows = []
        while self.place < len(self.todo) and self.todo[self.place][0] <= until:
            second, device = self.todo[self.place]
            self.place += 1
            if second > 0:
                at = self.fleet.at(second)
                rows.append(
                    Delivery(
                        instrument=device.row,
                        sha256=f"{second}",
                        media_type="x",
                        body="",
                        received_at=at,
                        state="taken",
                        stored=1,
                    )
                )
                Instrument.objects.filter(pk=device.row.pk).update(last_contact_at=at)
        Delivery.objects.bulk_create(rows)

    def note(self, second: float) -> None:
        now = set(
            Attention.objects.filter(kind="silent", cleared_at__isnull=True).values_list(
                "instrument", flat=True
            )
        )
        for pk in now - self.open:
            self.said[pk].append(Said(second))
        for pk in self.open - now:
            self.said[pk][-1].cleared = second
        self.open = now

    def play(self) -> None:
        learned = last_learning(0)
        for minute in range(self.fleet.seconds // EVERY_S + 1):
            for offset in self.offsets:
                second = minute * EVERY_S + offset
                self.hear(second)
                if last_learning(second) > learned:
                    learned = last_learning(second)
                    actions.learn_habits(at=self.fleet.at(learned))
                self.look(self.fleet.at(second))
                self.note(second)

    def next_look(self, moment: float) -> float:
        minute = moment // EVERY_S * EVERY_S
        times = [minute + offset for offset in self.offsets] + [minute + EVERY_S + self.offsets[0]]
        return next(second for second in times if second > moment)

    def differences(self) -> dict[str, list[tuple[int, float]]]:
        """What was missed, false, late, or cleared at another time than it should be: number of the device and second."""
        found: dict[str, list[tuple[int, float]]] = defaultdict(list)
        for number, device in enumerate(self.fleet.devices):
            due = expected_of(device, self.fleet.seconds, self.next_look)
            said = self.said[device.row.pk]
            for one in due:
                near = [s for s in said if abs(s.raised - one.raised) <= EVERY_S]
                if len(near) != 1:
                    found["missed" if not near else "twice"].append((number, one.raised))
                elif near[0].cleared != one.cleared:
                    found["all-clear"].append((number, one.raised))
            for one in said:
                if not any(abs(one.raised - d.raised) <= EVERY_S for d in due):
                    found["false"].append((number, one.raised))
        return dict(found)

    def outages(self) -> int:
        return sum(len(expected_of(d, self.fleet.seconds, self.next_look)) for d in self.fleet.devices)
