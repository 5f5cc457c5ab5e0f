"""An owner starts from an empty database, guided by what is missing next."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.models import Client, ServicePlan, Site, Tank, TankStateRow
from servicedesk.desk.actions import own
from servicedesk.desk.views.own import between
from servicedesk.dispatch.models import Job
from servicedesk.instruments.models import Token
from servicedesk.rounds import jobs as rounds_jobs
from servicedesk.rounds.models import DueVisit, Notice, Stop
from servicedesk.staff.models import Business, User
from servicedesk.staff.queries import day_of
from servicedesk.upkeep.models import TaskRule
from servicedesk.water.models import Band, ChangeWater, Method, Touched
from servicedesk.water.queries import water_for
from tests.factories.people import make_client_user, make_owner, make_technician
from tests.factories.tanks import (
    make_band,
    make_channel,
    make_client,
    make_contact,
    make_instrument,
    make_livestock,
    make_method,
    make_plan,
    make_tank,
)

pytestmark = pytest.mark.django_db


def signed_in(user):
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def test_the_first_page_of_an_empty_database_asks_who_you_are():
    assert Browser().get("/", follow=True).request["PATH_INFO"] == "/set-up/"


def first_owner(browser, password="a calm pond in may"):
    return browser.post(
        "/set-up/",
        {"name": "Reedbank Tanks", "zone": "Europe/London", "currency": "EUR", "me-owner_name": "Una Reed", "me-owner_email": "una@example.org", "me-password": password},
        follow=True,
    )  # fmt: skip


def test_a_short_password_is_refused_in_words_and_nothing_is_made():
    answer = first_owner(Browser(), password="short")

    assert "at least 15" in answer.content.decode()
    assert (Business.objects.count(), User.objects.count()) == (0, 0)


def test_who_sets_up_second_is_led_to_the_sign_in_and_changes_nothing(monkeypatch):
    make_owner(name="Una Reed")
    monkeypatch.setattr("servicedesk.desk.views.setup.queries.is_empty", lambda: True)

    answer = first_owner(Browser())

    assert "has its owner already" in answer.content.decode()
    assert [user.name for user in User.objects.all()] == ["Una Reed"]


def test_the_first_day_is_that_of_the_zone_which_was_typed(monkeypatch):
    late = datetime(2026, 6, 3, 22, 0, tzinfo=UTC)
    monkeypatch.setattr("servicedesk.desk.views.setup.timezone.now", lambda: late)

    Browser().post(
        "/set-up/",
        {"name": "Reedbank Tanks", "zone": "Pacific/Auckland", "currency": "EUR", "me-owner_name": "Una Reed", "me-owner_email": "una@example.org", "me-password": "a calm pond in may"},
    )  # fmt: skip

    assert User.objects.get().joined_on == date(2026, 6, 4)


def test_an_owner_comes_from_nothing_to_a_service_plan():
    browser = Browser()
    first_owner(browser)
    make_method("alkalinity", name="photometer")
    technician = make_technician()

    browser.post("/own/client/new/", {"name": "Quay Hotel"})
    client = Client.objects.get()
    browser.post(f"/own/site/new/?in={client.pk}", {"name": "Quay", "address": "Quay 1"})
    site = Site.objects.get()
    browser.post(
        f"/own/tank/new/?in={site.pk}",
        {"name": "Bar reef", "place": "left of the bar", "water_type": "reef_soft", "gross_l": "300", "net_l": "240", "net_l_u": "8", "order": "1"},
    )  # fmt: skip
    tank = Tank.objects.get()
    browser.post(
        f"/own/plan/new/?in={site.pk}",
        {"name": "Fortnightly", "tanks": [str(tank.pk)], "every_weeks": "2", "weekday": "1", "tolerance_days": "1", "minutes": "45", "people": "1", "technician": str(technician.pk), "starts_on": "2026-06-01"},
    )  # fmt: skip

    assert tank.bands.get(parameter="alkalinity").target == 8.5
    assert [t.parameter for t in tank.tests.all()] == ["alkalinity"]
    assert list(ServicePlan.objects.get().tanks.all()) == [tank]
    assert "Everything" not in browser.get("/set-up/").content.decode()


def test_a_net_volume_above_the_gross_is_refused_and_what_was_typed_stays():
    tank, browser = make_tank(), signed_in(make_owner())

    answer = browser.post(
        f"/own/tank/{tank.pk}/",
        {"name": "Odd", "place": "there", "water_type": "reef_soft", "gross_l": "100", "net_l": "240", "net_l_u": "8", "order": "1"},
    )  # fmt: skip

    assert answer.status_code == 200
    assert 'value="Odd"' in answer.content.decode()
    tank.refresh_from_db()
    assert tank.gross_l == 600


def test_retiring_keeps_the_row():
    tank, browser = make_tank(), signed_in(make_owner())

    browser.post(f"/own/tank/{tank.pk}/retire/")

    tank.refresh_from_db()
    assert tank.retired_on is not None


def test_a_pass_for_an_instrument_is_shown_once_and_kept_as_a_hash():
    instrument, browser = make_instrument(), signed_in(make_owner())

    page = browser.post(f"/instruments/{instrument.pk}/token/").content.decode()

    row = Token.objects.get()
    assert row.start in page
    assert len(row.sha256) == 64
    assert "trk_" not in row.sha256


@pytest.mark.parametrize(
    "address", ["/clients/", "/supplies/", "/methods/", "/today/", "/people/", "/own/client/new/"]
)
def test_a_technician_meets_nothing_on_the_offices_pages(address):
    assert signed_in(make_technician()).get(address).status_code == 404


@pytest.mark.parametrize(("address", "queries"), [("/tanks/", 9), ("/clients/", 9), ("/methods/", 6)])
@pytest.mark.parametrize("count", [1, 3])
def test_lists_ask_the_database_as_often_for_three_as_for_one(
    address, queries, count, django_assert_num_queries
):
    browser = signed_in(make_owner())
    for _number in range(count):
        make_method("alkalinity")
        make_tank()

    with django_assert_num_queries(queries):
        assert browser.get(address).status_code == 200


def test_a_plan_with_an_end_to_come_ends_today_when_it_is_taken_out_of_use():
    tank, browser = make_tank(), signed_in(make_owner())
    plan = make_plan(tank.site, tank, ends_on=date(2099, 1, 1))

    browser.post(f"/own/plan/{plan.pk}/retire/")

    plan.refresh_from_db()
    assert plan.ends_on == day_of(timezone.now())


def test_a_contacts_sign_in_ends_at_once_and_can_be_given_again():
    owner, door = signed_in(make_owner()), Browser()
    tank, user = make_tank(), make_client_user()
    contact = make_contact(tank.site.client, user=user)
    door.force_login(user, backend="django.contrib.auth.backends.ModelBackend")

    owner.post(f"/contacts/{contact.pk}/shut/")

    assert door.get("/door/").status_code == 302
    owner.post(f"/contacts/{contact.pk}/door/", {"password": "two herons and a weir"})
    user.refresh_from_db()
    assert (user.is_active, user.check_password("two herons and a weir")) == (True, True)


def test_a_technician_cannot_end_a_sign_in():
    contact = make_contact(make_tank().site.client, user=make_client_user())

    assert signed_in(make_technician()).post(f"/contacts/{contact.pk}/shut/").status_code == 404
    assert User.objects.get(pk=contact.user_id).is_active


def test_cautions_of_a_site_and_what_animals_cannot_bear_are_kept():
    tank, browser = make_tank(), signed_in(make_owner())

    browser.post(
        f"/own/site/{tank.site_id}/", {"name": "Quay", "address": "Quay 1", "cautions": ["mains", "co2"]}
    )
    browser.post(
        f"/own/animals/new/?in={tank.pk}", {"name": "shrimps", "number": "6", "sensitive_to": ["copper"]}
    )

    tank.site.refresh_from_db()
    assert tank.site.cautions == ["mains", "co2"]
    assert [a.sensitive_to for a in tank.livestock.all()] == [["copper"]]


@pytest.mark.parametrize("count", [1, 3])
def test_a_tanks_own_page_asks_as_often_for_three_of_each_as_for_one(count, django_assert_num_queries):
    tank, browser = make_tank(), signed_in(make_owner())
    for number in range(count):
        make_channel(tank)
        make_instrument(tank)
        make_livestock(tank)
        TankStateRow.objects.create(tank=tank, state="low_salinity", from_on=date(2026, 1, 1 + number))
        TaskRule.objects.create(tank=tank, title=f"rinse {number}", starts_on=date(2026, 1, 1))

    with django_assert_num_queries(11):
        page = browser.get(f"/tanks/{tank.pk}/own/").content.decode()

    assert ("low-salinity treatment" in page, "every 4 weeks" in page, "no end is set" in page) == (
        True,
        True,
        True,
    )


def test_a_kept_plan_asks_for_its_visits_at_once_and_the_week_is_not_empty():
    owner, tank = make_owner(), make_tank()
    ida = make_technician()
    start = timezone.now().date()
    plan = ServicePlan(
        site=tank.site, technician=ida, every_weeks=1, minutes=30, starts_on=start, name="Regular service"
    )

    own.keep(row=plan, values={"tanks": [tank]}, at=timezone.now(), by=owner)
    job = Job.objects.get(kind="owe_visits")
    rounds_jobs.owe_visits(job)

    assert DueVisit.objects.filter(plan=plan).exists()
    assert Stop.objects.filter(due_visit__plan=plan, round__technician=ida).exists()


def planned_weekly(*, tank: Tank, person: User, weekday: int) -> ServicePlan:
    plan = ServicePlan(
        site=tank.site, technician=person, every_weeks=1, weekday=weekday, minutes=30, name="Regular service",
        starts_on=timezone.now().date() - timedelta(days=60),
    )  # fmt: skip
    own.keep(row=plan, values={"tanks": [tank]}, at=timezone.now(), by=person)
    owed_again()
    return plan


def owed_again() -> None:
    rounds_jobs.owe_visits(Job.objects.filter(kind="owe_visits").order_by("made_at", "pk").last())


def owed(plan: ServicePlan) -> list[DueVisit]:
    """What is owed from tomorrow on."""
    rows = DueVisit.objects.filter(plan=plan, called_off_at=None, due__gt=timezone.now().date())
    return list(rows.order_by("due"))


def test_visits_follow_a_plan_that_is_moved_to_another_weekday_and_back():
    owner, tank, ida = make_owner(), make_tank(), make_technician()
    weekday = (timezone.now().date() + timedelta(days=3)).weekday()
    plan = planned_weekly(tank=tank, person=ida, weekday=weekday)
    before = [(visit.pk, visit.due) for visit in owed(plan)]
    other = (weekday + 2) % 7

    own.keep(row=plan, values={"weekday": other, "minutes": 50}, at=timezone.now(), by=owner)
    owed_again()
    moved = owed(plan)
    told = Notice.objects.filter(person=ida, move__off=True).count()
    own.keep(row=plan, values={"weekday": weekday, "tolerance_days": 2}, at=timezone.now(), by=owner)

    assert len(before) >= 5
    assert {visit.due.weekday() for visit in moved} == {other}
    assert {visit.minutes for visit in moved} == {50}
    assert told == len(before)
    back = owed(plan)
    assert [(visit.pk, visit.due) for visit in back] == before
    assert {(visit.due - visit.earliest).days for visit in back} == {2}
    assert {visit.stop.state for visit in back} == {"planned"}


def test_a_tank_that_a_plan_takes_on_is_on_every_visit_to_come_and_not_on_one_that_has_begun():
    owner, tank, ida = make_owner(), make_tank(), make_technician()
    plan = planned_weekly(
        tank=tank, person=ida, weekday=(timezone.now().date() + timedelta(days=2)).weekday()
    )
    second = make_tank(tank.site, name="Second tank")
    begun = owed(plan)[0]
    Stop.objects.filter(due_visit=begun).update(state="under_way")

    own.keep(row=plan, values={"tanks": [tank, second]}, at=timezone.now(), by=owner)

    assert [{t.pk for t in visit.tanks.all()} for visit in owed(plan)[1:3]] == [{tank.pk, second.pk}] * 2
    assert list(begun.tanks.all()) == [tank]


def test_a_tank_in_isolation_has_visits_of_its_own_and_the_others_stay_with_theirs():
    owner, tank, ida = make_owner(), make_tank(), make_technician()
    plan = planned_weekly(
        tank=tank, person=ida, weekday=(timezone.now().date() + timedelta(days=2)).weekday()
    )
    sick = make_tank(tank.site, name="Second tank")
    TankStateRow.objects.create(tank=sick, state="isolation", from_on=timezone.now().date(), why="new fish")

    own.keep(row=plan, values={"tanks": [tank, sick]}, at=timezone.now(), by=owner)
    owed_again()
    both = {visit.isolated: {t.pk for t in visit.tanks.all()} for visit in owed(plan)[:2]}
    own.keep(row=plan, values={"tanks": [sick]}, at=timezone.now(), by=owner)

    assert both == {False: {tank.pk}, True: {sick.pk}}
    assert {visit.isolated for visit in owed(plan)} == {True}
    assert Notice.objects.filter(person=ida, move__off=True).exists()


def test_a_plan_that_takes_longer_keeps_its_visits_and_nobody_is_told_of_any():
    owner, tank, ida = make_owner(), make_tank(), make_technician()
    weekday = (timezone.now().date() + timedelta(days=3)).weekday()
    plan = planned_weekly(tank=tank, person=ida, weekday=weekday)
    before = [(visit.pk, visit.due, visit.stop.pk) for visit in owed(plan)]

    own.keep(row=plan, values={"minutes": 45}, at=timezone.now(), by=owner)

    assert len(before) >= 5
    assert [(visit.pk, visit.due, visit.stop.pk) for visit in owed(plan)] == before
    assert {visit.minutes for visit in owed(plan)} == {45}
    assert not Notice.objects.filter(person=ida, move__off=True).exists()


def test_visits_of_a_plan_taken_out_of_use_fall_away_and_what_has_begun_stays():
    owner, tank, ida = make_owner(), make_tank(), make_technician()
    plan = planned_weekly(
        tank=tank, person=ida, weekday=(timezone.now().date() + timedelta(days=2)).weekday()
    )
    begun = owed(plan)[0]
    Stop.objects.filter(due_visit=begun).update(state="under_way")
    browser = signed_in(owner)

    browser.post(f"/own/plan/{plan.pk}/retire/")
    ended = owed(plan)
    browser.post(f"/own/plan/{plan.pk}/retire/")
    owed_again()

    assert ended == [begun]
    assert len(owed(plan)) >= 5


def test_a_water_for_changes_is_written_down_and_a_tank_takes_another_one():
    browser, tank = signed_in(make_owner()), make_tank(water_type="planted")
    typed = {"kind": "fresh", "tested_on": "2026-03-04"}
    browser.post("/own/water/new/", {**typed, "name": "Tap", "usual": "on", "nitrate_mg_l": "25"})
    browser.post("/own/water/new/", {**typed, "name": "Pure water", "nitrate_mg_l": "0"})
    pure = ChangeWater.objects.get(name="Pure water")
    usual = water_for(tank).holds
    browser.post(f"/own/tank_water/new/?in={tank.pk}", {"water": str(pure.pk)})

    assert (usual, water_for(tank).holds) == ({"nitrate": 25}, {"nitrate": 0})
    page = browser.get("/methods/").content.decode()
    assert "Tap" in page and "tested on 4 March 2026" in page
    assert "Pure water" in browser.get(f"/tanks/{tank.pk}/own/").content.decode()


def test_a_second_usual_water_of_a_kind_is_refused_in_words():
    browser = signed_in(make_owner())
    browser.post("/own/water/new/", {"kind": "fresh", "name": "Tap", "usual": "on"})

    refused = browser.post(
        "/own/water/new/", {"kind": "fresh", "name": "Well", "usual": "on"}
    ).content.decode()

    assert "Another water of this kind is the usual one already." in refused
    assert ChangeWater.objects.count() == 1


def test_a_way_of_testing_has_its_own_scale_and_says_to_which_temperature_it_refers():
    browser = signed_in(make_owner())
    typed = {
        "parameter": "salinity",
        "name": "Refractometer",
        "kind": "kit",
        "tolerance_abs": "1",
        "tolerance_rel": "0",
    }
    typed |= {"resolution": "0.5", "minutes": "1", "ml_per_test": "0"}

    def add(**more):
        return browser.post("/own/method/new/", {**typed, **more}).content.decode()

    unknown, missing = add(unit="stones"), add(unit="SG", compensates="on")
    add(unit="SG", compensates="on", reference_c="25")

    assert "is not measured in “stones”" in unknown
    assert "Say to which temperature its scale refers." in missing
    row = Method.objects.get()
    assert (row.unit, row.reference_c, row.compensates) == ("SG", 25, True)


def test_a_band_that_is_kept_has_its_tank_judged_anew_and_a_row_that_does_not_retire_stays():
    band, now = make_band(make_tank(), low=7, high=9), timezone.now()
    Touched.objects.all().delete()

    own.keep(row=band, values={"high": 10.0}, at=now, by=make_owner())

    band.refresh_from_db()
    assert band.high == 10
    assert [t.tank_id for t in Touched.objects.all()] == [band.tank_id]
    assert own.retire(row=band, at=now, by=make_owner()) is False
    assert Band.objects.get() == band


def test_a_contact_signs_in_once_and_one_without_a_sign_in_is_shut_out_without_harm():
    contact, now = make_contact(make_client()), timezone.now()
    give = {"password": "three snails on a pane", "on": now.date(), "at": now}

    own.shut_out(contact=contact)
    assert not User.objects.exists()

    user = own.let_sign_in(contact=contact, **give)
    contact.refresh_from_db()
    with pytest.raises(own.NotKept, match="signs in already"):
        own.let_sign_in(contact=contact, **give)

    own.shut_out(contact=contact)
    user.refresh_from_db()
    assert (contact.user, user.is_active) == (user, False)


@pytest.mark.parametrize(
    ("edges", "words"),
    [
        ({"low": 7, "high": 9}, "7.0 to 9.0 dKH"),
        ({"low": 7, "high": None}, "from 7.0 dKH"),
        ({"low": None, "high": 9}, "up to 9.0 dKH"),
        ({"low": None, "high": None}, "no band is set"),
    ],
)
def test_a_band_is_said_in_words(edges, words):
    assert between(Band(parameter="alkalinity", unit="dKH", **edges)) == words
