"""A week is proposed beside the week in force, and put in force whole or not at all."""

from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from servicedesk.dispatch import actions as dispatch
from servicedesk.rounds.actions.mending import keep_lines
from servicedesk.rounds.actions.news import call_off
from servicedesk.rounds.actions.planning import NotPlanned, put_on_round
from servicedesk.rounds.actions.telling import note_moves
from servicedesk.rounds.choices import OfferKind, ProposalState, StopState
from servicedesk.rounds.models import Move, Notice, Proposal, Proposed, Stop
from servicedesk.rounds.queries.found import Line
from servicedesk.rounds.queries.moving import moves_of
from servicedesk.rounds.queries.stamps import stamp_of
from servicedesk.rounds.queries.telling import moved_by
from servicedesk.staff.models import User

LONGEST_DAYS, SHORTEST_S, LONGEST_S = 28, 1, 300


@transaction.atomic
def ask_proposal(
    *, first: date, last: date, by: User, today: date, at: datetime, seconds: int = 20, seed: int = 1
) -> Proposal:
    """Have days planned: a row and the piece of work for it. Whoever asks again for the same days while that is under way gets the same.
    Raises NotPlanned."""
    if last < first:
        raise NotPlanned(_("The last day lies before the first."))
    if first <= today:
        raise NotPlanned(_("Planning begins tomorrow at the earliest: today is under way."))
    if (last - first).days >= LONGEST_DAYS:
        raise NotPlanned(_("Four weeks are planned at most."))
    if not SHORTEST_S <= seconds <= LONGEST_S:
        raise NotPlanned(_("The search takes from one second to five minutes."))
    under_way = Proposal.objects.select_for_update().filter(kind=OfferKind.WEEK, state=ProposalState.ASKED, first=first, last=last, stop_asked_at__isnull=True)  # fmt: skip
    row = under_way.order_by("asked_at", "pk").first()
    if row is not None:
        return row
    row = Proposal.objects.create(
        first=first, last=last, asked_by=by, asked_at=at, seconds=seconds, seed=seed
    )
    dispatch.ask(kind="plan_week", key=f"plan_week:{row.pk}", args={"proposal": str(row.pk)}, at=at)
    return row


@transaction.atomic
def keep_proposal(
    *,
    proposal: Proposal,
    lines: list[Line],
    before: dict[str, Any],
    after: dict[str, Any],
    said: list[str],
    stamp: str,
    at: datetime,
) -> bool:
    """Keep what the planner found, whole; whether it was still waited for."""
    row = Proposal.objects.select_for_update().get(pk=proposal.pk)
    if row.state != ProposalState.ASKED:
        return False
    keep_lines(row, lines)
    Proposal.objects.filter(pk=row.pk).update(
        state=ProposalState.READY, before=before, after=after, said=said, stamp=stamp, ended_at=at
    )
    return True


def held_ready(proposal: Proposal, today: date) -> Proposal:
    """The row of a proposed week that may still be changed or put in force, held against others. Raises NotPlanned."""
    row = Proposal.objects.select_for_update().get(pk=proposal.pk)
    if row.kind != OfferKind.WEEK:
        raise NotPlanned(_("This mends one day; it is chosen there."))
    if row.state != ProposalState.READY:
        raise NotPlanned(_("This week was %(state)s already.") % {"state": ProposalState(row.state).label})
    if row.first <= today:
        raise NotPlanned(_("Its first day has come. Plan again from tomorrow."))
    return row


def as_seen(row: Proposal, moves: int | None) -> None:
    """Refuses where a stop was put elsewhere since a page was drawn that had seen so many of these moves. Raises NotPlanned."""
    if moves is not None and moves != moves_of(row.after):
        raise NotPlanned(_("Somebody has moved a stop of this week since you looked. Look again."))


@transaction.atomic
def put_in_force(*, proposal: Proposal, by: User, today: date, at: datetime, moves: int | None = None) -> int:
    """Put a proposed week in force, whole; how many visits moved. Technicians are told of what moved. `moves`: how many moves by hand were seen.
    Raises NotPlanned, and then nothing changes: where rounds have moved since it was worked out, or its days have come."""
    row = held_ready(proposal, today)
    as_seen(row, moves)
    lines = list(
        row.visits.select_related("due_visit__site", "technician").order_by(
            "day", "technician", "order", "pk"
        )
    )
    keys = [line.due_visit_id for line in lines]
    stops = {
        stop.due_visit_id: stop
        for stop in Stop.objects.select_for_update()
        .select_related("round__technician")
        .filter(due_visit__in=keys)
    }
    if stamp_of(line.due_visit for line in lines) != row.stamp:
        raise NotPlanned(_("Rounds have moved since this was worked out. Plan again."))
    standing = {key: stop for key, stop in stops.items() if stop.state == StopState.PLANNED}
    note_moves(proposal=row, moved=moved_by(lines, standing, fresh=False), at=at)
    moved = sum(_apply(line, stops.get(line.due_visit_id), by, at) for line in lines)
    Proposal.objects.filter(pk=row.pk).update(state=ProposalState.IN_FORCE, ended_by=by, ended_at=at)
    Proposal.objects.filter(
        kind=OfferKind.WEEK, state=ProposalState.READY, first__lte=row.last, last__gte=row.first
    ).update(state=ProposalState.DROPPED, ended_by=by, ended_at=at)
    return moved


def _apply(line: Proposed, stop: Stop | None, by: User, at: datetime) -> bool:
    """One visit; whether it moved."""
    standing = stop if stop is not None and stop.state == StopState.PLANNED else None
    if line.technician is None or line.day is None or line.planned_at is None:
        if standing is None:
            return False
        _tell(line, standing, by, at, off=True)
        call_off(stop=standing)
        return True
    here = standing is not None and (
        standing.round.technician_id,
        standing.round.day,
        standing.order,
        standing.planned_at,
        standing.minutes,
        standing.drive_minutes,
    )
    if here == (line.technician_id, line.day, line.order, line.planned_at, line.minutes, line.drive_minutes):
        return False
    told = standing is not None and (
        standing.round.technician_id,
        standing.round.day,
        standing.planned_at,
    ) != (
        line.technician_id,
        line.day,
        line.planned_at,
    )
    if standing is not None and told:
        _tell(line, standing, by, at, off=False)
    put_on_round(
        due_visit=line.due_visit,
        day=line.day,
        technician=line.technician,
        order=line.order,
        planned_at=line.planned_at,
        minutes=line.minutes,
        drive_minutes=line.drive_minutes,
    )
    return told or standing is None


def _tell(line: Proposed, standing: Stop, by: User, at: datetime, *, off: bool) -> None:
    """The technicians concerned are told of a visit that stood on a round and moves."""
    driver, day = standing.round.technician, standing.round.day
    Move.objects.filter(due_visit=line.due_visit, applied_at__isnull=True, withdrawn_at__isnull=True).update(
        withdrawn_at=at
    )
    move = Move.objects.create(
        due_visit=line.due_visit,
        technician=driver if line.technician is None else line.technician,
        day=line.day or day,
        order=line.order or standing.order,
        planned_at=line.planned_at or standing.planned_at,
        from_technician=driver,
        from_day=day,
        off=off,
        asked_by=by,
        asked_at=at,
        applied_at=at,
    )
    Notice.objects.bulk_create(Notice(move=move, person=person) for person in {driver, move.technician})
