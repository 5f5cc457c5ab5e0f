"""The client's yes or no: who may give it, that it is kept and added to, and who reads of it."""

import uuid
from datetime import timedelta
from uuid import UUID

import pytest
from django.utils import timezone

from reports import actions
from reports.models import Answer, Report
from reports.queries import answers_for, content_of
from reports.queries.shape import as_json, from_json
from servicedesk.staff.models import User
from tests.factories.people import make_user
from tests.factories.reported import VISIT_AT
from tests.reports.conftest import Scene
from tests.reports.test_actions import LATER, made
from tests.reports.test_views import browser, contact_user, plain, stranger

SOON = VISIT_AT + timedelta(days=1)


@pytest.fixture(autouse=True)
def _drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(actions, "render_to_fit", lambda papers, pages: b"%PDF-1.7 drawn")


@pytest.fixture
def client_user(scene: Scene) -> User:
    return contact_user(scene)


@pytest.fixture
def asked(scene: Scene) -> Report:
    """A report that is out and asks for a second pump."""
    scene.before()
    journey = scene.tested()
    journey.write("recommendation", text="A second return pump.", price="240")
    return made(journey.close())


def key_of(report: Report) -> UUID:
    return UUID(from_json(report.content).questions[0].key)


def address(report: Report, question: UUID | None = None) -> str:
    return f"/reports/{report.pk}/answer/{question or key_of(report)}/"


def say(report: Report, by: User, *, yes: bool, hours: int = 0) -> Answer:
    at = SOON + timedelta(hours=hours)
    return actions.answer(report=report, question=key_of(report), yes=yes, by=by, at=at)


# Refusals


def test_a_technician_answers_nothing(scene: Scene, asked: Report) -> None:
    with pytest.raises(actions.NotAnswered, match="The client answers"):
        say(asked, scene.technician, yes=True)
    assert browser(scene.technician).post(address(asked), {"said": "yes"}).status_code == 404
    assert not Answer.objects.exists()


def test_a_foreign_client_and_a_missing_report_get_the_same_answer(asked: Report) -> None:
    who = browser(stranger())
    foreign = who.post(address(asked), {"said": "yes"})
    missing = who.post(f"/reports/{uuid.uuid4()}/answer/{uuid.uuid4()}/", {"said": "yes"})
    assert (foreign.status_code, missing.status_code) == (404, 404)
    assert plain(foreign.content) == plain(missing.content)
    assert not Answer.objects.exists()


def test_a_report_that_is_not_out_is_not_answered(scene: Scene, client_user: User) -> None:
    journey = scene.tested()
    journey.write("recommendation", text="A second return pump.", price="240")
    held = made(journey.close())
    assert browser(client_user).post(address(held), {"said": "yes"}).status_code == 404
    with pytest.raises(actions.NotAnswered, match="not out yet"):
        say(held, scene.owner, yes=True)


def test_what_is_not_asked_is_not_answered(asked: Report, client_user: User) -> None:
    with pytest.raises(actions.NotAnswered, match="not asked any more"):
        actions.answer(report=asked, question=uuid.uuid4(), yes=True, by=client_user, at=SOON)
    page = browser(client_user).post(address(asked, uuid.uuid4()), {"said": "yes"}, follow=True)
    assert "This question is not asked any more." in page.content.decode()


def test_neither_yes_nor_no_is_asked_again(asked: Report, client_user: User) -> None:
    page = browser(client_user).post(address(asked), {"said": "maybe"}, follow=True).content.decode()
    assert "Please answer yes or no." in page
    assert not Answer.objects.exists()


def test_a_look_answers_nothing(asked: Report, client_user: User) -> None:
    assert browser(client_user).get(address(asked)).status_code == 405


def test_nobody_is_led_off_the_house_by_an_answer(asked: Report, client_user: User) -> None:
    for back in ("https://elsewhere.example/", "//elsewhere.example/", "/\\elsewhere.example/"):
        answer = browser(client_user).post(address(asked), {"said": "yes", "back": back})
        assert answer["Location"] == f"/reports/{asked.pk}/#asked"


# What is kept


def test_a_press_of_a_button_is_kept_with_who_and_when(asked: Report, client_user: User) -> None:
    before = timezone.now()
    page = browser(client_user).get(f"/reports/{asked.pk}/").content.decode()
    assert "Yes, please" in page and "No, thank you" in page and "240 EUR" in page
    browser(client_user).post(address(asked), {"said": "yes"})
    kept = Answer.objects.get()
    assert (kept.report, kept.question, kept.yes, kept.by) == (asked, key_of(asked), True, client_user)
    assert before <= kept.at <= timezone.now()
    page = browser(client_user).get(f"/reports/{asked.pk}/").content.decode()
    assert f"Yes, said {client_user.name}," in page
    assert "Yes, please" not in page and "No, thank you" in page


def test_a_later_answer_is_added_and_counts(scene: Scene, asked: Report, client_user: User) -> None:
    say(asked, client_user, yes=True)
    say(asked, client_user, yes=False, hours=1)
    assert list(Answer.objects.order_by("at").values_list("yes", flat=True)) == [True, False]
    news = answers_for(scene.owner, at=SOON + timedelta(hours=2))
    assert [n.sentence for n in news] == ["The Three Herons says no to “A second return pump” (240 EUR)."]


def test_pressing_twice_is_one_answer(asked: Report, client_user: User) -> None:
    assert say(asked, client_user, yes=True) == say(asked, client_user, yes=True, hours=1)
    assert Answer.objects.count() == 1


def test_the_office_writes_down_what_it_was_told(scene: Scene, asked: Report) -> None:
    office = make_user("office", name="Ola Reed")
    page = browser(office).get(f"/reports/{asked.pk}/").content.decode()
    assert "The client said yes" in page
    browser(office).post(address(asked), {"said": "no"})
    assert "No, as told to Ola Reed," in browser(office).get(f"/reports/{asked.pk}/").content.decode()


def test_the_tanks_own_page_asks_and_brings_back(scene: Scene, asked: Report, client_user: User) -> None:
    door = f"/door/tanks/{scene.tank.pk}/"
    page = browser(client_user).get(door).content.decode()
    assert f'action="{address(asked)}"' in page and f'name="back" value="{door}"' in page
    answer = browser(client_user).post(address(asked), {"said": "yes", "back": door})
    assert answer["Location"] == door
    assert "Yes, said" in browser(client_user).get(door).content.decode()


def test_an_answer_to_the_first_version_counts_in_the_second(scene: Scene, client_user: User) -> None:
    scene.before()
    journey = scene.tested()
    journey.write("recommendation", text="A second return pump.", price="240")
    first = made(journey.close())
    say(first, client_user, yes=True)
    journey.entries = []
    journey.at += timedelta(minutes=30)
    journey.write("finding", tank=str(scene.tank.pk), text="A snail laid eggs.")
    second = made(journey.hand_in(), version=2)
    assert "Yes, said" in browser(client_user).get(f"/reports/{second.pk}/").content.decode()


# Who reads of it


def test_the_owner_reads_of_it_for_a_fortnight_and_nobody_else(
    scene: Scene, asked: Report, client_user: User
) -> None:
    say(asked, client_user, yes=True)
    (news,) = answers_for(scene.owner, at=SOON + timedelta(hours=1))
    assert news.sentence == "The Three Herons says yes to “A second return pump” (240 EUR)."
    assert news.url == f"/reports/{asked.pk}/#asked"
    assert answers_for(scene.owner, at=SOON + timedelta(days=15)) == []
    assert answers_for(scene.technician, at=SOON + timedelta(hours=1)) == []
    assert answers_for(client_user, at=SOON + timedelta(hours=1)) == []


def test_the_list_of_reports_shows_answers_to_the_office_only(
    scene: Scene, asked: Report, client_user: User
) -> None:
    actions.answer(report=asked, question=key_of(asked), yes=True, by=client_user, at=timezone.now())
    assert "says yes to" in browser(scene.owner).get("/reports/").content.decode()
    assert "says yes to" not in browser(client_user).get("/reports/").content.decode()


def test_the_next_report_names_the_answer(scene: Scene, asked: Report, client_user: User) -> None:
    say(asked, client_user, yes=True)
    journey = scene.journey(days=14)
    journey.read(scene.tank, "calcium", "428")
    content = content_of(journey.close(), at=LATER + timedelta(days=14))
    assert content.answered == ["You said yes to “A second return pump” (240 EUR) on 26 November."]
    assert from_json(as_json(content)) == content


def test_the_next_report_says_what_is_still_open(scene: Scene, asked: Report) -> None:
    journey = scene.journey(days=14)
    journey.read(scene.tank, "calcium", "428")
    content = content_of(journey.close(), at=LATER + timedelta(days=14))
    assert content.answered == ["We still wait for your yes or no to “A second return pump” (240 EUR)."]


def test_an_old_report_without_keys_shows_its_question_without_buttons(
    asked: Report, client_user: User
) -> None:
    for question in asked.content["questions"]:
        del question["key"]
    asked.save(update_fields=["content"])
    page = browser(client_user).get(f"/reports/{asked.pk}/").content.decode()
    assert "A second return pump." in page and "Yes, please" not in page
