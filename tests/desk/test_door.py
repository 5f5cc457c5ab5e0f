"""The client's door: own tanks, what was let go, what comes next; nothing else."""

from datetime import timedelta

import pytest
from django.utils import timezone

from reports import actions
from reports.queries.shape import from_json
from servicedesk.staff.models import User
from tests.factories.people import make_client_user, make_owner
from tests.factories.reported import make_reef
from tests.factories.tanks import make_client, make_contact, make_site
from tests.factories.visited import make_due
from tests.reports.conftest import Scene, scene
from tests.reports.test_actions import LATER, made
from tests.reports.test_views import browser, contact_user, plain, stranger

__all__ = ["scene"]


@pytest.fixture(autouse=True)
def _drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(actions, "render_to_fit", lambda papers, pages: b"%PDF-1.7 drawn")


def page_of(user: User, address: str) -> str:
    answer = browser(user).get(address, follow=True)
    assert answer.status_code == 200
    return answer.content.decode()


def test_nobody_but_a_contact_comes_through_the_door(scene: Scene) -> None:
    for user in (scene.owner, scene.technician):
        for address in ("/door/", f"/door/tanks/{scene.tank.pk}/"):
            assert browser(user).get(address).status_code == 404
    assert browser(None).get("/door/").status_code == 302


def test_a_strange_tank_and_a_missing_one_look_alike(scene: Scene) -> None:
    user = stranger()
    foreign = browser(user).get(f"/door/tanks/{scene.tank.pk}/")
    missing = browser(user).get("/door/tanks/00000000-0000-4000-8000-000000000000/")
    assert (foreign.status_code, missing.status_code) == (404, 404)
    assert plain(foreign.content) == plain(missing.content)
    assert scene.tank.name not in page_of(user, "/door/")


def test_a_retired_clients_contact_sees_nothing(scene: Scene) -> None:
    user = contact_user(scene)
    scene.before()
    report = made(scene.tested().close())
    scene.client.retired_on = timezone.now().date()
    scene.client.save()
    assert scene.tank.name not in page_of(user, "/door/")
    for address in (f"/door/tanks/{scene.tank.pk}/", f"/reports/{report.pk}/", f"/reports/{report.pk}/pdf/"):
        assert browser(user).get(address).status_code == 404


def test_one_tank_answers_is_it_well_what_next_what_do_you_want(scene: Scene) -> None:
    user = contact_user(scene)
    scene.before()
    journey = scene.tested(alkalinity="6.9")
    journey.write("recommendation", text="A second return pump.", price="240")
    made(journey.close())
    soon = timezone.now() + timedelta(days=3)
    make_due(scene.tank, technician=scene.technician, at=soon)
    page = page_of(user, "/door/")
    assert "We are watching" in page
    assert "Carbonate 6.9 dKH:" in page and "a little low; corals grow slower" in page
    assert "Temperature, salt, calcium and nitrate:" in page
    assert "A second return pump." in page and "240 EUR" in page
    assert "We come on" in page
    assert "0555 0100" in page


def test_what_waits_for_the_owners_word_is_not_at_the_door(scene: Scene) -> None:
    user = contact_user(scene)
    report = made(scene.tested(alkalinity="5.9").close())
    before = page_of(user, "/door/")
    assert "No report of this tank has come out yet." in before and "5.9" not in before
    actions.release(report=report, by=scene.owner, at=LATER)
    assert "Carbonate 5.9 dKH:" in page_of(user, "/door/")


def test_several_tanks_are_listed_with_their_verdicts(scene: Scene) -> None:
    user = contact_user(scene)
    make_reef(scene.site, name="The small reef in the bar", order=2)
    other = make_client()
    make_contact(other, user=make_client_user())
    make_reef(make_site(other), name="The school tank")
    scene.before()
    made(scene.tested().close())
    page = page_of(user, "/door/")
    assert "The long reef behind reception" in page and "All is well" in page
    assert "The small reef in the bar" in page and "No report yet" in page
    assert "The school tank" not in page


def test_nothing_of_the_house_is_at_the_door(scene: Scene) -> None:
    user = contact_user(scene)
    scene.before()
    made(scene.tested().close())
    page = page_of(user, "/door/")
    for secret in ("4711", "haggles", "/clients/", "/today/"):
        assert secret not in page
    assert make_owner().email not in page


def test_a_held_report_makes_the_door_say_of_which_day_it_speaks_and_that_more_is_to_come(
    scene: Scene,
) -> None:
    user = contact_user(scene)
    make_reef(scene.site, name="The small reef in the bar", order=2)
    scene.before()
    first = made(scene.tested().close())
    calm = page_of(user, "/door/")
    journey = scene.journey(scene.tank, days=7)
    journey.read(scene.tank, "alkalinity", "5.8")
    held = made(journey.close())

    page = page_of(user, "/door/")
    one = page_of(user, f"/door/tanks/{scene.tank.pk}/")

    assert (first.state, held.state) == ("ready", "held")
    assert "<b>All is well.</b>" in calm and "being checked" not in calm
    assert "<b>A report is on its way.</b>" in page
    for text in (page, one):
        assert "the report of that visit is being checked and follows." in text
        assert f"As of {from_json(first.content).day}." in text
        assert "5.8" not in text
