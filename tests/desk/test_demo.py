"""What the demo says it planted is there, and its history is what the doors would have stored."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction

from clients.choices import WaterType
from clients.models import Equipment, LivestockFact, Tank, TankStateRow
from reports.actions import begin_report, take_snapshot
from reports.models import Answer, Report
from reports.queries.answers import answers_for, question_of
from servicedesk.desk.actions import demo
from servicedesk.dispatch.models import Job
from servicedesk.dosing.models import Dose, PumpCheck, RateChange, Refill, Treatment
from servicedesk.instruments.models import Calibration, Instrument, Procedure, ReagentLoad
from servicedesk.instruments.queries import trust_of
from servicedesk.instruments.queries.procedures import here, kept_steps
from servicedesk.rounds import actions as rounds
from servicedesk.staff.models import User
from servicedesk.stock.models import Movement
from servicedesk.upkeep import actions as upkeep
from servicedesk.upkeep.models import Task, TaskFact
from servicedesk.upkeep.queries import overdue
from servicedesk.visits.actions.making import MAKE
from servicedesk.visits.actions.payload import Making
from servicedesk.visits.actions.wire import Wire
from servicedesk.visits.choices import EntryKind
from servicedesk.visits.models import Entry, Photo, Visit
from servicedesk.watch import actions as watch
from servicedesk.watch.models import Attention
from servicedesk.water.models import Correction, Reading, WaterChange
from tests.desk.demo_dump import dump

pytestmark = [pytest.mark.django_db, pytest.mark.slow]  # four months of sixteen tanks

NOON = datetime(2026, 11, 25, 12, 10, tzinfo=UTC)
SUNDAY_EVENING = datetime(2026, 11, 29, 21, 40, tzinfo=UTC)
SUMMER_NIGHT = datetime(
    2026, 7, 6, 23, 30, tzinfo=UTC
)  # half past midnight of the 7th by the business's clock
ZONE = ZoneInfo("Europe/London")
FACTS = (
    Reading, Dose, RateChange, Refill, PumpCheck, ReagentLoad, Calibration, WaterChange, TaskFact, LivestockFact,
    Correction,
)  # fmt: skip


def _quiet(_line: str) -> None:
    """Nobody listens."""


def _day(moment: datetime) -> date:
    """The business's day."""
    return moment.astimezone(ZONE).date()


def _counts() -> dict[str, int]:
    return {model.__name__: model.objects.count() for model in FACTS}


def _door(entry: Entry) -> Making:
    wire = Wire(
        id=entry.pk, visit=entry.visit_id, kind=entry.kind, payload=entry.payload, sha256=entry.sha256, zone="",
        tablet=entry.tablet, seq=entry.seq, tablet_time=entry.tablet_time, clock_offset=0.0, at=entry.at,
    )  # fmt: skip
    return Making(visit=entry.visit, wire=wire, by=entry.author, received_at=entry.received_at)


@pytest.mark.parametrize(
    ("now", "seed"),
    [(NOON, 1), (SUNDAY_EVENING, 7), (SUMMER_NIGHT, 3)],
    ids=["noon", "sunday", "summer-night"],
)
def test_the_demo_holds_every_water_type_and_everything_it_says_was_planted(now, seed):
    said: list[str] = []

    result = demo.load(now=now, seed=seed, say=said.append)
    watch.sweep(at=now)
    watch.watch_silence(at=now)

    planted = {p.kind: p for p in result.planted}
    sentences = {
        (row.tank.name, row.kind): row.sentence for row in Attention.objects.filter(cleared_at__isnull=True)
    }
    owner = User.objects.get(role="owner")
    assert {t.water_type for t in Tank.objects.all()} == set(WaterType.values)
    assert said == [f"Planted: {p.sentence}" for p in result.planted]
    assert sorted(planted) == [
        "death", "empty", "isolation", "overdue", "silent", "slow", "top_up", "treatment", "wrong_reagent",
    ]  # fmt: skip
    under = [word for (tank, _kind), word in sentences.items() if tank == "The long reef"]
    assert [word for word in under if word.startswith("Alkalinity") and "under the" in word] != []
    assert "The container of Calcium solution is empty" in sentences["The hall tank", "running_out"]
    assert "Probes, The estuary is silent" in sentences["The estuary", "silent"]
    assert "under the last test by hand" in sentences["The wall of angels", "disagrees"]
    assert [(t.title, t.latest) for t in overdue(owner, on=now.astimezone(ZONE).date())] == [
        ("Calibrate the titrator's pumps", planted["overdue"].on)
    ]
    assert [(r.tank.name, r.from_on) for r in TankStateRow.objects.filter(state="isolation")] == [
        ("The new-stock tank", planted["isolation"].on)
    ]
    assert [
        (f.livestock.tank.name, f.at.astimezone(ZONE).date())
        for f in LivestockFact.objects.filter(change="died")
    ] == [("The goldfish trough", planted["death"].on)]
    under_way = Procedure.objects.get()
    assert (here(under_way, kept_steps(under_way)), trust_of(under_way.measure)) == ("second", "to_check")
    given = Treatment.objects.get()
    assert (given.tank.name, given.at.astimezone(ZONE).date()) == (
        "The new-stock tank",
        planted["treatment"].on,
    )
    assert Task.objects.filter(tank=given.tank, due=given.until_on, title__contains="carbon back on").exists()
    flagged = {key for key in sentences if key[1] in ("silent", "disagrees", "running_out")}
    assert flagged == {
        ("The estuary", "silent"), ("The wall of angels", "disagrees"), ("The hall tank", "running_out"),
    }  # fmt: skip
    load = (
        ReagentLoad.objects.filter(measure__instrument__tank__name="The wall of angels").order_by("at").last()
    )
    assert load is not None and load.at.astimezone(ZONE).date() == planted["wrong_reagent"].on


def test_a_death_is_told_alone_and_in_plain_words():
    demo.load(now=datetime(2026, 11, 25, 15, 33, tzinfo=UTC), say=_quiet)

    died = Entry.objects.get(kind="livestock")
    told = Entry.objects.filter(
        visit=died.visit,
        kind="finding",
        payload__tank=str(Tank.objects.get(livestock__facts__change="died").pk),
    )
    assert not told.exists()
    assert set(Entry.objects.filter(visit=died.visit, kind="field").values_list("payload__name", flat=True)) == {
        "summary", "staff_do",
    }  # fmt: skip


def test_a_failed_top_up_raises_salinity_until_it_is_found_and_falls_after():
    result = demo.load(now=NOON, say=_quiet)

    found = next(p for p in result.planted if p.kind == "top_up")
    rows = Reading.objects.filter(series__tank__name="The shop reef", series__parameter="salinity")
    by_day = {row.at.date(): row.value for row in rows.order_by("at")}
    after = min(day for day in by_day if day > found.on)
    others = [value for day, value in by_day.items() if day != found.on]
    assert by_day[found.on] > 36.3
    assert by_day[after] < 35.8
    assert max(others) < 36.0 and min(others) > 34.0


def test_the_printed_days_are_those_of_the_stored_rows_in_the_first_minutes_of_a_year():
    now = datetime(2027, 1, 1, 0, 30, tzinfo=UTC)

    result = demo.load(now=now, say=_quiet)
    watch.sweep(at=now)
    watch.watch_silence(at=now)

    on = {p.kind: (p.tank, p.on) for p in result.planted}
    seen = {(row.tank.name, row.kind) for row in Attention.objects.filter(cleared_at__isnull=True)}
    assert len(on) == len(result.planted) == 9
    assert seen >= {
        ("The hall tank", "running_out"), ("The estuary", "silent"), ("The wall of angels", "disagrees"),
    }  # fmt: skip
    died = LivestockFact.objects.get(change="died")
    assert on["death"] == (died.livestock.tank.name, _day(died.at))
    silent = Instrument.objects.get(tank__name="The estuary")
    assert on["silent"] == ("The estuary", _day(silent.last_contact_at))
    freed = Entry.objects.get(kind="finding", payload__text__startswith="The top-up had stopped")
    assert on["top_up"] == ("The shop reef", _day(freed.at))
    short = Refill.objects.filter(channel__tank__name="The hall tank", channel__solution__parameter="calcium")
    rate = RateChange.objects.filter(
        channel__tank__name="The hall tank", channel__solution__parameter="calcium"
    )
    last = short.order_by("at").last()
    runs_dry = last.at + timedelta(days=last.ml_now / rate.order_by("at").last().ml_per_day)
    assert abs((_day(runs_dry) - on["empty"][1]).days) <= 1


def test_every_entry_taken_through_the_visits_door_again_adds_nothing():
    demo.load(now=NOON, say=_quiet)
    before = _counts()

    for entry in Entry.objects.select_related("visit__site", "author").order_by("at", "seq", "pk"):
        MAKE[entry.kind](_door(entry))

    assert _counts() == before


def test_the_planners_find_nothing_to_add():
    demo.load(now=NOON, say=_quiet)
    first, last = (NOON - timedelta(days=120)).date(), (NOON + timedelta(days=35)).date()

    owed = rounds.owe_visits(first=first, last=last, at=NOON)
    put = rounds.plan_simply(first=first, last=last)
    made = upkeep.make_tasks(on=NOON.date(), at=NOON)

    assert (owed, put, made) == ([], 0, 0)


def test_the_history_holds_what_a_business_writes_down_in_four_months():
    demo.load(now=NOON, say=_quiet)

    kinds = set(Entry.objects.values_list("kind", flat=True).distinct())
    rates = RateChange.objects.filter(channel__tank__name="The study reef").values_list("channel", flat=True)
    assert kinds == set(EntryKind.values) - {EntryKind.NEXT_VISIT}
    assert TaskFact.objects.filter(outcome="left").exclude(reason="").count() >= 5
    assert max(list(rates).count(key) for key in set(rates)) >= 3
    assert Photo.objects.count() == 2 * Tank.objects.count()
    slip = Correction.objects.select_related("reading__series__tank").get()
    assert slip.reading.series.tank.name == "The day-room tank" and slip.old - slip.new == pytest.approx(1.0)
    assert 6.5 < slip.new < 8.0 and slip.why.startswith("Mistyped")
    pond = Equipment.objects.filter(tank__water_type="pond").values_list("kind", flat=True)
    assert sorted(pond) == ["filter", "return_pump", "uv"]
    oxygen = Reading.objects.filter(series__parameter="dissolved_oxygen").values_list("value", flat=True)
    assert len(oxygen) >= 8 and min(oxygen) > 6.0 and max(oxygen) < 13.0
    assert not Entry.objects.filter(at__gt=NOON).exists()
    assert not Reading.objects.filter(at__gt=NOON).exists()
    assert Movement.objects.exists()


def test_reports_are_asked_for_todays_closed_visits_and_the_last_to_each_site():
    demo.load(now=NOON, say=_quiet)

    asked = {job.args["visit"] for job in Job.objects.filter(kind="report")}
    today = {str(v.pk) for v in Visit.objects.filter(state="closed", arrived_at__date=NOON.date())}
    sites = {v.site.name for v in Visit.objects.filter(pk__in=asked)}
    assert today and today <= asked
    assert len(sites) == 12
    assert asked == {str(v.pk) for v in Visit.objects.filter(versions=1)}


def test_one_client_said_yes_and_one_no_to_what_their_reports_recommend():
    demo.load(now=NOON, say=_quiet)

    said = {}
    for answer in Answer.objects.select_related("report__visit__site__client", "by__contact"):
        report = take_snapshot(report=answer.report, at=NOON)
        question = question_of(report, answer.question)
        assert question is not None and question.price
        assert answer.by.contact.client == report.visit.site.client
        assert report.visit.closed_at < answer.at <= NOON
        said[report.visit.site.client.name] = answer.yes
    assert said == {"Emberglass Studio": True, "The Copper Kettle Hotel": False}
    news = [line.sentence for line in answers_for(User.objects.get(role="owner"), at=NOON)]
    assert len(news) == 1
    assert "Hotel says no to “The long reef: A cover over the back half" in news[0]


def test_the_worker_finds_each_report_begun_on_the_day_of_its_visit():
    demo.load(now=NOON, say=_quiet)

    jobs = {job.pk: job for job in Job.objects.filter(kind="report")}
    rows = list(Report.objects.select_related("visit"))
    assert {row.job for row in rows} == set(jobs)
    assert [row for row in rows if row.made_at != row.visit.closed_at] == []
    by_number = sorted(rows, key=lambda row: row.number)
    assert by_number == sorted(rows, key=lambda row: row.made_at)
    assert [row.job for row in by_number] == list(
        Job.objects.order_by("made_at").values_list("pk", flat=True)
    )
    assert [
        job for job in jobs.values() if not timedelta(0) <= NOON - job.made_at < timedelta(minutes=1)
    ] == []
    again = begin_report(visit=rows[0].visit, version=1, job=jobs[rows[0].job], at=NOON)
    assert again == rows[0] and Report.objects.count() == len(rows)


def test_the_same_seed_and_moment_give_the_same_rows_and_another_seed_does_not():
    dumps = []
    for seed in (1, 1, 2):
        with transaction.atomic():
            demo.load(now=NOON, seed=seed, say=_quiet)
            dumps.append(dump())
            transaction.set_rollback(True)

    assert [name for name in dumps[0] if dumps[0][name] != dumps[1][name]] == []
    assert dumps[0]["water_reading"] != dumps[2]["water_reading"]
    assert dumps[0]["rounds_duevisit"] != dumps[2]["rounds_duevisit"]
