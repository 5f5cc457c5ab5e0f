"""Values held apart: what is wrong with them, and a person's decision."""

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as lazy
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods

from servicedesk.core import units
from servicedesk.desk.queries import held as ask
from servicedesk.desk.views.office import staff_of
from servicedesk.water.actions import NotWater, Whose, discard_held, release_held
from servicedesk.water.models import HeldReading
from servicedesk.web.zones import day_of

MOST_AT_ONCE = 2000


class GroupForm(forms.Form):
    """Which group is meant."""

    tank = forms.UUIDField()
    equipment = forms.UUIDField(required=False)
    parameter = forms.CharField(max_length=30, required=False)
    unit = forms.CharField(max_length=20, required=False)
    reason = forms.CharField(max_length=200, strip=False)


class DecideForm(forms.Form):
    """Take them in as what, or leave them out, and why."""

    method = forms.ChoiceField(label=lazy("What it is, and by what it was measured"), required=False)
    take_as = forms.ChoiceField(label=lazy("In which unit it came"), required=False)
    why = forms.CharField(label=lazy("Why"), max_length=200, required=False)

    def __init__(self, *args: Any, ways: list[ask.Way], unit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        method: Any = self.fields["method"]
        take_as: Any = self.fields["take_as"]
        method.choices = [(way.key, way.words) for way in ways]
        named = dict.fromkeys(u for way in ways for u in units.parameter(way.method.parameter).units)
        take_as.choices = [(u, u) for u in named]
        take_as.initial = unit if unit in named else None


@login_required
@require_GET
def held(request: HttpRequest) -> HttpResponse:
    user = staff_of(request)
    groups = ask.groups_for(user, on=day_of(timezone.now()))
    number = sum(group.number for group in groups)
    return render(request, "desk/held.html", {"groups": groups, "number": number})


@login_required
@require_http_methods(["GET", "POST"])
def group(request: HttpRequest) -> HttpResponse:
    user, now = staff_of(request), timezone.now()
    named = GroupForm(request.GET)
    if not named.is_valid():
        raise Http404
    asked = named.cleaned_data
    rows = ask.of_group(user, on=day_of(now), **asked)
    number, first = rows.count(), rows.first()
    if first is None:
        if request.method == "POST":
            return redirect("desk:held")
        raise Http404
    ways = ask.ways_to_take(first.equipment, first.tank)
    form = DecideForm(request.POST or None, ways=ways, unit=asked["unit"])
    if request.method == "POST" and form.is_valid():
        answer = _decide(request, form, list(rows[:MOST_AT_ONCE]), ways)
        if answer is not None:
            return answer
    context = {
        "first": first,
        "number": number,
        "rows": rows[: ask.MOST_SHOWN],
        "form": form,
        "ways": ways,
        "query": request.GET.urlencode(),
    }
    return render(request, "desk/held_group.html", context)


def _decide(
    request: HttpRequest, form: DecideForm, rows: list[HeldReading], ways: list[ask.Way]
) -> HttpResponse | None:
    """What was pressed; None where it was refused and the page shows why."""
    user, now, why = staff_of(request), timezone.now(), form.cleaned_data["why"]
    try:
        if "leave" in request.POST:
            number = discard_held(rows=rows, by=user, at=now, why=why)
            words = ngettext("One value is left out.", "%(n)s values are left out.", number)
            messages.success(request, words % {"n": number})
            return redirect("desk:held")
        way = next((way for way in ways if way.key == form.cleaned_data["method"]), None)
        if way is None:
            raise NotWater(_("Say what it is."))
        whose = Whose(way.of.equipment, way.of.tank) if way.of else None
        found = release_held(
            rows=rows, parameter=way.method.parameter, unit=form.cleaned_data["take_as"], method=way.method, by=user, at=now, why=why, whose=whose
        )  # fmt: skip
    except (NotWater, units.UnknownUnit, units.NeedsContext) as wrong:
        form.add_error(None, str(wrong))
        return None
    if found.refused:
        form.add_error(None, " ".join(found.refused[:3]))
    if not found.taken:
        return None
    words = ngettext("One value is taken in.", "%(n)s values are taken in.", found.taken)
    messages.success(request, words % {"n": found.taken})
    return redirect("desk:held")
