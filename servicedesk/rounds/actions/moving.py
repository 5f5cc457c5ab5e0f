"""A person puts a stop of a proposed week somewhere else; the rounds in force stay as they are."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _

from servicedesk.core.rounds.problem import NotPlanned as NoTimes
from servicedesk.rounds.actions.planning import NotPlanned
from servicedesk.rounds.actions.proposing import as_seen, held_ready
from servicedesk.rounds.models import DueVisit, Pin, Proposal, Proposed
from servicedesk.rounds.queries.found import Line
from servicedesk.rounds.queries.moving import OUT_OF_DATE, Retimed, Target, retimed
from servicedesk.rounds.queries.stamps import stamp_of
from servicedesk.staff.models import User


@dataclass(frozen=True)
class Moved:
    """Where a stop stands now, what that costs (seconds more at the wheel and of overtime; less than nought: fewer), and the rules that the rounds
    concerned break. `anew`: it stood elsewhere before."""

    line: Proposed
    driving: int = 0
    overtime: int = 0
    broken: tuple[str, ...] = ()
    anew: bool = True


@transaction.atomic
def move_in_proposal(
    *,
    proposal: Proposal,
    due_visit: DueVisit,
    technician: User,
    day: date,
    by: User,
    today: date,
    at: datetime,
    order: int | None = None,
    moves: int | None = None,
) -> Moved:
    """Put a stop on a technician's day of a proposed week, as its first stop (1), second …, or where it does best (None). The rounds concerned get
    new times; rules may be broken, a person is believed. `moves`: how many moves by hand were seen. Raises NotPlanned, and then nothing changes."""
    row = held_ready(proposal, today)
    lines = list(row.visits.select_related("due_visit", "technician").order_by("day", "order", "pk"))
    line = next((line for line in lines if line.due_visit_id == due_visit.pk), None)
    if line is None:
        raise NotPlanned(_("It is no visit of this week."))
    if (line.technician_id, line.day) == (technician.pk, day) and order in (None, line.order):
        return Moved(line, anew=False)
    as_seen(row, moves)
    if stamp_of(line.due_visit for line in lines) != row.stamp:
        raise NotPlanned(_(OUT_OF_DATE))
    _may_go(row, due_visit, technician, day)
    try:
        found = retimed(row, lines, due_visit, Target(technician, day, order), at)
    except NoTimes as wrong:
        raise NotPlanned(_(str(wrong))) from wrong
    _keep(row, {line.due_visit_id: line for line in lines}, found)
    line.moved_by = by
    line.save(update_fields=["moved_by"])
    return Moved(line, found.driving, found.overtime, tuple(found.broken))


def _may_go(row: Proposal, due_visit: DueVisit, technician: User, day: date) -> None:
    """What no person is believed in."""
    if not technician.is_technician or not technician.is_active:
        raise NotPlanned(_("Only a technician drives a round."))
    if not row.first <= day <= row.last:
        raise NotPlanned(_("That day is not in this week."))
    pin = Pin.objects.filter(due_visit=due_visit).first()
    elsewhere = pin is not None and (pin.technician_id not in (None, technician.pk) or pin.day not in (None, day))  # fmt: skip
    if elsewhere:
        raise NotPlanned(_("It is held where it stands. Let it go first."))


def _keep(row: Proposal, lines: dict[object, Proposed], found: Retimed) -> None:
    """The rounds concerned as they are now, and the week in numbers."""
    for new in found.lines:
        _write(lines[new.due_visit.pk], new)
    fields = ["technician", "day", "order", "planned_at", "minutes", "drive_minutes", "wait_minutes", "slack_minutes", "why", "ways"]  # fmt: skip
    Proposed.objects.bulk_update([lines[new.due_visit.pk] for new in found.lines], fields)
    row.after = found.after
    row.save(update_fields=["after"])


def _write(line: Proposed, new: Line) -> None:
    line.technician, line.day, line.order, line.planned_at = new.technician, new.day, new.order, new.planned_at  # fmt: skip
    line.minutes, line.drive_minutes = new.minutes, new.drive_minutes
    line.wait_minutes, line.slack_minutes = new.wait_minutes, new.slack_minutes
    line.why, line.ways = new.why[:300], list(new.ways)
