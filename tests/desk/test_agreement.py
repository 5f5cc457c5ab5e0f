"""The instrument's page: pairs with tests by hand, verdict in words, drift, calibrations."""

import uuid
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.desk.queries.agreement import pairs_of
from servicedesk.instruments.actions import record_calibration
from servicedesk.water.actions import source_of
from tests.factories.people import make_business, make_owner
from tests.factories.stops import make_reef_to_test
from tests.factories.tanks import make_instrument, make_measure, make_method, make_reading

pytestmark = pytest.mark.django_db


class Scene:
    def __init__(self):
        make_business()
        self.tank = make_reef_to_test()
        self.device = make_method("alkalinity", name="device", kind="titrator", tolerance_rel=0, tolerance_abs=0.5, resolution=0.01)  # fmt: skip
        self.kit = make_method(
            "alkalinity", name="fine kit", tolerance_rel=0, tolerance_abs=0.1, resolution=0.01
        )
        self.instrument = make_instrument(self.tank)
        self.measure = make_measure(self.instrument, method=self.device)
        self.now = timezone.now()
        self.browser = Browser()
        self.browser.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")

    def hand(self, days_ago, value, hours=0.0):
        make_reading(
            self.tank, str(value), at=self.now - timedelta(days=days_ago, hours=hours), method=self.kit
        )

    def sent(self, days_ago, value, hours=0.0):
        at = self.now - timedelta(days=days_ago, hours=hours)
        make_reading(self.tank, str(value), at=at, method=self.device, source=source_of(self.instrument.equipment))  # fmt: skip

    def page(self):
        return self.browser.get(f"/instruments/{self.instrument.pk}/")


@pytest.fixture
def scene():
    return Scene()


def test_without_a_test_by_hand_nobody_can_tell(scene):
    scene.sent(1, 8.0)

    page = scene.page()
    assert "nobody can tell" in page.content.decode()
    assert page.context["beside"][0].chart is None


def test_a_pair_is_the_nearest_value_within_half_a_day(scene):
    scene.hand(10, 8.0)
    scene.sent(10, 8.2, hours=3)
    scene.sent(10, 8.9, hours=6)
    scene.hand(5, 8.0)
    scene.sent(5, 8.4, hours=13)

    found = pairs_of(scene.measure, since=scene.now - timedelta(days=30), until=scene.now)

    assert [round(pair.shown, 2) for _at, pair in found] == [8.2]


def test_replicates_are_one_pair(scene):
    scene.hand(3, 8.0, hours=1)
    scene.hand(3, 8.2)
    scene.sent(3, 8.1)

    ((_at, pair),) = pairs_of(scene.measure, since=scene.now - timedelta(days=30), until=scene.now)
    assert pair.reference.replicates == 2 and pair.reference.value == pytest.approx(8.1)


@pytest.mark.parametrize(("shown", "word"), [(8.1, "Within"), (9.4, "Outside"), (8.5, "Cannot be told")])
def test_the_verdict_stands_in_a_word_with_a_link_to_its_worksheet(scene, shown, word):
    scene.hand(1, 8.0)
    scene.sent(1, shown)

    page = scene.page()
    assert page.context["beside"][0].word == word
    text = page.content.decode()
    assert f"<span>{word}</span>" in text
    assert f"/tanks/{scene.tank.pk}/worksheets/right/?for=alkalinity" in text


def test_a_drift_is_said_with_the_days_that_are_left(scene):
    for week in range(6):
        scene.hand(36 - 7 * week, 8.0)
        scene.sent(36 - 7 * week, round(8.0 + 0.07 * week, 2))

    page = scene.page().context["beside"][0]

    assert "It drifts upwards by 0.30 dKH a month." in page.sentences
    assert any("leaves its tolerance in 15 days" in words for words in page.sentences)
    assert any("Over 6 pairs it differs by +0.1" in words for words in page.why)


def test_after_a_calibration_only_what_came_after_counts(scene):
    for ago, shown in ((20, 9.5), (15, 9.6), (2, 8.1)):
        scene.hand(ago, 8.0)
        scene.sent(ago, shown)
    record_calibration(
        measure=scene.measure, reference=8.0, reference_u=None, before=9.6, after=8.0,
        at=scene.now - timedelta(days=5), by=None, origin=uuid.uuid4(), received_at=scene.now,
    )  # fmt: skip

    page = scene.page()
    one = page.context["beside"][0]
    assert one.word == "Within" and len(one.pairs) == 3
    assert any(words.startswith("Counted since") for words in one.why)
    assert "showed 9.60 where 8.00 was true" in page.content.decode()


def test_the_tank_s_page_leads_to_its_instrument(scene):
    page = scene.browser.get(f"/tanks/{scene.tank.pk}/").content.decode()

    assert f"/instruments/{scene.instrument.pk}/" in page
