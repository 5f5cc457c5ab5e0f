"""Finished values for the pages about reports."""

from dataclasses import dataclass
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, QuerySet
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from clients.models import Client
from reports.choices import HoldReason, ReportState, Verdict
from reports.models import Report
from reports.queries.access import by_need, job_of, messages_of, reports_for
from reports.queries.failing import why_failed
from reports.queries.paper import DrawnTank, drawn, glyph_of_block, tone_of
from reports.queries.shape import ReportContent, from_json
from reports.queries.words import in_sentence
from servicedesk.dispatch.choices import JobState, MessageState
from servicedesk.dispatch.models import Job
from servicedesk.dispatch.queries import refusal_words
from servicedesk.staff.models import User
from servicedesk.staff.queries import business
from servicedesk.visits.choices import VisitState
from servicedesk.visits.models import Visit
from servicedesk.visits.queries import visits_for

PAGE = 40
GLYPHS = {
    ReportState.HELD: "held",
    ReportState.FAILED: "fail",
    ReportState.WAITING: "wait",
    ReportState.READY: "sent",
    ReportState.REPLACED: "none",
}


def zone() -> ZoneInfo:
    return ZoneInfo(business().zone)


@dataclass(frozen=True)
class ReportLine:
    """One report in a list."""

    state: str
    subject: str
    sentence: str
    url: str
    when: str
    number: str
    again: str = ""
    """Where it is made again, for one that failed."""


def held_words(reasons: list[str]) -> str:
    """Why a report waits, in sentences."""
    return " ".join(str(HoldReason(reason).label) for reason in reasons)


def _sentence(report: Report, *, office: bool) -> str:
    if report.state == ReportState.HELD:
        return f"{held_words(report.hold_reasons)} " + _("It waits for your word.")
    if report.state == ReportState.FAILED:
        return _("It could not be made. %(why)s") % {"why": why_failed(report.error)}
    if report.state == ReportState.WAITING:
        return _("It is being made.")
    if report.state == ReportState.REPLACED:
        return _("A later version overtook it and is being made.")
    word = str(Verdict(report.verdict).label)
    return f"{word}. {report.sentence}" if not office else word + "."


def line_of(report: Report, *, office: bool, may_again: bool = False) -> ReportLine:
    """How a report stands in a list; `may_again` offers to make a failed one again."""
    failed = report.state == ReportState.FAILED
    arrived = report.visit.arrived_at.astimezone(zone())
    return ReportLine(
        state=GLYPHS[ReportState(report.state)],
        subject=str(report.visit.site),
        sentence=_sentence(report, office=office),
        url=reverse("reports:report", args=[report.pk]),
        when=date_format(arrived, "j F"),
        number=report.number
        if report.version == 1
        else _("%(number)s, version %(n)s") % {"number": report.number, "n": report.version},
        again=reverse("reports:again", args=[report.visit_id]) if may_again and failed else "",
    )


@dataclass(frozen=True)
class ReportList:
    """What the list shows: what needs somebody, then what is done. `held` and `failed` count."""

    needs: list[ReportLine]
    done: list[ReportLine]
    held: int
    failed: int
    more: bool


def _newest(seen: QuerySet[Report]) -> QuerySet[Report]:
    """Of the reports that a person may see the newest version of each visit, without their contents."""
    later = seen.filter(visit=OuterRef("visit"), version__gt=OuterRef("version")).order_by()
    return seen.filter(~Exists(later)).defer("content")


def list_for(user: User, *, page: int = 1) -> ReportList:
    """The newest version of every report the person may see; waiting, held and failed ones first."""
    rows = by_need(_newest(reports_for(user)))
    start = (page - 1) * PAGE
    found = list(rows[start : start + PAGE + 1])
    office = not user.is_client
    needs = [
        line_of(r, office=office, may_again=user.is_office)
        for r in found[:PAGE]
        if r.state != ReportState.READY
    ]
    if page == 1 and office:
        needs += [_unmade(visit) for visit in unmade(user)]
    states = list(rows.exclude(state=ReportState.READY).values_list("state", flat=True))
    return ReportList(
        needs=needs,
        done=[line_of(r, office=office) for r in found[:PAGE] if r.state == ReportState.READY],
        held=states.count(ReportState.HELD),
        failed=states.count(ReportState.FAILED),
        more=len(found) > PAGE,
    )


def last_of(user: User, client: Client, *, most: int = 5) -> list[ReportLine]:
    """A client's last reports, newest visit first, each in its newest version."""
    rows = _newest(reports_for(user).filter(visit__site__client=client)).order_by("-visit__arrived_at", "pk")
    return [line_of(report, office=not user.is_client) for report in rows[:most]]


def unmade(user: User) -> list[Visit]:
    """Closed visits whose first report has been asked for and is not begun."""
    rows = visits_for(user).filter(state=VisitState.CLOSED, versions__gt=0, reports=None)
    return list(rows[:PAGE])


def _unmade(visit: Visit) -> ReportLine:
    return ReportLine(
        state="wait",
        subject=str(visit.site),
        sentence=_("Its report has been asked for and is not begun."),
        url=reverse("reports:of_visit", args=[visit.pk]),
        when=date_format(visit.arrived_at.astimezone(zone()), "j F"),
        number="",
    )


@dataclass(frozen=True)
class Progress:
    """How far the making of a report is. `url` is where to go when it is over."""

    state: str
    text: str
    done: int
    total: int
    error: str
    url: str
    again: bool


def progress_of(visit: Visit) -> Progress:
    """How far the newest version of a visit's report is."""
    job = job_of(visit, visit.versions)
    report = Report.objects.filter(visit=visit, version=visit.versions).defer("content").first()
    if report is not None and report.state in (ReportState.READY, ReportState.HELD):
        url = reverse("reports:report", args=[report.pk])
        return Progress("sent", _("The report is there."), 4, 4, "", url, again=False)
    if job is None:
        text = _("No report has been asked for: the visit was closed before reports were made here.")
        return Progress("none", text, 0, 0, "", "", again=False)
    return _under_way(job)


def _under_way(job: Job) -> Progress:
    if job.state == JobState.FAILED:
        text = _("The report could not be made.")
        return Progress("fail", text, 0, 0, why_failed(job.error), "", again=True)
    if job.state == JobState.QUEUED and job.error:
        when = job.not_before.astimezone(zone()) if job.not_before else None
        text = _("The report could not be made. It is tried again at %(when)s.") % {
            "when": date_format(when, "H:i") if when else "–"
        }
        return Progress("fail", text, 0, 0, why_failed(job.error), "", again=True)
    if job.state == JobState.RUNNING and job.progress_total:
        text = _("Step %(done)s of %(total)s: %(note)s.") % {
            "done": job.progress_done,
            "total": job.progress_total,
            "note": job.progress_note,
        }
        return Progress("wait", text, job.progress_done, job.progress_total, "", "", again=False)
    return Progress("wait", _("The report waits for its turn."), 0, 4, "", "", again=False)


@dataclass(frozen=True)
class MailLine:
    state: str
    text: str


def mail_lines(report: Report) -> list[MailLine]:
    """Whom the report was mailed to, and how that went."""
    lines = []
    for message in messages_of(report):
        when = date_format(message.sent_at.astimezone(zone()), "j M, H:i") if message.sent_at else ""
        said = {"to": message.recipient, "when": when, "why": refusal_words(message.error)}
        words = {
            MessageState.SENT: ("sent", _("Mailed to %(to)s, %(when)s.") % said),
            MessageState.HELD: ("held", _("To %(to)s: waits with the report.") % said),
            MessageState.FAILED: ("fail", _("To %(to)s: not sent. %(why)s") % said),
            MessageState.UNSURE: ("fail", _("To %(to)s: may have been sent twice.") % said),
        }
        state, text = words.get(
            MessageState(message.state), ("wait", _("To %(to)s: waits to be sent.") % said)
        )
        if message.state == MessageState.SENT and message.error:
            text = f"{text} {message.error}"
        lines.append(MailLine(state=state, text=text))
    return lines


@dataclass(frozen=True)
class Version:
    text: str
    url: str
    here: bool
    changes: list[str]


def versions_of(user: User, report: Report) -> list[Version]:
    """All versions that the person may see, newest first."""
    rows = reports_for(user).filter(visit=report.visit).order_by("-version")
    return [
        Version(
            text=_version_words(row),
            url=""
            if row.state == ReportState.REPLACED and not row.file
            else reverse("reports:report", args=[row.pk]),
            here=row.pk == report.pk,
            changes=row.changes,
        )
        for row in rows.defer("content")
    ]


def _version_words(row: Report) -> str:
    said = {"n": row.version, "when": date_format(row.made_at.astimezone(zone()), "j F, H:i")}
    if row.state != ReportState.REPLACED:
        return _("Version %(n)s, %(when)s") % said
    if row.file:
        return _("Version %(n)s, %(when)s: overtaken by a later one, not sent") % said
    return _("Version %(n)s, %(when)s: overtaken before it was drawn; the next one tells it all") % said


@dataclass(frozen=True)
class Opened:
    """A report's content laid out for a page."""

    content: ReportContent
    word: str
    state: str
    colour: str
    tanks: list[DrawnTank]


def verdict_state(content: ReportContent) -> str:
    """The glyph of the page's verdict: the plate only where animals are in danger."""
    block = max(content.tanks, key=lambda b: (b.verdict == content.verdict, b.danger))
    state = glyph_of_block(block)
    if not content.danger:
        return {"under": "low", "over": "high"}.get(state, state)
    return state if state in ("under", "over") else "over" if state == "high" else "under"


def opened(report: Report, *, narrow: bool = False) -> Opened | None:
    """The content of a report drawn for a page; None while there is none."""
    if not report.content:
        return None
    content = from_json(report.content)
    return Opened(
        content=content,
        word=str(Verdict(content.verdict).label),
        state=verdict_state(content),
        colour=tone_of(content.verdict, content.danger),
        tanks=[drawn(block, zone=zone(), narrow=narrow) for block in content.tanks],
    )


def latest_report_of(user: User, tanks: list[UUID]) -> dict[UUID, Report]:
    """The newest report the person may see for each of these tanks."""
    rows = reports_for(user).filter(visit__due_visit__tanks__in=tanks).distinct()
    found: dict[UUID, Report] = {}
    for report in rows.order_by("-visit__arrived_at", "-version")[:200]:
        for block in report.content.get("tanks", []):
            found.setdefault(UUID(block["tank"]), report)
    return {key: report for key, report in found.items() if key in set(tanks)}


@dataclass(frozen=True)
class TankTold:
    """What the newest report that went out tells of one tank."""

    report: Report
    content: ReportContent
    tank: DrawnTank
    state: str
    colour: str
    word: str
    sentence: str
    day: str
    well: str


def tank_told(report: Report, key: UUID) -> TankTold | None:
    """One tank's block of a report, for a small screen: what is as it should be in one line, the rest by itself."""
    content = from_json(report.content)
    block = next((b for b in content.tanks if b.tank == str(key)), None)
    if block is None:
        return None
    state = glyph_of_block(block)
    if not block.danger:
        state = {"under": "low", "over": "high"}.get(state, state)
    well = [level.name for level in block.levels if level.state == "in"]
    return TankTold(
        report=report,
        content=content,
        tank=drawn(block, zone=zone(), narrow=True),
        state=state,
        colour=tone_of(block.verdict, block.danger),
        word=str(Verdict(block.verdict).label),
        sentence=content.sentence if len(content.tanks) == 1 else block.sentence,
        day=content.day,
        well=in_sentence(well),
    )
