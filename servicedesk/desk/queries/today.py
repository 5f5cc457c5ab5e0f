"""The owner's first page: what needs somebody, soonest harm first, and how the day stands."""

from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from reports.choices import ReportState
from reports.models import Report
from reports.queries.failing import why_failed
from reports.queries.pages import held_words
from servicedesk.core.drawing.sketch import Sketch, SketchStop
from servicedesk.core.drawing.sketch import State as SketchState
from servicedesk.desk.queries.ahead import Ahead, ahead_of, next_help
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Round, Stop
from servicedesk.staff.models import User
from servicedesk.upkeep.choices import reason_words
from servicedesk.upkeep.models import Task
from servicedesk.upkeep.queries import last_left, overdue
from servicedesk.watch.choices import AttentionKind
from servicedesk.watch.queries import Looked, open_for
from servicedesk.web.prepared import DAY, Slot, prepared

GLYPH = {
    "above": "high",
    "below": "low",
    "above_limit": "over",
    "below_limit": "under",
    "check": "check",
    "silent": "silent",
    "empty": "empty",
}
MOST_REPORTS, MOST_LATE = 20, 6
SHOWN_OF_A_STOP = (
    *("order", "planned_at", "minutes", "state", "arrived_at", "left_at", "round__day", "round__starts"),
    *("round__ends", "round__technician__name", "due_visit__isolated", "due_visit__site__name"),
    *("due_visit__site__lat", "due_visit__site__lon"),
)
DRAWN: dict[StopState, SketchState] = {
    StopState.PLANNED: "planned",
    StopState.UNDER_WAY: "there",
    StopState.CLOSED: "done",
}


@dataclass(frozen=True)
class Need:
    """One row of what needs the owner."""

    state: str
    subject: str
    subject_url: str
    sentence: str
    why: str
    ahead: Ahead
    act_label: str
    act_url: str
    act_post: bool = False
    why_url: str = ""


def attention_needs(user: User, *, now: datetime) -> list[Need]:
    """Open attention of tanks and sites, soonest harm first, each with who is there and when."""
    zone = ZoneInfo(user.zone)
    rows = open_for(user)
    placed = [(row, row.tank.site if row.tank else row.site) for row in rows]
    helps = next_help({site.pk for _row, site in placed if site}, now=now, zone=zone)
    found = []
    for row, site in placed:
        if site is None:
            continue
        url = reverse("desk:tank", args=[row.tank_id]) if row.tank_id else reverse("rounds:week")
        found.append(
            Need(
                state=GLYPH.get(row.word, "held" if row.kind == AttentionKind.REPORT else "late"),
                subject=f"{site.name}, {row.tank.name}" if row.tank else site.name,
                subject_url=url,
                sentence=row.sentence,
                why=row.why,
                ahead=ahead_of(row.harm_at, helps.get(site.pk), now=now, zone=zone),
                act_label=_("See the tank") if row.tank_id else _("See the week"),
                act_url=url,
            )
        )
    return found


@prepared()
def _not_ready() -> QuerySet[Report]:
    rows = Report.objects.exclude(state=ReportState.READY).order_by("made_at", "pk")
    shown = ("state", "hold_reasons", "made_at", "number", "error", "visit__site__name")
    return rows.select_related("visit__site").only(*shown)


def report_needs(*, zone: ZoneInfo) -> tuple[list[Need], int]:
    """Reports that wait for a word, and those that could not be made, oldest first; and how many are being made."""
    known = _not_ready()
    waiting = [row for row in known if row.state == ReportState.WAITING]
    found = []
    for row in [row for row in known if row.state != ReportState.WAITING][:MOST_REPORTS]:
        held = row.state == ReportState.HELD
        made = date_format(row.made_at.astimezone(zone), "j F, H:i")
        url = reverse("reports:report", args=[row.pk])
        found.append(
            Need(
                state="held" if held else "fail",
                subject=_("%(site)s, report %(number)s")
                % {"site": row.visit.site.name, "number": row.number},
                subject_url=url,
                sentence=f"{held_words(row.hold_reasons)} " + _("It waits for your word.")
                if held
                else _("It could not be made, and was not sent."),
                why="" if held else why_failed(row.error),
                ahead=Ahead(
                    head=_("No hurry") if held else _("Soon"), words=_("made %(when)s") % {"when": made}
                ),
                act_label=_("Read and release") if held else _("See why"),
                act_url=url,
            )
        )
    return found, len(waiting)


@dataclass(frozen=True)
class Late:
    """An overdue task: how many days, and why it was left the last time."""

    task: Task
    days: int
    why: str


def late_tasks(user: User, *, on: date) -> tuple[list[Late], int]:
    """The oldest overdue tasks with their reasons, and how many there are in all."""
    rows = overdue(user, on=on)
    left = last_left(rows[:MOST_LATE]) if rows else {}
    shown = [
        Late(task, (on - task.latest).days, reason_words(left[task.pk].reason) if task.pk in left else "")
        for task in rows[:MOST_LATE]
    ]
    return shown, len(rows)


@dataclass
class Day:
    """One technician's round of today: its stops and how it stands."""

    round: Round
    name: str
    stops: list[Stop] = field(default_factory=list)

    @property
    def words(self) -> str:
        """How many stops are closed, under way and to go."""
        count = {state: sum(1 for s in self.stops if s.state == state) for state in StopState}
        parts = []
        if count[StopState.CLOSED]:
            parts.append(_("%(n)s closed") % {"n": count[StopState.CLOSED]})
        here = next((s for s in self.stops if s.state == StopState.UNDER_WAY), None)
        if here is not None:
            parts.append(_("at %(site)s now") % {"site": here.due_visit.site.name})
        n = count[StopState.PLANNED]
        parts.append(ngettext("%(n)s to go", "%(n)s to go", n) % {"n": n} if n else _("none to go"))
        return ", ".join(parts)

    @property
    def calls(self) -> list[tuple[str, str, str]]:
        """Each stop: where its visit is read, when and where it is, how it stands."""
        return [
            (
                reverse("visits:visit", args=[stop.due_visit_id]),
                f"{stop.planned_at:%H:%M} {stop.due_visit.site.name}",
                str(StopState(stop.state).label),
            )
            for stop in self.stops
        ]

    @property
    def sketch(self) -> Sketch | None:
        """The round as a map sketch; None where fewer than two of its sites say where they stand."""
        stops = [
            SketchStop(stop.order, site.name, site.lat, site.lon, DRAWN[StopState(stop.state)])
            for stop in self.stops
            for site in [stop.due_visit.site]
            if stop.state != StopState.CALLED_OFF and site.lat is not None and site.lon is not None
        ]
        if len(stops) < 2:
            return None
        named = ", ".join(f"{stop.number} {stop.name}" for stop in stops)
        return Sketch(_("The round of %(name)s: %(stops)s.") % {"name": self.name, "stops": named}, stops)


@prepared(day=DAY)
def _stops(day: Slot) -> QuerySet[Stop]:
    rows = Stop.objects.filter(round__day=day).select_related("round__technician", "due_visit__site")
    return rows.only(*SHOWN_OF_A_STOP).order_by("round__technician__name", "round", "order", "pk")


def days_on(day: date) -> list[Day]:
    """Today's rounds by technician, their stops in order, in one query."""
    days: dict[UUID, Day] = {}
    for stop in _stops(day=day):
        mine = days.setdefault(stop.round_id, Day(stop.round, stop.round.technician.name))
        mine.stops.append(stop)
    return list(days.values())


def unjudged_words(looked: Looked, *, zone: ZoneInfo) -> tuple[str, str]:
    """What is said where the last look lies too far back."""
    if looked.at is None:
        then = _("The work in the background looks at them when it has started; look again in a minute.")
        return _("The tanks have not been judged yet."), then
    when = date_format(looked.at.astimezone(zone), "j F, H:i")
    stands = _("The work in the background stands still: what comes in is kept, but nobody looks at it.")
    return _("Nothing has been judged since %(when)s.") % {"when": when}, stands


def lead_words(rows: list[Need], looked: Looked, *, zone: ZoneInfo) -> tuple[str, str]:
    """The answer sentence: how much needs the owner, and what comes first, with who is there. Where nobody has looked
    at the tanks for too long, that comes first, and nothing is called quiet."""
    if looked.stale:
        return unjudged_words(looked, zone=zone)
    if not rows:
        return _("Nothing needs you."), _("A good day is a grey page.")
    first = rows[0]
    bold = ngettext("One thing needs you.", "%(n)s things need you.", len(rows)) % {"n": len(rows)}
    dated = first.ahead.harm_h is not None
    rest = _("%(subject)s first: %(sentence)s") % {"subject": first.subject, "sentence": first.sentence}
    return bold, f"{rest} {first.ahead.words}" if dated else rest
