"""The run sheet: what a technician needs of the day on paper, never a key, and only for whom it is."""

import io
import uuid
from datetime import date, time, timedelta

import pytest
from django.http import Http404
from django.test import Client as Browser
from django.utils import timezone
from pypdf import PdfReader

from clients.models import SiteClosed, SiteHours, TankStateRow
from reports import render, views
from reports.queries.run_paper import run_html, run_papers
from reports.queries.run_sheet import driver_for, sheet_of
from reports.render import RenderFailed, render_now
from servicedesk.rounds.actions import write_note
from servicedesk.rounds.models import DueVisit, Stop
from servicedesk.rounds.queries import round_of
from servicedesk.staff.models import Working
from servicedesk.stock.models import Place
from servicedesk.upkeep.models import Task, TaskRule
from servicedesk.water.models import WaterChange
from tests.factories.people import make_business, make_client_user, make_owner, make_technician, make_user
from tests.factories.stops import make_stop
from tests.factories.tanks import make_contact, make_item, make_site, make_tank

pytestmark = pytest.mark.django_db
NOW = timezone.now()
TODAY = NOW.date()
CODE = "4711#blue"


@pytest.fixture
def ida():
    make_business(zone="UTC")
    Place.objects.create(name="Store", kind="store", lat=52.0, lon=0.5)
    return make_technician(name="Ida", zone="UTC")


def stop_at(ida, name="Mill House", *, order=1, at="08:30", tank=None, **site):
    where = {"lat": 52.0 + order / 100, "lon": 0.5 + order / 70, **site}
    tank = tank or make_tank(make_site(name=name, **where), name=f"Reef {order}", place="in the bar")
    visit = make_stop(ida, tank, order=order)
    Stop.objects.filter(due_visit=visit).update(planned_at=at, minutes=40, drive_minutes=12)
    return visit


def owe(visit, title, *, days=0, item=None, hazards=()):
    day, tank = TODAY + timedelta(days=days), visit.tanks.get()
    rule = TaskRule.objects.create(tank=tank, title=title, starts_on=day, carry=item, carry_amount=2)
    return Task.objects.create(
        key=str(uuid.uuid4()), rule=rule, tank=tank, title=title, earliest=day, due=day, latest=day, made_at=NOW, hazards=list(hazards)
    )  # fmt: skip


def sheet(ida, day=TODAY):
    row, stops = round_of(ida, day)
    return sheet_of(row, stops, at=NOW)


def page(user, key, **asked):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser.get(f"/papers/run/{key}/", asked)


def text_of(pdf):
    pages = PdfReader(io.BytesIO(pdf)).pages
    return len(pages), " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.fixture
def drawn(monkeypatch):
    """The HTML in place of the PDF, so that nothing has to be drawn."""
    monkeypatch.setattr(views, "render_now", lambda papers, pages: next(iter(papers)).encode())


def test_a_stop_says_when_where_and_what_is_due(ida):
    floss = make_item(name="Floss", unit="pcs", shelf="A2")
    visit = stop_at(ida, way_in="Ring at the yard door.", water_and_drain="Tap behind the bar", on_site_phone="0555 0123", cautions=["mains", "gone"])  # fmt: skip
    owe(visit, "Filter floss", item=floss)
    owe(visit, "Glass cleaned", days=-3, hazards=["acid"])
    write_note(site=visit.site, text="The lid sticks.", for_office=False, origin=uuid.uuid4(), by=ida, at=NOW)

    found = sheet(ida)
    (stop,) = found.stops

    assert (stop.number, stop.at, stop.drive, stop.minutes, stop.name) == (1, "08:30", 12, 40, "Mill House")
    assert (stop.way_in, stop.water, stop.phone) == (
        "Ring at the yard door.",
        "Tap behind the bar",
        "0555 0123",
    )
    assert (stop.tanks[0].name, stop.tanks[0].place) == ("Reef 1", "in the bar")
    assert (stop.tanks[0].late, stop.tanks[0].due) == (["Glass cleaned"], ["Filter floss"])
    assert (stop.carry, stop.notes) == (["Floss 2 pcs"], ["The lid sticks."])
    assert stop.cautions == ["Mains near water", "Acids and alkalis"]
    assert [title for title, _lines in found.cautions] == stop.cautions
    assert found.emergency == "0555 0100"
    assert found.lead == "Ida: one stop, from 08:30 to 09:10, 40 min of work and 12 min at the wheel."


def test_the_load_stands_by_shelf_with_its_stops_and_mixed_water(ida):
    floss = make_item(name="Floss", unit="pcs", shelf="A2")
    first, second = stop_at(ida), stop_at(ida, "Weir", order=2, at="10:00")
    owe(first, "Filter floss", item=floss)
    owe(second, "Filter floss", item=floss)
    WaterChange.objects.create(tank=first.tanks.get(), litres=60, at=NOW - timedelta(days=7), received_at=NOW)

    load = sheet(ida).load

    assert load.shelves == [("Shelf A2", [("Floss", "4 pcs", "1, 2")])]
    assert load.water == [("1 Mill House", "60 L")]
    assert load.sum.startswith("60 L in ") and load.sum.endswith("about 61 kg in all")  # at 1.0248 kg a litre


def test_what_is_done_needs_no_load_and_what_is_called_off_no_line(ida):
    floss = make_item(name="Floss", unit="pcs", shelf="A2")
    done, off = stop_at(ida), stop_at(ida, "Weir", order=2)
    owe(done, "Filter floss", item=floss)
    Stop.objects.filter(due_visit=done).update(
        state="closed", arrived_at=NOW.replace(hour=7, minute=50), left_at=NOW
    )
    Stop.objects.filter(due_visit=off).update(state="called_off")

    found = sheet(ida)

    assert ([s.name for s in found.stops], found.called_off) == (["Mill House"], ["Weir"])
    assert (found.stops[0].at, found.stops[0].state) == ("07:50", "closed")
    assert (found.load.shelves, found.load.water, found.load.sum) == ([], [], "")


def test_a_round_with_nothing_to_drive_makes_no_sheet(ida):
    Stop.objects.filter(due_visit=stop_at(ida)).update(state="called_off")

    assert sheet(ida) is None


def test_isolation_is_said_at_its_stop_and_once_as_a_rule(ida):
    plain, alone, treated = (stop_at(ida, f"S{n}", order=n) for n in (1, 2, 3))
    DueVisit.objects.filter(pk=alone.pk).update(isolated=True)
    until = date(TODAY.year + 1, 6, 4)
    TankStateRow.objects.create(tank=treated.tanks.get(), state="isolation", from_on=TODAY, until_on=until)

    found = sheet(ida)
    html = run_html(found)

    assert [stop.isolated for stop in found.stops] == [False, True, True]
    assert found.stops[2].tanks[0].state == "isolation until 4 June"
    assert found.isolation and html.count("Use only the kit") == 1
    Stop.objects.exclude(due_visit=plain).delete()
    assert not sheet(ida).isolation and "Use only the kit" not in run_html(sheet(ida))


def test_a_state_without_an_end_stands_alone(ida):
    TankStateRow.objects.create(tank=stop_at(ida).tanks.get(), state="treatment", from_on=TODAY)

    assert sheet(ida).stops[0].tanks[0].state == "treatment"


@pytest.mark.parametrize(
    ("site", "said"),
    [
        ({}, ""),
        ({"opens": time(7, 30), "closes": time(18)}, "07:30–18:00"),
        ({"opens": time(7, 30)}, "07:30–24:00"),
    ],
)
def test_when_one_gets_in(ida, site, said):
    stop_at(ida, **site)

    assert sheet(ida).stops[0].hours == said


def test_hours_of_the_weekday_and_closed_days(ida):
    site = stop_at(ida).site
    SiteHours.objects.create(site=site, opens=time(6), closes=time(9))
    SiteHours.objects.create(site=site, opens=time(14), closes=time(16))
    assert sheet(ida).stops[0].hours == "06:00–09:00, 14:00–16:00"
    SiteClosed.objects.create(site=site, from_on=TODAY, until_on=TODAY)
    assert sheet(ida).stops[0].hours == "closed that day"


def test_no_key_code_home_or_private_phone_stands_anywhere(ida):
    """The canaries: a code in every field that somebody can type, where a technician lives, the phones of client and contact."""
    visit = stop_at(ida, f"Mill {CODE}", key_code=CODE, address=f"1 Lane {CODE}", way_in=f"Type 4711 # BLUE at the door, {CODE}", water_and_drain=CODE, on_site_phone=f"0555 {CODE}")  # fmt: skip
    gone = stop_at(ida, f"Weir {CODE}", order=2, key_code=CODE)
    Stop.objects.filter(due_visit=gone).update(state="called_off")
    tank = visit.tanks.get()
    type(tank).objects.filter(pk=tank.pk).update(name=f"Reef {CODE}", place=f"left {CODE}")
    owe(visit, f"Floss {CODE}", item=make_item(name="Floss", unit="pcs"))
    owe(visit, f"Glass {CODE}", days=-2)
    WaterChange.objects.create(tank=tank, litres=60, at=NOW - timedelta(days=7), received_at=NOW)
    write_note(site=visit.site, text=f"Now {CODE}.", for_office=False, origin=uuid.uuid4(), by=ida, at=NOW)
    type(visit.site.client).objects.update(phone="0555 9911")
    make_contact(visit.site.client, phone="0555 9922")
    Working.objects.create(person=ida, begins_at="home", ends_at="home", home_lat=51.12345, home_lon=0.98765)

    found = sheet(ida)
    said = repr(found) + "".join(run_papers(found))

    assert "4711" not in said and "blue" not in said.casefold().replace("#", "")
    for canary in ("0555 9911", "0555 9922", "51.12345", "0.98765"):
        assert canary not in said
    assert "•••" in said and found.map.homes == () and "Keys and codes are not on this sheet" in said


def test_what_people_typed_is_escaped(ida):
    stop_at(ida, "<i>Mill</i>", way_in="<script>1</script>")

    said = run_html(sheet(ida))

    assert "<i>Mill" not in said and "<script>" not in said and "&lt;script&gt;" in said


def test_sites_without_a_place_are_named_and_no_map_is_drawn_of_none(ida):
    stop_at(ida, lat=None, lon=None)

    said = run_html(sheet(ida))

    assert 'class="sketch"' not in said and "wrote down where they stand: 1 Mill House." in " ".join(
        said.split()
    )


@pytest.mark.parametrize("role", ["owner", "office"])
def test_the_office_prints_anybodys_sheet_of_any_day(ida, drawn, role):
    stop_at(ida)
    tomorrow = TODAY + timedelta(days=1)
    make_stop(ida, make_tank(make_site(name="Tomorrow's Inn")), day=tomorrow)

    answer, then = (
        page(make_user(role, zone="UTC"), ida.pk),
        page(make_user(role, zone="UTC"), ida.pk, day=tomorrow),
    )

    assert "Mill House" in answer.content.decode() and "Tomorrow&#x27;s Inn" in then.content.decode()
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'inline; filename="run-{TODAY.isoformat()}.pdf"'
    assert answer["Cache-Control"] == "private, no-store"


def test_a_technician_prints_the_own_days_to_come_and_nothing_else(ida, drawn):
    stop_at(ida)
    make_stop(ida, make_tank(make_site(name="Tomorrow's Inn")), day=TODAY + timedelta(days=1))
    bob = make_technician(name="Bob", zone="UTC")
    stop_at(bob, "Quay")

    assert page(ida, ida.pk).status_code == 200
    foreign, missing = page(ida, bob.pk), page(ida, uuid.uuid4())
    assert (foreign.status_code, missing.status_code) == (404, 404)
    assert "Tomorrow&#x27;s Inn" in page(ida, ida.pk, day=TODAY + timedelta(days=1)).content.decode()
    assert page(ida, ida.pk, day=TODAY - timedelta(days=1)).status_code == 404


@pytest.mark.parametrize("who", [make_client_user, lambda: make_user("instrument")])
def test_nobody_else_prints_a_sheet(ida, drawn, who):
    stop_at(ida)

    assert page(who(), ida.pk).status_code == 404


def test_only_technicians_have_sheets(ida):
    owner = make_owner(zone="UTC")

    with pytest.raises(Http404):
        driver_for(owner, owner.pk, day=TODAY, today=TODAY)


class Fake:
    """A renderer whose papers have so many pages; it notes what it drew and that it was ended."""

    pages = iter(())
    drew: list[str] = []
    ended = 0

    def __init__(self, *, limit_s):
        pass

    def draw_counted(self, html):
        number = next(Fake.pages)
        if not number:
            raise RenderFailed("It broke.")
        Fake.drew.append(html)
        return number, html.encode()

    def close(self):
        Fake.ended += 1


@pytest.mark.parametrize(
    ("pages", "drew"), [([1], ["roomy"]), ([2, 1], ["roomy", "dense"]), ([3, 2], ["roomy", "dense"])]
)
def test_the_first_layout_that_fits_is_taken_and_the_child_is_ended(monkeypatch, pages, drew):
    monkeypatch.setattr(render, "Renderer", Fake)
    Fake.pages, Fake.drew, Fake.ended = iter(pages), [], 0

    assert render_now(["roomy", "dense"], pages=1) == drew[-1].encode()
    assert (Fake.drew, Fake.ended) == (drew, 1)


def test_a_paper_that_broke_leaves_the_way_free_for_the_next(monkeypatch):
    monkeypatch.setattr(render, "Renderer", Fake)
    Fake.pages, Fake.drew, Fake.ended = iter([0, 1]), [], 0

    with pytest.raises(RenderFailed):
        render_now(["roomy"], pages=1)
    assert render_now(["roomy"], pages=1) == b"roomy" and Fake.ended == 2


def test_who_comes_while_others_print_too_long_is_told(monkeypatch):
    monkeypatch.setattr(render, "PAGE_WAIT_S", 0.001)
    with render._AT_A_PAGE, pytest.raises(RenderFailed, match="Ask again in a minute"):
        render_now(["roomy"], pages=1)


@pytest.mark.parametrize("day", [None, "2019-01-01", "2026-99-99", "x"])
def test_a_day_without_stops_says_so(ida, drawn, day):
    answer = page(make_owner(zone="UTC"), ida.pk, **({"day": day} if day else {}))

    assert (answer.status_code, answer["Location"]) == (302, "/round/")


def test_what_cannot_be_drawn_is_said_and_loses_nothing(ida, monkeypatch):
    def broken(papers, pages):
        raise RenderFailed("It could not be drawn.")

    stop_at(ida)
    monkeypatch.setattr(views, "render_now", broken)
    browser = Browser()
    browser.force_login(ida, backend="django.contrib.auth.backends.ModelBackend")

    answer = browser.get(f"/papers/run/{ida.pk}/", follow=True)

    assert answer.redirect_chain == [("/round/", 302)] and "It could not be drawn." in answer.content.decode()


def test_the_round_and_the_week_lead_to_the_sheet(ida):
    stop_at(ida)
    address = f"/papers/run/{ida.pk}/"
    owner, said = make_owner(zone="UTC"), {}
    for user, place in ((ida, "/round/"), (owner, f"/round/?technician={ida.pk}"), (owner, "/week/")):
        browser = Browser()
        browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        said[place] = browser.get(place).content.decode()

    assert (
        f'href="{address}"' in said["/round/"] and f'href="{address}"' in said[f"/round/?technician={ida.pk}"]
    )
    assert f'href="{address}?day={TODAY.isoformat()}"' in said["/week/"]


def a_day_of(ida, number):
    """Stops as they are: a way in, a phone, hours, a caution, two or three things due, something to carry, one overdue."""
    floss = make_item(name="Filter floss, fine", unit="pcs", shelf="A2")
    for n in range(1, number + 1):
        site = {"way_in": "Ring at the yard door, second bell; the bar is on the left.", "on_site_phone": f"0555 01{n:02}", "opens": time(7), "closes": time(19), "cautions": ["mains"]}  # fmt: skip
        visit = stop_at(ida, f"The {n}. Mill House", order=n, at=f"{7 + n:02}:30", **site)
        owe(visit, "Filter floss", item=floss)
        owe(visit, "Skimmer cup and neck")
        if n == 2:
            owe(visit, "Overflow and back-siphon test", days=-4)
        WaterChange.objects.create(
            tank=visit.tanks.get(), litres=60, at=NOW - timedelta(days=7), received_at=NOW
        )


@pytest.mark.slow  # draws
@pytest.mark.paper
@pytest.mark.parametrize(("number", "pages"), [(1, 1), (8, 1), (15, 2)])
def test_a_day_of_eight_stops_is_one_page_and_a_longer_one_flows_on(ida, number, pages):
    a_day_of(ida, number)

    drawn, said = text_of(render_now(run_papers(sheet(ida)), pages=1))

    assert drawn == pages
    for n in range(1, number + 1):
        assert f"The {n}. Mill House" in said and f"{7 + n:02}:30" in said and f"0555 01{n:02}" in said
    assert "Ring at the yard door" in said and "0555 0100" in said and "Mains near water" in said
    assert f"page 1 of {pages}" in said and "Shelf A2" in said and " km" in said


@pytest.mark.slow  # draws
@pytest.mark.paper
def test_the_page_hands_out_a_drawn_sheet_of_a4(ida):
    stop_at(ida, key_code=CODE, way_in=f"Type {CODE}")

    answer = page(ida, ida.pk)
    (first,) = PdfReader(io.BytesIO(answer.content)).pages

    assert [round(float(side) / 72 * 25.4) for side in first.mediabox[2:]] == [210, 297]
    assert "Type •••" in " ".join(first.extract_text().split()) and "4711" not in first.extract_text()


def week_of(user, **asked):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser.get("/papers/run/week/", asked, follow=True)


MONDAY = TODAY - timedelta(days=TODAY.weekday())


@pytest.fixture
def two_days(ida):
    """Ida on Monday and Sunday of this week and on the Monday after, Bob on Monday."""
    bob = make_technician(name="Bob", zone="UTC")
    for person, name, days in ((ida, "Mill", 0), (ida, "Forge", 6), (ida, "Later", 7), (bob, "Ferry", 0)):
        make_stop(person, make_tank(make_site(name=name, key_code=CODE, way_in=f"Type {CODE}")), day=MONDAY + timedelta(days=days))  # fmt: skip
    return bob


def test_the_office_prints_the_whole_week_a_sheet_a_day_and_technician(ida, two_days, drawn):
    owner = make_owner(zone="UTC")
    answer = week_of(owner)
    text = answer.content.decode()
    assert answer["Content-Type"] == "application/pdf" and text.count('<section class="run') == 3
    assert text.index("Ferry") < text.index("Mill") < text.index("Forge") and "Later" not in text
    assert CODE not in text
    only = week_of(owner, technician=two_days.pk, **{"from": str(TODAY)}).content.decode()
    assert "Ferry" in only and "Mill" not in only and only.count('<section class="run') == 1
    browser = Browser()
    browser.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    seen = browser.get(f"/round/?technician={ida.pk}").content.decode()
    assert f'href="/papers/run/week/?technician={ida.pk}"' in seen
    assert "Later" in week_of(owner, **{"from": MONDAY + timedelta(days=9)}).content.decode()


def test_a_technician_prints_the_own_next_seven_days(ida, two_days, drawn):
    text = week_of(ida, technician=two_days.pk).content.decode()
    assert "Ferry" not in text and "Forge" in text and ("Later" in text) == (TODAY > MONDAY)
    browser = Browser()
    browser.force_login(ida, backend="django.contrib.auth.backends.ModelBackend")
    seen = browser.get("/round/").content.decode()
    ahead = MONDAY + timedelta(days=6 if MONDAY + timedelta(days=6) > TODAY else 7)
    assert f"/papers/run/{ida.pk}/?day={ahead}" in seen and "/papers/run/week/" in seen


@pytest.mark.parametrize("who", [make_client_user, lambda: make_user("instrument")])
def test_nobody_else_prints_a_week(ida, two_days, drawn, who):
    assert week_of(who()).status_code == 404


@pytest.mark.parametrize("asked", [{"technician": "x"}, {"technician": uuid.uuid4()}, {"from": "9999-12-31"}])
def test_a_week_of_nobody_or_never_is_not_found(ida, two_days, asked):
    assert week_of(make_owner(zone="UTC"), **asked).status_code == 404


def test_what_cannot_be_printed_is_said(ida, monkeypatch):
    owner = make_owner(zone="UTC")
    assert "There is no stop to print in that week." in week_of(owner).content.decode()
    stop_at(ida)
    monkeypatch.setattr(views, "MOST_SHEETS", 0)
    assert "These are 1 sheets; 0 are drawn at once." in week_of(owner).content.decode()
    monkeypatch.undo()

    def broken(papers, pages):
        raise RenderFailed("It could not be drawn.")

    monkeypatch.setattr(views, "render_now", broken)
    assert "It could not be drawn." in week_of(owner).content.decode()
    assert "Print all run sheets" in week_of(owner).content.decode()


@pytest.mark.slow  # draws
@pytest.mark.paper
def test_each_sheet_of_a_week_begins_a_page_with_its_own_foot(ida, two_days):
    pdf = PdfReader(io.BytesIO(week_of(make_owner(zone="UTC")).content))
    pages = [" ".join(sheet.extract_text().split()) for sheet in pdf.pages]
    assert len(pages) == 3 and all(CODE not in text for text in pages)
    for text, name in zip(pages, ("Bob", "Ida", "Ida"), strict=True):
        assert f"run sheet of {name}" in text and "of 3" in text
