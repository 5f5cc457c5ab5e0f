"""The demo's visits: owed by the plans, put on rounds, and how far today has come.

Past and coming visits are written as the planner would owe and place them (same keys, windows and order), only all at
once and with ids from the seed. The rule for today, by the business's clock:
- a stop whose time has passed is closed, one in whose time we are is under way, the others are planned; so before the
  first stop nothing has begun;
- where between two stops nobody would be under way, the stop that ended last takes longer and still is;
- each technician's last stop is never closed: once its time has passed it stands ahead of the clock as an evening
  stop, the last technician's under way, so that at any hour there is something left to do;
- on a Sunday only the sites that are open then are visited, and no visit behind or ahead of today is on one for the
  others."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from clients.choices import SightReason
from clients.models import ServicePlan, Sight, Tank
from servicedesk.core.recurrence.due import Window
from servicedesk.desk.actions.demo.world import World
from servicedesk.rounds.actions.planning import SIGHT_DAYS, windows_of
from servicedesk.rounds.choices import StopState, VisitCause
from servicedesk.rounds.models import DueVisit, Round, Stop
from servicedesk.staff.models import User
from servicedesk.visits.models import Visit

AHEAD = timedelta(days=35)
DRIVE = 12
FIRST = time(8, 30)
QUARTER = timedelta(minutes=15)
LAST_MINUTE = time(23, 45)


@dataclass
class Call:
    """One visit of the demo: what is owed, where it stands, and, once begun, when somebody came and left."""

    due: DueVisit
    plan: ServicePlan
    tanks: list[Tank]
    stop: Stop
    technician: User
    visit: Visit | None = None

    @property
    def day(self) -> date:
        return self.due.due

    @property
    def regular(self) -> bool:
        return self.plan.name == "Regular service"

    @property
    def done(self) -> bool:
        return self.visit is not None and self.visit.closed_at is not None

    def moment(self, share: float) -> datetime:
        """A moment of the visit, from 0 (arrival) to 1 (departure)."""
        assert self.stop.arrived_at is not None
        left = self.stop.left_at or self.stop.arrived_at + timedelta(minutes=self.stop.minutes)
        return self.stop.arrived_at + timedelta(
            seconds=round(share * (left - self.stop.arrived_at).total_seconds())
        )


def make(w: World) -> list[Call]:
    """All visits of the history and the weeks ahead, stored, in the order of their days and rounds."""
    calls = [call for plan in w.plans for call in _owed(w, plan)]
    rounds = _place(w, calls)
    _keep_time(w, calls)
    begun = [call for call in calls if call.stop.arrived_at is not None]
    for call in begun:
        _begin(call)
    DueVisit.objects.bulk_create([c.due for c in calls], batch_size=200)
    through = DueVisit.tanks.through
    through.objects.bulk_create(
        [through(duevisit_id=c.due.pk, tank_id=t.pk) for c in calls for t in c.tanks], batch_size=500
    )
    Round.objects.bulk_create(rounds, batch_size=200)
    Stop.objects.bulk_create([c.stop for c in calls], batch_size=200)
    Sight.objects.bulk_create([row for c in calls for row in _sights(c)], batch_size=500)
    Visit.objects.bulk_create([c.visit for c in begun if c.visit], batch_size=200)
    return calls


def _owed(w: World, plan: ServicePlan) -> list[Call]:
    calls = []
    for window in windows_of(plan, plan.starts_on, w.today + AHEAD):
        alone = [t for t in w.plan_tanks[plan.pk] if _isolated(w, t, window.due)]
        others = [t for t in w.plan_tanks[plan.pk] if t not in alone]
        calls += [
            _call(w, plan, window, tanks, isolated=isolated)
            for tanks, isolated in ((others, False), (alone, True))
            if tanks
        ]
    return calls


def _isolated(w: World, tank: Tank, day: date) -> bool:
    state = w.states.get(tank.name)
    return state is not None and state.from_on <= day <= (state.until_on or day)


def _call(w: World, plan: ServicePlan, window: Window, tanks: list[Tank], *, isolated: bool) -> Call:
    assert plan.technician is not None
    due = DueVisit(
        id=w.key(), key=f"plan:{plan.pk}:{window.due.isoformat()}{':isolated' if isolated else ''}",
        cause=VisitCause.PLAN, plan=plan, site=plan.site, why=plan.name, earliest=window.earliest, due=window.due,
        latest=window.latest, minutes=plan.minutes, isolated=isolated,
        made_at=min(w.now, max(w.start, w.midnight(0) + (window.due - w.start.date()) - AHEAD)),
    )  # fmt: skip
    stop = Stop(id=w.key(), due_visit=due, minutes=plan.minutes, drive_minutes=DRIVE)
    return Call(due=due, plan=plan, tanks=tanks, stop=stop, technician=plan.technician)


def _later(start: time, minutes: int) -> time:
    whole = min(start.hour * 60 + start.minute + minutes, 23 * 60 + 59)
    return time(whole // 60, whole % 60)


def _place(w: World, calls: list[Call]) -> list[Round]:
    """Put every visit on its technician's day: isolated ones last, the others by wished time, site and key."""
    calls.sort(
        key=lambda c: (
            c.day,
            w.technicians.index(c.technician),
            c.due.isolated,
            c.plan.preferred_time or FIRST,
            c.plan.site.name,
            c.due.key,
        )
    )
    rounds: dict[tuple[date, str], Round] = {}
    free: dict[tuple[date, str], time] = {}
    order: dict[tuple[date, str], int] = defaultdict(int)
    for call in calls:
        key = (call.day, call.technician.email)
        if key not in rounds:
            rounds[key] = Round(
                id=w.key(),
                day=call.day,
                technician=call.technician,
                van=w.vans.get(call.technician.email),
                starts=time(8),
                ends=time(17),
            )
        order[key] += 1
        earliest = free.get(key, FIRST)
        call.stop.round, call.stop.order = rounds[key], order[key]
        call.stop.planned_at = max(earliest, call.plan.preferred_time or earliest)
        free[key] = _later(call.stop.planned_at, call.stop.minutes + DRIVE)
    return list(rounds.values())


def _at(w: World, call: Call) -> datetime:
    return datetime.combine(call.day, call.stop.planned_at, tzinfo=w.now.tzinfo)


def _keep_time(w: World, calls: list[Call]) -> None:
    """Say when somebody came and left: a few minutes off the plan, today by the clock."""
    for call in calls:
        if call.day >= w.today:
            continue
        _pass(w, call)
    today = [c for c in calls if c.day == w.today]
    for call in today:
        if _at(w, call) + timedelta(minutes=3) <= w.now:
            _pass(w, call)
    lasts = [[c for c in today if c.technician == t][-1:] for t in w.technicians]
    evening = [mine[0] for mine in lasts if mine and mine[0].stop.left_at is not None]
    for call in evening:
        _into_evening(w, call, under_way=call is evening[-1])
    closed = [c for c in today if c.stop.state == StopState.CLOSED]
    if closed and not any(c.stop.state == StopState.UNDER_WAY for c in today):
        longest = max(closed, key=lambda c: (c.stop.left_at or w.now, c.due.key))
        longest.stop.state, longest.stop.left_at = StopState.UNDER_WAY, None


def _pass(w: World, call: Call) -> None:
    """Somebody came at about the planned time, and left when the work was done, if that is behind us."""
    came = _at(w, call) + timedelta(minutes=w.rng.randint(-6, 3))
    left = came + timedelta(minutes=call.stop.minutes + w.rng.randint(-4, 8))
    call.stop.arrived_at, call.stop.state = came, StopState.UNDER_WAY
    if left <= w.now:
        call.stop.left_at, call.stop.state = left, StopState.CLOSED


def _into_evening(w: World, call: Call, *, under_way: bool) -> None:
    """The last stop of a day whose time has passed: it stands ahead of the clock, or has just begun."""
    call.stop.left_at = None
    quarter = w.now.replace(minute=w.now.minute // 15 * 15, second=0, microsecond=0)
    if under_way:
        call.stop.state, call.stop.arrived_at = StopState.UNDER_WAY, quarter - QUARTER
        call.stop.planned_at = (quarter - QUARTER).time()
    else:
        call.stop.state, call.stop.arrived_at = StopState.PLANNED, None
        ahead = quarter + 2 * QUARTER
        call.stop.planned_at = ahead.time() if ahead.date() == w.today else LAST_MINUTE
    call.stop.round.ends = max(call.stop.round.ends, _later(call.stop.planned_at, call.stop.minutes))


def _begin(call: Call) -> None:
    stop = call.stop
    call.visit = Visit(
        id=call.due.pk, due_visit=call.due, site=call.plan.site, technician=call.technician,
        state="closed" if stop.left_at else "open", arrived_at=call.moment(0), closed_at=stop.left_at,
        closed_by=call.technician if stop.left_at else None,
    )  # fmt: skip


def _sights(call: Call) -> list[Sight]:
    reach = timedelta(days=SIGHT_DAYS)
    return [
        Sight(
            user=call.technician, tank=tank, first_day=call.day - reach, last_day=call.day + reach,
            why=SightReason.ROUND, cause=call.due.pk,
        )
        for tank in call.tanks
    ]  # fmt: skip
