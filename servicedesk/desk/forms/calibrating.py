"""What is typed while something is calibrated. Numbers stand in the unit that the device shows; each form hands on canonical ones."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from servicedesk.core.chemistry import standards
from servicedesk.core.units import TypedWrong, parse_typed
from servicedesk.desk.forms.own import TypedFloat
from servicedesk.desk.queries.calibrating import Scale
from servicedesk.instruments.actions.measuring import Bottle
from servicedesk.stock.models import Lot
from servicedesk.water.models import Method

MOST_RESULTS = 10
WARM = ("ph", "conductivity", "salinity")
"""Parameters whose standards move with their warmth, or whose values do."""


class Numbers(forms.CharField):
    """One number or several, with spaces between them."""

    def __init__(self, **given: Any) -> None:
        super().__init__(max_length=100, **given)
        self.widget.attrs["inputmode"] = "text"

    def clean(self, value: Any) -> list[float]:
        words = str(super().clean(value)).replace(";", " ").split()
        if not 0 < len(words) <= MOST_RESULTS:
            raise forms.ValidationError(_("One to ten numbers, with spaces between them."))
        try:
            return [parse_typed(word) for word in words]
        except TypedWrong as wrong:
            raise forms.ValidationError(str(wrong)) from wrong


class Decimal(TypedFloat):
    """A number with a dot or a comma, typed on the number keys."""

    def widget_attrs(self, widget: Any) -> dict[str, Any]:
        return {"inputmode": "decimal", "autocomplete": "off"}

    def __init__(self, **given: Any) -> None:
        super().__init__(widget=forms.TextInput, **given)


class ReadyForm(forms.Form):
    off = forms.BooleanField(label=_("What acts on this value is switched off, or nothing does"))
    safe = forms.BooleanField(label=_("I have read the cautions, and all lies ready"))


class StepForm(forms.Form):
    """Fields behind "More" are the names in `more`."""

    more: tuple[str, ...] = ()

    @property
    def first_fields(self) -> list[Any]:
        return [self[name] for name in self.fields if name not in self.more]

    @property
    def more_fields(self) -> list[Any]:
        return [self[name] for name in self.fields if name in self.more]

    @property
    def more_open(self) -> bool:
        return any(name in self.errors for name in self.more)


def _choices(parameter: str) -> list[tuple[str, Any]]:
    of = "conductivity" if parameter == "salinity" else parameter
    found: list[tuple[str, Any]] = [(known.key, known.name) for known in standards.standards_for(of)]
    if parameter == "salinity":
        found.insert(0, (standards.LABEL_MS_CM, _("Another: its label says mS/cm at 25 °C")))
    return [*found, (standards.LABEL, _("Another: what its label says, below"))]


def _lot_words(lot: Lot, today: date) -> str:
    words = f"{lot.item.name}: {lot.code}"
    if lot.expires_on is None:
        return words
    if lot.expires_on < today:
        return str(_("%(lot)s, expired %(day)s") % {"lot": words, "day": lot.expires_on.strftime("%d %b %Y")})
    return str(_("%(lot)s, until %(day)s") % {"lot": words, "day": lot.expires_on.strftime("%d %b %Y")})


class BottleForm(StepForm):
    """A standard: which, how warm, which lot. `lots` are those the house keeps."""

    more: tuple[str, ...] = ("value", "good_to", "code", "used")

    standard = forms.ChoiceField(label=_("The standard"))
    temperature = Decimal(label=_("How warm it is, °C"))
    lot = forms.ChoiceField(label=_("Its lot"), required=False)
    value = Decimal(label=_("Its label says"), required=False)
    good_to = Decimal(label=_("It is good to ±"), required=False)
    code = forms.CharField(label=_("Its lot, where our book has none"), max_length=40, required=False)
    used = Decimal(label=_("Poured of it, in mL or pieces"), required=False)

    def __init__(
        self, *args: Any, scale: Scale, lots: Iterable[Lot], today: date, start: str = "", **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.scale, self.known = scale, {str(lot.pk): lot for lot in lots}
        fields: dict[str, Any] = self.fields
        fields["standard"].choices = _choices(scale.parameter)
        fields["standard"].initial = start or fields["standard"].choices[0][0]  # where `initial` says nothing
        rows = [(key, _lot_words(lot, today)) for key, lot in self.known.items()]
        fields["lot"].choices = [("", _("not in our book")), *rows]
        for name in ("value", "good_to"):
            fields[name].label = f"{fields[name].label}, {scale.word}".rstrip(", ")
        if scale.parameter not in WARM:
            del fields["temperature"], fields["standard"]
            self.more = ("code", "used")
            fields["value"].required = fields["good_to"].required = True
            self.order_fields(["value", "good_to", "lot"])

    def bottle(self) -> Bottle:
        """What was typed as a bottle, canonical units."""
        said, scale = self.cleaned_data, self.scale
        key = said.get("standard", standards.LABEL)
        plain = key == standards.LABEL_MS_CM
        value, good_to = said["value"], said["good_to"]
        return Bottle(
            key=key,
            temperature_c=said.get("temperature"),
            value=value if value is None or plain else scale.into(value),
            good_to=good_to if good_to is None or plain else scale.width_into(good_to),
            lot=self.known.get(said["lot"]),
            code=said["code"],
            used=said["used"],
        )


def _shown(scale: Scale) -> str:
    return str(_("It shows, %(unit)s") % {"unit": scale.word} if scale.word else _("It shows"))


def tell_steady(form: forms.Form, moves: str) -> None:
    """How little a settled value moves, beside the tick that says that it does."""
    if moves and "steady" in form.fields:
        form.fields["steady"].help_text = _("Less than %(moves)s within a minute.") % {"moves": moves}


class BufferForm(BottleForm):
    more = ("value", "good_to", "code", "used", "minute_before")

    shown = Decimal(label=_("It shows"))
    mv = Decimal(label=_("Its voltage in mV, where it tells it"), required=False)
    steady = forms.BooleanField(label=_("It stands still"))
    minute_before = Decimal(label=_("A minute before it showed"), required=False)


class RetestStandardForm(BottleForm):
    more = ("value", "good_to", "code", "used", "minute_before")

    shown = Decimal(label=_("It shows"))
    steady = forms.BooleanField(label=_("It stands still"))
    minute_before = Decimal(label=_("A minute before it showed"), required=False)

    def __init__(self, *args: Any, volts: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["shown"].label = _("Volts that arrive, V") if volts else _shown(self.scale)


class HandForm(StepForm):
    """Tests by hand of the tank."""

    method = forms.ChoiceField(label=_("Tested by hand with"))
    results = Numbers(label=_("Results, with spaces between them"))

    def __init__(self, *args: Any, scale: Scale, methods: Iterable[Method], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.scale, self.known = scale, {str(method.pk): method for method in methods}
        fields: dict[str, Any] = self.fields
        fields["method"].choices = [(key, method.name) for key, method in self.known.items()]
        if scale.word:
            fields["results"].label = _("Results in %(unit)s, with spaces between them") % {
                "unit": scale.word
            }

    def found(self) -> tuple[Method, list[float]]:
        """The method and the results, canonical unit."""
        said = self.cleaned_data
        return self.known[said["method"]], [self.scale.into(value) for value in said["results"]]


class RetestHandForm(HandForm):
    shown = Decimal(label=_("It shows"))

    def __init__(self, *args: Any, volts: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["shown"].label = _("Volts that arrive, V") if volts else _shown(self.scale)


class ShownForm(StepForm):
    more = ("minute_before",)

    values = Numbers(label=_("It shows: one value, better two, with spaces between them"))
    steady = forms.BooleanField(label=_("The last value is done, or stands still"))
    minute_before = Decimal(label=_("A minute before the last it showed"), required=False)

    def __init__(self, *args: Any, scale: Scale, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if scale.word:
            self.fields["values"].label = _("It shows, %(unit)s: one value, better two, with spaces between them") % {"unit": scale.word}  # fmt: skip


class PointForm(StepForm):
    true = Decimal(label=_("What is true"))
    good_to = Decimal(label=_("Known to ±"))
    volts = Decimal(label=_("Volts that arrive, V"))

    def __init__(self, *args: Any, scale: Scale, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("true", "good_to"):
            label = self.fields[name].label
            self.fields[name].label = f"{label}, {scale.word}".rstrip(", ")


class RunForm(StepForm):
    asked = Decimal(label=_("It was told to give, mL"))
    caught = Numbers(label=_("You caught, mL: once, better twice, with spaces between them"))
    good_to = Decimal(label=_("Read to ± mL"), initial="0.5")


class RunAgainForm(StepForm):
    caught = Decimal(label=_("You caught, mL"))
    good_to = Decimal(label=_("Read to ± mL"), initial="0.5")


class SetForm(forms.Form):
    is_set = forms.BooleanField(label=_("I have set it so"), required=False)
    looked = forms.BooleanField(label=_("I looked for a cause and found none that is left"), required=False)
    old = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput)
