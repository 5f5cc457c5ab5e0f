"""What people type about animals."""

from datetime import date
from uuid import uuid4

from django import forms
from django.utils.translation import gettext_lazy as _

from clients.choices import LivestockChange


def number_of_animals() -> forms.IntegerField:
    """How many; the journal of a visit takes as many at most."""
    return forms.IntegerField(
        label=_("How many"),
        min_value=1,
        max_value=10_000,
        error_messages={
            "min_value": _("Say how many animals: one or more."),
            "invalid": _("This is not a whole number. Write it like 12."),
        },
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )


class AnimalsChangeForm(forms.Form):
    """Animals came, died or were moved out. `entry` makes sending it twice one change."""

    change = forms.ChoiceField(label=_("What happened"), choices=LivestockChange.choices)
    number = number_of_animals()
    on = forms.DateField(label=_("On"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    cause = forms.CharField(label=_("Why, or from where and where to"), max_length=200, required=False)
    entry = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)

    def __init__(self, posted: object, *, today: date) -> None:
        super().__init__(posted, initial={"on": today})  # type: ignore[arg-type]  # posted may be None
        self.today = today

    def clean_on(self) -> date:
        on: date = self.cleaned_data["on"]
        if on > self.today:
            raise forms.ValidationError(_("This day is still to come. Write down what has happened."))
        return on
