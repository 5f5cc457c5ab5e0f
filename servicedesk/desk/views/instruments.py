"""An instrument as the office keeps it: what it measures, and the passes by which it writes."""

from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST
from rest_framework.exceptions import ParseError

from clients.queries import tanks_for
from servicedesk.core import units
from servicedesk.desk.queries import devices as all_devices
from servicedesk.desk.queries.agreement import beside
from servicedesk.desk.queries.display import leads
from servicedesk.desk.queries.held import waiting_for
from servicedesk.desk.queries.lifeline import needs_of, timeline
from servicedesk.desk.queries.tank import unmixed_words
from servicedesk.desk.views.office import staff_of
from servicedesk.dispatch.queries import last_result
from servicedesk.instruments.actions import (
    NotRead,
    address_of,
    mailbox_of,
    make_token,
    replace_token,
    revoke_token,
    take_file,
)
from servicedesk.instruments.models import Delivery, Instrument, Measure, Token
from servicedesk.instruments.queries import relayed_by, silent_since, standings_of
from servicedesk.instruments.queries.displays import waiting_for as photos_waiting
from servicedesk.instruments.queries.mixing import minutes_since_dose
from servicedesk.staff.models import User
from servicedesk.water.queries import latest_of_series
from servicedesk.web.zones import day_of

MOST_DELIVERIES, MOST_ON_A_PAGE, MOST_MOMENTS = 5, 50, 12
MOST_SHOWN, LARGEST = 20_000, 4 * 1024 * 1024


class PassForm(forms.Form):
    label = forms.CharField(label=gettext_lazy("What it is for"), max_length=60, required=False)


class FileForm(forms.Form):
    file = forms.FileField(label=gettext_lazy("A table or a pack (.csv, .json, .cbor)"))
    history = forms.BooleanField(label=gettext_lazy("It is history: old values are no news"), required=False)


def instrument_for(user: User, key: UUID) -> Instrument:
    """The instrument, if its tank is in this person's sight."""
    rows = Instrument.objects.select_related("equipment", "tank", "tank__site", "through__equipment")
    found = rows.filter(pk=key, tank__in=tanks_for(user, on=day_of(timezone.now())).order_by()).first()
    if found is None:
        raise Http404
    return found


def _unmixed(row: Instrument) -> dict[str, str]:
    """Which of its last results came before a dose was mixed in, by parameter, in words."""
    if not row.after_dose_minutes:
        return {}
    last = [value for value in latest_of_series([row.tank]) if value.equipment_id == row.equipment_id]
    found = minutes_since_dose(row.tank, last, standings_of([row.tank]))
    return {v.parameter: unmixed_words(found[v.reading_id]) for v in last if v.reading_id in found}


def _measured(row: Measure, unmixed: dict[str, str]) -> dict[str, Any]:
    method = row.method.name if row.reagent is None else f"{row.method.name}, {row.reagent.name}"
    return {"pk": row.pk, "name": units.parameter(row.parameter).name, "sent": f"{row.sent_name}, {row.unit}", "by": method, "unmixed": unmixed.get(row.parameter, "")}  # fmt: skip


def _page(
    request: HttpRequest, row: Instrument, form: PassForm, files: FileForm | None = None
) -> HttpResponse:
    now, zone = timezone.now(), ZoneInfo(staff_of(request).zone)
    measures = row.measures.select_related("method", "reagent", "instrument__tank").order_by(
        "parameter", "pk"
    )
    passes = [
        {"token": t, "open": t.revoked_at is None and (t.expires_at is None or t.expires_at > now)}
        for t in row.tokens.order_by("-made_at", "-pk")
    ]
    unmixed = _unmixed(row)
    context = {
        "instrument": row,
        "measures": [_measured(m, unmixed) for m in measures],
        "passes": passes,
        "deliveries": row.deliveries.defer("body")
        .select_related("seen__photo", "seen__by")
        .order_by("-received_at", "pk")[:MOST_DELIVERIES],
        "to_read": row.display_photos.filter(outcome__isnull=True).count(),
        "read_first": leads(row, silent=silent_since(row, now) is not None),
        "by_mail": address_of(row, mailbox_of(settings.IMAP)) if settings.IMAP else "",
        "relayed": relayed_by(row, at=now),
        "beside": beside(measures, now=now, zone=zone),
        "needs": needs_of(measures, now=now, zone=zone),
        "moments": timeline(row, measures, until=now, most=MOST_MOMENTS),
    }
    return render(
        request, "desk/own_instrument.html", {**context, "form": form, "files": files or FileForm()}
    )


@login_required
@require_GET
def devices(request: HttpRequest) -> HttpResponse:
    """All of them, led by a sentence."""
    user, now = staff_of(request), timezone.now()
    found = all_devices.devices(at=now)
    context = {
        "devices": found,
        "sentence": all_devices.sentence(found),
        "mailbox_failed": last_result("mailbox").get("failed", "") if settings.IMAP else "",
        "held": waiting_for(user, on=day_of(now)).count(),
        "to_read": photos_waiting(user, on=day_of(now)).count(),
    }
    return render(request, "desk/devices.html", context)


@login_required
@require_GET
def instrument(request: HttpRequest, key: UUID) -> HttpResponse:
    return _page(request, instrument_for(staff_of(request), key), PassForm())


def _before(text: str) -> datetime | None:
    """The moment in an address; None for what is none."""
    try:
        found = parse_datetime(text)
    except ValueError:  # well formed, and no day of any month
        return None
    return timezone.make_aware(found) if found and timezone.is_naive(found) else found


@login_required
@require_GET
def history(request: HttpRequest, key: UUID) -> HttpResponse:
    """All that happened to an instrument and all it delivered, newest first, a page at a time."""
    row = instrument_for(staff_of(request), key)
    until = _before(request.GET.get("before", "")) or timezone.now()
    deliveries = list(
        row.deliveries.filter(received_at__lt=until).defer("body").select_related("seen__photo", "seen__by").order_by("-received_at", "pk")[: MOST_ON_A_PAGE + 1]
    )  # fmt: skip
    more = deliveries[MOST_ON_A_PAGE - 1].received_at if len(deliveries) > MOST_ON_A_PAGE else None
    measures = row.measures.order_by("parameter", "pk")
    context = {
        "instrument": row,
        "deliveries": deliveries[:MOST_ON_A_PAGE],
        "older": more.isoformat() if more else "",
        "first": "before" not in request.GET,
        "moments": timeline(row, measures, until=until, most=MOST_ON_A_PAGE),
    }
    return render(request, "desk/instrument_history.html", context)


@login_required
@require_GET
def delivery(request: HttpRequest, key: UUID) -> HttpResponse:
    """What came in one delivery, and what became of it."""
    user = staff_of(request)
    found = Delivery.objects.select_related("seen__by").filter(pk=key).first()
    if found is None:
        raise Http404
    context = {
        "instrument": instrument_for(user, found.instrument_id),
        "delivery": found,
        "shown": found.body[:MOST_SHOWN],
        "cut": len(found.body) > MOST_SHOWN,
    }
    return render(request, "desk/delivery.html", context)


@login_required
@require_POST
def token(request: HttpRequest, key: UUID) -> HttpResponse:
    """A pass for an instrument: shown once, on this answer only."""
    row, form = instrument_for(staff_of(request), key), PassForm(request.POST)
    if not form.is_valid():
        return _page(request, row, form)
    _token, text = make_token(instrument=row, at=timezone.now(), label=form.cleaned_data["label"])
    return render(request, "desk/token.html", {"instrument": row, "text": text})


@login_required
@require_POST
def token_end(request: HttpRequest, key: UUID) -> HttpResponse:
    """From now on this pass opens nothing."""
    user = staff_of(request)
    found = Token.objects.filter(pk=key).first()
    if found is None:
        raise Http404
    row = instrument_for(user, found.instrument_id)
    revoke_token(token=found, at=timezone.now())
    messages.success(request, _("The pass %(start)s… opens nothing any more.") % {"start": found.start})
    return redirect("desk:instrument", row.pk)


@login_required
@require_POST
def token_replace(request: HttpRequest, key: UUID) -> HttpResponse:
    """A new pass for the device that has this one; both open for a day."""
    user = staff_of(request)
    found = Token.objects.select_related("instrument").filter(pk=key, revoked_at__isnull=True).first()
    if found is None:
        raise Http404
    row = instrument_for(user, found.instrument_id)
    _token, text = replace_token(token=found, at=timezone.now())
    return render(request, "desk/token.html", {"instrument": row, "text": text, "replaces": found})


@login_required
@require_POST
def file(request: HttpRequest, key: UUID) -> HttpResponse:
    """Values from a file that a person has."""
    row, files = instrument_for(staff_of(request), key), FileForm(request.POST, request.FILES)
    if not files.is_valid():
        return _page(request, row, PassForm(), files)
    sent = files.cleaned_data["file"]
    try:
        if sent.size > LARGEST:
            raise NotRead(_("A file holds at most 4 MB. Send it in parts."))
        found = take_file(
            instrument=row, name=sent.name, body=sent.read(), at=timezone.now(), history=files.cleaned_data["history"]
        )  # fmt: skip
    except (NotRead, ParseError) as wrong:
        files.add_error("file", str(wrong.detail) if isinstance(wrong, ParseError) else str(wrong))
        return _page(request, row, PassForm(), files)
    stored, held = (sum(getattr(delivery, name) for delivery in found) for name in ("stored", "held"))
    messages.success(request, _("%(s)s values stored, %(h)s held apart.") % {"s": stored, "h": held})
    return redirect("desk:instrument", row.pk)
