"""What is typed beside the photo of a display."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from django import forms
from django.utils.text import capfirst
from django.utils.translation import gettext_lazy as _

from servicedesk.desk.forms.own import TypedFloat
from servicedesk.desk.queries.display import Asked
from servicedesk.instruments.actions import Shown
from servicedesk.instruments.choices import SignKind

TYPED = {"inputmode": "decimal", "autocomplete": "off"}
MINUTE = "%Y-%m-%dT%H:%M"


class PhotoForm(forms.Form):
    """The photo itself, under an id of its own, so that sending it twice makes one."""

    key = forms.CharField(initial=uuid4, required=False, widget=forms.HiddenInput)
    photo = forms.FileField(
        label=_("A photo of its display"),
        help_text=_(
            "JPEG, PNG or WebP, at most 15 MB. Where it was taken is not kept; the camera’s time is, as a suggestion."
        ),
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp", "data-display-file": ""}),
    )
    note = forms.CharField(
        label=_("A note beside the photo"),
        help_text=_("Such as who sent it."),
        max_length=200,
        required=False,
    )

    def clean_key(self) -> UUID:
        return key_in(self.cleaned_data["key"]) or uuid4()


def key_in(text: Any) -> UUID | None:
    """The id that a text holds, if it holds one."""
    try:
        return UUID(str(text))
    except ValueError:
        return None


class ShownForm(forms.Form):
    """One field for each measure in the unit the display shows, what it says of itself, and when that was. Values are kept as they were typed
    where anything is refused."""

    def __init__(
        self,
        posted: Any = None,
        *,
        asked: Sequence[Asked],
        signs: Sequence[str],
        stand: Mapping[str, str],
        at: datetime,
    ) -> None:
        super().__init__(posted)
        self.asked, self.signs, self.stand = asked, signs, stand
        for row in asked:
            self.fields[f"value-{row.key}"] = TypedFloat(
                label=row.name, help_text=row.help, required=False, widget=forms.TextInput(attrs=TYPED)
            )
        for kind in (kind for kind in signs if kind != SignKind.NOTE):
            self.fields[f"on-{kind}"] = forms.BooleanField(
                label=capfirst(SignKind(kind).label), required=False
            )
            if kind in stand:
                self.fields[f"gone-{kind}"] = forms.BooleanField(
                    label=_("No longer: %(what)s") % {"what": SignKind(kind).label},
                    help_text=stand[kind],
                    required=False,
                )
        self.fields["says"] = forms.CharField(
            label=_("Its own words or code"), max_length=100, required=False
        )
        self.fields["at"] = forms.DateTimeField(
            label=_("When it showed this"),
            initial=at,
            input_formats=[MINUTE, f"{MINUTE}:%S"],
            widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format=MINUTE),
        )

    def values(self) -> list[tuple[forms.BoundField, str]]:
        """The fields of the measures, each with the unit it shows."""
        return [(self[f"value-{row.key}"], row.unit_word) for row in self.asked]

    def ticks(self) -> list[forms.BoundField]:
        """The ticks for what it says of itself."""
        return [self[name] for name in self.fields if name.startswith(("on-", "gone-"))]

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        for kind in self.stand:
            if said.get(f"on-{kind}") and said.get(f"gone-{kind}"):
                self.add_error(f"gone-{kind}", _("It cannot show both. Tick one of the two."))
        return said

    def typed(self) -> bool:
        """Whether anything but the time was typed or ticked."""
        return any(str(self.data.get(name, "")).strip() for name in self.fields if name != "at")

    def shown(self, *, at: datetime | None = None) -> Shown:
        """What was typed, for the action; `at` in place of the typed time. Words without a tick are a note."""
        said = self.cleaned_data
        on = [kind for kind in self.signs if said.get(f"on-{kind}")]
        if said["says"] and not on and SignKind.NOTE in self.signs:
            on = [SignKind.NOTE.value]
        return Shown(
            at=at or said["at"],
            values={
                UUID(str(row.key)): said[f"value-{row.key}"]
                for row in self.asked
                if said.get(f"value-{row.key}") is not None
            },
            on=on,
            gone=[kind for kind in self.stand if said.get(f"gone-{kind}")],
            says=said["says"],
        )


class AsideForm(forms.Form):
    why = forms.CharField(label=_("Why it is not read"), max_length=200)


class CorrectForm(forms.Form):
    """A value that was typed wrongly: what the display shows, or nothing where it shows none."""

    key = forms.UUIDField(initial=uuid4, widget=forms.HiddenInput)
    reading = forms.IntegerField(widget=forms.HiddenInput)
    new = TypedFloat(
        label=_("What the photo shows"),
        help_text=_("Leave it empty to take the value out."),
        required=False,
        widget=forms.TextInput(attrs=TYPED),
    )
    why = forms.CharField(label=_("Why it is corrected"), max_length=200, initial=_("typed wrongly"))
