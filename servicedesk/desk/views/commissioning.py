"""An instrument is brought into use, on the tablet: one page, its steps in order, left and taken up again as one likes."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import segno
from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from servicedesk.core.tables import read_json
from servicedesk.desk.forms.commissioning import AgreementForm, CalibratedForm, NoiseForm, PlacedForm
from servicedesk.desk.views.instruments import instrument_for
from servicedesk.desk.views.office import staff_of
from servicedesk.instruments.actions import NotCommissioned
from servicedesk.instruments.actions import commissioning as steps
from servicedesk.instruments.choices import Stage
from servicedesk.instruments.models import Commissioning, Instrument, Measure, StageDone
from servicedesk.water.models import Method

CAUTIONS = ("mains", "acid")
BEGIN, END = "begin", "end"


@dataclass
class Shown:
    """One step as the page shows it: its word, whether it is done and what came of it, after how many minutes, and its form."""

    stage: str
    title: str
    done: StageDone | None
    minutes: int | None
    form: forms.Form | None
    needed: bool


class _Room:
    """What the page stands on."""

    def __init__(self, request: HttpRequest, key: UUID) -> None:
        self.request, self.user = request, staff_of(request, office=False)
        self.instrument: Instrument = instrument_for(self.user, key)
        self.row = (
            Commissioning.objects.filter(instrument=self.instrument).order_by("-begun_at", "pk").first()
        )
        self.measures = list(
            Measure.objects.filter(instrument=self.instrument)
            .select_related("method", "instrument__tank")
            .order_by("parameter")
        )
        names = [measure.parameter for measure in self.measures]
        self.methods = list(
            Method.objects.filter(parameter__in=names, retired_on__isnull=True)
            .exclude(kind="titrator")
            .order_by("parameter", "name")
        )
        self.posted = request.POST if request.method == "POST" else None

    def form(self, stage: str, posted: Any = None) -> forms.Form | None:
        if stage == Stage.PLACED:
            return PlacedForm(posted)
        if stage == Stage.CALIBRATED:
            return CalibratedForm(posted, measures=self.measures)
        if stage == Stage.AGREES:
            return AgreementForm(posted, measures=self.measures, methods=self.methods)
        return NoiseForm(posted) if stage == Stage.NOISE else None


def _placed(room: _Room, row: Commissioning, said: dict[str, Any]) -> None:
    steps.placed(row=row, by=room.user, at=timezone.now(), where=said["where"])


def _warm(room: _Room, row: Commissioning, _said: dict[str, Any]) -> None:
    set_up = steps.last_done(row).get(Stage.PLACED)
    if set_up is None:
        raise NotCommissioned(_("Set it up first."))
    steps.warm(row=row, by=room.user, at=timezone.now(), placed_at=set_up.at)


def _heard(room: _Room, row: Commissioning, _said: dict[str, Any]) -> None:
    steps.heard(row=row, by=room.user, at=timezone.now())


def _one(rows: list[Any], key: str) -> Any:
    found = next((row for row in rows if str(row.pk) == key), None)
    if found is None:
        raise NotCommissioned(_("Choose one of the list."))
    return found


def _calibrated(room: _Room, row: Commissioning, said: dict[str, Any]) -> None:
    measure = _one(room.measures, said["measure"])
    steps.calibrated(
        row=row, measure=measure, reference=said["reference"], before=said["before"], after=said["after"], by=room.user, at=timezone.now()
    )  # fmt: skip


def _agrees(room: _Room, row: Commissioning, said: dict[str, Any]) -> None:
    measure, method = _one(room.measures, said["measure"]), _one(room.methods, said["method"])
    if method.parameter != measure.parameter:
        raise NotCommissioned(_("That way of testing tests something else."))
    found = steps.agreement(
        row=row, measure=measure, method=method, results=said["results"], shown=said["shown"], by=room.user, at=timezone.now()
    )  # fmt: skip
    if found.step is None:
        messages.warning(
            room.request,
            _("Off by %(delta)s, allowed %(allowed)s: calibrate it, then test again. Your results are kept.")
            % {"delta": f"{found.found.delta:+.2f}", "allowed": f"{found.found.allowed:.2f}"},
        )


def _noise(room: _Room, row: Commissioning, said: dict[str, Any]) -> None:
    steps.noise(
        row=row, without=(said["without_low"], said["without_high"]), running=(said["running_low"], said["running_high"]),
        by=room.user, at=timezone.now(),
    )  # fmt: skip


def _end(room: _Room, row: Commissioning, _said: dict[str, Any]) -> None:
    steps.end(row=row, by=room.user, at=timezone.now())


WORK: dict[str, Callable[[_Room, Commissioning, dict[str, Any]], None]] = {
    Stage.PLACED: _placed,
    Stage.WARM: _warm,
    Stage.HEARD: _heard,
    Stage.CALIBRATED: _calibrated,
    Stage.AGREES: _agrees,
    Stage.NOISE: _noise,
    END: _end,
}


@login_required
@require_http_methods(["GET", "POST"])
def commissioning(request: HttpRequest, key: UUID) -> HttpResponse:
    room = _Room(request, key)
    if request.method != "POST":
        return _page(room)
    pressed = request.POST.get("step", "")
    if pressed == BEGIN:
        steps.begin(instrument=room.instrument, by=room.user, at=timezone.now())
        return redirect("desk:commissioning", room.instrument.pk)
    if room.row is None:
        raise Http404
    if pressed == Stage.PASS:
        return _pass(room, room.row)
    if pressed not in WORK:
        raise Http404
    form = room.form(pressed, request.POST)
    if form is not None and not form.is_valid():
        return _page(room, {pressed: form})
    try:
        WORK[pressed](room, room.row, form.cleaned_data if form is not None else {})
    except NotCommissioned as wrong:
        messages.error(request, str(wrong))
        if form is not None:
            return _page(room, {pressed: form})
    return redirect("desk:commissioning", room.instrument.pk)


def _pass(room: _Room, row: Commissioning) -> HttpResponse:
    """The pass, once, and as a picture that a device can read."""
    try:
        text = steps.give_pass(row=row, by=room.user, at=timezone.now())
    except NotCommissioned as wrong:
        messages.error(room.request, str(wrong))
        return redirect("desk:commissioning", room.instrument.pk)
    drawn = SafeString(segno.make(text, error="m").svg_inline(scale=6, border=4, dark="#000", light="#fff"))
    context = {"instrument": room.instrument, "text": text, "drawn": drawn}
    return render(room.request, "desk/commissioning_pass.html", context)


def _shown(room: _Room, row: Commissioning, failed: dict[str, forms.Form]) -> list[Shown]:
    done, found, before = steps.last_done(row), [], row.begun_at
    needed = steps.needed_for(room.instrument)
    for stage in Stage:
        if stage == Stage.WARM and not room.instrument.warm_up_minutes:
            continue
        step, minutes = done.get(stage), None
        if step is not None:
            minutes = max(0, round((step.at - before).total_seconds() / 60))
            before = step.at
        form = failed.get(stage) or room.form(stage)
        found.append(Shown(stage, str(stage.label), step, minutes, form, stage in needed))
    return found


def _page(room: _Room, failed: dict[str, forms.Form] | None = None) -> HttpResponse:
    row = room.row
    known = {hazard["id"]: hazard for hazard in read_json("hazards.json")["hazards"]}
    context: dict[str, Any] = {
        "instrument": room.instrument,
        "row": row,
        "steps": _shown(room, row, failed or {}) if row else [],
        "cautions": [(known[key]["title"], known[key]["lines"]) for key in CAUTIONS if key in known],
    }
    if row is not None:
        last = row.ended_at or timezone.now()
        context["minutes"] = round((last - row.begun_at).total_seconds() / 60)
        context["next"] = next(
            (shown.stage for shown in context["steps"] if shown.done is None and shown.needed), END
        )
    return render(room.request, "desk/commissioning.html", context)
