"""Making visits owed from service plans, and putting them on rounds."""

from datetime import date, datetime, time, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from clients.actions import give_sight, take_sight
from clients.choices import SightReason, TankState
from clients.models import ServicePlan, Site, Tank
from clients.queries import states_of
from servicedesk.core.recurrence.changing import Change, Pattern, pieces
from servicedesk.core.recurrence.due import Rule, Window, occurrences
from servicedesk.rounds.choices import StopState, VisitCause
from servicedesk.rounds.models import DueVisit, Round, Stop
from servicedesk.staff.choices import Role
from servicedesk.staff.models import User

SIGHT_DAYS = 14


class NotPlanned(Exception):
    """A visit that cannot be put there; the sentence says why."""


def pattern_of(plan: ServicePlan) -> Pattern:
    """On which weekdays of which weeks a plan's visits fall as it stands."""
    days = {plan.weekday} if plan.second_weekday is None else {plan.weekday, plan.second_weekday}
    return Pattern(tuple(sorted(days)), plan.every_weeks, plan.starts_on)


def changes_of(plan: ServicePlan) -> list[Change]:
    """How it was before each change of the plan, in the order in which they were made."""
    found = []
    for row in sorted(plan.changes.all(), key=lambda row: (row.at, row.pk)):
        days = (
            {row.was_weekday} if row.was_second_weekday is None else {row.was_weekday, row.was_second_weekday}
        )
        found.append(Change(row.from_on, Pattern(tuple(sorted(days)), plan.every_weeks, row.was_starts_on)))
    return found


def windows_of(plan: ServicePlan, first: date, last: date) -> list[Window]:
    """When a plan owes a visit in these days, both of its weekdays in order of time, each by the pattern that held on its day."""
    end = min(last, plan.ends_on) if plan.ends_on else last
    found: list[Window] = []
    for pattern, begins, until in pieces(pattern_of(plan), changes_of(plan), first, end):
        for weekday in pattern.weekdays:
            rule = Rule(
                every_n=pattern.every_weeks,
                unit="weeks",
                anchor=pattern.anchor,
                weekday=weekday,
                before_days=plan.tolerance_days,
                after_days=plan.tolerance_days,
            )
            found += occurrences(rule, max(begins, pattern.anchor), until)
    return sorted(found, key=lambda window: window.due)


def tanks_of(plan: ServicePlan, day: date) -> tuple[list[Tank], list[Tank]]:
    """The tanks of a plan in use, and apart from them those that are in isolation on a day."""
    tanks = [tank for tank in plan.tanks.all() if tank.retired_on is None]
    states = states_of(tanks, day)
    alone = [t for t in tanks if t.pk in states and states[t.pk].state == TankState.ISOLATION]
    return [t for t in tanks if t not in alone], alone


def _owe(
    plan: ServicePlan, window: Window, tanks: list[Tank], at: datetime, *, isolated: bool
) -> DueVisit | None:
    if not tanks:
        return None
    suffix = ":isolated" if isolated else ""
    visit, made = DueVisit.objects.get_or_create(
        key=f"plan:{plan.pk}:{window.due.isoformat()}{suffix}",
        defaults={
            "cause": VisitCause.PLAN,
            "plan": plan,
            "site": plan.site,
            "why": plan.name,
            "earliest": window.earliest,
            "due": window.due,
            "latest": window.latest,
            "minutes": plan.minutes,
            "isolated": isolated,
            "made_at": at,
        },
    )
    if not made:
        return None
    visit.tanks.set(tanks)
    return visit


@transaction.atomic
def owe_visits(*, first: date, last: date, at: datetime) -> list[DueVisit]:
    """Make the visits that service plans owe from first to last day; only new ones are returned. A plan and a slot
    make one visit; tanks in isolation get one of their own."""
    plans = ServicePlan.objects.filter(site__retired_on__isnull=True).select_related("site", "technician")
    made = []
    for plan in plans.prefetch_related("tanks", "changes").order_by("pk"):
        made += owe_of_plan(plan, first, last, at)
    return made


def owe_of_plan(plan: ServicePlan, first: date, last: date, at: datetime) -> list[DueVisit]:
    """The same for one plan; call it in a transaction."""
    made = []
    for window in windows_of(plan, first, last):
        others, alone = tanks_of(plan, window.due)
        made += [
            _owe(plan, window, others, at, isolated=False),
            _owe(plan, window, alone, at, isolated=True),
        ]
    return [visit for visit in made if visit is not None]


@transaction.atomic
def owe_call_out(
    *,
    site: Site,
    tanks: list[Tank],
    why: str,
    day: date,
    latest: date,
    at: datetime,
    minutes: int = 60,
    disinfects: bool = False,
) -> DueVisit:
    """A visit that nobody planned; `disinfects`: to a tank in isolation, before others."""
    visit = DueVisit.objects.create(
        key=f"call:{site.pk}:{at.isoformat()}",
        cause=VisitCause.CALL_OUT,
        site=site,
        why=why,
        earliest=day,
        due=day,
        latest=latest,
        minutes=minutes,
        isolated=disinfects,
        disinfects=disinfects,
        made_at=at,
    )
    visit.tanks.set(tanks)
    return visit


@transaction.atomic
def put_on_round(
    *,
    due_visit: DueVisit,
    day: date,
    technician: User,
    order: int,
    planned_at: time,
    minutes: int | None = None,
    drive_minutes: int = 10,
) -> Stop:
    """Put a visit on a technician's day, or move it there; one that was called off is planned again. The technician
    then sees its tanks 14 days to either side, and whoever had it before no longer by this visit."""
    if not technician.is_technician or not technician.is_active:
        raise NotPlanned(_("Only a technician drives a round."))
    before = Stop.objects.select_for_update().filter(due_visit=due_visit).first()
    if before is not None and before.state in (StopState.UNDER_WAY, StopState.CLOSED):
        raise NotPlanned(_("The visit has begun; it stays where it is."))
    round_row = Round.objects.get_or_create(day=day, technician=technician)[0]
    stop, _made = Stop.objects.update_or_create(
        due_visit=due_visit,
        defaults={
            "round": round_row,
            "order": order,
            "planned_at": planned_at,
            "minutes": minutes or due_visit.minutes,
            "drive_minutes": drive_minutes,
            "state": StopState.PLANNED,
        },
    )
    take_sight(cause=due_visit.pk, but=technician)
    for tank in due_visit.tanks.all():
        give_sight(
            user=technician,
            tank=tank,
            first_day=day - timedelta(days=SIGHT_DAYS),
            last_day=day + timedelta(days=SIGHT_DAYS),
            why=SightReason.CALL_OUT if due_visit.cause == VisitCause.CALL_OUT else SightReason.ROUND,
            cause=due_visit.pk,
        )
    return stop


def _later(start: time, minutes: int) -> time:
    whole = min(start.hour * 60 + start.minute + minutes, 23 * 60 + 59)
    return time(whole // 60, whole % 60)


def waiting(*, first: date, last: date) -> list[DueVisit]:
    """Visits owed in these days that stand on no round and whose plan names a technician who drives: isolated ones last, the others by wished
    time. What no plan gives to such a technician stays unplaced and stands on the owner's week."""
    rows = DueVisit.objects.filter(
        due__gte=first,
        due__lte=last,
        stop__isnull=True,
        called_off_at__isnull=True,
        plan__technician__role=Role.TECHNICIAN,
        plan__technician__is_active=True,
    ).select_related("plan", "plan__technician", "site", "pin")
    rows = rows.prefetch_related("tanks", "plan__skills", "site__hours", "site__closed_days")
    return sorted(
        rows,
        key=lambda v: (v.due, v.isolated, v.plan.preferred_time or time(8, 30), v.site.name, str(v.pk)),  # type: ignore[union-attr]  # the question asks for a plan
    )


@transaction.atomic
def plan_simply(*, first: date, last: date) -> int:
    """Put every visit that waits in these days onto its due day with its plan's technician, one behind the other; how many were put. For what
    cannot be reckoned: `place_new` comes first."""
    rows = waiting(first=first, last=last)
    for visit in rows:
        assert visit.plan is not None and visit.plan.technician is not None
        before = Stop.objects.filter(round__day=visit.due, round__technician=visit.plan.technician).order_by(
            "-order"
        )
        last_stop = before.first()
        order, free = 1, time(8, 30)
        if last_stop is not None:
            order = last_stop.order + 1
            free = _later(last_stop.planned_at, last_stop.minutes + 12)
        planned = max(free, visit.plan.preferred_time or free)
        put_on_round(
            due_visit=visit,
            day=visit.due,
            technician=visit.plan.technician,
            order=order,
            planned_at=planned,
            drive_minutes=12,
        )
    return len(rows)
