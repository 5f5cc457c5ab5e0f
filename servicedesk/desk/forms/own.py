"""What an owner types about the business's own data. Forms only read and check; actions/own.py keeps."""

from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Model
from django.utils.translation import gettext_lazy as _

from clients.forms import number_of_animals
from clients.models import Equipment, Livestock, Site, Tank
from servicedesk.core.chemistry.conversions import SCALES
from servicedesk.core.tables import read_json
from servicedesk.core.units import (
    PARAMETERS,
    NeedsContext,
    TypedWrong,
    UnknownUnit,
    parameter,
    parse_typed,
    scale_of,
)
from servicedesk.desk.choices import SENTENCES
from servicedesk.desk.forms.kinds import LABELS, Kind
from servicedesk.desk.queries.bands import CHANGES, COLUMNS, LEVELS, BandRow, from_unit
from servicedesk.dosing.models import Channel
from servicedesk.instruments.models import Instrument
from servicedesk.instruments.queries import relays_for
from servicedesk.staff.models import User
from servicedesk.water.models import Method

NAMES = [(p.key, p.name) for p in PARAMETERS.values()]


HAZARDS = [(row["id"], row["title"]) for row in read_json("hazards.json")["hazards"]]
SENSITIVE = [("copper", _("copper")), ("salt", _("salt")), ("low oxygen", _("low oxygen"))]
TICKED: dict[str, Any] = {"cautions": HAZARDS, "hazards": HAZARDS, "sensitive_to": SENSITIVE}
WEEKDAYS = [(0, _("Monday")), (1, _("Tuesday")), (2, _("Wednesday")), (3, _("Thursday")), (4, _("Friday")), (5, _("Saturday")), (6, _("Sunday"))]  # fmt: skip


class TypedFloat(forms.FloatField):
    """A number with a dot or a comma, with the house's sentences for what is none."""

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values or isinstance(value, float):
            return None if value in self.empty_values else value
        try:
            return parse_typed(str(value))
        except TypedWrong as wrong:
            raise forms.ValidationError(str(wrong)) from wrong

    def prepare_value(self, value: Any) -> Any:
        return f"{value:.12g}" if isinstance(value, float) else value


def _field_of(column: Any, **given: Any) -> Any:
    if isinstance(column, models.FloatField):
        given["form_class"] = TypedFloat
    if isinstance(column, models.URLField):
        given["assume_scheme"] = "https"
    return column.formfield(**given)


class OwnForm(forms.ModelForm):  # type: ignore[type-arg]  # not generic while it runs
    """What every form of own data checks across its fields, and the database's law in words at its place."""

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("parameter") and said.get("unit"):
            if isinstance(self.instance, Method) and (said["parameter"], said["unit"]) in SCALES:
                if said.get("reference_c") is None and (said["unit"] == "SG" or said.get("compensates")):
                    self.add_error("reference_c", _("Say to which temperature its scale refers."))
                return said
            try:
                scale_of(parameter=said["parameter"], unit=said["unit"])
            except (UnknownUnit, NeedsContext) as wrong:
                self.add_error("unit", str(wrong))
        return said

    def _post_clean(self) -> None:
        """As Django's, but for the constraints: its own would leave out those with the parent, and speak of names."""
        self.instance = forms.models.construct_instance(self, self.instance, self._meta.fields)
        left_out = self._get_validation_exclusions()  # type: ignore[attr-defined]  # the stubs leave it out
        try:
            self.instance.full_clean(exclude=left_out, validate_unique=False, validate_constraints=False)
        except forms.ValidationError as wrong:
            self._update_errors(wrong)  # type: ignore[attr-defined]  # the same
        self.validate_unique()
        self._keep_the_law()

    def _keep_the_law(self) -> None:
        failed = set(self.errors)
        for law in self.instance._meta.constraints:
            try:
                law.validate(type(self.instance), self.instance, exclude=failed)
            except forms.ValidationError:
                field, sentence = SENTENCES[law.name]
                self.add_error(field if field in self.fields else None, sentence)


def form_of(kind: Kind, *, parent: Model | None, row: Model | None, prices: bool, posted: Any = None) -> Any:
    """The form of one kind: only its fields, choices only from where the parent stands."""
    fields = [f for f in kind.fields if prices or f not in kind.guarded]
    made = forms.modelform_factory(
        kind.model,
        form=OwnForm,
        formfield_callback=_field_of,
        fields=fields,
        labels={k: v for k, v in LABELS.items() if k in fields},
    )
    instance = row or kind.model(**({kind.parent: parent} if parent is not None else {}))
    form = made(posted, instance=instance)
    _narrow(form, kind, parent)
    if kind.model is Livestock and row is None:
        form.fields["number"] = number_of_animals()
        form.order_fields(["name", "number"])
    return form


def _narrow(form: Any, kind: Kind, parent: Model | None) -> None:
    fields = form.fields
    for name, field in fields.items():
        if isinstance(field, forms.DateField):
            field.widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
        if isinstance(field, forms.TimeField):
            field.widget = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
        if isinstance(field, forms.ModelChoiceField) and field.empty_label is not None:
            field.empty_label = _("none chosen")
        if isinstance(field, forms.ModelMultipleChoiceField):
            field.widget = forms.CheckboxSelectMultiple()
        if isinstance(field, forms.FloatField):
            field.widget = forms.TextInput(attrs={"inputmode": "decimal"})
            field.localize = False
        if name == "parameter":
            fields[name] = forms.ChoiceField(label=_("Parameter"), choices=NAMES)
        if name in TICKED:
            fields[name] = forms.MultipleChoiceField(
                label=LABELS[name], choices=TICKED[name], required=False, widget=forms.CheckboxSelectMultiple
            )
        if name == "weekdays":
            fields[name] = forms.TypedMultipleChoiceField(
                label=LABELS[name], choices=WEEKDAYS, coerce=int, widget=forms.CheckboxSelectMultiple
            )
        if name == "weekday":
            fields[name] = forms.TypedChoiceField(label=LABELS["weekday"], choices=WEEKDAYS, coerce=int)
        if name == "second_weekday":
            none = ("", _("none: once a week or less often"))
            fields[name] = forms.TypedChoiceField(
                label=LABELS[name], choices=[none, *WEEKDAYS], coerce=int, required=False, empty_value=None
            )
    for name, most in (("lat", 90), ("lon", 180), ("home_lat", 90), ("home_lon", 180)):
        if name in fields:
            fields[name].validators += [MinValueValidator(-most), MaxValueValidator(most)]
    for name in ("technician", "keeper"):
        if name in fields:
            fields[name].queryset = User.objects.filter(role="technician", is_active=True).order_by("name")
    if "through" in fields:
        fields["through"].queryset = relays_for(form.instance)
    _narrow_choices(fields, parent)


def _narrow_choices(fields: Any, parent: Model | None) -> None:
    """Choices only from where the parent stands, and only of ours."""
    if "person" in fields:
        fields["person"].queryset = User.objects.filter(
            role__in=("owner", "office", "technician"), is_active=True
        ).order_by("name")
    if isinstance(parent, Tank | Instrument):
        tank = parent if isinstance(parent, Tank) else parent.tank
        for name in ("dosing_channel", "channel"):
            if name in fields:
                fields[name].queryset = Channel.objects.filter(tank=tank, retired_on__isnull=True)
    if isinstance(parent, Site):
        for name in ("tank", "tanks"):
            if name in fields:
                fields[name].queryset = Tank.objects.filter(site=parent, retired_on__isnull=True).order_by(
                    "order"
                )
    if isinstance(parent, Tank) and "equipment" in fields:
        fields["equipment"].queryset = Equipment.objects.filter(
            site=parent.site, retired_on__isnull=True
        ).order_by("name")


BAND_WORDS = {
    "alarm_low": _("Lower limit"),
    "low": _("Low"),
    "target": _("Target"),
    "high": _("High"),
    "alarm_high": _("Upper limit"),
    "max_rise_per_day": _("Rise a day"),
    "max_fall_per_day": _("Fall a day"),
}


class BandsForm(forms.Form):
    """All bands of a tank: seven numbers per parameter, in the unit in which it is shown."""

    def __init__(self, posted: Any, *, rows: list[BandRow]) -> None:
        super().__init__(posted)
        self.rows = rows
        for row in rows:
            for column in COLUMNS:
                self.fields[f"{row.parameter}-{column}"] = forms.CharField(
                    label=f"{row.name}: {BAND_WORDS[column]}",
                    max_length=20,
                    required=False,
                    initial=row.start.get(column, ""),
                    widget=forms.TextInput(attrs={"inputmode": "decimal"}),
                )

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        self.limits = {row.parameter: self._numbers(row, said) for row in self.rows}
        for row in self.rows:
            self._in_order(row, self.limits[row.parameter])
        return said

    def _numbers(self, row: BandRow, said: dict[str, Any]) -> dict[str, float]:
        """What was typed for a parameter, canonical units; each that cannot be is refused at its place."""
        numbers, known = {}, parameter(row.parameter)
        for column in COLUMNS:
            name = f"{row.parameter}-{column}"
            text = said.get(name, "")
            if not text:
                continue
            try:
                value = from_unit(row.parameter, column, parse_typed(text), row.unit)
            except TypedWrong as wrong:
                self.add_error(name, str(wrong))
                continue
            if column in CHANGES and value <= 0:
                self.add_error(name, _("More than nought, or leave it empty."))
            elif column in LEVELS and not known.physical_low <= value <= known.physical_high:
                self.add_error(name, _("This cannot be in water."))
            numbers[column] = value
        return numbers

    def _in_order(self, row: BandRow, numbers: dict[str, float]) -> None:
        """Lower limit, low, target, high, upper limit rise from left to right; only low and high may not be alike."""
        there = [c for c in LEVELS if c in numbers]
        for below, above in zip(there, there[1:], strict=False):
            if numbers[below] > numbers[above]:
                words = {"above": BAND_WORDS[above], "below": BAND_WORDS[below]}
                self.add_error(f"{row.parameter}-{above}", _("%(above)s is under %(below)s.") % words)
        if "low" in numbers and numbers["low"] == numbers.get("high"):
            self.add_error(f"{row.parameter}-high", _("Low and high are alike. Leave room between them."))

    def wanted(self) -> dict[str, tuple[str, dict[str, float | None]]]:
        """What was changed, by parameter; what was left as it stood is not written again."""
        found = {}
        for row in self.rows:
            typed = {c: self.cleaned_data[f"{row.parameter}-{c}"] for c in COLUMNS}
            changed: dict[str, float | None] = {
                c: self.limits[row.parameter].get(c) for c in COLUMNS if typed[c] != row.start.get(c, "")
            }
            if changed:
                found[row.parameter] = (row.unit, changed)
        return found
