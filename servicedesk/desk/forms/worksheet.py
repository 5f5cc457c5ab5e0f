"""A worksheet as a form."""

from typing import Any

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS
from django.forms.utils import ErrorDict

from servicedesk.core.worksheets import Refused, Result, Worksheet, answer


class WorksheetForm(forms.Form):
    """A worksheet's asks as fields. Everything is read by the core, so that page, API and core refuse alike."""

    def __init__(self, sheet: Worksheet, typed: dict[str, str] | None, **kwargs: Any) -> None:
        super().__init__(typed, auto_id="ask_%s", **kwargs)
        self.sheet = sheet
        for ask in sheet.asks:
            words: dict[str, Any] = {"label": ask.label, "help_text": ask.hint}
            if ask.kind == "choice":
                field: forms.Field = forms.ChoiceField(choices=ask.choices, **words)
            else:
                widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
                field = forms.CharField(widget=widget, required=not ask.optional, **words)
            field.widget.is_required = False  # what is missing is said in words, by the answer
            self.fields[ask.key] = field

    def parts(self) -> list[tuple[str, list[tuple[forms.BoundField, str]]]]:
        """Fields under their headings, each with its unit."""
        found: dict[str, list[tuple[forms.BoundField, str]]] = {}
        for ask in self.sheet.asks:
            found.setdefault(ask.part, []).append((self[ask.key], ask.unit))
        return list(found.items())

    def worked(self) -> Result | None:
        """What came out; None where something is refused, which the fields then say."""
        self._errors = ErrorDict()
        try:
            return answer(self.sheet, {key: str(self.data.get(key, "")) for key in self.fields})
        except Refused as refused:
            for key, words in refused.fields.items():
                self._errors[key or NON_FIELD_ERRORS] = self.error_class([words], renderer=self.renderer)
            return None
