"""A master round is worked out beside today's plans, and adopted client by client, or not."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from clients.actions import change_plan
from clients.models import PlanChange, ServicePlan
from servicedesk.core.recurrence.changing import Pattern, changeover
from servicedesk.dispatch import actions as dispatch
from servicedesk.rounds.actions.planning import NotPlanned, owe_of_plan, pattern_of, windows_of
from servicedesk.rounds.actions.rhythm import AHEAD, fall_away, stand_again, standing_from
from servicedesk.rounds.choices import ChangeState, ProposalState
from servicedesk.rounds.models import DueVisit, MasterLine, MasterRound
from servicedesk.rounds.queries.master_found import PlanLine
from servicedesk.rounds.queries.mastered import stamp_of_plan
from servicedesk.staff.models import User

FURTHEST = timedelta(weeks=26)
SHORTEST_S, LONGEST_S, MOST_WEEKS = 1, 1800, 12


@transaction.atomic
def ask_master(
    *,
    first: date,
    weeks: int,
    by: User,
    today: date,
    at: datetime,
    seconds: int = 60,
    seed: int = 1,
    reluctance: float = 1.0,
) -> MasterRound:
    """Have a master round worked out: a row and the piece of work for it. Whoever asks again while that is under way gets the same. Raises NotPlanned."""
    if first.weekday() != 0:
        raise NotPlanned(_("A master round begins on a Monday."))
    if not today < first <= today + FURTHEST:
        raise NotPlanned(_("A master round begins next Monday at the earliest, and within half a year."))
    if not 1 <= weeks <= MOST_WEEKS:
        raise NotPlanned(_("A master round has from one to twelve weeks."))
    if not SHORTEST_S <= seconds <= LONGEST_S or reluctance < 0:
        raise NotPlanned(_("The search takes from one second to half an hour."))
    under_way = MasterRound.objects.select_for_update().filter(
        state=ProposalState.ASKED, stop_asked_at__isnull=True
    )
    row = under_way.order_by("asked_at", "pk").first()
    if row is not None:
        return row
    row = MasterRound.objects.create(
        first=first, weeks=weeks, asked_by=by, asked_at=at, seconds=seconds, seed=seed, reluctance=reluctance
    )
    dispatch.ask(kind="plan_master", key=f"plan_master:{row.pk}", args={"master": str(row.pk)}, at=at)
    return row


@transaction.atomic
def keep_master(
    *,
    master: MasterRound,
    lines: Sequence[PlanLine],
    before: dict[str, Any],
    after: dict[str, Any],
    said: list[str],
    at: datetime,
) -> bool:
    """Keep what the planner found, whole; whether it was still waited for."""
    row = MasterRound.objects.select_for_update().get(pk=master.pk)
    if row.state != ProposalState.ASKED:
        return False
    MasterLine.objects.bulk_create(
        MasterLine(
            master=row, plan=line.plan, stamp=stamp_of_plan(line.plan), changes=line.changes, technician=line.technician,
            weekday=line.weekday, second_weekday=line.second_weekday, starts_on=line.starts_on, was=_was(line.plan),
            saved_s=line.saved_s, saved_m=line.saved_m, why=line.why[:300],
        )
        for line in lines
    )  # fmt: skip
    MasterRound.objects.filter(pk=row.pk).update(
        state=ProposalState.READY, before=before, after=after, said=said, ended_at=at
    )
    return True


def _was(plan: ServicePlan) -> dict[str, Any]:
    """How a plan is, as JSON."""
    return {
        "technician": str(plan.technician_id) if plan.technician_id else None,
        "weekday": plan.weekday,
        "second_weekday": plan.second_weekday,
        "starts_on": plan.starts_on.isoformat(),
    }


def _held(line: MasterLine, states: Sequence[str]) -> tuple[MasterLine, ServicePlan]:
    """The line and its plan, held against others. Raises NotPlanned."""
    master = MasterRound.objects.select_for_update().get(pk=line.master_id)
    row = MasterLine.objects.select_for_update().get(pk=line.pk)
    plan = ServicePlan.objects.select_for_update().get(pk=row.plan_id)
    if master.state != ProposalState.READY:
        raise NotPlanned(
            _("This master round was %(state)s already.") % {"state": ProposalState(master.state).label}
        )
    if not row.changes or row.technician is None:
        raise NotPlanned(_("Nothing is proposed for this client."))
    if row.state not in states:
        raise NotPlanned(_("This was decided already: %(state)s.") % {"state": ChangeState(row.state).label})
    return row, plan


@transaction.atomic
def adopt(*, line: MasterLine, by: User, today: date, at: datetime) -> PlanChange:
    """From a day on the client's plan is as proposed: nearest to the usual pause after the last visit of the old habit. Visits beyond that day fall away
    and the new ones are owed; technicians are told. Raises NotPlanned, and then nothing changes: where the plan has changed since."""
    row, plan = _held(line, (ChangeState.OPEN, ChangeState.BACK, ChangeState.KEPT))
    if stamp_of_plan(plan) != row.stamp:
        raise NotPlanned(
            _("This service plan was changed since this was worked out. Work the master round out anew.")
        )
    person = row.technician
    if person is None or not person.is_active or not person.is_technician:
        raise NotPlanned(_("Only a technician drives a round."))
    earliest = max(row.master.first, today + timedelta(days=1))
    change = _changed(
        plan,
        (row.weekday, row.second_weekday, row.starts_on, person),
        earliest=earliest,
        by=by,
        today=today,
        at=at,
    )
    MasterLine.objects.filter(pk=row.pk).update(
        state=ChangeState.ADOPTED, change=change, decided_by=by, decided_at=at
    )
    return change


@transaction.atomic
def take_back(*, line: MasterLine, by: User, today: date, at: datetime) -> PlanChange:
    """The former habit holds again, from tomorrow at the earliest. Raises NotPlanned, and then nothing changes: where the plan has changed since."""
    row, plan = _held(line, (ChangeState.ADOPTED,))
    change = row.change
    assert change is not None  # by the table's own law
    now = (plan.weekday, plan.second_weekday, plan.starts_on, plan.technician_id)
    if now != (change.weekday, change.second_weekday, change.starts_on, change.technician_id):
        raise NotPlanned(_("This service plan was changed since it was adopted. Change it there."))
    former = (change.was_weekday, change.was_second_weekday, change.was_starts_on, change.was_technician)
    earliest = max(today + timedelta(days=1), min(change.from_on, row.master.first))
    back = _changed(plan, former, earliest=earliest, by=by, today=today, at=at)
    MasterLine.objects.filter(pk=row.pk).update(state=ChangeState.BACK, decided_by=by, decided_at=at)
    return back


@transaction.atomic
def keep_as_it_is(*, line: MasterLine, by: User, at: datetime) -> None:
    """The client stays as it is. Raises NotPlanned."""
    row, _plan = _held(line, (ChangeState.OPEN, ChangeState.BACK))
    MasterLine.objects.filter(pk=row.pk).update(state=ChangeState.KEPT, decided_by=by, decided_at=at)


def _changed(
    plan: ServicePlan,
    wanted: tuple[int, int | None, date, User | None],
    *,
    earliest: date,
    by: User,
    today: date,
    at: datetime,
) -> PlanChange:
    """The plan goes over to these days, weeks and person."""
    weekday, second, starts_on, person = wanted
    days = tuple(sorted({weekday} if second is None else {weekday, second}))
    from_on = changeover(pattern_of(plan), Pattern(days, plan.every_weeks, starts_on), earliest)
    before = standing_from(plan, from_on)
    for visit in before:
        fall_away(visit, by, at)
    change = change_plan(
        plan=plan, from_on=from_on, weekday=weekday, second_weekday=second, starts_on=starts_on, technician=person,
        called_off=[str(visit.pk) for visit in before], by=by, at=at,
    )  # fmt: skip
    plan = (
        ServicePlan.objects.select_related("site", "technician")
        .prefetch_related("tanks", "changes")
        .get(pk=plan.pk)
    )
    last = max([today + AHEAD, *(visit.due for visit in before)])
    stand_again(plan, _fallen(plan, from_on, last))
    owe_of_plan(plan, from_on, last, at)
    dispatch.ask(kind="owe_visits", key=f"owe_visits:{plan.pk}:{at.isoformat()}", args={}, at=at)
    return change


def _fallen(plan: ServicePlan, first: date, last: date) -> list[DueVisit]:
    """Visits that fell away with a change of the plan and are wanted once more."""
    fallen = {key for change in plan.changes.all() for key in change.called_off}
    wanted = {window.due for window in windows_of(plan, first, last)}
    rows = DueVisit.objects.filter(pk__in=fallen, due__in=wanted, called_off_at__isnull=False)
    return list(rows.order_by("due", "pk"))
