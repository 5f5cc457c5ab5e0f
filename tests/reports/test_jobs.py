"""The report's work from the ledger to the file; each test draws a real PDF."""

import io
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import settings
from pypdf import PdfReader

from reports import actions, jobs
from reports.models import Paper, Report
from reports.queries.pages import versions_of
from reports.render import RenderFailed
from servicedesk.dispatch.jobs import KINDS, run
from servicedesk.dispatch.models import Job, Message
from servicedesk.upkeep.actions import raise_task
from servicedesk.visits.models import Visit
from tests.factories.reported import VISIT_AT, add_photo, history, make_reef
from tests.factories.tanks import make_solution
from tests.reports.conftest import Scene

pytestmark = pytest.mark.slow  # a PDF is drawn


def run_job(visit: Visit, version: int = 1) -> Job:
    job = Job.objects.get(key=f"report:{visit.pk}:{version}")
    run(str(job.pk))
    job.refresh_from_db()
    return job


def pdf_of(report: Report) -> PdfReader:
    return PdfReader(io.BytesIO((Path(settings.PAPERS_ROOT) / report.file).read_bytes()))


def test_closing_a_visit_makes_two_pages_and_one_mail(scene: Scene) -> None:
    history(scene.tank, technician=scene.technician)
    journey = scene.tested(alkalinity="6.9")
    add_photo(journey, scene.tank)
    journey.write("dose", tank=str(scene.tank.pk), solution=str(make_solution().pk), ml="40")
    journey.write("water_change", tank=str(scene.tank.pk), litres="80")
    journey.write("recommendation", text="A second return pump.", price="240")
    visit = journey.close()
    job = run_job(visit)
    report = Report.objects.get(visit=visit)
    assert (job.state, job.progress_done, report.state) == ("done", 3, "ready")
    pdf = pdf_of(report)
    pages = [page.extract_text() for page in pdf.pages]
    assert len(pages) == 2
    for words in ("We are acting", "Carbonate", "7.2 to 9.0", "What changed since"):
        assert words in pages[0]
    for words in ("What we did not do", "Please do not", "May we?", "240 EUR", "0555 0100", "Ida Lund"):
        assert words in pages[1]
    assert f"report {report.number}, version 1" in pages[0]
    assert Message.objects.filter(job=job).count() == 1
    run(str(job.pk))
    assert Message.objects.filter(job=job).count() == 1


@pytest.mark.parametrize("tanks", [2, 3, 4])
def test_several_tanks_fit_two_pages(scene: Scene, tanks: int) -> None:
    reefs = [scene.tank]
    reefs += [make_reef(scene.site, name=f"The reef of room {n}", order=n) for n in range(2, tanks + 1)]
    history(*reefs, technician=scene.technician)
    journey = scene.journey(*reefs)
    for reef in reefs:
        for parameter, value in {"temperature": "25.1", "salinity": "35.0", "alkalinity": "6.9"}.items():
            journey.read(reef, parameter, value)
        journey.read(reef, "nitrate", "14")
        journey.write("water_change", tank=str(reef.pk), litres="80")
        add_photo(journey, reef)
    visit = journey.close()
    run_job(visit)
    pages = [page.extract_text() for page in pdf_of(Report.objects.get(visit=visit)).pages]
    assert len(pages) == 2
    assert all(reef.name in pages[0] and reef.name in pages[1] for reef in reefs)


def test_a_failed_drawing_says_why_and_can_be_made_again(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene.before()
    visit = scene.tested().close()

    def broken(papers: Iterator[str], pages: int) -> bytes:
        raise RenderFailed("The paper could not be drawn in 30 seconds.")

    with monkeypatch.context() as patched:
        patched.setattr(actions, "render_to_fit", broken)
        job = run_job(visit)
    report = Report.objects.get(visit=visit)
    assert (job.state, report.state) == ("queued", "failed")
    assert "could not be drawn in 30 seconds" in report.error
    assert not Message.objects.exists()
    actions.run_again(job_id=job.pk, at=job.made_at + timedelta(minutes=1))
    assert run_job(visit).state == "done"
    report.refresh_from_db()
    assert (report.state, report.error) == ("ready", "")


def test_a_version_overtaken_before_it_was_begun_is_not_made(scene: Scene) -> None:
    scene.before()
    journey = scene.tested()
    visit = journey.close()
    journey.entries = []
    journey.at += timedelta(minutes=30)
    journey.write("finding", tank=str(scene.tank.pk), text="A snail laid eggs.")
    journey.hand_in()
    assert run_job(visit, 1).result == {"overtaken_by": 2}
    assert run_job(visit, 2).state == "done"
    rows = Report.objects.filter(visit=visit).order_by("version")
    assert list(rows.values_list("version", "state", "file")[:1]) == [(1, "replaced", "")]
    assert (rows[1].state, rows[1].number, rows[1].changes) == ("ready", rows[0].number, [])
    said = [version.text for version in versions_of(scene.owner, rows[1])]
    assert said[0].startswith("Version 2, ")
    assert said[1].endswith(": overtaken before it was drawn; the next one tells it all")


def test_an_earlier_version_that_is_drawn_late_is_kept_and_mails_nobody(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene.before()
    journey = scene.tested()
    visit = journey.close()

    def broken(papers: Iterator[str], pages: int) -> bytes:
        raise RenderFailed("No ink.")

    with monkeypatch.context() as patched:
        patched.setattr(actions, "render_to_fit", broken)
        first = run_job(visit, 1)
    journey.entries = []
    journey.at += timedelta(minutes=30)
    journey.write("finding", tank=str(scene.tank.pk), text="A snail laid eggs.")
    journey.hand_in()
    run_job(visit, 2)
    assert list(Report.objects.order_by("version").values_list("state", flat=True)) == ["replaced", "ready"]
    actions.run_again(job_id=first.pk, at=first.made_at + timedelta(minutes=1))
    assert run_job(visit, 1).state == "done"
    late = Report.objects.get(version=1)
    assert (late.state, bool(late.file)) == ("replaced", True)
    assert [m.key.split(":")[1] for m in Message.objects.all()] == [str(Report.objects.get(version=2).pk)]


def test_the_overdue_list_comes_from_its_daily_slot(scene: Scene) -> None:
    day = VISIT_AT.date()
    raise_task(
        tank=scene.tank,
        key="uv",
        title="UV lamp",
        why="",
        earliest=day - timedelta(days=20),
        due=day - timedelta(days=12),
        latest=day - timedelta(days=9),
        minutes=10,
        at=VISIT_AT,
    )
    job = Job.objects.create(
        kind="overdue", key="overdue:2026-11-25", args={"slot": "2026-11-25"}, made_at="2026-11-25T06:00Z"
    )
    assert KINDS["overdue"] is jobs.make_overdue
    run(str(job.pk))
    job.refresh_from_db()
    assert job.state == "done", job.error
    assert set(job.result) == {"paper"}
    paper = Paper.objects.get()
    pdf = PdfReader(io.BytesIO((Path(settings.PAPERS_ROOT) / paper.file).read_bytes()))
    assert len(pdf.pages) == 1
    words = pdf.pages[0].extract_text()
    assert "1 task is overdue." in words and "UV lamp" in words
