"""What the pumps are set to, what is left in their containers, and when those run empty."""

from collections.abc import Callable, Iterable
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import Q, QuerySet

from clients.models import Tank
from servicedesk.core.metrology.lines import NoLine
from servicedesk.core.tracking.uptake import Changed, Dosed, Reading, Uptake, uptake
from servicedesk.dispatch.queries import standing
from servicedesk.dosing.choices import DoseKind
from servicedesk.dosing.models import Channel, Dose, RateChange, Refill, Treatment
from servicedesk.water.queries import readings_of, water_changes_of, water_for
from servicedesk.web.prepared import DAY, KEY, KEYS, MOMENT, Slot, prepared

SECONDS_A_DAY = 86400.0


SHOWN = (
    *(
        "number",
        "container_ml",
        "step_ml",
        "max_ml_per_day",
        "driven",
        "equipment__name",
        "tank__name",
        "tank__site__name",
    ),
    *("solution__item", "solution__parameter", "solution__per_ml", "solution__per_ml_u_rel"),
    *(
        f"solution__item__{name}"
        for name in ("name", "kind", "unit", "shelf", "lead_days", "pack_size", "packs_per_box")
    ),
)


@prepared(tanks=KEYS)
def _in_use(tanks: Slot | None = None) -> QuerySet[Channel]:
    """Channels in use with what says whose they are, what they give and what fills them, and no more."""
    rows = Channel.objects.filter(retired_on__isnull=True).order_by("tank", "equipment__name", "number", "pk")
    rows = rows.filter(tank__retired_on__isnull=True) if tanks is None else rows.filter(tank__in=tanks)
    return rows.select_related("equipment", "solution__item", "tank__site").only(*SHOWN)


def channels_of(tanks: Iterable[Tank]) -> list[Channel]:
    """Channels in use at these tanks."""
    return _in_use(tanks=[t.pk for t in tanks])


def channels_in_use() -> list[Channel]:
    """Channels in use at all tanks in use."""
    return _in_use()


class Rate(NamedTuple):
    """A rate in force from a moment on, until another where it is temporary."""

    at: datetime
    ml_per_day: float
    until: datetime | None


class Filled(NamedTuple):
    """What a container held at a moment."""

    at: datetime
    ml_now: float


@prepared(channels=KEYS, at=MOMENT)
def _rates(channels: Slot, at: Slot) -> QuerySet[RateChange, tuple[Any, ...]]:
    rows = standing(RateChange.objects.filter(channel__in=channels, at__lte=at)).order_by("at", "pk")
    return rows.values_list("channel", *Rate._fields)


@prepared(channels=KEYS, at=MOMENT)
def _refills(channels: Slot, at: Slot) -> QuerySet[Refill, tuple[Any, ...]]:
    rows = standing(Refill.objects.filter(channel__in=channels, at__lte=at)).order_by("at", "pk")
    return rows.values_list("channel", *Filled._fields)


LONGEST_FILL = timedelta(days=200)
USUAL_DAYS = 7.0
"""What a driven channel gave in the last week is what it will give (common practice)."""


@prepared(channels=KEYS, since=MOMENT, at=MOMENT)
def _commanded(channels: Slot, since: Slot, at: Slot) -> QuerySet[Dose, tuple[Any, ...]]:
    rows = Dose.objects.filter(channel__in=channels, kind=DoseKind.COMMANDED, at__gt=since, at__lte=at)
    return standing(rows).order_by("at", "pk").values_list("channel", "at", "ml")


class Settings:
    """Rates and refills of some channels, read once: two queries, however many channels, and one where any is driven."""

    def __init__(self, channels: Iterable[Channel], at: datetime) -> None:
        self.at = at
        channels = list(channels)
        ids = [c.pk for c in channels]
        self.rates: dict[UUID, list[Rate]] = {i: [] for i in ids}
        for channel, *rate in _rates(channels=ids, at=at):
            self.rates[channel].append(Rate(*rate))
        self.refills: dict[UUID, Filled] = {
            channel: Filled(*refill) for channel, *refill in _refills(channels=ids, at=at)
        }
        self.commanded: dict[UUID, list[tuple[datetime, float]]] = {c.pk: [] for c in channels if c.driven}
        if self.commanded:
            for channel, moment, ml in _commanded(
                channels=list(self.commanded), since=at - LONGEST_FILL, at=at
            ):
                self.commanded[channel].append((moment, ml))

    def rate(self, channel: Channel) -> float | None:
        """mL a day in force; after a temporary rate's end the one before it. None when never set. Of a driven channel the mean of what
        was commanded in the last week."""
        if channel.pk in self.commanded:
            return self._driven_rate(channel)
        for rate in reversed(self.rates[channel.pk]):
            if rate.until is None or rate.until > self.at:
                return rate.ml_per_day
        return None

    def _driven_rate(self, channel: Channel) -> float | None:
        given = self.commanded[channel.pk]
        if not given:
            return None
        days = min(USUAL_DAYS, max(1.0, (self.at - given[0][0]).total_seconds() / SECONDS_A_DAY))
        since = self.at - timedelta(days=days)
        return sum(ml for moment, ml in given if moment > since) / days

    def spans(self, channel: Channel) -> list[tuple[datetime, datetime, float]]:
        """From when until when it was set to so many mL a day, temporary rates within their time."""
        rates, found = self.rates[channel.pk], []
        for number, rate in enumerate(rates):
            ends = rates[number + 1].at if number + 1 < len(rates) else self.at
            if rate.until is not None and rate.until < ends:
                found.append((rate.at, rate.until, rate.ml_per_day))
                before = rates[number - 1].ml_per_day if number else 0.0
                found.append((rate.until, ends, before))
            else:
                found.append((rate.at, ends, rate.ml_per_day))
        return found

    def left_ml(self, channel: Channel) -> float | None:
        """mL left: the last refill less what was set to run since; None when never filled."""
        refill = self.refills.get(channel.pk)
        if refill is None:
            return None
        return max(0.0, refill.ml_now - self._given_since(channel, refill.at))

    def _given_since(self, channel: Channel, start: datetime) -> float:
        if channel.pk in self.commanded:
            return sum(ml for moment, ml in self.commanded[channel.pk] if moment > start)
        given = 0.0
        rates = self.rates[channel.pk]
        for number, rate in enumerate(rates):
            ends = rates[number + 1].at if number + 1 < len(rates) else self.at
            if rate.until is not None:
                ends = min(ends, rate.until)
            seconds = (min(ends, self.at) - max(rate.at, start)).total_seconds()
            given += rate.ml_per_day * max(0.0, seconds) / SECONDS_A_DAY
        return given

    def days_left(self, channel: Channel) -> float | None:
        """Days until the container is empty at the rate in force; None when not known or nothing is dosed."""
        left, rate = self.left_ml(channel), self.rate(channel)
        if left is None or not rate:
            return None
        return left / rate


UPTAKE_DAYS = 42


def uptake_of(tank: Tank, parameter: str, *, at: datetime) -> Uptake | None:
    """How fast a tank uses a parameter up, from what was tested by hand in the last six weeks with doses by hand, the channels'
    settings and water changes; None where that does not tell it. A setting is what the pump was told, not what it gave."""
    since = at - timedelta(days=UPTAKE_DAYS)

    def day(moment: datetime) -> float:
        return (moment - since).total_seconds() / SECONDS_A_DAY

    values = readings_of(tank, parameter=parameter, since=since, until=at, by_hand=True)
    fresh = water_for(tank).holds.get(parameter)
    changes = [change for change in water_changes_of(tank, since) if change.at <= at]
    if fresh is None and changes:  # nobody knows what came in: only what was tested since tells
        values = [value for value in values if value.at > changes[-1].at]
    moved = [Changed(day(c.at), min(1.0, c.litres / tank.net_l), fresh) for c in changes if fresh is not None]
    try:
        return uptake(
            readings=[Reading(day(v.at), v.value) for v in values],
            doses=_rises(tank, parameter, since=since, at=at, day=day),
            changes=moved,
        )
    except NoLine:
        return None


def _rises(
    tank: Tank, parameter: str, *, since: datetime, at: datetime, day: Callable[[datetime], float]
) -> list[Dosed]:
    """Everything that raised it: doses by hand, what driven channels reported, and the others as they were set."""
    given = Dose.objects.filter(
        Q(kind=DoseKind.BY_HAND) | Q(channel__driven=True),
        tank=tank,
        solution__parameter=parameter,
        at__gte=since,
        at__lte=at,
    )
    rows = standing(given).values_list("at", "ml", "solution__per_ml")
    found = [Dosed(day(moment), ml * per_ml / tank.net_l) for moment, ml, per_ml in rows]
    channels = [c for c in channels_of([tank]) if c.solution.parameter == parameter and not c.driven]
    settings = Settings(channels, at)
    for channel in channels:
        for start, end, ml_per_day in settings.spans(channel):
            if end > start and ml_per_day > 0:
                days = (end - start).total_seconds() / SECONDS_A_DAY
                rise = ml_per_day * days * channel.solution.per_ml / tank.net_l
                found.append(Dosed(day(start), rise, until=day(end)))
    return found


@prepared(tank=KEY, since=DAY)
def _treatments(tank: Slot, since: Slot) -> QuerySet[Treatment]:
    return standing(Treatment.objects.filter(tank=tank, until_on__gte=since)).order_by("-at", "pk")


def treatments_of(tank: Tank, *, since: date) -> list[Treatment]:
    """Medicines that were given and last until that day or later, newest first."""
    return _treatments(tank=tank.pk, since=since)
