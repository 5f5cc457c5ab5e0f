"""Choosing how to test: ways as the owner wrote them down, compared for one tank."""

from dataclasses import replace
from decimal import Decimal

import pytest
from django.test import Client as Browser

from servicedesk.core.inventory.reorder import NotCounted
from servicedesk.core.inventory.ways import Way
from servicedesk.core.units import TypedWrong
from servicedesk.core.worksheets import Refused, answer
from servicedesk.core.worksheets.choosing import money, read_measures, sheet
from servicedesk.instruments.models import Candidate
from servicedesk.instruments.queries import ways_on_offer
from tests.factories.people import make_business, make_owner
from tests.factories.stops import make_reef_to_test
from tests.factories.tanks import make_plan

KIT = Way("kits", {"alkalinity": 0.4, "calcium": 15.0}, test_minutes=5, price=40, test_cost=0.5)
TITRATOR = Way("titrator", {"alkalinity": 0.3}, unattended=True, price=600, test_cost=0.1, needs=frozenset({"drain"}), cannot_tell=("calcium",))  # fmt: skip


def chosen(*ways, **typed):
    given = {"week_alkalinity": "7", "within_alkalinity": "0.5", "week_calcium": "0.9", **typed}
    return answer(sheet(ways, ["alkalinity", "calcium"]), given)


@pytest.mark.parametrize(
    "text",
    ["Alkalinity 0.4\ncalcium: 15", "alkalinity ± 0,4; Calcium 15", " Alkalinity   0.4 \n\n calcium 15 "],
)
def test_what_a_way_measures_is_read_a_line_each(text):
    assert read_measures(text) == {"alkalinity": 0.4, "calcium": 15.0}


@pytest.mark.parametrize(
    "text", ["", "Rain 4", "Alkalinity", "Alkalinity -1", "Alkalinity 0", "Alkalinity 1.2.3"]
)
def test_what_cannot_be_read_is_said_with_its_line(text):
    with pytest.raises((NotCounted, TypedWrong)):
        read_measures(text)


def test_ways_that_cover_everything_are_compared_over_the_horizon():
    exact = [replace(w, price=Decimal(w.price), test_cost=Decimal(str(w.test_cost))) for w in (KIT, TITRATOR)]  # fmt: skip
    found = chosen(*exact)

    assert found.word == "Covered" and found.sentence.startswith("kits and titrator: everything is measured")
    assert found.values["at_once"] == 640
    assert [row[1] for row in found.rows] == ["suits", "suits"]
    assert any("it cannot tell calcium" in words for words in found.mind)
    without = chosen(*exact, drain="no")
    assert without.word == "Not covered" and "Alkalinity" in without.sentence
    assert "it needs drain, which is not there" in without.rows[1][2]
    assert "a week are wanted" in without.mind[0]


def test_the_dearer_at_once_says_when_it_has_paid_for_itself():
    cheap = Way("strips", {"alkalinity": 0.4}, test_minutes=10, price=Decimal(5), test_cost=Decimal(1))
    dear = Way("meter", {"alkalinity": 0.4}, test_minutes=1, price=Decimal(200), test_cost=Decimal("0.1"))
    same = Way("other meter", {"alkalinity": 0.4}, test_minutes=1, price=Decimal(3), test_cost=Decimal("0.1"))
    only = {"week_alkalinity": "0.5", "within_alkalinity": "", "week_calcium": ""}

    found = chosen(cheap, dear, **only)
    assert "dearer at once, paid for after" in found.mind[0]
    assert "dearer at once" not in " ".join(chosen(same, dear, **only).mind)


def test_nothing_written_down_and_nothing_asked_are_refused_in_words():
    with pytest.raises(Refused, match="No way to choose from"):
        chosen()
    with pytest.raises(Refused, match="something to measure"):
        chosen(KIT, week_alkalinity="", week_calcium="")
    assert [money(n) for n in (1234.5, 12.345)] == ["1234", "12.35"] or money(12.345) == "12.34"


@pytest.fixture
def browser():
    make_business()
    eyes = Browser()
    eyes.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")
    return eyes


@pytest.mark.django_db
def test_an_owner_writes_a_way_down_and_the_tank_s_worksheet_takes_it(browser):
    tank = make_reef_to_test()
    tank.tests.update(every_days=14)
    make_plan(tank.site, tank, every_weeks=1)
    fields = {
        "name": "Bench kit", "measures": "Alkalinity 0.4\nSalinity 0.5\nTemperature 0.3", "test_minutes": "3", "most_per_day": "24",
        "setup_minutes": "0", "upkeep_minutes": "0", "price": "120", "month_cost": "0", "test_cost": "0.4", "needs_mains": "on",
        "cannot_tell": "", "fails_by": "old reagent",
    }  # fmt: skip
    browser.post("/own/candidate/new/", fields)

    (way,) = ways_on_offer()
    assert way.needs == {"mains"} and way.fails_by == ("old reagent",) and way.cannot_tell == ()
    page = browser.get(f"/tanks/{tank.pk}/worksheets/choose/")
    assert page.context["result"].sentence.startswith("Bench kit: ")
    assert page.context["form"].data["week_alkalinity"] == "0.5"
    assert page.context["form"].data["within_alkalinity"] == "0.9"
    assert page.context["form"].data["visits"] == "4.35"
    assert "Bench kit" in browser.get("/methods/").content.decode()
    assert "Choose how to test" in browser.get(f"/tanks/{tank.pk}/worksheets/").content.decode()
    assert browser.get("/worksheets/choose/").status_code == 404


@pytest.mark.django_db
def test_a_way_that_cannot_be_read_is_refused_at_its_field(browser):
    page = browser.post("/own/candidate/new/", {"name": "x", "measures": "Rain 4", "most_per_day": "24"})

    assert "“Rain 4” is not a parameter" in page.content.decode()
    assert not Candidate.objects.exists()
