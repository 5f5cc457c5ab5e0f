"""How long visits and ways really took, as far as arrivals and departures tell."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from uuid import UUID

from servicedesk.core.rounds.actuals import Learned, learned
from servicedesk.core.rounds.hours import Drive
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Stop
from servicedesk.staff.models import Working
from servicedesk.staff.queries import business_zone

LOOK_BACK = timedelta(days=180)
MOST_VISITS = 12
FEWEST_SECONDS = 60


@dataclass(frozen=True)
class Actuals:
    """By service plan how many times as long its visits take as planned; by two sites in order the drives between them, as long as
    from leaving the one to arriving at the other."""

    plans: dict[UUID, Learned]
    ways: dict[tuple[UUID, UUID], list[Drive]]

    def minutes(self, plan: UUID | None, planned: int) -> int:
        """Minutes to plan with."""
        found = self.plans.get(plan) if plan is not None else None
        return max(1, round(planned * found.value)) if found else planned


def _driven(until: datetime) -> list[Stop]:
    rows = Stop.objects.filter(
        state=StopState.CLOSED,
        arrived_at__gte=until - LOOK_BACK,
        arrived_at__lte=until,
        left_at__isnull=False,
    )
    return list(rows.select_related("due_visit", "round").order_by("round", "arrived_at", "pk"))


def actuals(*, until: datetime) -> Actuals:
    """What the last half year tells: the newest dozen visits of each plan, and every way between two stops that followed one another."""
    stops = _driven(until)
    ratios: dict[UUID, list[tuple[datetime, float]]] = defaultdict(list)
    for stop in stops:
        assert stop.arrived_at is not None and stop.left_at is not None  # by the question
        took = (stop.left_at - stop.arrived_at).total_seconds() / 60
        if stop.due_visit.plan_id is not None and stop.minutes > 0:
            ratios[stop.due_visit.plan_id].append((stop.arrived_at, took / stop.minutes))
    plans = {
        plan: learned(1.0, [ratio for _at, ratio in sorted(seen)[-MOST_VISITS:]])
        for plan, seen in ratios.items()
    }
    return Actuals(
        {plan: found for plan, found in plans.items() if found.seen or found.left_out}, _ways(stops)
    )


def _ways(stops: Iterable[Stop]) -> dict[tuple[UUID, UUID], list[Drive]]:
    found: dict[tuple[UUID, UUID], list[Drive]] = defaultdict(list)
    zone = business_zone()
    lunches = {row.person_id: row for row in Working.objects.filter(lunch_minutes__gt=0)}
    for _round, some in groupby(stops, key=lambda stop: stop.round_id):
        mine = list(some)
        for before, after in zip(mine, mine[1:], strict=False):
            assert before.left_at is not None and after.arrived_at is not None
            seconds = (after.arrived_at - before.left_at).total_seconds()
            pair = (before.due_visit.site_id, after.due_visit.site_id)
            if pair[0] != pair[1] and seconds >= FEWEST_SECONDS:
                left, came = before.left_at.astimezone(zone), after.arrived_at.astimezone(zone)
                lunch = _lunch(lunches.get(before.round.technician_id), left, came)
                planned = datetime.combine(after.round.day, after.planned_at, tzinfo=zone)
                found[pair].append(Drive(_of_day(left), seconds, lunch, (planned - left).total_seconds()))
    return dict(found)


def _of_day(at: datetime) -> int:
    """Seconds since midnight."""
    return at.hour * 3600 + at.minute * 60 + at.second


def _lunch(row: Working | None, left: datetime, came: datetime) -> int:
    """Seconds of the lunch that may have been eaten on the way; nought where none may."""
    if row is None:
        return 0
    begins, ends = (at.hour * 3600 + at.minute * 60 for at in (row.lunch_from, row.lunch_until))
    seconds = row.lunch_minutes * 60
    return seconds if _of_day(left) < ends + seconds and _of_day(came) > begins else 0
