"""All bands of a tank on one page, with one save."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from clients.queries import get_tank_for
from servicedesk.core.units import unit_word
from servicedesk.desk.actions import own
from servicedesk.desk.forms import BAND_WORDS, BandsForm
from servicedesk.desk.queries.bands import COLUMNS, BandRow, band_rows
from servicedesk.desk.views.office import staff_of
from servicedesk.web.zones import day_of


def _shown(form: BandsForm, row: BandRow) -> dict[str, Any]:
    cells = [
        {"field": form[f"{row.parameter}-{c}"], "usual": row.usual.get(c, ""), "label": BAND_WORDS[c]}
        for c in COLUMNS
    ]
    return {"name": row.name, "unit": unit_word(row.unit), "key": row.key, "cells": cells}


@login_required
def bands(request: HttpRequest, key: UUID) -> HttpResponse:
    user, now = staff_of(request), timezone.now()
    tank = get_tank_for(user, key, on=day_of(now))
    rows = band_rows(tank)
    form = BandsForm(request.POST or None, rows=rows)
    if request.method == "POST" and form.is_valid():
        own.keep_bands(tank=tank, wanted=form.wanted(), at=now)
        messages.success(request, _("Kept."))
        return redirect("desk:own_tank", tank.pk)
    context = {
        "tank": tank,
        "rows": [_shown(form, r) for r in rows],
        "heads": [BAND_WORDS[c] for c in COLUMNS],
    }
    return render(request, "desk/own_bands.html", {**context, "form": form})
