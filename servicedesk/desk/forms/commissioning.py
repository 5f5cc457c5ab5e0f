"""What is typed while an instrument is brought into use."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from servicedesk.core import units
from servicedesk.core.units import TypedWrong, parse_typed
from servicedesk.desk.forms.own import TypedFloat
from servicedesk.instruments.models import Measure
from servicedesk.water.models import Method

MOST_RESULTS = 10


class PlacedForm(forms.Form):
    where = forms.CharField(label=_("Where it stands"), max_length=120)
    safe = forms.BooleanField(
        label=_(
            "Cables hang in a loop below their plugs, it stands out of the splash, its waste bottle holds, its reagent cannot tip"
        )
    )


class CalibratedForm(forms.Form):
    measure = forms.ChoiceField(label=_("Which value"))
    reference = TypedFloat(label=_("The standard's value"))
    before = TypedFloat(label=_("It showed before"))
    after = TypedFloat(label=_("It showed after"), required=False)

    def __init__(self, *args: Any, measures: list[Measure], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["measure"]
        field.choices = [(str(m.pk), named(m)) for m in measures]


class AgreementForm(forms.Form):
    measure = forms.ChoiceField(label=_("Which value"))
    method = forms.ChoiceField(label=_("Tested by hand with"))
    results = forms.CharField(label=_("Results by hand, with spaces between them"), max_length=100)
    shown = TypedFloat(label=_("It shows at the same time"))

    def __init__(self, *args: Any, measures: list[Measure], methods: list[Method], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        measure: Any = self.fields["measure"]
        measure.choices = [(str(m.pk), named(m)) for m in measures]
        method: Any = self.fields["method"]
        method.choices = [(str(m.pk), f"{units.parameter(m.parameter).name}, {m.name}") for m in methods]

    def clean_results(self) -> list[float]:
        words = str(self.cleaned_data["results"]).replace(";", " ").split()
        if len(words) > MOST_RESULTS:
            raise forms.ValidationError(_("At most ten results."))
        try:
            return [parse_typed(word) for word in words]
        except TypedWrong as wrong:
            raise forms.ValidationError(str(wrong)) from wrong


class NoiseForm(forms.Form):
    without_low = TypedFloat(label=_("Without it, at least dB(A)"))
    without_high = TypedFloat(label=_("Without it, at most dB(A)"))
    running_low = TypedFloat(label=_("With it, at least dB(A)"))
    running_high = TypedFloat(label=_("With it, at most dB(A)"))


def named(measure: Measure) -> str:
    """A measure as a choice: its name and the unit in which it is typed."""
    known = units.parameter(measure.parameter)
    return f"{known.name}, {units.unit_word(known.unit)}".rstrip(", ")
