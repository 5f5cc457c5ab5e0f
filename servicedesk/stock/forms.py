"""What people type about supplies that come, go and are counted."""

from typing import Any
from uuid import uuid4

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from servicedesk.core.units import TypedWrong, parse_typed
from servicedesk.stock.models import Item, Lot, Place


class TypedNumber(forms.CharField):
    """A number with a dot or a comma, with the house's sentences for what is none."""

    def __init__(self, **given: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs={"inputmode": "decimal"}), max_length=20, **given)

    def clean(self, value: Any) -> float | None:
        text = super().clean(value)
        if not text:
            return None
        try:
            return parse_typed(text)
        except TypedWrong as wrong:
            raise forms.ValidationError(str(wrong)) from wrong


class _Amount(forms.Form):
    """How much, in packs or in the item's unit, and the id by which sending it twice is one booking."""

    quantity = TypedNumber(label=_("How much"))
    counted_in = forms.ChoiceField(label=_("Counted in"))
    entry = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)

    def __init__(self, posted: Any, *, item: Item, **given: Any) -> None:
        super().__init__(posted, **given)
        self.item = item
        choices = [("unit", item.get_unit_display())]
        if item.pack_size != 1:
            pack = _("packs of %(n)g %(unit)s") % {"n": item.pack_size, "unit": item.get_unit_display()}
            choices.insert(0, ("pack", pack))
        self.fields["counted_in"].choices = choices  # type: ignore[attr-defined]

    def amount(self) -> float:
        """What was typed, in the item's unit."""
        said = self.cleaned_data
        factor = self.item.pack_size if said["counted_in"] == "pack" else 1.0
        return float(said["quantity"]) * factor


class ReceiptForm(_Amount):
    place = forms.ModelChoiceField(label=_("Where it goes"), queryset=Place.objects.none(), empty_label=None)
    code = forms.CharField(label=_("Lot, as on the label"), max_length=40, required=False)
    expires_on = forms.DateField(
        label=_("Expires on"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    price = forms.DecimalField(
        label=_("Price per pack"),
        max_digits=9,
        decimal_places=2,
        min_value=0,
        required=False,
        localize=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        help_text=_("Becomes the price of this supply."),
    )
    field_order = ["quantity", "counted_in", "place", "code", "expires_on", "price", "entry"]

    def __init__(
        self, posted: Any, *, item: Item, places: QuerySet[Place], prices: bool, currency: str, **given: Any
    ) -> None:
        super().__init__(posted, item=item, **given)
        self.fields["place"].queryset = places  # type: ignore[attr-defined]
        if not places.exists():
            del self.fields["place"]
        elif posted is not None and "place" not in posted:
            # the page was made before the first place was: sending it twice makes that place in between
            self.fields["place"].required = False
        if not prices:
            del self.fields["price"]
        else:
            label = _("Price per pack, %(currency)s") % {"currency": currency}
            self.fields["price"].label = label

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("expires_on") and not said.get("code"):
            self.add_error("code", _("A date needs its lot: type the code that stands beside it."))
        return said


class CountForm(_Amount):
    quantity = TypedNumber(label=_("There are"))
    place = forms.ModelChoiceField(label=_("Where"), queryset=Place.objects.none(), empty_label=None)
    lot = forms.ModelChoiceField(
        label=_("Of which lot"),
        queryset=Lot.objects.none(),
        required=False,
        empty_label=_("all lots together"),
    )
    field_order = ["quantity", "counted_in", "place", "lot", "entry"]

    def __init__(self, posted: Any, *, item: Item, places: QuerySet[Place], **given: Any) -> None:
        super().__init__(posted, item=item, **given)
        self.fields["place"].queryset = places  # type: ignore[attr-defined]
        lots = Lot.objects.filter(item=item).order_by("expires_on", "code", "pk")
        self.fields["lot"].queryset = lots  # type: ignore[attr-defined]


class MoveForm(_Amount):
    start = forms.ModelChoiceField(label=_("From"), queryset=Place.objects.none(), empty_label=None)
    end = forms.ModelChoiceField(label=_("To"), queryset=Place.objects.none(), empty_label=None)
    lot = forms.ModelChoiceField(
        label=_("Of which lot"), queryset=Lot.objects.none(), required=False, empty_label=_("not said")
    )
    field_order = ["quantity", "counted_in", "start", "end", "lot", "entry"]

    def __init__(self, posted: Any, *, item: Item, places: QuerySet[Place], **given: Any) -> None:
        super().__init__(posted, item=item, **given)
        for name in ("start", "end"):
            self.fields[name].queryset = places  # type: ignore[attr-defined]
        lots = Lot.objects.filter(item=item).order_by("expires_on", "code", "pk")
        self.fields["lot"].queryset = lots  # type: ignore[attr-defined]
