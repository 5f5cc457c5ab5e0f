"""Work, Leave, what was closed, and photos."""

import io
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import FileResponse, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as later
from django.views.decorators.http import require_GET, require_POST

from clients.queries import name_beside_tank
from servicedesk.core import units
from servicedesk.core.sheets import FieldState
from servicedesk.rounds.queries import next_visits_of
from servicedesk.staff.models import User
from servicedesk.upkeep.choices import LeftReason
from servicedesk.visits import actions, queries
from servicedesk.visits.actions.wire import Refused, key_of
from servicedesk.visits.choices import EntryKind
from servicedesk.visits.forms import back_on_entry, entry_from
from servicedesk.visits.queries import pages
from servicedesk.visits.views.opened import Opened, opened
from servicedesk.web.pictures import served
from servicedesk.web.zones import day_of

UNTOLD = (EntryKind.READING, EntryKind.ARRIVE)
FIELDS = (
    ("summary", later("What changed"), later("In a sentence, as the client would say it")),
    ("staff_do", later("Please do"), later("What the client's staff should do until we come again")),
    ("staff_dont", later("Please do not"), later("What the client's staff should leave alone")),
)


@login_required
@require_GET
def work(request: HttpRequest, key: UUID) -> HttpResponse:
    o = opened(request, key)
    if o.closed:
        return redirect("visits:closed", key)
    context = o.context(
        "work",
        tasks=pages.task_lines(o.tanks, o.day),
        done=queries.told(e for e in queries.journal_of(o.visit) if e.kind not in UNTOLD),
        reasons=LeftReason.choices,
        sheet=pages.work_sheet(o.tanks, at=o.at),
        photos=queries.photos_of(o.visit),
    )
    return render(request, "visits/work.html", context)


def _standing(o: Opened, name: str, fields: dict[str, FieldState]) -> str:
    """A single field as it stands; what was refused just now comes before what was kept."""
    refused = o.typed.get("field", {})
    if refused.get("name") == name:
        return str(refused.get("value", ""))
    return fields[name].value if name in fields else ""


def _back_on_rows(o: Opened) -> dict[str, list[dict[str, Any]]]:
    """The equipment to check by tank, with what was ticked and said when the check was refused."""
    refused = o.typed.get("back_on", {})
    said = {row["equipment"]: row["reason"] for row in refused.get("left", [])}
    found: dict[str, list[dict[str, Any]]] = {}
    for e in pages.back_on_list(o.visit, o.tanks):
        kind = str(e.get_kind_display())
        row = {
            "e": e,
            "name": name_beside_tank(e),
            "on": str(e.pk) in refused.get("on", []),
            "why": said.get(str(e.pk), ""),
        }
        row["kind"] = "" if kind.lower() in str(row["name"]).lower() else kind
        found.setdefault(e.tank.name if e.tank else o.visit.site.name, []).append(row)
    return found


@login_required
@require_GET
def leave(request: HttpRequest, key: UUID) -> HttpResponse:
    o = opened(request, key)
    if o.closed:
        return redirect("visits:closed", key)
    entries = queries.entries_of(o.visit)
    fields = queries.fields_of(entries)
    checked = [e for e in entries if e.kind == EntryKind.BACK_ON]
    upcoming = [day for day in next_visits_of(o.tanks, after=o.day).values() if day]
    said_next = [e.payload["date"] for e in entries if e.kind == EntryKind.NEXT_VISIT]
    missing = queries.untested_in(o.visit, o.tanks)
    context = o.context(
        "leave",
        fields=[
            {
                "name": n,
                "label": label,
                "help": said,
                "value": _standing(o, n, fields),
                "open": n == "summary",
            }
            for n, label, said in FIELDS
        ],
        back_on=_back_on_rows(o),
        back_on_done=checked[-1] if checked else None,
        next_day=o.typed.get("next_visit", {}).get("date")
        or (said_next[-1] if said_next else (min(upcoming).isoformat() if upcoming else "")),
        next_said=bool(said_next),
        findings=queries.told(e for e in entries if e.kind in (EntryKind.FINDING, EntryKind.RECOMMENDATION)),
        untested=[(tank.name, missing[tank.pk]) for tank in o.tanks if missing.get(tank.pk)],
        open_tasks=[line for line in pages.task_lines(o.tanks, o.day) if not line.left],
    )
    return render(request, "visits/leave.html", context)


def _back(o: Opened, default: str) -> HttpResponse:
    target = o.request.POST.get("back", "")
    if not url_has_allowed_host_and_scheme(target, allowed_hosts={o.request.get_host()}):
        target = o.address(default)
    return HttpResponseRedirect(target)


@login_required
@require_POST
def add(request: HttpRequest, key: UUID) -> HttpResponse:
    """Any one entry from a drawn form."""
    o = opened(request, key)
    if request.POST.get("kind") == EntryKind.BACK_ON:
        wanted = [str(e.pk) for e in pages.back_on_list(o.visit, o.tanks)]
        o.take([back_on_entry(request.POST, wanted, visit=key, at=timezone.now(), zone=o.user.zone)])
        return _back(o, "leave")
    if o.take_posted() and request.POST.get("kind") == EntryKind.CLOSE:
        return redirect("visits:closed", key)
    return _back(o, "work")


@login_required
@require_POST
def add_photo(request: HttpRequest, key: UUID) -> HttpResponse:
    """A photo from a drawn form: the picture and its journal entry."""
    o = opened(request, key)
    file = request.FILES.get("file")
    if file is None:
        messages.error(request, _("No photo was chosen."))
        return _back(o, "work")
    try:
        photo_id = key_of(request.POST.get("photo"), "photo")
        photo = actions.keep_photo(
            key=photo_id,
            visit_id=key,
            tank_id=o.tank.pk,
            file=io.BytesIO(file.read()),
            caption=request.POST.get("caption", ""),
            taken_at=timezone.now(),
            by=o.user,
        )
    except (actions.NoPhoto, Refused) as wrong:
        messages.error(request, str(wrong))
        return _back(o, "work")
    entry = entry_from(request.POST, visit=key, at=timezone.now(), zone=o.user.zone)
    payload = {"photo": str(photo.pk), "tank": str(o.tank.pk), "caption": photo.caption}
    o.take([{**entry, "kind": EntryKind.PHOTO, "payload": payload}])
    return _back(o, "work")


@login_required
@require_GET
def closed(request: HttpRequest, key: UUID) -> HttpResponse:
    o = opened(request, key)
    if not o.begun or not o.closed:
        return redirect("visits:visit", key)
    entries = queries.journal_of(o.visit)
    readings = [
        (tank, t, r)
        for tank in o.tanks
        for t in queries.today_of(o.visit, tank, at=o.visit.closed_at or o.at).tested
        for r in t.replicates
    ]
    refused = o.typed.get("correction", {})
    rows = [
        {
            "tested": t,
            "of": tank.name if len(o.tanks) > 1 else "",
            "value": t.shown(r.value),
            "unit": units.unit_word(t.unit),
            "entry": r.origin,
            "corrected": r.corrected,
            "typed": refused if refused.get("entry") == str(r.origin) else {},
        }
        for tank, t, r in readings
    ]
    context = o.context(
        "closed",
        readings=rows,
        sheet=pages.work_sheet(o.tanks, at=o.at),
        entries=queries.told(e for e in entries if e.kind != EntryKind.READING),
        photos=queries.photos_of(o.visit),
    )
    return render(request, "visits/closed.html", context)


@login_required
@require_GET
def photo(request: HttpRequest, key: UUID) -> FileResponse:
    user = request.user
    assert isinstance(user, User)
    return served(queries.photo_for(user, key, on=day_of(timezone.now())).file)
