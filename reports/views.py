"""Pages about reports: the list, one report with its PDF, its way, and the owner's word."""

from datetime import date, timedelta
from pathlib import Path
from typing import TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from reports import actions, queries
from reports.choices import ReportState
from reports.models import Report
from reports.queries import pages
from reports.queries.answers import answers_for, asked_of
from reports.queries.failing import why_failed
from reports.queries.run_paper import MOST_SHEETS, run_papers, week_html
from reports.queries.run_sheet import driver_for, sheet_of, sheets_of
from reports.render import RenderFailed, render_now
from servicedesk.rounds.queries import round_of
from servicedesk.staff.models import User
from servicedesk.staff.queries import business

Answered = TypeVar("Answered", bound=HttpResponseBase)


def _who(request: HttpRequest) -> User:
    user = request.user
    assert isinstance(user, User)
    return user


def _layout(user: User) -> dict[str, object]:
    """The frame of the page: a client sees the business's own name."""
    layout = "base_client.html" if user.is_client else "base.html"
    names = {"business_name": business().name, "office": user.is_office, "narrow": user.is_client}
    return {"layout": layout, **names}


def _pdf(name: str, *, called: str) -> FileResponse:
    path = Path(settings.PAPERS_ROOT) / name
    if not name or not path.is_file():
        raise Http404
    return _inline(FileResponse(path.open("rb"), content_type="application/pdf"), called=called)


def _inline(answer: Answered, *, called: str) -> Answered:
    """Read in the browser, kept by nobody."""
    answer["Content-Disposition"] = f'inline; filename="{called}"'
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Cache-Control"] = "private, no-store"
    return answer


@login_required
def report_list(request: HttpRequest) -> HttpResponse:
    user = _who(request)
    wanted = request.GET.get("page", "1")
    page = int(wanted) if wanted.isdecimal() and 0 < int(wanted) < 10_000 else 1
    found = pages.list_for(user, page=page)
    news = answers_for(user, at=timezone.now()) if page == 1 else []
    context = {"list": found, "news": news, "page": page, "next": page + 1}
    return render(request, "reports/list.html", {**context, **_layout(user)})


@login_required
def report(request: HttpRequest, key: UUID) -> HttpResponse:
    user = _who(request)
    row = queries.get_report_for(user, key)
    shown = pages.opened(row, narrow=user.is_client)
    if shown is None:
        return redirect("reports:of_visit", row.visit_id)
    context = {
        "report": row,
        "o": shown,
        "c": shown.content,
        "held": row.state == ReportState.HELD,
        "why_held": pages.held_words(row.hold_reasons),
        "may_release": user.is_owner and row.state == ReportState.HELD,
        "asked": user.is_owner and row.state == ReportState.HELD and "release" in request.GET,
        "readers": actions.readers_of(row.visit) if user.is_owner else [],
        "failed": row.state == ReportState.FAILED,
        "why_failed": why_failed(row.error),
        "mails": [] if user.is_client else pages.mail_lines(row),
        "asks": asked_of(row, user),
        "versions": pages.versions_of(user, row),
    }
    return render(request, "reports/report.html", {**context, **_layout(user)})


@login_required
def pdf(request: HttpRequest, key: UUID) -> FileResponse:
    row = queries.get_report_for(_who(request), key)
    return _pdf(row.file, called=actions.file_name(row))


@login_required
@require_POST
def release(request: HttpRequest, key: UUID) -> HttpResponse:
    user = _who(request)
    row = queries.get_report_for(user, key)
    if not user.is_owner:
        raise Http404
    try:
        actions.release(report=row, by=user, at=timezone.now())
    except actions.NotReleased as wrong:
        messages.error(request, str(wrong))
    else:
        messages.success(request, _("The report goes out now."))
    return redirect("reports:report", key)


@login_required
@require_POST
def answer(request: HttpRequest, key: UUID, question: UUID) -> HttpResponse:
    """The client's yes or no to what a report recommends."""
    user = _who(request)
    row = queries.get_report_for(user, key)
    said = request.POST.get("said")
    if not (user.is_client or user.is_office):
        raise Http404
    if said not in ("yes", "no"):
        messages.error(request, _("Please answer yes or no."))
    else:
        try:
            actions.answer(report=row, question=question, yes=said == "yes", by=user, at=timezone.now())
        except actions.NotAnswered as wrong:
            messages.error(request, str(wrong))
        else:
            messages.success(request, _("The answer is kept. It can still be changed here."))
    return redirect(_back(request, row))


def _back(request: HttpRequest, row: Report) -> str:
    """The page from which the answer came, if it is one of ours; else the report."""
    back = request.POST.get("back", "")
    if back.startswith("/") and url_has_allowed_host_and_scheme(back, allowed_hosts=None):
        return back
    return reverse("reports:report", args=[row.pk]) + "#asked"


@login_required
def of_visit(request: HttpRequest, key: UUID) -> HttpResponse:
    """The newest report of a visit, or how far it is."""
    user = _who(request)
    visit = queries.get_visit_for(user, key)
    if user.is_client:
        row = queries.reports_for(user).filter(visit=visit).order_by("-version").first()
        if row is None:
            raise Http404
        return redirect("reports:report", row.pk)
    state = pages.progress_of(visit)
    if state.url:
        return redirect(state.url)
    context = {"visit": visit, "p": state, "may_run": user.is_office}
    return render(request, "reports/waiting.html", {**context, **_layout(user)})


@login_required
def progress(request: HttpRequest, key: UUID) -> HttpResponse:
    """A piece of the page that says how far it is; the header Location-When-Done says where to go afterwards."""
    user = _who(request)
    if user.is_client:
        raise Http404
    state = pages.progress_of(queries.get_visit_for(user, key))
    answer = render(request, "reports/progress.html", {"p": state})
    if state.url:
        answer["Location-When-Done"] = state.url
    return answer


@login_required
@require_POST
def again(request: HttpRequest, key: UUID) -> HttpResponse:
    user = _who(request)
    visit = queries.get_visit_for(user, key)
    job = queries.job_of(visit, visit.versions)
    if not user.is_office or job is None:
        raise Http404
    if actions.run_again(job_id=job.pk, at=timezone.now()):
        messages.success(request, _("It is being made again."))
    return redirect("reports:of_visit", key)


@login_required
def paper(request: HttpRequest) -> HttpResponseBase:
    """The newest list of overdue maintenance as a PDF."""
    user = _who(request)
    if not user.is_office:
        raise Http404
    row = queries.papers_for(user).first()
    if row is None:
        messages.info(request, _("No list has been made yet. The first one comes at 06:00."))
        return redirect("reports:list")
    return _pdf(row.file, called=f"overdue-{row.day.isoformat()}.pdf")


@login_required
@require_GET
def run_sheet(request: HttpRequest, key: UUID) -> HttpResponseBase:
    """A technician's day on paper, drawn as it stands: the own one of today, for the office anybody's of any day."""
    user, now = _who(request), timezone.now()
    today = now.astimezone(ZoneInfo(user.zone)).date()
    day = _day_asked(request) or today
    driver = driver_for(user, key, day=day, today=today)
    round_row, stops = round_of(driver, day)
    sheet = sheet_of(round_row, stops, at=now) if round_row else None
    if sheet is None:
        messages.info(request, _("There is no stop to print on that day."))
        return redirect("rounds:today")
    try:
        drawn = render_now(run_papers(sheet), pages=1)
    except RenderFailed as wrong:
        messages.error(request, str(wrong))
        return redirect("rounds:today")
    return _inline(HttpResponse(drawn, content_type="application/pdf"), called=f"run-{day.isoformat()}.pdf")


@login_required
@require_GET
def run_week(request: HttpRequest) -> HttpResponseBase:
    """All run sheets of a week in one paper: for the office everybody's, or one technician's; for a technician the own ones to come."""
    user, now = _who(request), timezone.now()
    today = now.astimezone(ZoneInfo(user.zone)).date()
    try:
        first, last = _week_asked(request, user, today)
    except OverflowError:
        raise Http404
    driver, back = (
        _driver_asked(request, user, today),
        redirect("rounds:today" if user.is_technician else "rounds:week"),
    )
    sheets = sheets_of(first=first, last=last, technician=driver, at=now)
    if not sheets:
        messages.info(request, _("There is no stop to print in that week."))
        return back
    if len(sheets) > MOST_SHEETS:
        words = _(
            "These are %(n)s sheets; %(most)s are drawn at once. Print one technician at a time, from the round of each."
        )
        messages.info(request, words % {"n": len(sheets), "most": MOST_SHEETS})
        return back
    title = _("Run sheets, %(first)s to %(last)s") % {"first": sheets[0].day, "last": sheets[-1].day}
    try:
        drawn = render_now([week_html(sheets, title=title)], pages=1)
    except RenderFailed as wrong:
        messages.error(request, str(wrong))
        return back
    return _inline(
        HttpResponse(drawn, content_type="application/pdf"), called=f"runs-{first.isoformat()}.pdf"
    )


def _week_asked(request: HttpRequest, user: User, today: date) -> tuple[date, date]:
    """A technician's next seven days, or for the office the week of the day that is asked for."""
    if user.is_technician:
        return today, today + timedelta(days=6)
    day = _day_asked(request, "from") or today
    monday = day - timedelta(days=day.weekday())
    return monday, monday + timedelta(days=6)


def _driver_asked(request: HttpRequest, user: User, today: date) -> User | None:
    """Whose sheets: a technician's own; for the office one's who is named, or everybody's. Else Http404."""
    if user.is_technician:
        return user
    if not user.is_office:
        raise Http404
    asked = request.GET.get("technician", "")
    try:
        return driver_for(user, UUID(asked), day=today, today=today) if asked else None
    except ValueError:
        raise Http404


def _day_asked(request: HttpRequest, name: str = "day") -> date | None:
    try:
        return parse_date(request.GET.get(name, ""))
    except ValueError:
        return None
