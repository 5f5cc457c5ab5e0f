"""One is not told that all is well while what works between the visits does not work."""

import uuid
from datetime import timedelta

import pytest

from reports.queries import content_of
from servicedesk.dosing.actions import record_refill, set_rate
from servicedesk.instruments.actions import move_trust
from servicedesk.instruments.models import Instrument
from tests.factories.reported import VISIT_AT
from tests.factories.tanks import make_channel, make_instrument, make_measure, make_solution
from tests.reports.conftest import Scene

pytestmark = pytest.mark.django_db
LATER = VISIT_AT + timedelta(hours=3)


def block(scene: Scene):
    scene.before()
    return content_of(scene.tested().close(), at=LATER).tanks[0]


def dosed(scene: Scene, parameter: str, *, days: float, rate: float = 100.0) -> None:
    """A pump channel whose 500 mL were filled so many days ago."""
    channel = make_channel(scene.tank, solution=make_solution(parameter), container_ml=1000)
    rest = {"at": LATER - timedelta(days=days), "by": None, "received_at": LATER}
    set_rate(channel=channel, ml_per_day=rate, origin=uuid.uuid4(), **rest)
    record_refill(channel=channel, ml_now=500, origin=uuid.uuid4(), **rest)


def test_good_water_and_a_full_container_are_well(scene: Scene) -> None:
    dosed(scene, "calcium", days=1)

    found = block(scene)

    assert (found.verdict, found.sentence) == ("well", "Everything we tested is as it should be.")


def test_an_empty_container_is_watched_and_named_by_what_is_missing(scene: Scene) -> None:
    dosed(scene, "calcium", days=9)

    found = block(scene)

    assert found.verdict == "watching"
    assert found.sentence.startswith(
        "What we tested is as it should be. Calcium: by our reckoning the pump's container is empty"
    )


def test_a_container_of_a_pump_that_stands_still_does_not_matter(scene: Scene) -> None:
    dosed(scene, "calcium", days=9, rate=0)

    assert block(scene).verdict == "well"


def test_a_medicine_in_an_empty_container_is_not_named(scene: Scene) -> None:
    dosed(scene, "copper", days=9)

    found = block(scene)

    assert "By our reckoning a container of the dosing pump is empty." in found.sentence
    assert "opper" not in found.sentence


@pytest.mark.parametrize(("hours", "verdict"), [(6, "well"), (8, "watching")])
def test_a_silent_device_is_watched_once_it_is_later_than_its_grace(
    scene: Scene, hours: int, verdict: str
) -> None:
    device = make_instrument(scene.tank, interval_minutes=360, grace_minutes=60)
    Instrument.objects.filter(pk=device.pk).update(last_contact_at=LATER - timedelta(hours=hours))

    found = block(scene)

    assert found.verdict == verdict
    assert ("has sent nothing since" in found.sentence) == (verdict == "watching")


@pytest.mark.parametrize(
    ("moves", "verdict"), [(["to_check"], "well"), (["to_check", "not_to_act_on"], "watching")]
)
def test_a_device_that_is_not_to_be_acted_on_is_watched(scene: Scene, moves: list[str], verdict: str) -> None:
    measure = make_measure(make_instrument(scene.tank))
    for hour, trust in enumerate(moves):
        at = VISIT_AT - timedelta(days=1) + timedelta(hours=hour)
        move_trust(measure=measure, trust=trust, why="Seen.", at=at, origin=uuid.uuid4(), received_at=at)

    assert block(scene).verdict == verdict
