"""Instruments to calibrate, and procedures brought as far as a test wants."""

import uuid
from datetime import datetime

from django.utils import timezone

from servicedesk.core.chemistry import standards
from servicedesk.instruments.actions import calibrating, measuring, retesting
from servicedesk.instruments.actions.measuring import Bottle
from servicedesk.instruments.models import Measure, Procedure, ProcedureStep
from servicedesk.staff.models import User
from tests.factories.tanks import make_channel, make_instrument, make_measure, make_method

new = uuid.uuid4


def make_ph(tank=None, **given: object) -> Measure:
    """A pH probe that states ± 0.1 and shows hundredths."""
    method = make_method(
        "ph", name="pH probe, in the sump", kind="probe", tolerance_rel=0, tolerance_abs=0.1, resolution=0.01
    )
    return make_measure(make_instrument(tank, **given), "ph", method=method, unit="pH", sent_name="ph")


def make_titrator(tank=None, **given: object) -> Measure:
    """A titrator for alkalinity that states ± 0.3 dKH."""
    method = make_method(kind="titrator", tolerance_rel=0, tolerance_abs=0.3, resolution=0.05)
    return make_measure(make_instrument(tank), method=method, sent_name="alk", **given)


def make_cell(tank=None, parameter: str = "salinity", unit: str = "PSS-78", **given: object) -> Measure:
    """A cell for conductivity or salinity."""
    rest = {"kind": "probe", "tolerance_rel": 0.02, "tolerance_abs": 0, "resolution": 0.01, **given}
    method = make_method(parameter, name="a cell", **rest)
    return make_measure(make_instrument(tank), parameter, method=method, unit=unit, sent_name="cell")


def make_line(tank=None) -> Measure:
    """A pH line of 0 to 10 V: 0 V is pH 0, 10 V is pH 14."""
    method = make_method("ph", name="line", kind="probe", tolerance_rel=0, tolerance_abs=0.1, resolution=0.01)
    return make_measure(
        make_instrument(tank), "ph", method=method, unit="pH", sent_name="volts", low_volts=0.0, low_value=0.0, high_volts=10.0, high_value=14.0,
    )  # fmt: skip


def make_pump(tank=None) -> tuple[object, object]:
    """An instrument that drives a dosing channel, and the channel."""
    instrument = make_instrument(tank)
    channel = make_channel(instrument.tank)
    instrument.dosing_channel = channel
    instrument.save()
    return instrument, channel


class Doing:
    """One person doing one procedure, step by step, in so many words."""

    def __init__(self, measure: Measure, by: User, at: datetime | None = None) -> None:
        self.by, self.at = by, at or timezone.now()
        self.row: Procedure = calibrating.begin(
            instrument=measure.instrument, measure=measure, by=by, at=self.at
        )

    @property
    def rest(self) -> dict[str, object]:
        return {"procedure": self.row, "by": self.by, "at": self.at, "origin": new()}

    def ready(self) -> "Doing":
        calibrating.make_ready(**self.rest)
        return self

    def buffer(self, step: str, key: str, shown: float, mv: float | None = None, **given: object) -> ProcedureStep:  # fmt: skip
        bottle = Bottle(key, **{"temperature_c": 25.0, **given})
        return measuring.buffer_read(
            **self.rest, step=step, bottle=bottle, shown=shown, mv=mv, minute_before=None
        )

    def buffers(self, first: float = 6.75, second: float = 8.98, mv: tuple | None = (6.0, -126.0)) -> "Doing":
        """Both buffers: phosphate (6.865) and borax (9.180)."""
        one, two = mv or (None, None)
        self.ready()
        self.buffer("first", "phosphate", first, one)
        self.buffer("second", "borax", second, two)
        return self

    def set(self, anew: bool = True, looked: bool = False, old: float | None = None) -> ProcedureStep:
        return retesting.set_it(**self.rest, anew=anew, looked=looked, old=old)

    def standard(self, step: str = "reference", key: str = standards.LABEL, **given: object) -> ProcedureStep:
        return measuring.standard_taken(**self.rest, step=step, bottle=Bottle(key, **given))

    def shown(self, *values: float, minute_before: float | None = None) -> ProcedureStep:
        return measuring.shown_read(**self.rest, values=values, minute_before=minute_before)

    def again(self, shown: float, key: str = "borax", minute_before: float | None = None, **given: object) -> ProcedureStep:  # fmt: skip
        bottle = Bottle(key, **{"temperature_c": 25.0, **given})
        return retesting.retest_standard(**self.rest, bottle=bottle, shown=shown, minute_before=minute_before)
