"""A photo of an instrument's display with typing beside it: at once, or the photo now and its values later."""

from datetime import timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.core import units
from servicedesk.desk.forms.display import AsideForm, CorrectForm, PhotoForm, ShownForm, key_in
from servicedesk.desk.queries import display as ask
from servicedesk.desk.views.instruments import instrument_for
from servicedesk.desk.views.office import staff_of
from servicedesk.instruments.actions import (
    NotShown,
    correct_shown,
    keep_display_photo,
    read_display,
    set_photo_aside,
)
from servicedesk.instruments.models import Delivery, DisplayPhoto, Instrument
from servicedesk.instruments.queries import displays
from servicedesk.staff.models import User
from servicedesk.web.pictures import NoPhoto, served
from servicedesk.web.zones import day_of

MOST_WAITING = 5
APART = timedelta(minutes=15)
"""A typed time further than this from the camera's is asked about once (common practice)."""


def _shown_form(row: Instrument, user: User, posted: Any = None, *, at: Any = None) -> ShownForm:
    zone = ZoneInfo(user.zone)
    return ShownForm(
        posted,
        asked=ask.asked_of(row, zone=zone),
        signs=list(displays.sign_names(row)),
        stand=ask.stands(row, zone=zone),
        at=(at or timezone.now()).astimezone(zone),
    )


def _photo_of(user: User, key: UUID) -> DisplayPhoto:
    return displays.photo_for(user, key, on=day_of(timezone.now()))


def _typing(
    request: HttpRequest,
    row: Instrument,
    form: ShownForm,
    *,
    photo: DisplayPhoto | None = None,
    picture: PhotoForm | None = None,
    aside: AsideForm | None = None,
) -> HttpResponse:
    """Photo and fields side by side; with the photo to be chosen, or with the one that is kept."""
    context: dict[str, Any] = {"instrument": row, "form": form, "photo": photo, "picture": picture}
    if photo is not None:
        context["aside"] = aside or AsideForm()
    else:
        rows = row.display_photos.filter(outcome__isnull=True).select_related("by")
        context["waiting"] = rows.order_by("received_at", "pk")[:MOST_WAITING]
    return render(request, "desk/display.html", context)


@login_required
@require_http_methods(["GET", "POST"])
def display(request: HttpRequest, key: UUID) -> HttpResponse:
    """The photo and what it shows, at once; or the photo alone."""
    user = staff_of(request, office=False)
    row = instrument_for(user, key)
    if request.method != "POST":
        return _typing(request, row, _shown_form(row, user), picture=PhotoForm())
    form, picture = _shown_form(row, user, request.POST), PhotoForm(request.POST, request.FILES)
    photo = _kept(row, user, picture)
    if photo is None:
        form.is_valid()
        return _typing(request, row, form, picture=picture)
    if hasattr(photo, "outcome"):
        return _ended(request, photo, form)
    if "later" in request.POST and not form.typed():
        messages.success(request, _("The photo is kept and waits to be read."))
        return redirect("desk:display_photo", photo.pk)
    return _read(request, photo, form)


def _kept(row: Instrument, user: User, picture: PhotoForm) -> DisplayPhoto | None:
    """The photo that was sent, kept; None where it is refused, which its form then says."""
    key = key_in(picture.data.get("key"))
    before = DisplayPhoto.objects.filter(pk=key, instrument=row).first() if key else None
    if before is None:
        if not picture.is_valid():
            return None
        said = picture.cleaned_data
        try:
            before = keep_display_photo(
                key=said["key"], instrument=row, file=said["photo"], note=said["note"], by=user, at=timezone.now(), zone=ZoneInfo(user.zone)
            )  # fmt: skip
        except NoPhoto as wrong:
            picture.add_error("photo", str(wrong))
            return None
    return _photo_of(user, before.pk)


def _ended(request: HttpRequest, photo: DisplayPhoto, form: ShownForm) -> HttpResponse:
    """What was sent for a photo that was read or set aside before: the same again is told its end, anything else stays typed."""
    if form.typed():
        return _read(request, photo, form)
    return redirect("desk:display_photo", photo.pk)


def _read(request: HttpRequest, photo: DisplayPhoto, form: ShownForm) -> HttpResponse:
    """Take in what was typed beside a kept photo, or show again what was typed and why it is refused."""
    row, user = photo.instrument, staff_of(request, office=False)
    if not form.is_valid():
        return _typing(request, row, form, photo=photo)
    camera = photo.camera_at if request.POST.get("clock") == "camera" else None
    if camera is None and "told" not in request.POST and _apart(photo, form):
        form.add_error("at", _camera_says(photo, user))
        return _typing(request, row, form, photo=photo)
    try:
        delivery, _new = read_display(photo=photo, shown=form.shown(at=camera), by=user, at=timezone.now())
    except NotShown as wrong:
        form.add_error(None, str(wrong))
        return _typing(request, row, form, photo=photo)
    _say(request, delivery)
    return redirect("desk:display_photo", photo.pk)


def _apart(photo: DisplayPhoto, form: ShownForm) -> bool:
    return photo.camera_at is not None and abs(photo.camera_at - form.cleaned_data["at"]) > APART


def _camera_says(photo: DisplayPhoto, user: User) -> str:
    assert photo.camera_at is not None
    when = date_format(photo.camera_at.astimezone(ZoneInfo(user.zone)), "j F Y, H:i")
    return _("The camera’s clock says %(when)s. Take that time below, or send it as it is.") % {"when": when}


def _say(request: HttpRequest, delivery: Delivery) -> None:
    answer = delivery.answer
    stored, apart, there = delivery.stored, delivery.held, answer.get("already", 0)
    parts = []
    if stored:
        parts.append(ngettext("one value is taken in", "%(n)s values are taken in", stored) % {"n": stored})
    if there:
        parts.append(ngettext("one was there already", "%(n)s were there already", there) % {"n": there})
    if answer.get("signs"):
        words = ngettext("one sign is taken in", "%(n)s signs are taken in", answer["signs"])
        parts.append(words % {"n": answer["signs"]})
    if apart:
        parts.append(ngettext("one is held apart", "%(n)s are held apart", apart) % {"n": apart})
    said = messages.warning if apart else messages.success
    said(request, capfirst(", ".join(parts)) + ".")


@login_required
@require_http_methods(["GET", "POST"])
def photo(request: HttpRequest, key: UUID) -> HttpResponse:
    """One photo: to be read while it waits, and what came of it afterwards."""
    user = staff_of(request, office=False)
    row = _photo_of(user, key)
    instrument = row.instrument
    if hasattr(row, "outcome"):
        if request.method == "POST":
            return _ended(request, row, _shown_form(instrument, user, request.POST))
        return _outcome(request, row)
    if request.method != "POST":
        return _typing(request, instrument, _shown_form(instrument, user, at=row.received_at), photo=row)
    if "aside" in request.POST:
        return _aside(request, row, user)
    return _read(request, row, _shown_form(instrument, user, request.POST))


def _aside(request: HttpRequest, row: DisplayPhoto, user: User) -> HttpResponse:
    form = AsideForm(request.POST)
    if form.is_valid():
        try:
            set_photo_aside(photo=row, why=form.cleaned_data["why"], by=user, at=timezone.now())
        except NotShown as wrong:
            form.add_error("why", str(wrong))
        else:
            messages.success(request, _("The photo is set aside and kept."))
            return redirect("desk:display_photo", row.pk)
    fields = _shown_form(row.instrument, user, at=row.received_at)
    return _typing(request, row.instrument, fields, photo=row, aside=form)


def _outcome(request: HttpRequest, row: DisplayPhoto, refused: CorrectForm | None = None) -> HttpResponse:
    lines = [
        {
            "it": line,
            "unit": units.unit_word(line.value.unit),
            "form": refused
            if refused is not None and str(refused.data.get("reading")) == str(line.value.reading)
            else CorrectForm(initial={"reading": line.value.reading}, auto_id=f"id_{line.value.reading}_%s"),
        }
        for line in ask.came_of(row)
    ]
    delivery = row.outcome.delivery
    held = [apart["reason"] for apart in delivery.answer["held"]] if delivery else []
    signs = list(delivery_signs(delivery)) if delivery else []
    context = {"photo": row, "instrument": row.instrument, "lines": lines, "held": held, "signs": signs}
    return render(request, "desk/display_read.html", context)


def delivery_signs(delivery: Delivery) -> Any:
    """What a delivery said of the instrument itself."""
    return delivery.instrument.signs.filter(origin=delivery.pk).order_by("part")


@login_required
@require_POST
def correct(request: HttpRequest, key: UUID) -> HttpResponse:
    """A value was typed wrongly."""
    user = staff_of(request, office=False)
    row = _photo_of(user, key)
    if not hasattr(row, "outcome"):
        raise Http404
    form = CorrectForm(request.POST)
    if form.is_valid():
        said = form.cleaned_data
        try:
            correct_shown(
                photo=row, reading=said["reading"], new=said["new"], why=said["why"], key=said["key"], by=user, at=timezone.now()
            )  # fmt: skip
        except NotShown as wrong:
            form.add_error(None, str(wrong))
        else:
            messages.success(request, _("Corrected; what was typed before stays on record."))
            return redirect("desk:display_photo", row.pk)
    return _outcome(request, row, form)


@login_required
@require_GET
def photos(request: HttpRequest) -> HttpResponse:
    """All photos that wait to be read."""
    user = staff_of(request)
    rows = list(displays.waiting_for(user, on=day_of(timezone.now())))
    return render(request, "desk/display_photos.html", {"photos": rows})


@login_required
@require_GET
def image(request: HttpRequest, key: UUID) -> FileResponse:
    return served(_photo_of(staff_of(request, office=False), key).file)
