"""Each client sees only its own: every address, by every role, for another client's objects, searched for canaries."""

import uuid
from io import BytesIO

import pytest
from django.test import Client as Browser
from django.urls import URLPattern, URLResolver, get_resolver, path
from django.utils import timezone
from pypdf import PdfReader

import reports.jobs  # noqa: F401  registers the kind of work
from clients.models import Site
from clients.queries import tanks_for
from reports.models import Report
from servicedesk.dispatch import jobs
from servicedesk.dispatch.models import Job
from servicedesk.instruments.actions import make_token, revoke_token
from servicedesk.instruments.actions.calibrating import begin
from servicedesk.instruments.actions.deliveries import refuse
from servicedesk.rounds.models import MasterLine, MasterRound, Move, Notice, Proposal, Trouble
from servicedesk.visits.actions import take_entries
from servicedesk.visits.models import Visit
from servicedesk.watch.actions import turn_on
from tests.factories.displays import make_display_photo
from tests.factories.people import make_business, make_client_user, make_owner, make_technician
from tests.factories.pushes import Keys
from tests.factories.stops import entry, make_reef_to_test, make_stop
from tests.factories.tanks import (
    make_client,
    make_contact,
    make_instrument,
    make_item,
    make_livestock,
    make_measure,
    make_plan,
    make_site,
)

pytestmark = pytest.mark.django_db
CANARY = "canary-7f3a"
LINK = {"uidb64": "bm9ib2R5", "token": "none-of-ours"}
SIGNED_OUT = {"staff:sign_in", "desk:setup", "desk:home"}
OPEN_TO_ALL_STAFF = {"components"}


def patterns(resolver=None, space=""):
    """Every address of the house: its name and pattern."""
    for item in (resolver or get_resolver()).url_patterns:
        if isinstance(item, URLResolver):
            yield from patterns(item, f"{item.namespace}:" if item.namespace else space)
        elif isinstance(item, URLPattern):
            yield f"{space}{item.name}", item


class World:
    """Client B with a canary in every field, and everybody who is not allowed to see it."""

    def __init__(self):
        make_business()
        now = timezone.now()
        client = make_client(name=f"{CANARY} client", internal_notes=CANARY, address=CANARY)
        site = make_site(client, name=f"{CANARY} site", address=CANARY, way_in=CANARY, key_code=CANARY)
        self.tank = make_reef_to_test(site)
        type(self.tank).objects.filter(pk=self.tank.pk).update(name=f"{CANARY} tank", place=CANARY)
        self.owner, self.ida = make_owner(), make_technician()
        self.due = make_stop(self.ida, self.tank)
        self.fish = make_livestock(self.tank, name=f"{CANARY} fish")
        self.contact = make_contact(client, name=f"{CANARY} person")
        take_entries(
            entries=[entry(self.due, "finding", text=CANARY), entry(self.due, "close")], by=self.ida, at=now
        )
        self.visit = Visit.objects.get()
        day = self.due.due
        move = Move.objects.create(
            due_visit=self.due, technician=self.ida, day=day, order=1, planned_at="13:45", asked_by=self.owner, asked_at=now
        )  # fmt: skip
        self.proposal = Proposal.objects.create(
            first=day, last=day, state="ready", asked_by=self.owner, asked_at=now
        )
        self.proposal.visits.create(due_visit=self.due, why=CANARY)
        self.trouble = Trouble.objects.create(
            day=day, kind="cancelled", due_visit=self.due, asked_by=self.owner, asked_at=now, error=CANARY
        )
        way_out = self.trouble.offers.create(
            kind="smallest", first=day, last=day, state="ready", asked_by=self.owner, asked_at=now,
            before={"driving": 0, "overtime": 0}, after={"driving": 0, "overtime": 0},
        )  # fmt: skip
        way_out.visits.create(due_visit=self.due, why=CANARY)
        self.master = MasterRound.objects.create(
            first=day, state="ready", asked_by=self.owner, asked_at=now, said=[CANARY]
        )
        who = str(self.ida.pk)
        was = {"technician": who, "weekday": 0, "second_weekday": None, "starts_on": day.isoformat()}
        MasterLine.objects.create(
            master=self.master, plan=make_plan(site, self.tank, name=f"{CANARY} plan"), stamp="none", changes=True,
            technician=self.ida, weekday=1, starts_on=day, was=was, saved_s=3600, saved_m=9000,
        )  # fmt: skip
        MasterRound.objects.update(
            before={"hours": {who: [7200]}}, after={"hours": {who: [3600]}, "wheel": {who: [600]}, "km": {who: [900]}, "room": {who: 9000}}
        )  # fmt: skip
        self.tidings = way_out.tidings.create(due_visit=self.due, was_day=day, was_at="13:45", made_at=now)
        self.notice = Notice.objects.create(move=move, person=self.ida)
        jobs.run(str(Job.objects.get(kind="report").pk))
        Report.objects.update(number=CANARY, sentence=CANARY)
        self.report = Report.objects.get()
        self.instrument = make_instrument(self.tank)
        self.delivery = refuse(
            instrument=self.instrument, body=CANARY.encode(), at=now, media_type="text/csv", reason=CANARY
        )
        self.measure = make_measure(self.instrument)
        self.procedure = begin(instrument=self.instrument, measure=self.measure, by=self.owner, at=now)
        self.token_row, self.token = make_token(instrument=self.instrument, at=now, label=CANARY)
        self.photo = make_display_photo(self.instrument, by=self.owner, note=CANARY)
        self.item = make_item(name=f"{CANARY} supply")
        keys = Keys()
        self.browser = turn_on(
            person=self.owner, endpoint="https://push.example.net/p", p256dh=keys.p256dh, auth=keys.auth, name=CANARY, told_of=1, at=now
        )  # fmt: skip
        other = make_site()
        self.a = make_client_user()
        make_contact(other.client, user=self.a)
        self.bob = make_technician()
        self.own = make_stop(self.bob, make_reef_to_test(other))

    def keys(self, name):
        """What stands for the parts of an address: B's objects."""
        first = {
            **dict.fromkeys(("desk:client", "desk:costs"), self.tank.site.client_id),
            "desk:contact_door": self.contact.pk,
            "desk:contact_shut": self.contact.pk,
            "desk:contact_link": self.contact.pk,
            "desk:token": self.instrument.pk,
            "desk:instrument_file": self.instrument.pk,
            "desk:instrument_history": self.instrument.pk,
            "desk:delivery": self.delivery.pk,
            "desk:instrument_address": self.instrument.pk,
            "desk:commissioning": self.instrument.pk,
            "desk:calibrate": self.instrument.pk,
            **dict.fromkeys(("desk:calibration", "desk:calibration_step"), self.procedure.pk),
            "desk:instrument": self.instrument.pk,
            "desk:display": self.instrument.pk,
            **dict.fromkeys(
                ("desk:display_photo", "desk:display_correct", "desk:display_image"), self.photo.pk
            ),
            "desk:token_end": self.token_row.pk,
            "desk:token_replace": self.token_row.pk,
            "desk:animals": self.fish.pk,
            "rounds:accept": self.notice.pk,
            "rounds:rung": self.tidings.pk,
            "reports:run_sheet": self.ida.pk,
            **dict.fromkeys(
                ("watch:browser_off", "watch:browser_told", "watch:browser_trial"), self.browser.pk
            ),
            **dict.fromkeys(("desk:item", "stock:receive", "stock:count", "stock:move"), self.item.pk),
        }
        if name.startswith("reports:") and name in (
            "reports:report",
            "reports:pdf",
            "reports:release",
            "reports:answer",
        ):
            return {"key": self.report.pk, "question": self.visit.pk}
        if name.startswith("visits:") or name in ("reports:of_visit", "reports:progress", "reports:again"):
            return {"key": self.due.pk}
        if name.startswith(("rounds:proposal", "rounds:searching")):
            return {"key": self.proposal.pk}
        if name.startswith("rounds:master"):
            return {"key": self.master.pk}
        if name.startswith("rounds:trouble"):
            return {"key": self.trouble.pk, "way": "smallest"}
        if name == "rounds:calendar":
            return {"key": self.ida.pk, "tag": "0" * 40}
        return {
            "key": first.get(name, self.tank.pk),
            "kind": "tank",
            "visit": self.due.pk,
            "sheet": "raise",
            "step": "ready",
            **LINK,
        }


@pytest.fixture
def world():
    return World()


def address_of(item, name, keys):
    from django.urls import reverse  # noqa: PLC0415

    unknown = sorted(set(item.pattern.converters) - set(keys))
    if unknown:
        pytest.fail(
            f"The address “{name}” takes “{unknown[0]}”, and no test knows what stands for it: add an object of "
            f"client B under “{unknown[0]}” to World.keys in {__file__}, so that its answers are searched too."
        )
    return reverse(name, kwargs={k: keys[k] for k in item.pattern.converters})


def said_by(answer):
    """All that an answer says: its bytes, the text of a PDF, headers (ETag, file name, where to go), cookies."""
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    if body.startswith(b"%PDF"):
        body += "".join(page.extract_text() for page in PdfReader(BytesIO(body)).pages).encode()
    return body + repr((dict(answer.headers), answer.cookies.output())).encode()


def leaks(world, user, headers=None):
    """Addresses by which a person gets a byte of B's."""
    found, asked = [], 0
    browser = Browser(raise_request_exception=False)
    if user is not None:
        browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    for name, item in patterns():
        address = address_of(item, name, world.keys(name))
        for method in ("get", "post", "put", "delete", "patch", "head", "options"):
            answer = getattr(browser, method)(address, headers=headers or {})
            asked += 1
            if CANARY.encode() in said_by(answer) or answer.status_code >= 500:
                found.append((method, name, answer.status_code))
        if user is not None:
            browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return found, asked


@pytest.mark.slow  # every address by every method
@pytest.mark.parametrize("who", ["nobody", "a", "bob", "device", "revoked"])
def test_nobody_gets_a_byte_of_another_clients(world, who):
    user = {"nobody": None, "a": world.a, "bob": world.bob, "device": None, "revoked": None}[who]
    headers = {"Authorization": f"Bearer {world.token}"} if who in ("device", "revoked") else None
    if who == "revoked":
        revoke_token(token=world.instrument.tokens.get(), at=timezone.now())

    found, asked = leaks(world, user, headers)

    assert found == []
    assert asked >= 7 * 40


def test_a_planted_leak_is_caught(world, monkeypatch):
    from clients import queries  # noqa: PLC0415

    real = queries.tanks_for
    monkeypatch.setattr(
        "servicedesk.rounds.views.round.tanks_for", lambda user, *, on: real(world.owner, on=on)
    )

    found, _asked = leaks(world, world.bob)

    assert ("get", "rounds:look_up", 200) in found


def test_the_search_reads_the_text_of_a_pdf(world):
    """The canary stands only in the text of the drawn report, not in the file's bytes."""
    browser = Browser()
    browser.force_login(world.owner, backend="django.contrib.auth.backends.ModelBackend")
    address = f"/reports/{world.report.pk}/pdf/"

    raw = b"".join(browser.get(address).streaming_content)

    assert raw.startswith(b"%PDF") and CANARY.encode() not in raw
    assert CANARY.encode() in said_by(browser.get(address))


def test_an_address_with_an_unknown_part_says_where_to_add_it(world):
    item = path("x/<uuid:pond>/", lambda request: None, name="pond")

    with pytest.raises(
        pytest.fail.Exception, match=r"“desk:pond” takes “pond”.*add .*World\.keys in .*test_foreign"
    ):
        address_of(item, "desk:pond", world.keys("desk:pond"))


def test_foreign_and_missing_give_the_same_answer(world):
    """P28: status, headers and length alike."""
    browser, different, compared = Browser(), [], 0
    browser.force_login(world.a, backend="django.contrib.auth.backends.ModelBackend")
    for name, item in patterns():
        if not item.pattern.converters or "key" not in item.pattern.converters:
            continue
        foreign = browser.get(address_of(item, name, world.keys(name)))
        missing = browser.get(
            address_of(
                item,
                name,
                {
                    "key": uuid.uuid4(),
                    "kind": "tank",
                    "visit": uuid.uuid4(),
                    "question": uuid.uuid4(),
                    "sheet": "raise",
                    "step": "ready",
                    "tag": "0" * 40,
                    "way": "smallest",
                },
            )
        )
        compared += 1
        alike = (foreign.status_code, len(foreign.content), sorted(foreign.headers)) == (
            missing.status_code,
            len(missing.content),
            sorted(missing.headers),
        )
        if not alike:
            different.append((name, foreign.status_code, missing.status_code))

    assert different == []
    assert compared >= 15


def test_every_own_address_of_a_contact_answers_and_shows_the_own(world):
    browser = Browser()
    browser.force_login(world.a, backend="django.contrib.auth.backends.ModelBackend")

    answer = browser.get("/door/", follow=True)

    assert answer.status_code == 200
    assert "The test reef" in answer.content.decode()
    assert list(tanks_for(world.a, on=timezone.now().date())) == list(world.own.tanks.all())


def test_the_key_is_shown_to_that_days_technician_and_the_look_is_kept(world):
    browser = Browser()
    browser.force_login(world.ida, backend="django.contrib.auth.backends.ModelBackend")

    answer = browser.post(f"/stops/{world.due.pk}/key/")

    assert CANARY in answer.content.decode()
    assert Site.objects.get(name=f"{CANARY} site").key_looks.count() == 1
