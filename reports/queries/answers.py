"""The client's yes or no to what we recommend: the last answer to a question counts, the earlier ones stay."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from reports.choices import ReportState
from reports.models import Answer, Report
from reports.queries.shape import Question, from_json
from reports.queries.short import clipped
from servicedesk.staff.models import User
from servicedesk.staff.queries import business
from servicedesk.visits.models import Visit
from servicedesk.web.prepared import MOMENT, Slot, prepared

NEWS_FOR = timedelta(days=14)
SHOWN_LETTERS = 120


@dataclass(frozen=True)
class Asked:
    """A question on a page: what it says, whether it can be answered here, and what was answered last."""

    question: Question
    url: str
    answer: str
    yes: bool
    no: bool


@dataclass(frozen=True)
class News:
    """A client's answer for the office: a sentence, where to read it, and when it came."""

    sentence: str
    url: str
    when: str
    at: datetime
    yes: bool


def last_answers(questions: Iterable[UUID]) -> dict[UUID, Answer]:
    """The answer that counts to each of these questions."""
    rows = (
        Answer.objects.filter(question__in=list(questions))
        .select_related("by")
        .order_by("at", "received_at", "pk")
    )
    return {row.question: row for row in rows}


def question_of(report: Report, key: UUID) -> Question | None:
    """The question of this report, if it asks it."""
    if not report.content:
        return None
    return next((q for q in from_json(report.content).questions if q.key == str(key)), None)


def asked_of(report: Report, user: User) -> list[Asked]:
    """The questions of a report with their answers, for the one who reads it."""
    if not report.content:
        return []
    questions = from_json(report.content).questions
    said = last_answers(UUID(q.key) for q in questions if q.key)
    may = report.state == ReportState.READY and (user.is_client or user.is_office)
    return [_asked(report, question, said, may) for question in questions]


def _asked(report: Report, question: Question, said: dict[UUID, Answer], may: bool) -> Asked:
    key = UUID(question.key) if question.key else None
    answer = said.get(key) if key else None
    url = reverse("reports:answer", args=[report.pk, key]) if key and may else ""
    words = _answer_words(answer) if answer else ""
    return Asked(question, url, words, yes=bool(answer and answer.yes), no=bool(answer and not answer.yes))


def _answer_words(answer: Answer) -> str:
    when = date_format(answer.at.astimezone(ZoneInfo(business().zone)), "j F, H:i")
    said = {"who": answer.by.name, "when": when}
    if answer.by.is_client:
        return (_("Yes, said %(who)s, %(when)s.") if answer.yes else _("No, said %(who)s, %(when)s.")) % said
    told = _("Yes, as told to %(who)s, %(when)s.") if answer.yes else _("No, as told to %(who)s, %(when)s.")
    return told % said


@prepared(after=MOMENT, until=MOMENT)
def _given(after: Slot, until: Slot) -> QuerySet[Answer, tuple[Any, ...]]:
    rows = Answer.objects.filter(at__gt=after, at__lte=until).order_by("at", "received_at", "pk")
    read = ("report__number", "report__content__questions", "report__visit__site__client__name")
    return rows.values_list("question", "yes", "at", "report", *read)


def answers_for(user: User, *, at: datetime) -> list[News]:
    """For owner and office: what clients answered in the last fortnight, the newest first, each question once."""
    if not user.is_office:
        return []
    said = {row[0]: row for row in _given(after=at - NEWS_FOR, until=at)}
    found = [_news(*row) for row in said.values()]
    return sorted(found, key=lambda news: news.at, reverse=True)


def _news(
    key: UUID, yes: bool, at: datetime, report: UUID, number: str, asked: list[dict[str, str]], client: str
) -> News:
    question = next((Question(**row) for row in asked or [] if row.get("key") == str(key)), None)
    line = _("%(client)s says yes to %(what)s.") if yes else _("%(client)s says no to %(what)s.")
    return News(
        sentence=line % {"client": client, "what": quoted(question) if question else number},
        url=reverse("reports:report", args=[report]) + "#asked",
        when=date_format(at.astimezone(ZoneInfo(business().zone)), "j F, H:i"),
        at=at,
        yes=yes,
    )


def quoted(question: Question) -> str:
    """A question in a sentence: its words, and its price."""
    text = clipped(question.text.rstrip(" ."), SHOWN_LETTERS)
    return f"“{text}” ({question.price})" if question.price else f"“{text}”"


def answered_lines(visit: Visit, before: Visit | None, *, at: datetime) -> list[str]:
    """For the report of a visit: what the client answered since the visit before, and what is still open from it."""
    if before is None:
        return []
    mine = Q(visit__site=visit.site_id, state=ReportState.READY, made_at__lte=at)
    rows = Report.objects.filter(mine).exclude(visit=visit).order_by("visit__arrived_at", "version")
    since = before.closed_at or before.arrived_at
    recent = rows.filter(Q(visit=before) | Q(answers__at__gt=since)).distinct()
    asked: dict[UUID, tuple[Question, bool]] = {}
    for report in recent:
        for question in from_json(report.content).questions:
            if question.key:
                asked[UUID(question.key)] = (question, report.visit_id == before.pk)
    said = {key: a for key, a in last_answers(asked).items() if a.at <= at}
    zone, lines = ZoneInfo(business().zone), []
    for key, (question, open_here) in asked.items():
        answer = said.get(key)
        if answer is not None and answer.at > since:
            day = date_format(answer.at.astimezone(zone), "j F")
            line = (
                _("You said yes to %(what)s on %(day)s.")
                if answer.yes
                else _("You said no to %(what)s on %(day)s.")
            )
            lines.append(line % {"what": quoted(question), "day": day})
        elif answer is None and open_here:
            lines.append(_("We still wait for your yes or no to %(what)s.") % {"what": quoted(question)})
    return lines
