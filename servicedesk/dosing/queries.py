"""What the pumps are set to, what is left in their containers, and when those run empty."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from clients.models import Tank
from servicedesk.dosing.models import Channel, RateChange, Refill

SECONDS_A_DAY = 86400.0


def channels_of(tanks: Iterable[Tank]) -> list[Channel]:
    """Channels in use at these tanks."""
    rows = Channel.objects.filter(tank__in=[t.pk for t in tanks], retired_on__isnull=True)
    return list(
        rows.select_related("equipment", "solution", "solution__item", "tank", "tank__site").order_by(
            "tank", "equipment__name", "number", "pk"
        )
    )


class Settings:
    """Rates and refills of some channels, read once: two queries, however many channels."""

    def __init__(self, channels: Iterable[Channel], at: datetime) -> None:
        self.at = at
        ids = [c.pk for c in channels]
        self.rates: dict[UUID, list[RateChange]] = {i: [] for i in ids}
        self.refills: dict[UUID, Refill] = {}
        for rate in RateChange.objects.filter(channel__in=ids, at__lte=at).order_by("at", "pk"):
            self.rates[rate.channel_id].append(rate)
        for refill in Refill.objects.filter(channel__in=ids, at__lte=at).order_by("at", "pk"):
            self.refills[refill.channel_id] = refill

    def rate(self, channel: Channel) -> float | None:
        """mL a day in force; after a temporary rate's end the one before it. None when never set."""
        for rate in reversed(self.rates[channel.pk]):
            if rate.until is None or rate.until > self.at:
                return rate.ml_per_day
        return None

    def left_ml(self, channel: Channel) -> float | None:
        """mL left: the last refill less what was set to run since; None when never filled."""
        refill = self.refills.get(channel.pk)
        if refill is None:
            return None
        return max(0.0, refill.ml_now - self._given_since(channel, refill.at))

    def _given_since(self, channel: Channel, start: datetime) -> float:
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
