"""Look, Test and Advise."""

import json
from typing import Any
from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from servicedesk.core import units
from servicedesk.core.advice.judge import WORDS
from servicedesk.core.chemistry.conversions import SCALES
from servicedesk.core.metrology.uncertainty import RANGE_FACTORS
from servicedesk.core.tables import read_json
from servicedesk.staff.actions import cautions_seen
from servicedesk.visits.forms import entry_from
from servicedesk.visits.queries import pages, today_of
from servicedesk.visits.queries.sheet import GLYPHS, TankToday, Tested
from servicedesk.visits.queries.since import done_since_tests
from servicedesk.visits.views.opened import Opened, opened, tests_words
from servicedesk.water.models import Method
from servicedesk.water.queries import ReadingValue


@login_required
@require_GET
def look(request: HttpRequest, key: UUID) -> HttpResponse:
    o = opened(request, key)
    if o.closed:
        return redirect("visits:closed", key)
    tasks = pages.task_lines(o.tanks, o.day)
    cards = [pages.tank_card(o.visit, tank, at=o.at) for tank in o.tanks]
    unseen = o.user.cautions_seen_on != o.day
    context = o.context(
        "visit", cards=cards, tasks=tasks, cautions=pages.cautions_of(o.visit, tasks), unseen=unseen
    )
    return render(request, "visits/look.html", context)


@login_required
@require_POST
def arrive(request: HttpRequest, key: UUID) -> HttpResponse:
    o = opened(request, key)
    entry = entry_from(request.POST, visit=key, at=timezone.now(), zone=o.user.zone)
    o.take([{**entry, "kind": "arrive", "payload": {}}])
    if request.POST.get("cautions") == "seen":
        cautions_seen(person=o.user, on=o.day)
    return redirect("visits:visit", key)


@login_required
@require_POST
def cautions(request: HttpRequest, key: UUID) -> HttpResponse:
    o = opened(request, key)
    cautions_seen(person=o.user, on=o.day)
    return redirect("visits:visit", key)


def _current(today: TankToday, wanted: str) -> Tested | None:
    for tested in today.tested:
        if tested.test.parameter == wanted:
            return tested
    waiting = [t for t in today.tested if not t.replicates]
    return waiting[0] if waiting else (today.tested[0] if today.tested else None)


def _next(today: TankToday, current: Tested) -> Tested | None:
    order = [t.test.parameter for t in today.tested]
    start = order.index(current.test.parameter) + 1
    after = today.tested[start:] + today.tested[: start - 1]
    return next((t for t in after if not t.replicates), None)


def _reference_words(tested: Tested) -> str:
    reference = tested.reference
    if reference is None or reference.replicates < 2:
        return ""
    if not reference.agree:
        values = ", ".join(tested.shown(r.value) for r in tested.replicates)
        return _("%(values)s do not agree: no average is made of them.") % {"values": values}
    factor = abs(units.scale_of(parameter=tested.test.parameter, unit=tested.unit)[0])
    digits = units.decimals_in(parameter=tested.test.parameter, unit=tested.unit)
    by = ngettext("one method", "%(m)s methods", reference.methods) % {"m": reference.methods}
    return _("%(value)s ± %(u)s %(unit)s from %(n)s tests by %(by)s; %(agree)s.") % {
        "value": tested.shown(reference.value),
        "u": f"{reference.expanded / factor:.{max(digits, 1)}f}",
        "unit": units.unit_word(tested.unit),
        "n": reference.replicates,
        "by": by,
        "agree": _("they agree"),
    }


def _also(tested: Tested) -> str:
    """What a surprising value would mean if it is right: an extreme one is never hidden behind the second test."""
    apart = tested.reference is not None and not tested.reference.agree
    if tested.verdict.word != "test_again" or tested.verdict.also == "in_band" or apart:
        return ""
    return _("If it is right: %(word)s.") % {"word": WORDS[tested.verdict.also].lower()}


def _kept_words(tested: Tested, reading: ReadingValue) -> str:
    """A result in the tank's unit; what was read off another scale stands behind it."""
    shown = tested.shown(reading.value)
    if reading.corrected or reading.entered_unit == tested.unit:
        return shown
    scale = units.unit_word(reading.entered_unit)
    return _("%(value)s (read %(typed)s)") % {"value": shown, "typed": f"{reading.entered} {scale}".strip()}


def _scale(today: TankToday, current: Tested, method: Method) -> dict[str, Any]:
    """The scale off which the value is read: the method's own, else the tank's unit; what it must know besides the number;
    and how the browser turns it, where it can."""
    p, unit = current.test.parameter, method.unit or current.unit
    if (p, unit) not in SCALES:
        factor, offset = units.scale_of(parameter=p, unit=unit)
        return {"unit": units.unit_word(unit), "unit_key": unit, "factor": factor, "offset": offset}
    warm = today.reference("temperature")
    asks = not method.compensates
    return {
        "unit": unit,
        "unit_key": unit,
        "unjudged": True,
        "asks_temperature": asks,
        "warm": f"{warm.value:.1f}" if warm and asks else "",
    }


def _bench(o: Opened, today: TankToday, current: Tested, request: HttpRequest) -> dict[str, Any]:
    following = _next(today, current)
    second = "second" in request.GET or not current.replicates
    methods = Method.objects.filter(parameter=current.test.parameter, retired_on__isnull=True).exclude(
        kind="titrator"
    )
    wanted = request.GET.get("method", "")
    method = next((m for m in methods if str(m.pk) == wanted), current.test.method)
    typed = o.typed.get("reading", {})
    next_label = _("%(name)s next") % {"name": following.parameter.name} if following else _("To the work")
    next_url = o.address("test", parameter=following.test.parameter) if following else o.address("work")
    p = current.test.parameter
    return {
        "current": current,
        "method": method,
        "other_methods": [
            (m, o.address("test", parameter=p, method=str(m.pk), second="1")) for m in methods if m != method
        ],
        **_scale(today, current, method),
        "typing": second,
        "typed_value": typed.get("value", ""),
        "seq": len(current.replicates),
        "next_label": next_label,
        "next_url": next_url,
        "second_url": o.address("test", parameter=p, second="1"),
        "reference_words": _reference_words(current),
        "word": WORDS[current.verdict.word],
        "again": current.verdict.word == "test_again",
        "also": _also(current),
        "own_unit": units.unit_word(current.unit),
        "kept": [
            {"text": _kept_words(current, r), "value": current.shown(r.value), "entry": r.origin}
            for r in current.replicates
        ],
    }


@login_required
def test(request: HttpRequest, key: UUID) -> HttpResponse:
    o = opened(request, key)
    if o.closed:
        return redirect("visits:closed", key)
    if request.method == "POST":
        return _take_reading(o)
    today = today_of(o.visit, o.tank, at=o.at)
    current = _current(today, request.GET.get("parameter", ""))
    rows = [
        pages.level_row(t, url=o.address("test", parameter=t.test.parameter), here=t is current)
        for t in today.tested
    ]
    done = sum(1 for t in today.tested if t.replicates)
    context = {
        "rows": rows,
        "progress": tests_words(done, len(today.tested)),
        "sheet_url": o.address("sheet"),
    }
    if current is not None:
        context |= _bench(o, today, current, request)
    return render(request, "visits/test.html", o.context("test", **context))


def _take_reading(o: Opened) -> HttpResponse:
    posted = o.request.POST
    parameter = posted.get("p_parameter", "")
    if not o.take_posted():
        return redirect(o.address("test", parameter=parameter, second="1"))
    today = today_of(o.visit, o.tank, at=timezone.now())
    current = _current(today, parameter)
    if posted.get("then") != "next" or current is None or current.verdict.word == "test_again":
        return redirect(o.address("test", parameter=parameter))
    following = _next(today, current)
    return redirect(o.address("test", parameter=following.test.parameter) if following else o.address("work"))


@login_required
@require_GET
def sheet(request: HttpRequest, key: UUID) -> JsonResponse:
    """The tank's program and the values so far, for judging while a value is being typed."""
    o = opened(request, key)
    today = today_of(o.visit, o.tank, at=o.at)
    shown = {}
    for tested in today.tested:
        factor, offset = units.scale_of(parameter=tested.test.parameter, unit=tested.unit)
        results = [r.value for r in tested.replicates]
        by = sorted({str(r.method_id) for r in tested.replicates})
        shown[tested.test.parameter] = {
            "factor": factor,
            "offset": offset,
            "results": results,
            "methods": by,
            "sigma": today.sigma(tested.test.parameter),
        }
    return JsonResponse(
        {
            "program": json.loads(json.dumps(today.program)),
            "values": today.values,
            "shown": shown,
            "range_factors": RANGE_FACTORS,
            "sentences": read_json("sentences.json"),
            "words": WORDS,
            "glyphs": GLYPHS,
        }
    )


@login_required
@require_GET
def advise(request: HttpRequest, key: UUID) -> HttpResponse:
    o = opened(request, key)
    if o.closed:
        return redirect("visits:closed", key)
    today = today_of(o.visit, o.tank, at=o.at)
    judgement = today.judgement
    waits = [units.parameter(p).name for p in judgement.waits_for]
    nothing_tested = not any(t.replicates for t in today.tested)
    since = done_since_tests(o.visit, o.tank, today)
    context = o.context(
        "advise",
        urgent=judgement.urgent,
        advice=[
            (line, since.given.get(line.product, ""), bool(line.rate) and line.channel not in since.set_here)
            for line in judgement.advice
        ],
        changed=since.changed,
        waits=waits,
        nothing_tested=nothing_tested,
        water_in=today.water_in,
        test_url=reverse("visits:test", args=[key]),
    )
    return render(request, "visits/advise.html", context)
