"""All tanks on one page: who wants somebody, what is not known, how fresh it is and who is there next."""

import uuid
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.models import Sight
from servicedesk.desk.queries.board import lines_of
from servicedesk.dispatch.actions import ask, claim, finish
from servicedesk.watch.actions import raise_attention
from servicedesk.water.models import TankTest
from tests.factories.people import make_owner, make_technician
from tests.factories.tanks import make_method, make_reading, make_site, make_tank
from tests.factories.visited import make_due

pytestmark = pytest.mark.django_db
ZONE = ZoneInfo("UTC")


def a_tank(name, days_ago=3, every_days=14):
    """A tank tested for alkalinity every so often, the last time so long ago."""
    tank = make_tank(make_site(name=f"{name} house"), name=name)
    method = make_method("alkalinity")
    TankTest.objects.create(tank=tank, parameter="alkalinity", method=method, every_days=every_days)
    if days_ago is not None:
        make_reading(tank, "8.0", method=method, at=timezone.now() - timedelta(days=days_ago))
    return tank


def attend(tank, word, harm_h=None):
    now = timezone.now()
    raise_attention(key=str(uuid.uuid4()), at=now, kind="out_of_band", word=word, severity=1, tank=tank, site=tank.site,
                    sentence=f"{tank.name} speaks.", harm_at=harm_h and now + timedelta(hours=harm_h))  # fmt: skip


def board(*tanks):
    return lines_of(list(tanks), make_owner(), now=timezone.now(), zone=ZONE)


def test_soonest_harm_comes_first_then_what_is_not_known_then_the_rest():
    well, old, later, soon = (a_tank("Well"), a_tank("Old", 29), a_tank("Later"), a_tank("Soon"))
    attend(later, "below")
    attend(soon, "silent", harm_h=5)

    assert [(line.tank.name, line.glyph) for line in board(well, old, later, soon)] == [
        ("Soon", "silent"),
        ("Later", "low"),
        ("Old", "none"),
        ("Well", "in"),
    ]


@pytest.mark.parametrize(
    ("days_ago", "every_days", "word"),
    [
        (27, 14, "In band"),
        (29, 14, "Not measured of late: alkalinity"),
        (29, 28, "In band"),
        (None, 14, "Never tested"),
    ],
)
def test_a_tank_is_in_band_only_while_its_tests_are_fresh(days_ago, every_days, word):
    assert [line.word for line in board(a_tank("A", days_ago, every_days))] == [word]


def test_a_test_that_was_never_made_is_named():
    tank = a_tank("A")
    TankTest.objects.create(tank=tank, parameter="nitrate", method=make_method("nitrate"), order=2)

    assert [line.word for line in board(tank)] == ["Not measured of late: nitrate"]


def test_a_line_says_when_it_was_tested_by_hand_and_who_comes_next():
    tank, at = a_tank("A"), timezone.now() - timedelta(days=3)
    make_due(tank, technician=make_technician(name="Ida Lund"), at=timezone.now() + timedelta(days=2))

    line = board(tank)[0]

    assert line.tested == f"{at.day} {at:%b}"
    assert line.visit.endswith("Ida Lund")
    assert line.heard == ""


def page():
    browser = Browser()
    browser.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")
    return browser.get("/tanks/").content.decode()


def test_the_page_calls_nothing_quiet_that_nobody_looked_at():
    a_tank("Well")
    before = page()
    at = timezone.now()
    finish(job=claim(job_id=ask(kind="sweep", key="sweep:1", args={}, at=at).pk, at=at), at=at)

    assert "The tanks have not been judged yet." in before
    assert "<b>0 tanks want somebody</b> of 1." in page()


def signed_in(user):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def test_a_clients_row_and_page_tell_its_worst_news_and_lead_to_the_tank():
    tank = a_tank("Well")
    attend(tank, "below_limit", harm_h=1)
    browser = signed_in(make_owner())

    row = browser.get("/clients/").content.decode()
    page = browser.get(f"/clients/{tank.site.client_id}/").content.decode()

    for text in (row, page):
        assert "Well speaks." in text
        assert f'href="/tanks/{tank.pk}/"' in text


def test_the_office_gets_from_a_tank_to_its_own_data_and_a_technician_does_not():
    tank, technician = a_tank("Well"), make_technician()
    make_due(tank, technician=technician, at=timezone.now())
    Sight.objects.create(
        user=technician,
        tank=tank,
        first_day=date(2020, 1, 1),
        last_day=date(2099, 1, 1),
        why="round",
        cause=uuid.uuid4(),
    )
    link = f'href="/tanks/{tank.pk}/own/"'

    assert link in signed_in(make_owner()).get(f"/tanks/{tank.pk}/").content.decode()
    assert link not in signed_in(technician).get(f"/tanks/{tank.pk}/").content.decode()
