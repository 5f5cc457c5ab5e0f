"""What the demo says it planted is there."""

import pytest
from django.utils import timezone

from clients.choices import WaterType
from clients.models import LivestockFact, Tank, TankStateRow
from servicedesk.desk.actions import demo
from servicedesk.rounds.queries import stops_on
from servicedesk.staff.models import User
from servicedesk.upkeep.queries import overdue
from servicedesk.watch import actions as watch
from servicedesk.watch.models import Attention

pytestmark = [pytest.mark.django_db, pytest.mark.slow]  # four months of sixteen tanks


def test_the_demo_holds_every_water_type_and_everything_it_says_was_planted():
    now = timezone.now()
    said = []

    result = demo.load(now=now, say=said.append)
    watch.sweep(at=now)
    watch.watch_silence(at=now)

    owner = User.objects.get(role="owner")
    sentences = " ".join(Attention.objects.filter(cleared_at__isnull=True).values_list("sentence", flat=True))
    assert {t.water_type for t in Tank.objects.all()} == set(WaterType.values)
    assert [t.title for t in overdue(owner, on=now.date())] == ["Calibrate the titrator's pumps"]
    assert "Probes, The estuary is silent" in sentences
    assert "The container of Calcium solution is empty" in sentences
    assert "Titrator, The wall of angels is" in sentences
    assert "Alkalinity" in sentences
    assert [row.tank.name for row in TankStateRow.objects.filter(state="isolation")] == ["The new-stock tank"]
    assert [f.livestock.tank.name for f in LivestockFact.objects.filter(change="died")] == [
        "The goldfish trough"
    ]
    assert len(said) == 7
    assert result.token.startswith("trk_")
    assert {4, 5} >= {
        sum(1 for s in stops_on(now.date()) if s.round.technician_id == t.pk)
        for t in User.objects.filter(role="technician")
    }
