"""Alarms in people's own browsers: turned on and off, told of as much as chosen, nothing of a client's in them, the page, and being told when one
was ended from outside."""

from datetime import UTC, datetime, timedelta
from html import unescape
from uuid import uuid4

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.dispatch import actions as dispatch
from servicedesk.dispatch.models import Job, Message, Subscription
from servicedesk.watch import actions, jobs
from servicedesk.watch.actions.browsers import MOST_BROWSERS
from servicedesk.watch.models import Duty, OwnBrowser
from servicedesk.watch.queries.browsers import browsers_in_use
from tests.factories.people import make_business, make_owner, make_technician, make_user
from tests.factories.pushes import Keys
from tests.factories.tanks import make_client, make_instrument, make_site, make_tank

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
CANARY = "canary-9c41"


@pytest.fixture(autouse=True)
def business():
    return make_business(zone="Europe/London")


@pytest.fixture
def ida():
    make_owner()
    person = make_technician(name="Ida")
    Duty.objects.create(person=person, order=1)
    return person


def said(path="one", **given):
    keys = Keys()
    return {
        "endpoint": f"https://push.example.net/{path}",
        "p256dh": keys.p256dh,
        "auth": keys.auth,
        "name": "telephone",
        "told_of": 1,
        **given,
    }


def turn_on(person, path="one", at=NOON, **given):
    return actions.turn_on(person=person, at=at, **said(path, **given))


def alarm(severity=1, tank=None, **given):
    tank = tank or make_tank()
    return actions.raise_attention(
        key=f"band:{tank.pk}:nitrate",
        at=NOON,
        severity=severity,
        tank=tank,
        site=tank.site,
        **{
            "kind": "beyond_limit",
            "parameter": "nitrate",
            "word": "beyond_limit",
            "sentence": "Nitrate 80 mg/L, over the limit of 50.",
            "why": "Measured.",
            **given,
        },
    )


def shown():
    return list(Message.objects.filter(channel="push").order_by("made_at", "key"))


def letters():
    return list(Message.objects.filter(channel="mail").order_by("made_at", "key"))


@pytest.mark.parametrize(
    ("told_of", "expected"), [(1, [("Now", True)]), (2, [("Now", True), ("Soon", False)])]
)
def test_a_browser_shows_as_much_as_it_is_set_to_and_mail_goes_out_all_the_same(ida, told_of, expected):
    turn_on(ida, told_of=told_of)
    alarm(1)
    alarm(2)

    for minutes in (3, 4, 5):
        actions.tell(at=NOON + minutes * MINUTE)

    assert sorted((m.subject.split(":")[0], m.urgent) for m in shown()) == expected
    assert {m.recipient for m in shown()} == {"Ida, telephone"}
    assert len(letters()) == 2


def test_each_browser_shows_it_once_with_the_tank_the_sentence_and_the_way_there(ida):
    for path in ("one", "two"):
        turn_on(ida, path)
    row = alarm(tank=make_tank(name="Reception reef"))

    actions.tell(at=NOON)
    actions.tell(at=NOON + MINUTE)

    assert {m.subscription_id for m in shown()} == set(Subscription.objects.values_list("pk", flat=True))
    assert {(m.subject, m.text, m.link) for m in shown()} == {
        ("Now: Reception reef", "Nitrate 80 mg/L, over the limit of 50.", f"/alarms/{row.pk}/")
    }
    page = Browser()
    page.force_login(ida)
    assert page.get(shown()[0].link).status_code == 200


def test_nothing_of_a_clients_stands_in_what_a_browser_shows(ida):
    """One alarm, a whole site silent, one of a site without a tank, and a flood: never the client, the site or an address."""
    turn_on(ida, told_of=2)
    client = make_client(name=f"{CANARY} client", address=CANARY)
    site = make_site(client, name=f"{CANARY} site", address=CANARY, key_code=CANARY, way_in=CANARY)
    for number in range(3):
        tank = make_tank(site, name=f"Tank {number}")
        alarm(tank=tank)
        make_instrument(tank)
        alarm(
            tank=tank,
            kind="silent",
            word="silent",
            parameter="",
            sentence="Tester is silent.",
            instrument=tank.instruments.get(),
        )
    actions.raise_attention(
        key="site", at=NOON - timedelta(minutes=1), kind="sign", severity=1, site=site, sentence="A cabinet is open.", why="Sign.",
    )  # fmt: skip
    for _n in range(15):
        alarm(tank=make_tank(site))

    actions.tell(at=NOON)

    words = [(m.subject, m.text, m.link) for m in shown()]
    assert len(words) == len(letters()) == 10
    assert any(CANARY in m.subject + m.text for m in letters()), "the mail does say where"
    assert CANARY not in repr(words)
    subjects = {subject for subject, _text, _link in words}
    assert "Now: an alarm" in subjects and any(s.endswith("more alarms") for s in subjects)
    assert any(link == "/alarms/" for _subject, _text, link in words)


def test_a_whole_site_that_is_silent_is_shown_without_its_name(ida):
    turn_on(ida)
    site = make_site(name=CANARY)
    for _n in range(3):
        tank = make_tank(site)
        alarm(tank=tank, kind="silent", word="silent", parameter="", sentence=f"{CANARY} is silent.")

    actions.tell(at=NOON)

    (message,) = shown()
    assert message.subject == "Now: an alarm"
    assert message.text == "3 instruments of one site are silent: power or line, look there first."


def test_one_that_is_off_or_gone_shows_nothing(ida):
    off, gone = turn_on(ida, "one"), turn_on(ida, "two")
    actions.turn_off(browser=off, at=NOON)
    dispatch.end_subscription(subscription_id=gone.subscription_id, at=NOON)
    alarm()

    actions.tell(at=NOON)

    assert (shown(), len(letters())) == ([], 1)


def test_the_same_browser_turned_on_again_is_one_line(ida):
    first = turn_on(ida, name="telephone")

    second = turn_on(ida, at=NOON + MINUTE, name=" ", told_of=2)

    first.refresh_from_db()
    assert first.off_at == NOON + MINUTE
    assert (second.name, second.told_of, str(second)) == ("Browser of 3 June", 2, "Ida, Browser of 3 June")
    assert actions.tell_of_gone(at=NOON + MINUTE) == 0, "who turned it off need not be told"


def test_a_browser_shows_the_alarms_of_one_person_and_the_other_is_told(ida):
    """A device that two use: whoever turned it on last has it, and the first is told by mail, once."""
    bob = make_technician(name="Bob")
    turn_on(ida)

    turn_on(bob, at=NOON + MINUTE)

    assert browsers_in_use() == [("Bob", 1)]
    assert (actions.tell_of_gone(at=NOON + MINUTE), actions.tell_of_gone(at=NOON + 2 * MINUTE)) == (1, 0)
    (letter,) = letters()
    assert (letter.recipient, letter.subject) == (ida.email, "No more alarms in “telephone”")
    assert "since 3 June, 13:01" in letter.text and "/alarms/browsers/" in letter.text


def test_whose_browser_its_push_service_ended_is_told_by_the_sweep(ida):
    row = turn_on(ida)
    dispatch.end_subscription(subscription_id=row.subscription_id, at=timezone.now())

    found = jobs.sweep(Job(kind="sweep"))

    assert found["browsers_gone"] == 1
    assert [m.recipient for m in letters()] == [ida.email]


def test_who_left_the_business_is_not_written_to(ida):
    row = turn_on(ida)
    dispatch.end_subscription(subscription_id=row.subscription_id, at=NOON)
    type(ida).objects.filter(pk=ida.pk).update(is_active=False)

    assert actions.tell_of_gone(at=NOON) == 1
    assert (letters(), browsers_in_use()) == ([], [])


def test_a_person_has_so_many_and_no_more(ida):
    rows = [turn_on(ida, str(number)) for number in range(MOST_BROWSERS)]

    with pytest.raises(actions.NotTurnedOn, match="6 of your browsers"):
        turn_on(ida, "more")
    assert turn_on(ida, "0").pk != rows[0].pk, "one that is on the list is taken anew"
    turn_on(make_technician(name="Bob"), "more")
    dispatch.end_subscription(subscription_id=rows[1].subscription_id, at=NOON)
    turn_on(ida, "another")  # one that is gone does not count


def test_what_is_refused_leaves_all_as_it_was(ida):
    before = turn_on(ida)

    with pytest.raises(actions.NotTurnedOn, match="octets"):
        turn_on(ida, p256dh="AAAA")

    before.refresh_from_db()
    assert (before.off_at, before.subscription.gone_at) == (None, None)


def test_a_trial_is_shown_as_urgently_as_an_alarm_and_not_where_it_is_gone(ida):
    row = turn_on(ida)

    message = actions.try_browser(browser=row, at=NOON)

    assert (message.channel, message.urgent, message.link) == ("push", True, "/alarms/browsers/")
    dispatch.end_subscription(subscription_id=row.subscription_id, at=NOON)
    row.subscription.refresh_from_db()
    with pytest.raises(actions.NotTurnedOn, match="takes no more"):
        actions.try_browser(browser=row, at=NOON)


def test_how_much_is_told_is_chosen_later_too(ida):
    row = turn_on(ida)

    actions.tell_browser_of(browser=row, told_of=2)

    row.refresh_from_db()
    assert row.told_of == 2
    with pytest.raises(ValueError, match="7"):
        actions.tell_browser_of(browser=row, told_of=7)


@pytest.fixture
def page(ida):
    line = Browser()
    line.force_login(ida)
    return line


def text_of(answer):
    return unescape(answer.content.decode())


def test_the_page_turns_on_tries_chooses_and_turns_off(page, ida):
    assert "needs JavaScript" in text_of(page.get("/alarms/browsers/"))
    assert page.post("/alarms/browsers/on/", said())["Location"] == "/alarms/browsers/"
    row = OwnBrowser.objects.get()
    text = text_of(page.get("/alarms/browsers/"))
    for words in ("telephone", "Only what cannot wait.", "it has shown nothing yet", "Tell of every alarm"):
        assert words in text
    for secret in (row.subscription.endpoint, row.subscription.p256dh, row.subscription.auth):
        assert secret not in text

    page.post(f"/alarms/browsers/{row.pk}/told/", {"told_of": 2})
    page.post(f"/alarms/browsers/{row.pk}/trial/")
    row.refresh_from_db()
    assert (row.told_of, [m.subject for m in shown()]) == (2, ["A trial"])
    page.post(f"/alarms/browsers/{row.pk}/told/", {"told_of": 9})
    row.refresh_from_db()
    assert row.told_of == 2

    page.post(f"/alarms/browsers/{row.pk}/off/")
    row.subscription.refresh_from_db()
    assert row.subscription.endpoint == ""
    assert "None shows alarms yet." in text_of(page.get("/alarms/browsers/"))


def test_the_page_says_when_it_worked_what_went_wrong_and_what_is_gone(page, ida):
    worked, refused, gone = (turn_on(ida, path, name=path) for path in ("worked", "refused", "gone"))
    Subscription.objects.filter(pk=worked.subscription_id).update(last_ok_at=NOON)
    for row in (worked, refused):
        actions.try_browser(browser=row, at=NOON)
    twice = {"state": "sent", "sent_at": NOON, "error": "The sender vanished while sending."}
    Message.objects.filter(subscription=worked.subscription).update(**twice)
    Message.objects.filter(subscription=refused.subscription).update(state="failed", error="PUSH 413: no")
    dispatch.end_subscription(subscription_id=gone.subscription_id, at=NOON)

    text = text_of(page.get("/alarms/browsers/"))

    assert text.count("worked last 3 Jun, 13:00") == 1
    assert text.count("The push service found it too long.") == 1
    assert text.count("It shows no more alarms since 3 Jun, 13:00") == 1
    assert text.count("Take from the list") == 1
    assert text.count("Not sent") == 2, "the refused one and the one that is gone"
    answer = page.post(f"/alarms/browsers/{gone.pk}/trial/", follow=True)
    assert "takes no more alarms" in text_of(answer)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"endpoint": "http://127.0.0.1/p"}, "begins with https"),
        ({"endpoint": "https://push.example.net:22/p"}, "Port 22"),
        ({"auth": "AAAA"}, "octets"),
    ],
)
def test_what_is_refused_is_said_and_what_was_typed_stays(page, given, words):
    answer = page.post("/alarms/browsers/on/", said(**{"name": "office desk", **given}))

    assert answer.status_code == 200
    assert words in text_of(answer) and 'value="office desk"' in text_of(answer)
    assert not Subscription.objects.exists()


def test_a_form_without_a_browser_in_it_is_taken_back(page):
    answer = page.post("/alarms/browsers/on/", {"name": "x", "told_of": 1})

    assert answer.status_code == 200
    assert "did not say how it is reached" in text_of(answer)
    assert not Subscription.objects.exists()


@pytest.mark.parametrize("verb", ["off", "trial", "told"])
def test_nobody_reaches_for_anothers_browser(page, verb):
    theirs = turn_on(make_owner(name="Petra"), name=CANARY)

    answers = [page.post(f"/alarms/browsers/{key}/{verb}/", {"told_of": 2}) for key in (theirs.pk, uuid4())]

    assert [answer.status_code for answer in answers] == [404, 404]
    theirs.refresh_from_db()
    assert (theirs.off_at, theirs.told_of, shown()) == (None, 1, [])
    assert CANARY not in text_of(page.get("/alarms/browsers/"))


@pytest.mark.parametrize("role", ["owner", "office", "technician"])
def test_whoever_may_be_told_has_the_page_in_their_menu(role):
    line = Browser()
    line.force_login(make_user(role))

    assert 'href="/alarms/browsers/"' in line.get("/alarms/").content.decode()
    assert line.get("/alarms/browsers/").status_code == 200


def test_a_clients_contact_and_a_visitor_meet_nothing():
    line = Browser()
    assert line.get("/alarms/browsers/").status_code == 302
    assert line.post("/alarms/browsers/on/", said()).status_code == 302
    line.force_login(make_user("client"))
    assert line.get("/alarms/browsers/").status_code == 404
    assert line.post("/alarms/browsers/on/", said()).status_code == 404
    assert "/alarms/browsers/" not in line.get("/door/").content.decode()
    assert not Subscription.objects.exists()


def test_the_office_sees_who_is_told_in_browsers_and_not_where():
    owner = make_owner(name="Petra")
    turn_on(owner, "one", name=CANARY)
    turn_on(owner, "two")
    line = Browser()
    line.force_login(make_user("office"))

    text = text_of(line.get("/rota/"))

    assert "Petra (2)" in text and CANARY not in text


def test_the_workers_script_is_served_where_it_may_look_after_alarms():
    answer = Browser().get("/alarms/worker.js")

    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/javascript; charset=utf-8"
    assert answer["Cache-Control"] == "no-cache"
    assert b"showNotification" in answer.content
