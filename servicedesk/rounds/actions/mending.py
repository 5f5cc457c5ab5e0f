"""The office says what broke a running day, and chooses one way out: it holds whole or not at all."""

from collections.abc import Collection
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from clients.models import Site
from servicedesk.dispatch import actions as dispatch
from servicedesk.rounds.actions.placing import place, take_off
from servicedesk.rounds.actions.planning import NotPlanned, owe_call_out
from servicedesk.rounds.actions.telling import note_moves
from servicedesk.rounds.choices import ProposalState, StopState, TroubleKind, TroubleState
from servicedesk.rounds.models import DueVisit, Move, Proposal, Proposed, Stop, Trouble
from servicedesk.rounds.queries.found import Line
from servicedesk.rounds.queries.isolation import MORE_MINUTES, apart, caution_words, override_words
from servicedesk.rounds.queries.mending import later_of, moved_of
from servicedesk.rounds.queries.stamps import stamp_of_day
from servicedesk.staff.models import User
from servicedesk.staff.queries import business_zone
from servicedesk.watch.actions import be_away, be_back
from servicedesk.watch.models import Away

MOST_LATE = 8 * 60
LONGEST_AWAY = timedelta(days=366)


@transaction.atomic
def say_trouble(
    *,
    kind: str,
    day: date,
    by: User,
    at: datetime,
    person: User | None = None,
    due_visit: DueVisit | None = None,
    minutes: int | None = None,
    until: time | None = None,
    away_until: date | None = None,
    override_said: str = "",
) -> Trouble:
    """Write down what broke today, and have the longer searches asked for. Nothing moves yet; who is sick is away, today at least, whichever way
    out is chosen. Raises NotPlanned."""
    if person is not None and not _open_stops(day).filter(round__technician=person).exists():
        raise NotPlanned(_("%(name)s has no stop to come today: nothing has to move.") % {"name": person})
    if kind == TroubleKind.LATE and not 1 <= (minutes or 0) <= MOST_LATE:
        raise NotPlanned(_("Late is from one minute to eight hours."))
    if kind == TroubleKind.CANCELLED and not _open_stops(day).filter(due_visit=due_visit).exists():
        raise NotPlanned(_("That visit is not to come today: it has begun, or stands on no round."))
    away = _away(person, day, away_until or day) if kind == TroubleKind.SICK and person is not None else None
    row = Trouble.objects.create(
        kind=kind, day=day, person=person, due_visit=due_visit, minutes=minutes, until=until, asked_by=by, asked_at=at, away=away, override_said=override_said
    )  # fmt: skip
    dispatch.ask(kind="mend_day", key=f"mend_day:{row.pk}", args={"trouble": str(row.pk)}, at=at)
    return row


def _away(person: User, first: date, last: date) -> Away:
    if not first <= last <= first + LONGEST_AWAY:
        raise NotPlanned(_("Away until today at the least, a year at the most."))
    return be_away(person=person, first=first, last=last, why=_("sick"))


def _open_stops(day: date) -> Any:
    return Stop.objects.filter(round__day=day, state=StopState.PLANNED, due_visit__called_off_at=None)


@transaction.atomic
def say_call_out(
    *,
    site: Site,
    why: str,
    minutes: int,
    until: time | None,
    day: date,
    by: User,
    at: datetime,
    override: bool = False,
) -> Trouble:
    """A call-out: the visit is owed from now on, for all tanks there, whichever way out is chosen. `override`: a tank in isolation there may be come
    to before others, which is written down with what was said, and takes longer. Raises NotPlanned."""
    if until is not None and until <= at.astimezone(business_zone()).time():
        raise NotPlanned(_("That time has passed."))
    tanks = list(site.tanks.filter(retired_on__isnull=True))
    if not tanks:
        raise NotPlanned(_("No tank is kept at %(site)s.") % {"site": site.name})
    if override and not apart(tanks, day):
        raise NotPlanned(_("No tank at %(site)s is in isolation or under treatment.") % {"site": site.name})
    visit = owe_call_out(
        site=site, tanks=tanks, why=why, day=day, latest=day, at=at, minutes=minutes + MORE_MINUTES * override, disinfects=override
    )  # fmt: skip
    said = f"{override_words()} {caution_words()}" if override else ""
    return say_trouble(
        kind=TroubleKind.CALL_OUT, day=day, by=by, at=at, due_visit=visit, until=until, override_said=said
    )


@transaction.atomic
def say_again(*, trouble: Trouble, day: date, by: User, at: datetime) -> Trouble:
    """The same, worked out from how the day is now; the old ways out fall away. Raises NotPlanned, and then they stay."""
    row = Trouble.objects.select_for_update().get(pk=trouble.pk)
    if row.day != day:
        raise NotPlanned(_("That day is past."))
    if not drop_trouble(trouble=row, by=by, at=at):
        raise NotPlanned(_("This was %(state)s already.") % {"state": TroubleState(row.state).label})
    until = row.away.until_on if row.away is not None else None
    return say_trouble(
        kind=row.kind, day=row.day, by=by, at=at, person=row.person, due_visit=row.due_visit, minutes=row.minutes, until=row.until, away_until=until, override_said=row.override_said
    )  # fmt: skip


@transaction.atomic
def keep_offer(
    *,
    trouble: Trouble,
    kind: str,
    lines: list[Line],
    before: dict[str, Any],
    after: dict[str, Any],
    said: list[str],
    stamp: str,
    at: datetime,
) -> bool:
    """Keep one way out, whole; whether it was still waited for."""
    row = Trouble.objects.select_for_update().get(pk=trouble.pk)
    if row.state != TroubleState.OPEN or row.offers.filter(kind=kind).exists():
        return False
    offer = Proposal.objects.create(
        kind=kind, trouble=row, first=row.day, last=row.day, state=ProposalState.READY, asked_by=row.asked_by, asked_at=row.asked_at,
        seconds=2, before=before, after=after, said=said, stamp=stamp, ended_at=at,
    )  # fmt: skip
    keep_lines(offer, lines)
    return True


def keep_lines(proposal: Proposal, lines: list[Line]) -> None:
    """Each visit as a proposal has it."""
    Proposed.objects.bulk_create(
        Proposed(
            proposal=proposal,
            due_visit=line.due_visit,
            technician=line.technician,
            day=line.day,
            order=line.order,
            planned_at=line.planned_at,
            minutes=line.minutes,
            drive_minutes=line.drive_minutes,
            wait_minutes=line.wait_minutes,
            slack_minutes=line.slack_minutes,
            why=line.why[:300],
            ways=list(line.ways),
        )
        for line in lines
    )


def end_search(*, trouble: Trouble, at: datetime, error: str = "") -> bool:
    """Nothing more is searched for; whether it was still searched for."""
    rows = Trouble.objects.filter(pk=trouble.pk, searched_at__isnull=True)
    return bool(rows.update(searched_at=at, error=error[:300]))


@transaction.atomic
def drop_trouble(*, trouble: Trouble, by: User, at: datetime) -> bool:
    """It is not to be mended: the day in force stays, and nobody was sick. Whether it was open."""
    rows = Trouble.objects.filter(pk=trouble.pk, state=TroubleState.OPEN)
    if not rows.update(state=TroubleState.DROPPED, ended_by=by, ended_at=at):
        return False
    if trouble.away is not None:
        be_back(away=trouble.away, on=trouble.day)
    Proposal.objects.filter(trouble=trouble.pk).update(state=ProposalState.DROPPED, ended_by=by, ended_at=at)
    return True


@transaction.atomic
def choose(
    *, offer: Proposal, by: User, today: date, at: datetime, later: Collection[str] = ()
) -> list[Move]:
    """Put one way out in force, whole; what moves. Technicians are told, and asked where their round has begun. `later` are visits without a place
    today that go where the way out has them on another day. Raises NotPlanned, and then nothing changes: where it was settled already, where
    anything of the day moved since, or the day is past."""
    trouble = Trouble.objects.select_for_update().get(offers=offer)
    if trouble.state != TroubleState.OPEN:
        raise NotPlanned(_("This was %(state)s already.") % {"state": TroubleState(trouble.state).label})
    if trouble.day != today:
        raise NotPlanned(_("That day is past."))
    list(Stop.objects.select_for_update().filter(round__day=trouble.day).order_by("pk").values_list("pk"))
    if stamp_of_day(trouble.day) != offer.stamp:
        raise NotPlanned(_("The day has moved since this was worked out. Work it out again."))
    later = _still_free(offer, later)
    note_moves(proposal=offer, moved=moved_of(offer, later), at=at)
    waiting = Move.objects.filter(Q(day=today) | Q(from_day=today), applied_at=None, withdrawn_at=None)
    waiting.update(withdrawn_at=at)
    lines = offer.visits.select_related("due_visit", "proposal").order_by("technician", "order", "pk")
    held = [
        _put_later(line, by, today, at) if str(line.due_visit_id) in later else _moved(line, by, today, at)
        for line in lines
    ]
    moves = [move for move in held if move is not None]
    _in_order(offer, today)
    Trouble.objects.filter(pk=trouble.pk).update(state=TroubleState.SETTLED, ended_by=by, ended_at=at)
    Proposal.objects.filter(trouble=trouble).exclude(pk=offer.pk).update(
        state=ProposalState.DROPPED, ended_by=by, ended_at=at
    )
    Proposal.objects.filter(pk=offer.pk).update(state=ProposalState.IN_FORCE, ended_by=by, ended_at=at)
    return moves


def _still_free(offer: Proposal, later: Collection[str]) -> list[str]:
    """The visits of these that the way out has on another day, where nothing of those days moved since. Raises NotPlanned."""
    places = {key: kept for key, kept in later_of(offer).items() if key in later}
    for kept in places.values():
        if stamp_of_day(date.fromisoformat(kept["day"])) != kept["stamp"]:
            raise NotPlanned(_("A later day has moved since this was worked out. Work it out again."))
    return list(places)


def _put_later(line: Proposed, by: User, today: date, at: datetime) -> Move:
    """A visit goes to another day; the way to the one behind it is another then."""
    kept = later_of(line.proposal)[str(line.due_visit_id)]
    move = place(
        due_visit=line.due_visit,
        technician=User.objects.get(pk=kept["technician"]),
        day=date.fromisoformat(kept["day"]),
        planned_at=time.fromisoformat(kept["at"]),
        order=kept["order"],
        by=by,
        today=today,
        at=at,
        minutes=kept["minutes"],
        drive_minutes=kept["drive"],
        proposal=line.proposal,
    )
    if kept["behind"] is not None and move.applied_at is not None:
        behind, drive = kept["behind"]
        Stop.objects.filter(due_visit=behind).update(drive_minutes=drive)
    return move


def _moved(line: Proposed, by: User, today: date, at: datetime) -> Move | None:
    """One visit; None where it stays."""
    stop = Stop.objects.select_related("round").filter(due_visit=line.due_visit_id).first()
    standing = stop if stop is not None and stop.state == StopState.PLANNED else None
    if line.technician is None or line.planned_at is None:
        if standing is None:
            return None
        return take_off(due_visit=line.due_visit, by=by, at=at, proposal=line.proposal)
    here = (standing.round.technician_id, standing.planned_at) if standing is not None else None
    if here == (line.technician_id, line.planned_at):
        return None
    return place(
        due_visit=line.due_visit,
        technician=line.technician,
        day=today,
        planned_at=line.planned_at,
        order=line.order + _begun(line.technician, today),
        by=by,
        today=today,
        at=at,
        minutes=line.minutes,
        drive_minutes=line.drive_minutes,
        proposal=line.proposal,
    )


def _begun(technician: User, day: date) -> int:
    """How many stops of a round are no longer to come."""
    states = (StopState.UNDER_WAY, StopState.CLOSED)
    return Stop.objects.filter(round__technician=technician, round__day=day, state__in=states).count()


def _in_order(offer: Proposal, day: date) -> None:
    """Stops that stand where the offer has them are numbered as it has them; what waits for a word is numbered when it comes."""
    rows = Stop.objects.filter(round__day=day, state=StopState.PLANNED).select_related("round")
    stops = {stop.due_visit_id: stop for stop in rows}
    for line in offer.visits.filter(technician__isnull=False).select_related("technician"):
        stop = stops.get(line.due_visit_id)
        if stop is None or stop.round.technician_id != line.technician_id or line.technician is None:
            continue
        if not _begun(line.technician, day):
            Stop.objects.filter(pk=stop.pk).update(order=line.order, drive_minutes=line.drive_minutes)
