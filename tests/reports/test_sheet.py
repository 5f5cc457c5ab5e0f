"""Two A4 pages whatever the visit was, with every tank by its name and every cut named in words."""

import io
import re
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from pypdf import PdfReader

from reports.actions import papers_of
from reports.models import Report
from reports.queries import content_of
from reports.queries.fit import PAGES, Plan, plans
from reports.queries.sheet import left_out, report_html
from servicedesk.visits.models import Visit
from tests.factories.reported import VISIT_AT
from tests.reports.conftest import Scene
from tests.reports.kinds import KINDS, many
from tests.reports.test_jobs import run_job

pytestmark = [pytest.mark.slow, pytest.mark.paper]  # draws papers

LATER = VISIT_AT + timedelta(hours=5)


def words_of(report: Report) -> tuple[int, str]:
    """The number of pages, and everything that stands on them, blanks evened out."""
    pdf = PdfReader(io.BytesIO((Path(settings.PAPERS_ROOT) / report.file).read_bytes()))
    return len(pdf.pages), " ".join(" ".join(page.extract_text() for page in pdf.pages).split())


def paper_of(visit: Visit) -> tuple[int, str]:
    run_job(visit)
    return words_of(Report.objects.get(visit=visit))


def tanks_of(visit: Visit) -> list[str]:
    return [tank.name for tank in visit.due_visit.tanks.all()]


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_of_visit_fits_two_pages_and_names_every_tank(scene: Scene, kind: str) -> None:
    visit = KINDS[kind](scene)
    pages, words = paper_of(visit)
    assert pages == (1 if kind == "bare" else 2)
    assert [name for name in tanks_of(visit) if name not in words] == []
    assert "Next visit" in words and "0555 0100" in words and "Present: Ida Lund" in words


def test_twenty_tanks_fit_two_pages(scene: Scene) -> None:
    visit = many(20)(scene)
    pages, words = paper_of(visit)
    assert pages == 2
    assert [name for name in tanks_of(visit) if name not in words] == []


def test_what_had_no_room_is_named_with_where_it_stands(scene: Scene) -> None:
    _pages, words = paper_of(KINDS["five"](scene))
    assert (
        "Left out of these two pages: each value’s picture, the charts of 4 tanks and the photos of 4 tanks."
        in words
    )
    assert re.search(r"The whole report is on your page: \S+/reports/", words)


def test_a_report_that_holds_everything_says_nothing_of_cuts(scene: Scene) -> None:
    _pages, words = paper_of(KINDS["usual"](scene))
    assert "Left out" not in words and "…" not in words


def test_texts_are_cut_between_words_and_only_when_they_do_not_fit(scene: Scene) -> None:
    _pages, words = paper_of(KINDS["wordy"](scene))
    assert "the end of long texts and lists" in words
    assert "1240.50 EUR" in words and "88 EUR" in words


def test_work_that_has_no_line_on_paper_stands_on_the_page(scene: Scene) -> None:
    visit = KINDS["full"](scene)
    _pages, words = paper_of(visit)
    assert "and 11 more small tasks, told on your page" in words
    assert "Piece of work number 12 of the season" not in words
    did = content_of(visit, at=LATER).tanks[0].did
    assert "Piece of work number 12 of the season" in did and len(did) == 19


def test_what_several_tanks_share_stands_once(scene: Scene) -> None:
    content = content_of(KINDS["five"](scene), at=LATER)
    html = report_html(
        content, number="2026-0001", version=1, changes=[], zone=ZoneInfo("UTC"), plan=Plan("table")
    )
    assert html.count("23 animals in our list") == 1
    assert "All 5 tanks" in html


def test_no_value_that_was_tested_is_missing_from_the_table(scene: Scene) -> None:
    content = content_of(KINDS["five"](scene), at=LATER)
    html = report_html(
        content, number="2026-0001", version=1, changes=[], zone=ZoneInfo("UTC"), plan=Plan("table")
    )
    assert "<td>–</td>" not in html
    assert html.count("about 427 mg/L") == 5


def test_the_last_plan_shortens_most_and_says_so(scene: Scene) -> None:
    content = content_of(KINDS["wordy"](scene), at=LATER)
    last = plans(content, [])[-1]
    assert (last.charts, last.photos, last.split) == (0, 0, False)
    assert left_out(content, last) == [
        "the chart of 1 tank",
        "the photos of 1 tank",
        "the end of long texts and lists",
    ]
    assert PAGES == 2


def test_a_report_is_laid_out_by_every_plan_in_turn_until_one_holds(scene: Scene) -> None:
    report = Report.objects.create(
        visit=scene.tested().close(), version=1, number="2026-0001", state="waiting", made_at=LATER
    )
    content = content_of(report.visit, at=LATER)

    papers = list(papers_of(report=report, content=content))

    assert len(papers) == len(plans(content, [])) > 1
    assert all("2026-0001" in paper for paper in papers)
