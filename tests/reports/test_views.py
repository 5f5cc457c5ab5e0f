"""The pages: who sees which, what they say, and what the owner's word does."""

import re
import uuid
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client as Browser

from reports import actions
from reports.models import Paper, Report
from servicedesk.dispatch import actions as dispatch
from servicedesk.dispatch.models import Job, Message
from servicedesk.staff.models import User
from servicedesk.visits.models import Visit
from tests.factories.people import make_client_user, make_technician, make_user
from tests.factories.reported import VISIT_AT
from tests.factories.tanks import make_client, make_contact
from tests.reports.conftest import Scene
from tests.reports.test_actions import claimed, made

LATER = VISIT_AT + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(actions, "render_to_fit", lambda papers, pages: b"%PDF-1.7 drawn")


def browser(user: User | None) -> Browser:
    found = Browser()
    if user is not None:
        found.force_login(user)
    return found


def contact_user(scene: Scene) -> User:
    user = make_client_user()
    scene.contact.user = user
    scene.contact.save()
    return user


def stranger() -> User:
    user = make_client_user()
    make_contact(make_client(), user=user)
    return user


@pytest.fixture
def ready(scene: Scene) -> Report:
    scene.before()
    return made(scene.tested().close())


@pytest.fixture
def held(scene: Scene) -> Report:
    return made(scene.tested().close())


def plain(page: bytes) -> str:
    """A page without what differs each time: the form token and the address asked for."""
    return re.sub(r'name="(csrfmiddlewaretoken|next)" value="[^"]*"', "", page.decode())


PLACES = ("/reports/{report}/", "/reports/{report}/pdf/", "/visits/{visit}/report/")


@pytest.mark.parametrize("place", PLACES)
def test_nobody_foreign_opens_a_report(ready: Report, place: str) -> None:
    address = place.format(report=ready.pk, visit=ready.visit_id)
    for user in (stranger(), make_technician(), make_user("instrument")):
        foreign = browser(user).get(address)
        missing = browser(user).get(place.format(report=uuid.uuid4(), visit=uuid.uuid4()))
        assert (foreign.status_code, missing.status_code) == (404, 404)
        assert plain(foreign.content) == plain(missing.content)
    assert browser(None).get(address).status_code == 302


def test_the_contact_sees_nothing_of_a_held_report(scene: Scene, held: Report) -> None:
    user = contact_user(scene)
    for place in PLACES:
        address = place.format(report=held.pk, visit=held.visit_id)
        assert browser(user).get(address).status_code == 404
    page = browser(user).get("/reports/").content.decode()
    assert "Quay house" not in page and "No report has been made yet." in page


def test_the_contact_sees_it_after_the_owners_word(scene: Scene, held: Report) -> None:
    user = contact_user(scene)
    asked = browser(scene.owner).get(f"/reports/{held.pk}/?release=1").content.decode()
    assert "Let this report go to The Three Herons?" in asked
    assert "It is mailed at once and cannot be called back." in asked
    assert "front.desk@example.org" in asked
    answer = browser(scene.owner).post(f"/reports/{held.pk}/release/")
    assert answer.status_code == 302
    assert Message.objects.get().state == "queued"
    page = browser(user).get(f"/reports/{held.pk}/").content.decode()
    assert "All is well" in page and "front.desk@example.org" not in page


@pytest.mark.parametrize("role", ["office", "technician", "client"])
def test_only_the_owner_lets_a_report_go(scene: Scene, held: Report, role: str) -> None:
    user = {"office": make_user("office"), "technician": scene.technician, "client": contact_user(scene)}[
        role
    ]
    assert browser(user).post(f"/reports/{held.pk}/release/").status_code == 404
    held.refresh_from_db()
    assert held.state == "held"


def test_a_get_lets_nothing_go(scene: Scene, held: Report) -> None:
    assert browser(scene.owner).get(f"/reports/{held.pk}/release/").status_code == 405


def test_a_technician_reads_the_own_visits_report_without_the_button(scene: Scene, held: Report) -> None:
    page = browser(scene.technician).get(f"/reports/{held.pk}/").content.decode()
    assert "It waits for your word." in page or "It waits for the owner" in page
    assert "?release=1" not in page


def test_the_pdf_is_handed_out_inline_and_kept_by_nobody(scene: Scene, ready: Report) -> None:
    answer = browser(contact_user(scene)).get(f"/reports/{ready.pk}/pdf/")
    assert b"".join(answer.streaming_content) == b"%PDF-1.7 drawn"
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == 'inline; filename="2026-0001-quay-house-v1.pdf"'
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "private" in answer["Cache-Control"]


def test_a_pdf_whose_file_is_gone_is_not_found(scene: Scene, ready: Report) -> None:
    (Path(settings.PAPERS_ROOT) / ready.file).unlink()
    assert browser(scene.owner).get(f"/reports/{ready.pk}/pdf/").status_code == 404


def test_the_list_puts_what_waits_first(scene: Scene) -> None:
    first = made(scene.tested().close())
    journey = scene.journey(days=1)
    journey.read(scene.tank, "calcium", "428")
    made(journey.close())
    page = browser(scene.owner).get("/reports/").content.decode()
    assert "<b>1 report waits for your word.</b>" in page
    assert "It is the first visit. It waits for your word." in page
    assert page.index(f"/reports/{first.pk}/") < page.index('id="done"')


def test_a_failed_report_shows_its_reason_and_is_made_again(scene: Scene) -> None:
    scene.before()
    visit = scene.tested().close()
    job = claimed(visit)
    row = actions.begin_report(visit=visit, version=1, job=job, at=LATER)
    actions.report_failed(report=row, error="The paper could not be drawn.")
    dispatch.fail(job=job, at=LATER, error="The paper could not be drawn.", again=False)
    office = browser(scene.owner)
    assert "It could not be made. The paper could not be drawn." in office.get("/reports/").content.decode()
    listed = office.get("/reports/").content.decode()
    assert f'action="/visits/{visit.pk}/report/again/"' in listed
    assert "report/again/" not in browser(scene.technician).get("/reports/").content.decode()
    page = office.get(f"/visits/{visit.pk}/report/").content.decode()
    assert "The paper could not be drawn." in page and "Make it again" in page
    assert browser(scene.technician).post(f"/visits/{visit.pk}/report/again/").status_code == 404
    assert office.post(f"/visits/{visit.pk}/report/again/").status_code == 302
    job.refresh_from_db()
    assert (job.state, job.attempt) == ("queued", 0)


def test_progress_is_told_in_steps_and_leads_to_the_report(scene: Scene) -> None:
    scene.before()
    visit = scene.tested().close()
    who = browser(scene.technician)
    address = f"/visits/{visit.pk}/report/progress/"
    assert "waits for its turn" in who.get(address).content.decode()
    job = claimed(visit)
    dispatch.progress(job=job, done=2, total=4, note="Drawing two pages", at=LATER)
    answer = who.get(address)
    assert "Step 2 of 4: Drawing two pages." in answer.content.decode()
    assert not answer.has_header("Location-When-Done")
    Job.objects.filter(pk=job.pk).update(state="queued", lease_until=None, attempt=0)
    report = made(Visit.objects.select_related("site__client", "technician", "due_visit").get(pk=visit.pk))
    assert who.get(address)["Location-When-Done"] == f"/reports/{report.pk}/"
    assert browser(contact_user(scene)).get(address).status_code == 404


def test_versions_stand_beside_each_other_with_what_is_new(scene: Scene) -> None:
    scene.before()
    journey = scene.tested()
    first = made(journey.close())
    journey.entries = []
    journey.at += timedelta(minutes=30)
    journey.write("finding", tank=str(scene.tank.pk), text="A snail laid eggs.")
    second = made(journey.hand_in(), version=2)
    page = browser(contact_user(scene)).get(f"/reports/{second.pk}/").content.decode()
    assert "What changed, added: A snail laid eggs." in page
    assert f"/reports/{first.pk}/" in page
    listed = browser(scene.owner).get("/reports/").content.decode()
    assert f"/reports/{second.pk}/" in listed and f"/reports/{first.pk}/" not in listed


def test_the_overdue_paper_is_for_the_office(scene: Scene) -> None:
    assert browser(scene.technician).get("/papers/overdue/").status_code == 404
    assert browser(contact_user(scene)).get("/papers/overdue/").status_code == 404
    assert browser(scene.owner).get("/papers/overdue/").status_code == 302
    actions.make_overdue(key=uuid.uuid4(), tasks=[], day=VISIT_AT.date(), at=VISIT_AT)
    answer = browser(scene.owner).get("/papers/overdue/")
    assert answer["Content-Disposition"] == 'inline; filename="overdue-2026-11-25.pdf"'
    assert Paper.objects.count() == 1


def test_the_list_asks_the_database_a_fixed_number_of_times(
    scene: Scene, django_assert_max_num_queries: object
) -> None:
    for day in range(4):
        journey = scene.journey(days=day)
        journey.read(scene.tank, "calcium", "428")
        made(journey.close())
    who = browser(scene.owner)
    with django_assert_max_num_queries(12):  # type: ignore[operator]
        assert who.get("/reports/").status_code == 200
