"""Numbers, one snapshot, one file, one mail; the owner's word."""

import contextlib
import os
import threading
import uuid
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.db import OperationalError, connection

from clients.models import Contact
from reports import actions
from reports.choices import ReportState
from reports.models import Paper, Report, Running
from reports.queries import content_of
from reports.queries.failing import why_failed
from reports.queries.pages import line_of, progress_of
from servicedesk.dispatch import actions as dispatch
from servicedesk.dispatch.models import Job, Message
from servicedesk.upkeep.actions import raise_task
from servicedesk.visits.models import Visit
from tests.factories.reported import VISIT_AT
from tests.factories.tanks import make_contact
from tests.reports.conftest import Scene

LATER = VISIT_AT + timedelta(hours=1)


def claimed(visit: Visit, version: int = 1) -> Job:
    job = Job.objects.get(key=f"report:{visit.pk}:{version}")
    found = dispatch.claim(job_id=job.pk, at=LATER + timedelta(hours=version))
    assert found is not None
    return found


def made(visit: Visit, version: int = 1) -> Report:
    """The report of this visit, made with a drawing that costs nothing."""
    job = claimed(visit, version)
    row = actions.begin_report(visit=visit, version=version, job=job, at=LATER)
    return actions.make_report(report=row, job=job, at=LATER, say=lambda _done, _note: None)


@pytest.fixture(autouse=True)
def _drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(actions, "render_pdf", lambda html: b"%PDF-1.7 " + html.encode())
    monkeypatch.setattr(actions, "render_to_fit", lambda papers, pages: b"%PDF-1.7 " + next(papers).encode())


def test_a_technician_cannot_let_a_report_go(scene: Scene) -> None:
    report = made(scene.tested().close())
    with pytest.raises(actions.NotReleased, match="Only the owner"):
        actions.release(report=report, by=scene.technician, at=LATER)
    report.refresh_from_db()
    assert report.state == ReportState.HELD


def test_a_report_is_let_go_once(scene: Scene) -> None:
    report = made(scene.tested().close())
    actions.release(report=report, by=scene.owner, at=LATER)
    with pytest.raises(actions.NotReleased, match="does not wait any more"):
        actions.release(report=report, by=scene.owner, at=LATER)


def test_an_overtaken_version_is_not_let_go(scene: Scene) -> None:
    journey = scene.tested()
    visit = journey.close()
    first = made(visit)
    journey.entries = []
    journey.at += timedelta(minutes=30)
    journey.write("finding", tank=str(scene.tank.pk), text="A snail laid eggs.")
    made(journey.hand_in(), version=2)
    with pytest.raises(actions.NotReleased, match="newer version"):
        actions.release(report=first, by=scene.owner, at=LATER)


def test_a_held_report_mails_nobody_until_the_owners_word(scene: Scene) -> None:
    report = made(scene.tested().close())
    message = Message.objects.get()
    assert (report.state, message.state) == ("held", "held")
    assert report.hold_reasons == ["first"]
    report = actions.release(report=report, by=scene.owner, at=LATER)
    message.refresh_from_db()
    assert (report.state, report.released_by, message.state) == ("ready", scene.owner, "queued")


def test_a_report_goes_to_every_reader_once(scene: Scene) -> None:
    scene.before()
    make_contact(scene.client, email="zoe@example.org")
    make_contact(scene.client, email="none@example.org", gets_reports=False)
    report = made(scene.tested().close())
    assert report.state == ReportState.READY
    assert list(Message.objects.order_by("recipient").values_list("recipient", "state", "subject")) == [
        ("front.desk@example.org", "queued", "All is well: the long reef behind reception"),
        ("zoe@example.org", "queued", "All is well: the long reef behind reception"),
    ]
    message = Message.objects.first()
    assert message is not None
    assert (message.attachment, message.attachment_name) == (report.file, "2026-0001-quay-house-v1.pdf")
    assert message.text.startswith("All is well. Everything we tested is as it should be.")
    assert "0555 0100" in message.text and f"/reports/{report.pk}/" in message.text


def test_a_retired_clients_contacts_get_nothing(scene: Scene) -> None:
    scene.before()
    visit = scene.tested().close()
    scene.client.retired_on = VISIT_AT.date()
    scene.client.save()
    visit = Visit.objects.select_related("site__client").get(pk=visit.pk)
    made(visit)
    assert not Message.objects.exists()


def test_numbers_run_on_in_the_year_and_versions_share_one(scene: Scene) -> None:
    journey = scene.tested()
    visit = journey.close()
    numbers = [made(visit).number]
    journey.entries = []
    journey.at += timedelta(minutes=30)
    journey.write("finding", tank=str(scene.tank.pk), text="A snail laid eggs.")
    second = made(journey.hand_in(), version=2)
    numbers.append(second.number)
    numbers.append(made(scene.journey(days=1).close()).number)
    assert numbers == ["2026-0001", "2026-0001", "2026-0002"]
    assert second.changes == ["What changed, added: A snail laid eggs."]


def test_a_second_try_keeps_snapshot_and_file(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    scene.before()
    visit = scene.tested().close()
    job = claimed(visit)
    row = actions.begin_report(visit=visit, version=1, job=job, at=LATER)
    row = actions.take_snapshot(report=row, at=LATER)
    drawings: list[str] = []

    def draw(papers: Iterator[str], pages: int) -> bytes:
        drawings.append(next(papers))
        return b"%PDF-1.7 once"

    monkeypatch.setattr(actions, "render_to_fit", draw)
    monkeypatch.setattr(actions, "end_report", lambda **_given: (_ for _ in ()).throw(RuntimeError("died")))
    for _try in range(2):
        with pytest.raises(RuntimeError):
            actions.make_report(report=row, job=job, at=LATER, say=lambda _d, _n: None)
    monkeypatch.undo()
    monkeypatch.setattr(actions, "render_to_fit", draw)
    row = actions.make_report(report=row, job=job, at=LATER + timedelta(hours=1), say=lambda _d, _n: None)
    assert len(drawings) == 1
    assert row.data_at == LATER
    assert (Path(settings.PAPERS_ROOT) / row.file).read_bytes() == b"%PDF-1.7 once"
    assert Message.objects.count() == 1


def test_a_paper_is_laid_out_by_one_plan_after_the_other_until_there_is_none(scene: Scene) -> None:
    scene.before()
    visit = scene.tested().close()
    row = actions.take_snapshot(
        report=actions.begin_report(visit=visit, version=1, job=claimed(visit), at=LATER), at=LATER
    )
    papers = list(actions.papers_of(report=row, content=content_of(visit, at=LATER)))
    assert len(papers) > 1 and all(paper.startswith("<!doctype html>") for paper in papers)


def test_who_lost_the_lease_leaves_nothing_behind(scene: Scene) -> None:
    scene.before()
    visit = scene.tested().close()
    job = claimed(visit)
    row = actions.begin_report(visit=visit, version=1, job=job, at=LATER)
    Job.objects.filter(pk=job.pk).update(attempt=2)
    with pytest.raises(actions.LeaseLost):
        actions.make_report(report=row, job=job, at=LATER, say=lambda _d, _n: None)
    row.refresh_from_db()
    assert row.state == ReportState.WAITING
    assert not Message.objects.exists()


def test_a_paper_is_whole_or_not_there(tmp_path: Path, settings: object) -> None:
    settings.PAPERS_ROOT = tmp_path  # type: ignore[attr-defined]

    def broken() -> bytes:
        raise RuntimeError("no ink")

    with pytest.raises(RuntimeError):
        actions.write_once(name="reports/a.pdf", make=broken)
    assert list((tmp_path / "reports").iterdir()) == []
    name, digest = actions.write_once(name="reports/a.pdf", make=lambda: b"whole")
    again = actions.write_once(name="reports/a.pdf", make=broken)
    assert again == (name, digest)
    assert [p.name for p in (tmp_path / "reports").iterdir()] == ["a.pdf"]
    assert os.stat(tmp_path / name).st_mode & 0o077 == 0


def test_the_overdue_list_is_made_once_a_day(scene: Scene) -> None:
    day = VISIT_AT.date()
    task = raise_task(
        tank=scene.tank,
        key="uv",
        title="UV lamp",
        why="12 months of running hours",
        earliest=day - timedelta(days=20),
        due=day - timedelta(days=12),
        latest=day - timedelta(days=9),
        minutes=10,
        at=VISIT_AT,
    )
    first = actions.make_overdue(key=uuid.uuid4(), tasks=[task], day=day, at=VISIT_AT)
    again = actions.make_overdue(key=uuid.uuid4(), tasks=[], day=day, at=LATER)
    assert first == again == Paper.objects.get()
    html = (Path(settings.PAPERS_ROOT) / first.file).read_text()
    assert "1 task is overdue." in html and "9 days" in html and "Quay house" in html


@pytest.mark.slow  # real threads on a real database
@pytest.mark.django_db(transaction=True)
def test_numbers_are_unique_under_a_race() -> None:
    found: list[str] = []
    lock = threading.Lock()

    def take() -> None:
        mine: list[str] = []
        try:
            while len(mine) < 5:
                # a database in memory refuses at once where one on disk waits its turn
                with contextlib.suppress(OperationalError):
                    mine.append(actions.next_number(2026))
        finally:
            connection.close()
        with lock:
            found.extend(mine)

    threads = [threading.Thread(target=take) for _n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(found) == [f"2026-{n:04d}" for n in range(1, 21)]
    assert Running.objects.get().last == 20


def test_a_contact_that_comes_later_gets_only_later_reports(scene: Scene) -> None:
    scene.before()
    report = made(scene.tested().close())
    Contact.objects.create(id=uuid.uuid4(), client=scene.client, name="Late", email="late@example.org")
    assert [m.recipient for m in Message.objects.filter(key__contains=str(report.pk))] == [
        "front.desk@example.org"
    ]


# Why it failed, in words


@pytest.mark.parametrize(
    ("thrown", "said"),
    [
        (
            "FileExistsError: [Errno 17] File exists: '/var/papers/reports'",
            "It could not be written to disk.",
        ),
        ("PermissionError: [Errno 13] Permission denied: '/var/papers'", "It could not be written to disk."),
        ("OSError: [Errno 28] No space left on device: '/var/papers/x'", "The disk is full."),
        (
            "FileNotFoundError: [Errno 2] No such file: '/var/photos/x.jpg'",
            "A file that it needs is not there.",
        ),
        ("OperationalError: could not connect to /run/db", "The database did not answer."),
        ("KeyError: 'tank'", "Something went wrong in the program. Its log says more."),
        (
            "The paper could not be drawn (FileNotFoundError: [Errno 2] '/usr/share/fonts').",
            "The paper could not be drawn.",
        ),
        (
            "RenderFailed: The paper needed more than 512 MB and was given up.",
            "The paper needed more than 512 MB and was given up.",
        ),
        ("It was begun five times and never ended.", "It was begun five times and never ended."),
    ],
)
def test_the_reason_of_a_failure_is_told_in_words_without_a_path(thrown: str, said: str) -> None:
    assert why_failed(thrown) == said


def test_the_pages_tell_a_failure_in_words_and_the_row_keeps_what_was_thrown(scene: Scene) -> None:
    visit = scene.tested().close()
    job = claimed(visit)
    row = actions.begin_report(visit=visit, version=1, job=job, at=LATER)
    thrown = "FileExistsError: [Errno 17] File exists: '/var/papers/reports'"
    actions.report_failed(report=row, error=thrown)
    dispatch.fail(job=job, at=LATER, error=thrown, again=False)
    row.refresh_from_db()
    assert row.error == thrown
    assert line_of(row, office=True).sentence == "It could not be made. It could not be written to disk."
    assert progress_of(visit).error == "It could not be written to disk."
