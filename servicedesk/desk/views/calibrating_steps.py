"""The steps of a calibration behind their forms: which forms a step has, and which action keeps what was typed."""

from collections.abc import Callable
from datetime import datetime
from functools import cached_property
from typing import Any
from uuid import UUID

from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as lazy

from servicedesk.core.metrology import procedures as book
from servicedesk.core.units import TypedWrong, parse_typed
from servicedesk.desk.forms import calibrating as asked
from servicedesk.desk.queries.calibrating import Scale, default_buffers, same_again, scale_of
from servicedesk.desk.views.office import staff_of
from servicedesk.instruments.actions import NotCalibrated, measuring, retesting
from servicedesk.instruments.actions import calibrating as steps
from servicedesk.instruments.choices import ProcedureKind
from servicedesk.instruments.models import Measure, Procedure
from servicedesk.instruments.queries.procedures import here, kept_steps, standard_lots, suits_of
from servicedesk.water.models import Method
from servicedesk.web.zones import day_of

HAND, STANDARD, VOLUME = "hand", "standard", "volume"
AGAIN = {STANDARD: lazy("In a standard"), HAND: lazy("By a test of the tank")}
FORMS: dict[tuple[str, str], dict[str, Any]] = {
    ("*", "ready"): {"ready": ""},
    ("*", "first"): {"buffer": ""},
    ("*", "second"): {"buffer": ""},
    ("*", "standard"): {STANDARD: ""},
    ("*", "reference"): {STANDARD: lazy("A check standard"), HAND: lazy("A test by hand")},
    ("*", "shown"): {"shown": ""},
    ("*", "low"): {"point": ""},
    ("*", "high"): {"point": ""},
    ("*", "run"): {"run": ""},
    ("*", "retest"): AGAIN,
    (ProcedureKind.PUMP, "retest"): {VOLUME: ""},
    (ProcedureKind.TWO_BUFFERS, "retest"): {
        STANDARD: lazy("In a buffer"),
        HAND: lazy("By a test of the tank"),
    },
}
"""The ways in which a step is done, each with its heading."""


class Room:
    """What the pages of one procedure stand on."""

    def __init__(self, request: HttpRequest, row: Procedure) -> None:
        self.request, self.row = request, row
        self.user = staff_of(request, office=False)
        self.kept = kept_steps(row)
        self.here = here(row, self.kept)

    @property
    def measure(self) -> Measure:
        assert self.row.measure is not None  # asked only where there is one
        return self.row.measure

    @cached_property
    def scale(self) -> Scale:
        return scale_of(self.measure)

    @cached_property
    def methods(self) -> list[Method]:
        """Ways of testing by hand."""
        rows = Method.objects.filter(parameter=self.measure.parameter, retired_on__isnull=True)
        return list(rows.exclude(kind="titrator").exclude(pk=self.measure.method_id).order_by("name"))

    def before(self, step: str) -> datetime | None:
        """When the step before was done: settling is counted from then."""
        order = [known.key for known in book.steps_of(self.row.kind)]
        earlier = [self.kept[key].at for key in order[: order.index(step)] if key in self.kept]
        return max(earlier, default=None)

    def old(self) -> float | None:
        """The device's setting now, where it was typed and can be read."""
        text = self.request.GET.get("old", "") or self.request.POST.get("old", "")
        try:
            return parse_typed(text)
        except TypedWrong:
            return None

    def form(self, step: str) -> Any:
        """The form that came; None where the step has none for now."""
        if step == "set":
            return asked.SetForm(self.request.POST)
        ways = FORMS.get((self.row.kind, step)) or FORMS.get(("*", step)) or {}
        way = self.request.POST.get("by", "")
        return self.form_of(way if way in ways else next(iter(ways)), step, self.request.POST)

    def moves(self) -> str:
        """How much a settled value moves in a minute at most, in the device's unit."""
        suits = suits_of(self.row)
        if suits.settle:
            return f"{suits.settle / abs(self.scale.factor):.2g} {self.scale.word}".strip()
        return f"{100 * suits.settle_share:g} %" if suits.settle_share else ""

    def form_of(self, way: str, step: str, posted: Any) -> Any:
        """The form of one way to do a step; None where there is none."""
        form = self._form_of(way, step, posted)
        if form is not None and self.row.measure is not None:
            asked.tell_steady(form, self.moves())
        return form

    def _form_of(self, way: str, step: str, posted: Any) -> Any:
        if way in ("ready", "run", VOLUME):
            plain = {"ready": asked.ReadyForm, "run": asked.RunForm, VOLUME: asked.RunAgainForm}
            return plain[way](posted)
        if way == HAND:
            return self._hand(step, posted)
        if way == "shown":
            return asked.ShownForm(posted, scale=self.scale)
        if way == "point":
            return asked.PointForm(posted, scale=self.scale)
        return self._bottle(way, step, posted)

    def _hand(self, step: str, posted: Any) -> Any:
        if not self.methods:
            return None
        if step == "retest":
            volts = self.row.kind == ProcedureKind.LINE
            return asked.RetestHandForm(posted, scale=self.scale, methods=self.methods, volts=volts)
        return asked.HandForm(posted, scale=self.scale, methods=self.methods)

    def _bottle(self, way: str, step: str, posted: Any) -> Any:
        given: dict[str, Any] = {
            "scale": self.scale,
            "lots": standard_lots(),
            "today": day_of(timezone.now()),
        }
        if way == "buffer":
            first, second = default_buffers(self.measure)
            return asked.BufferForm(posted, start=first if step == "first" else second, **given)
        if step == "retest":
            volts = self.row.kind == ProcedureKind.LINE
            again = same_again(self.kept, self.scale)
            return asked.RetestStandardForm(posted, volts=volts, initial=again, **given)
        return asked.BottleForm(posted, **given)

    def minute_before(self, form: Any) -> float | None:
        value = form.cleaned_data.get("minute_before")
        return None if value is None else self.scale.into(value)

    def shown(self, form: Any) -> float:
        """What it shows, canonical; the volts of a line stay as they are."""
        value = float(form.cleaned_data["shown"])
        return value if self.row.kind == ProcedureKind.LINE else self.scale.into(value)


def _ready(room: Room, step: str, form: Any, at: datetime, origin: UUID) -> None:
    steps.make_ready(procedure=room.row, by=room.user, at=at, origin=origin)


def _buffer(room: Room, step: str, form: Any, at: datetime, origin: UUID) -> None:
    measuring.buffer_read(
        procedure=room.row, step=step, bottle=form.bottle(), shown=room.shown(form), mv=form.cleaned_data["mv"],
        minute_before=room.minute_before(form), by=room.user, at=at, origin=origin,
    )  # fmt: skip


def _known(room: Room, step: str, form: Any, at: datetime, origin: UUID) -> None:
    if isinstance(form, asked.HandForm):
        method, results = form.found()
        measuring.hand_taken(
            procedure=room.row, method=method, results=results, by=room.user, at=at, origin=origin
        )
    else:
        measuring.standard_taken(
            procedure=room.row, step=step, bottle=form.bottle(), by=room.user, at=at, origin=origin
        )


def _shown(room: Room, step: str, form: Any, at: datetime, origin: UUID) -> None:
    values = [room.scale.into(value) for value in form.cleaned_data["values"]]
    measuring.shown_read(
        procedure=room.row, values=values, minute_before=room.minute_before(form), by=room.user, at=at, origin=origin
    )  # fmt: skip


def _point(room: Room, step: str, form: Any, at: datetime, origin: UUID) -> None:
    said = form.cleaned_data
    measuring.point_read(
        procedure=room.row, step=step, true=room.scale.into(said["true"]), good_to=room.scale.width_into(said["good_to"]),
        volts=said["volts"], by=room.user, at=at, origin=origin,
    )  # fmt: skip


def _run(room: Room, step: str, form: Any, at: datetime, origin: UUID) -> None:
    said = form.cleaned_data
    measuring.pump_run(
        procedure=room.row, asked=said["asked"], caught=said["caught"], good_to=said["good_to"], by=room.user, at=at, origin=origin
    )  # fmt: skip


def _set(room: Room, step: str, form: Any, at: datetime, origin: UUID) -> None:
    said, anew = form.cleaned_data, room.request.POST.get("do") != "as_it_was"
    if anew and not said["is_set"]:
        raise NotCalibrated(_("Set it at the device first, then say that you did."))
    retesting.set_it(
        procedure=room.row, anew=anew, looked=said["looked"], old=room.old(), by=room.user, at=at, origin=origin
    )  # fmt: skip


def _retest(room: Room, step: str, form: Any, at: datetime, origin: UUID) -> None:
    given: dict[str, Any] = {"procedure": room.row, "by": room.user, "at": at, "origin": origin}
    if isinstance(form, asked.RunAgainForm):
        said = form.cleaned_data
        retesting.retest_pump(caught=said["caught"], good_to=said["good_to"], **given)
    elif isinstance(form, asked.RetestHandForm):
        method, results = form.found()
        retesting.retest_hand(method=method, results=results, shown=room.shown(form), **given)
    else:
        retesting.retest_standard(
            bottle=form.bottle(), shown=room.shown(form), minute_before=room.minute_before(form), **given
        )


Keep = Callable[[Room, str, Any, datetime, UUID], None]
KEEP: dict[tuple[str, str], Keep] = {
    ("*", "ready"): _ready,
    ("*", "first"): _buffer,
    ("*", "second"): _buffer,
    ("*", "standard"): _known,
    ("*", "reference"): _known,
    ("*", "shown"): _shown,
    ("*", "low"): _point,
    ("*", "high"): _point,
    ("*", "run"): _run,
    ("*", "set"): _set,
    ("*", "retest"): _retest,
}
"""What keeps each step."""
