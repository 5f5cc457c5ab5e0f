"""An alarm's life: raised once, told once, seen, acted on, handed on, set aside with an end, cleared; chatter, flood, night, holidays."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client as Browser

from servicedesk.dispatch.models import Message
from servicedesk.instruments.models import Instrument
from servicedesk.watch import actions
from servicedesk.watch.actions.alarms import end_shelves
from servicedesk.watch.actions.rows import calm
from servicedesk.watch.models import Attention, AttentionStep, Awake, Away, Duty, Telling
from servicedesk.watch.queries import open_for
from servicedesk.watch.queries.alarms import covers, first_hands, how_sure, is_stale, must_go, on_duty
from servicedesk.web.facts import AddedOnly
from tests.factories.people import make_business, make_owner, make_technician, make_user
from tests.factories.tanks import make_band, make_instrument, make_reading, make_tank

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)
NIGHT = datetime(2026, 6, 3, 23, 30, tzinfo=UTC)
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
ZONE = ZoneInfo("Europe/London")


@pytest.fixture(autouse=True)
def business():
    return make_business(zone="Europe/London")


@pytest.fixture
def owner():
    return make_owner(name="Petra")


def alarm(at=NOON, *, tank=None, severity=1, kind="beyond_limit", key=None, **given):
    tank = tank or make_tank()
    return actions.raise_attention(
        key=key or f"band:{tank.pk}:alkalinity", at=at, kind=kind, severity=severity, tank=tank, site=tank.site,
        **{"parameter": "alkalinity", "word": "below_limit", "sentence": "Alkalinity 5.9 dKH, under the limit of 6.3.", "why": "Measured.", **given},
    )  # fmt: skip


def told():
    return list(Message.objects.order_by("made_at", "pk").values_list("recipient", "subject"))


def test_what_must_be_looked_at_now_is_told_once_with_all_that_is_needed(owner):
    row = alarm()

    assert (actions.tell(at=NOON), actions.tell(at=NOON + MINUTE)) == (1, 0)

    (message,) = Message.objects.all()
    assert message.recipient == owner.email and message.subject.startswith("Now: ")
    for words in (
        "under the limit",
        "Since: 03 June, 13:00",
        "How sure:",
        "Why: Measured.",
        "Somebody must look now",
        "For whoever is nearest:",
        "Add nothing yourself",
        f"/alarms/{row.pk}/",
    ):
        assert words in message.text
    assert [(s.step, s.words) for s in row.steps.all()] == [("told", "Petra")]


def test_who_does_not_answer_is_followed_by_the_next_and_who_answers_is_not(owner):
    ida, bob = make_technician(name="Ida"), make_technician(name="Bob")
    Duty.objects.create(person=ida, order=1)
    Duty.objects.create(person=bob, order=2)
    row = alarm()

    for minutes in range(0, 60, 5):
        actions.tell(at=NOON + timedelta(minutes=minutes))
    assert [who for who, _what in told()] == [ida.email, bob.email]

    other = alarm(at=NOON + HOUR, tank=make_tank())
    actions.tell(at=NOON + HOUR)
    assert actions.see(row=other, by=ida, at=NOON + HOUR + MINUTE)
    assert not actions.see(row=other, by=bob, at=NOON + HOUR + MINUTE)
    actions.tell(at=NOON + 3 * HOUR)
    assert [t.person for t in other.tellings.all()] == [ida]
    assert row.tellings.count() == 2


def test_at_night_only_what_must_be_looked_at_now_wakes_somebody(owner):
    alarm(at=NIGHT, severity=2, kind="silent", word="silent")
    assert actions.tell(at=NIGHT + HOUR) == 0
    alarm(at=NIGHT, tank=make_tank())
    assert actions.tell(at=NIGHT + HOUR) == 1

    morning = NIGHT + timedelta(hours=7)
    assert actions.tell(at=morning) == 1
    assert Message.objects.filter(subject__startswith="Soon").count() == 1


def test_what_can_wait_gathers_for_two_minutes_and_what_is_worth_watching_wakes_nobody(owner):
    alarm(severity=2)
    alarm(severity=3, tank=make_tank())
    alarm(severity=1, kind="report", tank=make_tank())

    assert (actions.tell(at=NOON + MINUTE), actions.tell(at=NOON + 3 * MINUTE)) == (0, 1)


def test_a_whole_site_that_falls_silent_is_power_or_line_and_one_letter(owner):
    tank = make_tank()
    for n in range(60):
        instrument = make_instrument(
            make_tank(tank.site) if n % 10 == 0 else tank,
            last_contact_at=NOON - HOUR,
            interval_minutes=30,
            grace_minutes=10,
        )
        assert instrument.tank.site_id == tank.site_id
    actions.watch_silence(at=NOON)

    assert actions.tell(at=NOON + 3 * MINUTE) == 1

    (message,) = Message.objects.all()
    assert "60 instruments at" in message.subject and "power or line" in message.subject
    assert (Attention.objects.count(), Telling.objects.count()) == (60, 60)
    late = make_instrument(tank, last_contact_at=NOON - HOUR, interval_minutes=30, grace_minutes=10)
    actions.watch_silence(at=NOON + 10 * MINUTE)
    assert actions.tell(at=NOON + 12 * MINUTE) == 0
    assert Attention.objects.get(instrument=late).tellings.count() == 1


def test_nobody_gets_more_than_ten_letters_in_ten_minutes_and_every_alarm_is_on_record(owner):
    for _n in range(40):
        alarm(tank=make_tank())

    sent = sum(actions.tell(at=NOON + n * MINUTE) for n in range(10))

    assert sent == Message.objects.count() == 10
    assert Message.objects.filter(subject="31 more alarms").count() == 1
    assert Telling.objects.count() == 40


def test_what_comes_after_the_summary_waits_for_the_next_and_is_in_it(owner):
    for _n in range(12):
        alarm(tank=make_tank())
    actions.tell(at=NOON)
    late = alarm(tank=make_tank(), at=NOON + MINUTE)

    assert actions.tell(at=NOON + MINUTE) == 0
    assert not late.tellings.exists()
    assert actions.tell(at=NOON + 10 * MINUTE) == 1
    assert late.tellings.get().message_key in Message.objects.values_list("key", flat=True)
    assert Message.objects.filter(text__contains=f"/alarms/{late.pk}/").count() == 1


def test_a_value_that_crosses_its_limit_three_times_a_minute_is_one_alarm_that_chatters(owner):
    tank = make_tank()
    at = NOON
    for _n in range(180):
        row = alarm(at=at, tank=tank)
        actions.tell(at=at)
        actions.clear_attention(key=row.key, at=at + timedelta(seconds=10))
        at += timedelta(seconds=20)

    row = Attention.objects.get()
    assert row.chatters and row.cleared_at is None
    assert "comes and goes" in how_sure(row)
    assert Message.objects.filter(recipient=owner.email).count() == 1
    assert (calm(at=at + 50 * MINUTE), calm(at=at + 61 * MINUTE)) == (0, 1)
    assert Attention.objects.get().cleared_at is not None


def test_what_opens_again_within_the_hour_is_the_same_alarm_and_later_a_new_one(owner):
    tank = make_tank()
    first = alarm(tank=tank)
    actions.clear_attention(key=first.key, at=NOON + MINUTE)
    again = alarm(at=NOON + 10 * MINUTE, tank=tank)
    assert (again.pk, again.since, again.opened) == (first.pk, NOON, 2)

    actions.clear_attention(key=first.key, at=NOON + 11 * MINUTE)
    assert alarm(at=NOON + 3 * HOUR, tank=tank).pk != first.pk


def test_an_alarm_is_set_aside_with_an_end_and_a_reason_and_speaks_again_by_itself(owner):
    row = alarm(severity=2)
    actions.tell(at=NOON + 3 * MINUTE)
    with pytest.raises(actions.NotDone, match="Say why"):
        actions.shelve(row=row, by=owner, at=NOON, until=NOON + HOUR, why=" ")
    with pytest.raises(actions.NotDone, match="at most 336 hours"):
        actions.shelve(row=row, by=owner, at=NOON, until=NOON + timedelta(days=30), why="x")
    with pytest.raises(actions.NotDone, match="time to come"):
        actions.shelve(row=row, by=owner, at=NOON, until=NOON, why="x")

    actions.shelve(
        row=row, by=owner, at=NOON + 4 * MINUTE, until=NOON + 5 * HOUR, why="a new part is ordered"
    )
    assert actions.tell(at=NOON + 4 * HOUR + 30 * MINUTE) == 0

    assert actions.tell(at=NOON + 5 * HOUR + MINUTE) == 1
    assert [s.step for s in row.steps.order_by("at", "pk")] == ["told", "shelved", "taken_up", "told"]
    assert end_shelves(at=NOON + 6 * HOUR) == 0


def test_acting_needs_words_and_leaves_it_open(owner):
    row = alarm()
    with pytest.raises(actions.NotDone, match="Say what"):
        actions.act(row=row, by=owner, at=NOON, words="")
    actions.act(row=row, by=owner, at=NOON, words="I drive there")
    row.refresh_from_db()

    assert (row.acted_by, row.acted_words, row.seen_by, row.cleared_at) == (
        owner,
        "I drive there",
        owner,
        None,
    )
    actions.clear_attention(key=row.key, at=NOON + HOUR)
    row.refresh_from_db()
    for what in (
        lambda: actions.see(row=row, by=owner, at=NOON),
        lambda: actions.act(row=row, by=owner, at=NOON, words="x"),
    ):
        with pytest.raises(actions.NotDone, match="cleared already"):
            what()


def test_who_it_is_handed_to_is_told_at_once_and_only_ours_can_be(owner):
    row, ida = alarm(), make_technician(name="Ida")
    actions.tell(at=NOON)
    actions.see(row=row, by=owner, at=NOON + MINUTE)

    actions.hand_on(row=row, by=owner, to=ida, at=NOON + 2 * MINUTE, words="you are nearer")

    assert actions.tell(at=NOON + 2 * MINUTE) == 1
    assert told()[-1][0] == ida.email
    soon = alarm(at=NIGHT, severity=2, tank=make_tank())
    actions.hand_on(row=soon, by=owner, to=ida, at=NIGHT)
    assert (actions.tell(at=NIGHT), actions.tell(at=NIGHT)) == (1, 0)
    with pytest.raises(actions.NotDone, match="one of ours"):
        actions.hand_on(row=row, by=owner, to=make_user("client", email="c@x.invalid"), at=NOON)


def test_steps_are_added_and_never_altered(owner):
    row = alarm()
    actions.see(row=row, by=owner, at=NOON)
    step = AttentionStep.objects.get()
    with pytest.raises(AddedOnly):
        step.save()


@pytest.mark.parametrize(
    ("given", "local", "holds"),
    [
        ({}, (2026, 6, 3, 3), True),
        ({"weekdays": [0, 1]}, (2026, 6, 3, 12), False),
        ({"weekdays": [2]}, (2026, 6, 3, 12), True),
        ({"begins": time(8), "ends": time(17)}, (2026, 6, 3, 17), False),
        ({"begins": time(8), "ends": time(17)}, (2026, 6, 3, 8), True),
        ({"begins": time(20), "ends": time(6), "weekdays": [2]}, (2026, 6, 3, 21), True),
        ({"begins": time(20), "ends": time(6), "weekdays": [2]}, (2026, 6, 4, 5), True),
        ({"begins": time(20), "ends": time(6), "weekdays": [2]}, (2026, 6, 3, 5), False),
        ({"begins": time(20), "ends": time(6), "weekdays": [2]}, (2026, 6, 4, 7), False),
    ],
)
def test_a_line_of_the_rota_holds_on_its_days_and_hours(given, local, holds):
    row = Duty(person=make_technician(), **given)

    assert covers(row, datetime(*local, tzinfo=ZONE)) is holds


def test_the_rota_decides_who_answers_holidays_counted(owner):
    ida, bob = make_technician(name="Ida"), make_technician(name="Bob")
    Duty.objects.create(person=ida, order=1)
    Duty.objects.create(person=bob, order=2, begins=time(6), ends=time(20))
    assert on_duty(at=NOON, zone=ZONE) == [ida, bob]
    Away.objects.create(person=ida, from_on=NOON.date(), until_on=NOON.date())
    assert on_duty(at=NOON, zone=ZONE) == [bob]
    assert on_duty(at=NIGHT - HOUR, zone=ZONE) == [owner]
    Away.objects.create(person=owner, from_on=NOON.date(), until_on=NOON.date())
    assert on_duty(at=NIGHT - HOUR, zone=ZONE) == [owner]


def test_how_sure_whether_to_go_and_what_to_do_are_said_of_each_kind():
    low = alarm(harm_at=NOON + 3 * HOUR)
    assert must_go(low, at=NOON) == "Somebody must be there within 3 hours."
    assert must_go(low, at=NOON + 4 * HOUR).startswith("Somebody must go now")
    assert must_go(alarm(severity=2, tank=make_tank()), at=NOON).startswith("Nobody must go at night")
    doubt = alarm(key="band-in-doubt:x", tank=make_tank())
    assert "not believed" in how_sure(doubt)
    assert "nothing came" in how_sure(alarm(kind="silent", key="silent:x", word="silent", parameter=""))
    assert "By reckoning" in how_sure(alarm(kind="running_out", key="c", word="empty"))
    assert how_sure(alarm(kind="stuck", key="s", word="check")).startswith("Likely")
    assert "residual-current" in " ".join(
        first_hands(alarm(kind="silent", key="p", word="below_limit", parameter="power"))
    )
    assert first_hands(alarm(kind="drifts", key="d", word="check", parameter="")) == first_hands(
        alarm(kind="foreseen", key="f", word="", parameter="")
    )
    assert is_stale(low, at=NOON + timedelta(hours=25)) and not is_stale(low, at=NOON + HOUR)


def test_after_a_pause_of_our_own_every_instrument_gets_its_time_from_there():
    make_instrument(last_contact_at=NOON - 2 * HOUR, interval_minutes=30, grace_minutes=10)
    Awake.objects.create(at=NOON)

    assert actions.watch_silence(at=NOON + 30 * MINUTE) == []
    assert len(actions.watch_silence(at=NOON + 41 * MINUTE)) == 1


def test_the_watch_knows_that_it_slept(monkeypatch):
    from servicedesk.watch.actions import sweeping  # noqa: PLC0415

    def last(at, stale):
        return lambda **given: type("Looked", (), {"at": at, "stale": stale})

    for at, stale, woke in ((None, True, False), (NOON, False, False), (NOON - HOUR, True, True)):
        monkeypatch.setattr(sweeping, "looked", last(at, stale))
        assert actions.wake(at=NOON) is woke
    assert Awake.objects.get().at == NOON


def test_twelve_days_of_outages_give_one_alarm_and_one_all_clear_each():
    """Twelve instruments, hours as steps, each outage longer than interval and grace told once and cleared once."""
    import random  # noqa: PLC0415

    seed = random.randrange(2**32)
    print(f"seed {seed}")
    rng = random.Random(seed)
    site = make_tank().site
    fleet = [
        make_instrument(make_tank(site), interval_minutes=60, grace_minutes=40, last_contact_at=NOON)
        for _ in range(12)
    ]
    until = dict.fromkeys((i.pk for i in fleet), 0)
    expected, down = 0, set()
    for hour in range(1, 24 * 12):
        at = NOON + hour * HOUR
        for instrument in fleet:
            if hour < until[instrument.pk]:
                continue
            if until[instrument.pk] + 5 < hour < 24 * 12 - 12 and rng.random() < 0.02:
                length = rng.randint(1, 9)
                until[instrument.pk] = hour + length
                expected += length >= 2  # the check comes 35 minutes past: 95 minutes are not late, 155 are
                continue
            Instrument.objects.filter(pk=instrument.pk).update(last_contact_at=at)
        down |= set(actions.watch_silence(at=at + 35 * MINUTE))
    end = NOON + timedelta(days=13)
    Instrument.objects.update(last_contact_at=end)
    actions.watch_silence(at=end)

    rows = Attention.objects.filter(kind="silent")
    assert rows.count() + sum(row.opened - 1 for row in rows) == expected > 10
    assert rows.filter(cleared_at__isnull=True).count() == 0
    assert {row.instrument_id for row in rows} == down


def browse(person):
    browser = Browser()
    browser.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def test_the_pages_walk_an_alarm_through_its_life(owner):
    from django.utils import timezone  # noqa: PLC0415

    now = timezone.now()
    row, ida = alarm(at=now - HOUR), make_technician(name="Ida")
    eyes = browse(owner)
    text = eyes.get("/alarms/").content.decode()
    assert "One stands open" in text and "one nobody has seen yet" in text and "Petra answers now" in text
    assert "Add nothing yourself" in eyes.get(f"/alarms/{row.pk}/").content.decode()
    assert browse(ida).get(f"/alarms/{row.pk}/").status_code == 404
    assert browse(make_user("client", email="c@x.invalid")).get("/alarms/").status_code == 404

    assert "nobody else is called" in eyes.post(f"/alarms/{row.pk}/seen/", follow=True).content.decode()
    assert eyes.post(f"/alarms/{row.pk}/acted/", {"words": ""}).context["act_form"].errors
    eyes.post(f"/alarms/{row.pk}/acted/", {"words": "container is on its way"})
    assert eyes.post(f"/alarms/{row.pk}/handed/", {"to": "nobody"}).status_code == 200
    eyes.post(f"/alarms/{row.pk}/handed/", {"to": ida.pk, "words": "please"})
    assert "Ida is told" in eyes.get("/alarms/").content.decode()
    assert browse(ida).get(f"/alarms/{row.pk}/").status_code == 200
    assert eyes.post(f"/alarms/{row.pk}/aside/", {"hours": "1"}).status_code == 200
    assert (
        "at most 12 hours"
        in eyes.post(f"/alarms/{row.pk}/aside/", {"hours": "168", "why": "x"}, follow=True).content.decode()
    )
    eyes.post(f"/alarms/{row.pk}/aside/", {"hours": "4", "why": "part ordered"})
    text = eyes.get("/alarms/").content.decode()
    assert "No alarm stands open" in text and "part ordered" in text
    assert open_for(owner) == []
    Attention.objects.update(shelved_until=now - HOUR)
    assert [r.pk for r in open_for(owner)] == [row.pk]

    actions.clear_attention(key=row.key, at=now)
    text = eyes.get(f"/alarms/{row.pk}/").content.decode()
    for words in ("seen, Petra", "acted on, Petra", "handed on, Petra", "set aside, Petra", "cleared"):
        assert words in text
    assert "I have seen it" not in text


def test_an_alarm_shows_what_led_to_it_and_a_cleared_one_no_today(owner):
    from django.utils import timezone  # noqa: PLC0415

    now, tank, eyes = timezone.now(), make_band(make_tank()).tank, browse(owner)
    make_reading(tank, "8.1", at=now - 3 * HOUR)
    make_reading(tank, "5.9", at=now - HOUR)
    make_reading(tank, "7.7", at=now - timedelta(days=40))
    row, other = alarm(at=now - HOUR, tank=tank), alarm(at=now - HOUR, tank=tank, key="sign:x", parameter="")

    text = eyes.get(f"/alarms/{row.pk}/").content.decode()
    assert "Alkalinity stood at 5.9 dKH" in text and ">today<" in text
    assert "8.1" in text
    assert "7.7 dKH" not in text

    actions.clear_attention(key=row.key, at=now)
    text = eyes.get(f"/alarms/{row.pk}/").content.decode()
    assert "Alkalinity stood at 5.9 dKH" in text and ">today<" not in text
    assert "stood at" not in eyes.get(f"/alarms/{other.pk}/").content.decode()


def test_the_rota_is_own_data(owner):
    eyes, ida = browse(owner), make_technician(name="Ida")
    assert "the owners are told of everything" in eyes.get("/rota/").content.decode()
    answer = eyes.post(
        "/own/duty/new/",
        {"person": ida.pk, "weekdays": ["5", "6"], "begins": "18:00", "ends": "08:00", "order": "1"},
    )
    assert (answer.status_code, answer["Location"]) == (302, "/rota/")
    eyes.post(
        "/own/away/new/", {"person": ida.pk, "from_on": "2036-07-01", "until_on": "2036-07-14", "why": "sea"}
    )
    assert "until_on" in str(
        eyes.post("/own/away/new/", {"person": ida.pk, "from_on": "2036-07-02", "until_on": "2036-07-01"})
        .context["form"]
        .errors
    )

    text = eyes.get("/rota/").content.decode()

    assert "Saturday, Sunday, 18:00 to 08:00" in text and "sea" in text
    assert Duty.objects.get().weekdays == [5, 6]
    assert browse(ida).get("/rota/").status_code == 404
