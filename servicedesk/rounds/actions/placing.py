"""The office puts a visit on a technician's day, or moves it; the technicians concerned are told, and asked where
their round has begun."""

from datetime import date, datetime, time

from django.db import transaction
from django.utils.translation import gettext as _

from servicedesk.rounds.actions.news import call_off
from servicedesk.rounds.actions.planning import NotPlanned, put_on_round
from servicedesk.rounds.actions.telling import ask_letters
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import DueVisit, Move, Notice, Proposal, Stop
from servicedesk.staff.models import User

USUAL_DRIVE = 10
"""Minutes on the way, where nobody reckoned them."""
BEGUN = (StopState.UNDER_WAY, StopState.CLOSED)


def _has_begun(technician: User, day: date) -> bool:
    return Stop.objects.filter(round__technician=technician, round__day=day, state__in=BEGUN).exists()


def _sound(due_visit: DueVisit, technician: User, day: date, today: date, stop: Stop | None) -> None:
    if due_visit.called_off_at is not None:
        raise NotPlanned(_("This visit was called off."))
    if day < today:
        raise NotPlanned(_("That day is past."))
    if not technician.is_technician or not technician.is_active:
        raise NotPlanned(_("Only a technician drives a round."))
    if stop is not None and stop.state in BEGUN:
        raise NotPlanned(_("The visit has begun; it stays where it is."))


def _make_room(move: Move) -> int:
    """The place in the order that the move gets: never before what has begun; the stops behind it step back one."""
    others = list(
        Stop.objects.select_for_update()
        .filter(round__technician=move.technician_id, round__day=move.day)
        .exclude(due_visit=move.due_visit_id)
        .exclude(state=StopState.CALLED_OFF)
        .order_by("order", "pk")
    )
    first = max((i for i, s in enumerate(others, start=1) if s.state in BEGUN), default=0) + 1
    place = min(max(move.order, first), len(others) + 1)
    for number, stop in enumerate(others, start=1):
        now = number if number < place else number + 1
        if stop.order != now:
            Stop.objects.filter(pk=stop.pk).update(order=now)
    return place


def _apply(move: Move, at: datetime) -> None:
    if move.off:
        call_off(stop=Stop.objects.get(due_visit=move.due_visit_id))
    else:
        put_on_round(
            due_visit=move.due_visit,
            day=move.day,
            technician=move.technician,
            order=_make_room(move),
            planned_at=move.planned_at,
            minutes=move.minutes,
            drive_minutes=USUAL_DRIVE if move.drive_minutes is None else move.drive_minutes,
        )
    Move.objects.filter(pk=move.pk).update(applied_at=at)
    move.applied_at = at


@transaction.atomic
def place(
    *,
    due_visit: DueVisit,
    technician: User,
    day: date,
    planned_at: time,
    order: int,
    by: User,
    today: date,
    at: datetime,
    minutes: int | None = None,
    drive_minutes: int | None = None,
    proposal: Proposal | None = None,
) -> Move:
    """Put a visit on a technician's day at a time and a place in the order, or move it there. A round that has begun
    changes only when its technician accepts; else it holds at once and is told. A later move takes an earlier one's
    place. Raises NotPlanned."""
    due_visit = DueVisit.objects.select_for_update().get(pk=due_visit.pk)
    stop = Stop.objects.select_related("round", "round__technician").filter(due_visit=due_visit).first()
    _sound(due_visit, technician, day, today, stop)
    due_visit.moves.filter(applied_at__isnull=True, withdrawn_at__isnull=True).update(withdrawn_at=at)
    standing = stop is not None and stop.state == StopState.PLANNED
    move = Move.objects.create(
        due_visit=due_visit,
        technician=technician,
        day=day,
        order=order,
        planned_at=planned_at,
        minutes=minutes,
        drive_minutes=drive_minutes,
        proposal=proposal,
        from_technician=stop.round.technician if stop is not None and standing else None,
        from_day=stop.round.day if stop is not None and standing else None,
        asked_by=by,
        asked_at=at,
    )
    _ask(move, at)
    return move


def _ask(move: Move, at: datetime) -> None:
    """Those concerned are told; it holds at once where no round concerned has begun."""
    asked = {move.technician: _has_begun(move.technician, move.day)}
    if move.from_technician is not None and move.from_day is not None:
        left = _has_begun(move.from_technician, move.from_day)
        asked[move.from_technician] = left or asked.get(move.from_technician, False)
    Notice.objects.bulk_create(Notice(move=move, person=p, needed=needed) for p, needed in asked.items())
    if not any(asked.values()):
        _apply(move, at)


@transaction.atomic
def take_off(*, due_visit: DueVisit, by: User, at: datetime, proposal: Proposal | None = None) -> Move:
    """Take a visit off its day; it stays owed. The technician is told, and asked where the round has begun. Raises
    NotPlanned."""
    due_visit = DueVisit.objects.select_for_update().get(pk=due_visit.pk)
    stop = Stop.objects.select_related("round", "round__technician").filter(due_visit=due_visit).first()
    if stop is None or stop.state == StopState.CALLED_OFF:
        raise NotPlanned(_("It stands on no round."))
    if stop.state in BEGUN:
        raise NotPlanned(_("The visit has begun; it stays where it is."))
    due_visit.moves.filter(applied_at__isnull=True, withdrawn_at__isnull=True).update(withdrawn_at=at)
    driver, day = stop.round.technician, stop.round.day
    move = Move.objects.create(
        due_visit=due_visit,
        technician=driver,
        day=day,
        order=stop.order,
        planned_at=stop.planned_at,
        from_technician=driver,
        from_day=day,
        off=True,
        proposal=proposal,
        asked_by=by,
        asked_at=at,
    )
    needed = _has_begun(driver, day)
    Notice.objects.create(move=move, person=driver, needed=needed)
    if not needed:
        _apply(move, at)
    return move


@transaction.atomic
def accept(*, notice: Notice, at: datetime) -> Move:
    """The technician accepts: when everybody whose word was needed has, the move holds. All that mends one day is accepted with one word.
    Accepting twice is accepting once. If the visit has begun meanwhile, the move is withdrawn and nothing changes."""
    move = Move.objects.get(pk=notice.move_id)
    rows = Move.objects.filter(pk=move.pk)
    if move.proposal_id is not None:
        rows = Move.objects.filter(proposal=move.proposal_id, notices__person=notice.person_id)
    keys = list(rows.values_list("pk", flat=True))
    moves = list(Move.objects.select_for_update().filter(pk__in=keys).order_by("technician", "order", "pk"))
    Notice.objects.filter(move__in=keys, person=notice.person_id, accepted_at=None).update(accepted_at=at)
    for row in moves:
        if row.applied_at is None and row.withdrawn_at is None:
            _hold(row, at)
    if move.proposal_id is not None:
        ask_letters(proposal_id=move.proposal_id, cause=notice.pk, at=at)
    return next(row for row in moves if row.pk == notice.move_id)


def _hold(move: Move, at: datetime) -> None:
    """A move that waits for nobody any more holds, or is withdrawn where its visit has begun."""
    if move.notices.filter(needed=True, accepted_at__isnull=True).exists():
        return
    stop = Stop.objects.filter(due_visit=move.due_visit_id).first()
    if move.due_visit.called_off_at is not None or (stop is not None and stop.state in BEGUN):
        Move.objects.filter(pk=move.pk).update(withdrawn_at=at)
        move.withdrawn_at = at
        return
    _apply(move, at)
