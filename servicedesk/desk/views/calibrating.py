"""A calibration on the tablet: what is to be calibrated, then one step to a screen; left and taken up again as one likes."""

from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from servicedesk.core.metrology import procedures as book
from servicedesk.desk.actions.calibrating import owe_again, settle
from servicedesk.desk.queries import calibrating as page
from servicedesk.desk.queries.calibrating import Scale
from servicedesk.desk.views.calibrating_steps import FORMS, KEEP, Room
from servicedesk.desk.views.instruments import instrument_for
from servicedesk.desk.views.office import staff_of
from servicedesk.instruments.actions import NotCalibrated
from servicedesk.instruments.actions import calibrating as steps
from servicedesk.instruments.choices import ProcedureEnd
from servicedesk.instruments.models import Calibration, Instrument, Procedure
from servicedesk.instruments.queries.procedures import END, channels_at, here, kept_steps
from servicedesk.upkeep.models import Task
from servicedesk.upkeep.queries import tasks_for
from servicedesk.web.zones import day_of


def key_in(text: str | None) -> UUID | None:
    """An id out of an address or a form; None for what is none."""
    try:
        return UUID(text or "")
    except ValueError:
        return None


@login_required
@require_http_methods(["GET", "POST"])
def calibrate(request: HttpRequest, key: UUID) -> HttpResponse:
    """What can be calibrated at an instrument; posting begins it, or takes it up."""
    user = staff_of(request, office=False)
    row = instrument_for(user, key)
    said = request.POST if request.method == "POST" else request.GET
    visit, task = key_in(said.get("visit")), key_in(said.get("task"))
    if request.method == "POST":
        try:
            found = _begun(request, row, visit=visit, task=task)
        except NotCalibrated as wrong:
            messages.error(request, str(wrong))
        else:
            return redirect("desk:calibration", found.pk)
    context = {
        "instrument": row,
        "lines": page.lines_at(row),
        "visit": visit,
        "task": task,
        "back": _back(user, row, visit),
    }
    return render(request, "desk/calibrate.html", context)


def _begun(request: HttpRequest, row: Instrument, *, visit: UUID | None, task: UUID | None) -> Procedure:
    wanted = request.POST.get("of", "")
    measure = next((one for one in row.measures.select_related("method") if str(one.pk) == wanted), None)
    channel = next((one for one in channels_at(row) if str(one.pk) == wanted), None)
    if measure is None and channel is None:
        raise Http404
    user = staff_of(request, office=False)
    return steps.begin(
        instrument=row, measure=measure, channel=None if measure else channel, by=user, at=timezone.now(), visit=visit, task=task
    )  # fmt: skip


def _back(user: Any, row: Instrument, visit: UUID | None) -> str:
    if visit is not None:
        return reverse("visits:work", args=[visit])
    return reverse("desk:instrument" if user.is_office else "desk:tank", args=[row.pk if user.is_office else row.tank_id])  # fmt: skip


def procedure_for(request: HttpRequest, key: UUID) -> Procedure:
    """The procedure, if its instrument is in this person's sight."""
    user = staff_of(request, office=False)
    rows = Procedure.objects.select_related(
        "measure__method", "measure__reagent", "measure__instrument__tank", "channel__equipment",
        "channel__solution__item", "channel__tank", "begun_by",
    )  # fmt: skip
    found = rows.filter(pk=key).first()
    if found is None:
        raise Http404
    found.instrument = instrument_for(user, found.instrument_id)
    return found


@login_required
@require_GET
def calibration(request: HttpRequest, key: UUID) -> HttpResponse:
    """Where it stands."""
    row = procedure_for(request, key)
    return redirect("desk:calibration_step", row.pk, here(row, kept_steps(row)))


@login_required
@require_http_methods(["GET", "POST"])
def calibration_step(request: HttpRequest, key: UUID, step: str) -> HttpResponse:
    """One step: shown, or done. A step that does not come yet leads to the one that does."""
    row = procedure_for(request, key)
    if step != END and step not in {known.key for known in book.steps_of(row.kind)}:
        raise Http404
    room = Room(request, row)
    if request.method == "POST":
        return _posted(room, step)
    if step != room.here and step not in room.kept:
        return redirect("desk:calibration", row.pk)
    return _ended(room) if step == END else _page(room, step)


def _posted(room: Room, step: str) -> HttpResponse:
    """A form came: kept once, whatever is pressed twice."""
    request, row, at = room.request, room.row, timezone.now()
    origin = key_in(request.POST.get("entry"))
    if origin is None:
        raise Http404
    if request.POST.get("do") == "leave_off":
        return _left_off(room, at, origin)
    work = KEEP.get((row.kind, step)) or KEEP.get(("*", step))
    if work is None:
        raise Http404
    form = room.form(step)
    if form is not None and not form.is_valid():
        return _page(room, step, form)
    try:
        work(room, step, form, at, origin)
    except NotCalibrated as wrong:
        messages.error(request, str(wrong))
        return _page(room, step, form)
    _follow(room, step, at)
    request.session["taken"] = [*request.session.get("taken", []), str(origin)][-50:]
    return redirect("desk:calibration", row.pk)


def _follow(room: Room, step: str, at: datetime) -> None:
    """What follows elsewhere from a re-test."""
    if step != "retest":
        return
    row = Procedure.objects.get(pk=room.row.pk)
    if row.ended_as == ProcedureEnd.AGREES:
        settle(procedure=row, by=room.user, at=at)
        return
    last = kept_steps(row).get("retest")
    if last is not None:
        owe_again(procedure=row, why=last.words, at=at)


def _left_off(room: Room, at: datetime, origin: UUID) -> HttpResponse:
    before = room.row.ended_at
    row = steps.leave_off(procedure=room.row, by=room.user, at=at, origin=origin)
    measured = [kept for key, kept in room.kept.items() if key != "ready"]
    if before is None and measured:
        owe_again(procedure=row, why=measured[-1].words, at=at)
    return redirect("desk:calibration", row.pk)


def _context(room: Room, step: str) -> dict[str, Any]:
    row, kept = room.row, room.kept
    known = book.steps_of(row.kind)
    nav = [
        {
            "label": one.title,
            "url": reverse("desk:calibration_step", args=[row.pk, one.key]) if one.key in kept or one.key == room.here else "",
            "here": one.key == step,
            "done": one.key in kept and kept[one.key].data.get("agrees", True),
        }
        for one in known
    ]  # fmt: skip
    return {
        "procedure": row,
        "instrument": row.instrument,
        "name": page.name_of(row),
        "how": book.title_of(row.kind),
        "steps": [one for one in nav if one["url"]],
        "aside": _("%(n)s of %(all)s") % {"n": _number(known, step), "all": len(known)},
        "fresh": uuid4(),
        "back": _back(room.user, row.instrument, row.visit),
        "taken": room.request.session.pop("taken", []),
    }


def _number(known: tuple[book.Step, ...], step: str) -> int:
    return next((n for n, one in enumerate(known, start=1) if one.key == step), len(known))


def _page(room: Room, step: str, failed: forms.Form | None = None) -> HttpResponse:
    """One step as it stands: to be done, or done and perhaps to be done again."""
    known = next(one for one in book.steps_of(room.row.kind) if one.key == step)
    done = room.kept.get(step)
    context = _context(room, step) | {
        "step": known,
        "cautions": page.cautions_of(known.hazards),
        "own_dosing": room.row.instrument.own_dosing != "none",
        "done": done,
        "forms": _forms(room, step, failed),
        "since": room.before(step),
        "entry": room.request.POST.get("entry") if failed is not None else uuid4(),
    }
    if step == "set":
        context |= _verdict(room, failed)
    if step == "retest" and done is not None:
        scale = room.scale if room.row.measure else None
        context["differs"] = page.retest_words(done.data, scale)
    return render(room.request, "desk/calibration_step.html", context)


def _forms(room: Room, step: str, failed: forms.Form | None) -> list[dict[str, Any]]:
    """The forms of a step, each with the word by which it is known; the one that failed as it was typed."""
    by = room.request.POST.get("by", "")
    ways = FORMS.get((room.row.kind, step)) or FORMS.get(("*", step)) or {}
    found = []
    for way, title in ways.items():
        form = failed if failed is not None and by == way else room.form_of(way, step, None)
        if form is not None:
            found.append({"by": way, "title": title, "form": form, "entry": uuid4(), "open": by == way})
    return found


def _verdict(room: Room, failed: forms.Form | None) -> dict[str, Any]:
    old = room.old()
    try:
        found = page.verdict_of(room.row, room.kept, old)
    except ValueError as wrong:
        return {"verdict": None, "wrong": str(wrong)}
    typed = room.request.GET.get("old", "") or room.request.POST.get("old", "")
    return {"verdict": found, "old": typed, "form": failed}


def _ended(room: Room) -> HttpResponse:
    row, kept = room.row, room.kept
    done = Calibration.objects.filter(procedure=row).select_related("lot__item", "by").first()
    task = None
    if row.task is not None:
        task = tasks_for(room.user, on=day_of(timezone.now())).filter(pk=row.task, state="open").first()
    owed = Task.objects.filter(key__endswith=f":{row.pk}", key__startswith="calibrate:", state="open").first()
    context = _context(room, END) | {
        "calibration": done,
        "rows": _end_rows(room.scale if row.measure else None, done),
        "kept": [kept[one.key] for one in book.steps_of(row.kind) if one.key in kept],
        "agrees": row.ended_as == ProcedureEnd.AGREES,
        "task": task,
        "owed": owed,
        "own_dosing": row.instrument.own_dosing != "none",
    }
    return render(room.request, "desk/calibration_end.html", context)


def _where(scale: Scale, true: float, shown: float | None) -> str:
    seen = "–" if shown is None else scale.out(shown)
    return _("%(shown)s where %(true)s was true") % {"shown": seen, "true": scale.out(true)}


def _end_rows(scale: Scale | None, done: Calibration | None) -> list[tuple[str, str]]:
    if scale is None or done is None:
        return []
    after = done.reference if done.after_reference is None else done.after_reference
    rows = [
        (_("Before"), _where(scale, done.reference, done.before)),
        (_("After"), _where(scale, after, done.after)),
    ]
    if done.slope_mv_per_ph is not None:
        rows.append((_("Slope"), f"{done.slope_mv_per_ph:.1f} mV/pH"))
    if done.offset_mv is not None:
        rows.append((_("Offset at pH 7"), f"{done.offset_mv:+.1f} mV"))
    if done.factor is not None:
        rows.append((_("Factor"), f"{done.factor:.4f}"))
    if done.offset is not None:
        rows.append((_("Moved by"), scale.signed(done.offset)))
    if done.lot is not None:
        rows.append((_("Lot of the standard"), f"{done.lot.item.name}: {done.lot.code}"))
    return rows
