"""A calibration that is under way: yesterday the probe's first buffer was read, then the telephone rang. It waits where it was left."""

from datetime import timedelta

from servicedesk.core.chemistry import standards
from servicedesk.core.metrology.propagation import rectangular_u
from servicedesk.desk.actions.demo import world
from servicedesk.desk.actions.demo.world import World
from servicedesk.instruments.actions.calibrating import AT_MOST_AWAY
from servicedesk.instruments.choices import ProcedureKind, Trust
from servicedesk.instruments.models import Instrument, Measure, Procedure, ProcedureStep, TrustMove
from servicedesk.stock.choices import ItemKind, MoveReason
from servicedesk.stock.models import Item, Lot, Movement, Place

BUFFERS = (("phosphate", "pH buffer 6.86", "B1"), ("borax", "pH buffer 9.18", "B2"))
WARM, SHOWN, MV = 21.0, 6.79, 4.0


def _lot(w: World, name: str, code: str) -> Lot:
    item = Item.objects.create(
        id=w.key(), name=name, kind=ItemKind.STANDARD, unit="mL", pack_size=250, shelf="A1"
    )
    lot = Lot.objects.create(
        id=w.key(), item=item, code=code, opened_on=w.today, expires_on=w.today + timedelta(days=200)
    )
    store = Place.objects.order_by("name", "pk").first()
    if store is not None:
        Movement.objects.create(
            item=item, lot=lot, place=store, amount=250, reason=MoveReason.RECEIVED, at=w.start, by=w.owner, received_at=w.start,
            origin=w.key(),
        )  # fmt: skip
    return lot


def make(w: World, device: Instrument) -> None:
    """The pH probe of that instrument, in its first of two buffers."""
    lots = {key: _lot(w, name, code) for key, name, code in BUFFERS}
    measure = Measure.objects.get(instrument=device, parameter="ph")
    plan = next(p for p in w.plans if p.site_id == device.tank.site_id)
    by, at = plan.technician or w.owner, w.midnight(world.DAYS - 1) + timedelta(hours=16)
    read = at + timedelta(minutes=12)
    row = Procedure.objects.create(
        id=w.key(), instrument=device, measure=measure, kind=ProcedureKind.TWO_BUFFERS, begun_at=at, begun_by=by,
        away_from=at, away_to=read + AT_MOST_AWAY,
    )  # fmt: skip
    true = standards.value_at(key="phosphate", temperature_c=WARM)
    name = standards.standards()["phosphate"].name
    data = {
        "against": "standard", "standard": "phosphate", "name": name, "temperature_c": WARM, "reference": true,
        "u": rectangular_u(standards.BUFFER_GOOD_TO), "label": None, "good_to": None, "code": "", "shown": SHOWN, "mv": MV,
    }  # fmt: skip
    ready = w.key()
    given = {"procedure": row, "by": by}
    ProcedureStep.objects.create(
        **given, step="ready", at=at, received_at=at, words="All lies ready.", origin=ready
    )
    words = f"{name}, worth {true:.2f}: it showed {SHOWN:.2f}."
    ProcedureStep.objects.create(
        **given, step="first", at=read, received_at=read, words=words, data=data, lot=lots["phosphate"], origin=w.key(),
    )  # fmt: skip
    TrustMove.objects.create(
        measure=measure, trust=Trust.TO_CHECK, why="It is being calibrated.", at=at, received_at=at, origin=ready
    )  # fmt: skip
