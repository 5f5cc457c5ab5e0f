"""An address that is asked for an instrument: tried on a sample first, then kept."""

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as lazy
from django.views.decorators.http import require_http_methods
from rest_framework.exceptions import ParseError

from servicedesk.desk.views.instruments import instrument_for
from servicedesk.desk.views.office import staff_of
from servicedesk.instruments.actions import NotFetched, NotRead, Tried, attempt
from servicedesk.instruments.models import Measure, Pull


class PullForm(forms.ModelForm):  # type: ignore[type-arg]  # not generic while it runs
    class Meta:
        model = Pull
        fields = ("url", "every_minutes", "shape", "mapping", "header")
        labels = {
            "url": lazy("Its address"),
            "every_minutes": lazy("Ask every so many minutes"),
            "shape": lazy("It answers with"),
            "mapping": lazy(
                "What stands where: a line each, as “alk = data.kh dKH”; “at = data.time” for the time"
            ),
            "header": lazy("A line that it wants, as “X-Key: …” (a secret)"),
        }
        widgets = {"mapping": forms.Textarea(attrs={"rows": 6, "spellcheck": "false"})}

    url = forms.URLField(label=lazy("Its address"), max_length=300, assume_scheme="https")


def _problem(wrong: Exception) -> str:
    return str(wrong.detail) if isinstance(wrong, ParseError) else str(wrong)


@login_required
@require_http_methods(["GET", "POST"])
def pull(request: HttpRequest, key: UUID) -> HttpResponse:
    row = instrument_for(staff_of(request), key)
    before = Pull.objects.filter(instrument=row).first()
    if request.method == "POST" and "stop" in request.POST and before is not None:
        before.delete()
        messages.success(request, _("It is not asked any more."))
        return redirect("desk:instrument", row.pk)
    form: Any = PullForm(request.POST or None, instance=before or Pull(instrument=row))
    tried: Tried | None = None
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            tried = attempt(
                url=said["url"],
                shape=said["shape"],
                mapping=said["mapping"],
                header=said["header"],
                at=timezone.now(),
            )
        except (NotFetched, NotRead, ParseError) as wrong:
            form.add_error(None, _problem(wrong))
        else:
            if "keep" in request.POST:
                form.save()
                messages.success(request, _("It is asked from now on."))
                return redirect("desk:instrument", row.pk)
    known = {measure.sent_name: measure for measure in Measure.objects.filter(instrument=row)}
    context = {"instrument": row, "form": form, "before": before, "tried": tried, "known": known}
    if tried is not None:
        context["lines"] = [
            {
                "record": record,
                "known": record.name in known,
                "unit": known[record.name].unit if record.name in known else "",
            }
            for record in tried.records
        ]
    return render(request, "desk/pull.html", context)
