"""Choosing where a visit goes; a note for whoever comes next."""

from collections.abc import Iterable
from datetime import date
from html import escape
from typing import Any
from uuid import UUID

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db.models import QuerySet
from django.forms.utils import flatatt
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext_lazy as _

from clients.models import Site
from servicedesk.core.units import TypedWrong, parse_typed
from servicedesk.rounds.models import DueVisit, Roads
from servicedesk.rounds.queries.broken import OpenStop
from servicedesk.staff.choices import Role
from servicedesk.staff.models import User

LAST = 99


def _among(form: forms.Form, name: str, rows: QuerySet[Any]) -> None:
    """A field chooses among these rows."""
    form.fields[name].queryset = rows  # type: ignore[attr-defined]  # the form makes it one that chooses among rows


def _worded(form: forms.Form, name: str, choices: Iterable[tuple[Any, Any]]) -> None:
    """A field offers its choices in these words."""
    form.fields[name].choices = choices  # type: ignore[attr-defined]  # the form makes it one of choices


class Select(forms.Select):
    """A list of choices written at once: the framework draws a template for each, which shows with a day of many stops."""

    def render(self, name: str, value: Any, attrs: Any = None, renderer: Any = None) -> SafeString:
        """The element."""
        chosen = "" if value is None else str(value)
        options = "".join(
            f'<option value="{escape(str(key))}"{" selected" if str(key) == chosen else ""}>{escape(str(label))}</option>'
            for key, label in self.choices
        )
        return format_html(
            "<select{}>{}</select>",
            flatatt({**self.build_attrs(self.attrs, attrs), "name": name}),
            mark_safe(options),  # noqa: S308  each word of it is escaped
        )


class PlaceForm(forms.Form):
    technician = forms.ModelChoiceField(
        label=_("Technician"),
        queryset=User.objects.none(),
        empty_label=None,
        error_messages={"invalid_choice": _("Choose one of the technicians.")},
    )
    day = forms.DateField(label=_("Day"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    planned_at = forms.TimeField(
        label=_("Time"), widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )
    order = forms.IntegerField(
        label=_("Place in the order"),
        min_value=1,
        max_value=LAST,
        required=False,
        help_text=_("1 is the first stop; left empty, it comes last. The ones behind it step back."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = User.objects.filter(role=Role.TECHNICIAN, is_active=True).order_by("name", "pk")
        _among(self, "technician", rows)

    def clean_order(self) -> int:
        """An empty place is the last."""
        return self.cleaned_data["order"] or LAST


class CancelledForm(forms.Form):
    due_visit = forms.ModelChoiceField(
        label=_("Visit"),
        widget=Select,
        queryset=DueVisit.objects.none(),
        empty_label=_("Choose a visit"),
        error_messages={"invalid_choice": _("Choose one of the visits that are still to come.")},
    )

    def __init__(self, *args: Any, stops: list[OpenStop], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _among(self, "due_visit", DueVisit.objects.filter(pk__in=[s.due_visit for s in stops]))
        words = {s.due_visit: f"{s.site}, {s.planned_at:%H:%M}, {s.name}" for s in stops}
        _worded(self, "due_visit", [("", _("Choose a visit")), *words.items()])


class SickForm(forms.Form):
    person = forms.ModelChoiceField(
        label=_("Technician"),
        widget=Select,
        queryset=User.objects.none(),
        empty_label=_("Choose a technician"),
        error_messages={"invalid_choice": _("Choose one of the technicians.")},
    )

    def __init__(self, *args: Any, drivers: dict[UUID, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _among(self, "person", User.objects.filter(pk__in=drivers))
        _worded(self, "person", [("", _("Choose a technician")), *drivers.items()])


class AwayForm(SickForm):
    away_until = forms.DateField(
        label=_("Away until"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text=_("Left empty: today only. The rota and planning reckon without them."),
    )


class LateForm(SickForm):
    minutes = forms.IntegerField(label=_("Minutes late"), min_value=1, max_value=480)


class CallOutForm(forms.Form):
    site = forms.ModelChoiceField(
        label=_("Site"),
        widget=Select,
        queryset=Site.objects.none(),
        empty_label=_("Choose a site"),
        error_messages={"invalid_choice": _("Choose one of your sites.")},
    )
    why = forms.CharField(label=_("What is wrong there"), max_length=200)
    until = forms.TimeField(
        label=_("Somebody must be there by"),
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
    )
    minutes = forms.IntegerField(label=_("Minutes there"), min_value=5, max_value=480, initial=60)
    override = forms.BooleanField(
        label=_("A tank there is in isolation and cannot wait until the end of a round"),
        required=False,
        help_text=_(
            "In an emergency only: other tanks come after it, so everything that got wet is disinfected first. 15 minutes are added for that."
        ),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = Site.objects.filter(retired_on__isnull=True).order_by("name", "pk")
        _among(self, "site", rows)
        _worded(self, "site", [("", _("Choose a site")), *rows.values_list("pk", "name")])


class NoteForm(forms.Form):
    entry = forms.UUIDField(widget=forms.HiddenInput)
    site = forms.ModelChoiceField(
        label=_("Site"),
        widget=Select,
        queryset=Site.objects.none(),
        empty_label=_("Choose a site"),
        error_messages={"invalid_choice": _("Choose one of your sites.")},
    )
    text = forms.CharField(
        label=_("What the next one must know"), max_length=500, widget=forms.Textarea(attrs={"rows": 3})
    )
    for_office = forms.BooleanField(
        label=_("For the office only"),
        required=False,
        help_text=_("Otherwise it stands on the next stop there."),
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _among(self, "site", sites)


class ElsewhereForm(forms.Form):
    """Where a stop of a proposed week is to go."""

    technician = forms.ModelChoiceField(
        label=_("By whom"),
        queryset=User.objects.none(),
        empty_label=None,
        error_messages={"invalid_choice": _("Choose one of the technicians.")},
    )
    day = forms.TypedChoiceField(
        label=_("On which day"),
        coerce=date.fromisoformat,
        error_messages={"invalid_choice": _("That day is not in this week.")},
    )
    order = forms.IntegerField(
        label=_("As which stop"),
        min_value=1,
        max_value=LAST,
        required=False,
        help_text=_("1 is the first of the day. Left empty, it goes where it costs and breaks least."),
    )
    moves = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, days: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = User.objects.filter(role=Role.TECHNICIAN, is_active=True).order_by("name", "pk")
        _among(self, "technician", rows)
        _worded(self, "day", days)


class _Number(forms.FloatField):
    """A number with a dot or a comma within two limits, with a sentence for what is none."""

    def __init__(self, *, least: float, most: float, **rest: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs={"inputmode": "decimal"}), **rest)
        words = _("From %(least)s to %(most)s.") % {"least": f"{least:g}", "most": f"{most:g}"}
        self.validators = [MinValueValidator(least, words), MaxValueValidator(most, words)]

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values:
            return None
        try:
            return parse_typed(str(value))
        except TypedWrong as wrong:
            raise forms.ValidationError(str(wrong)) from wrong

    def prepare_value(self, value: Any) -> Any:
        return f"{value:g}" if isinstance(value, float) else value


def _bound(column: str, label: Any) -> _Number:
    """A field whose limits are the column's."""
    known: Any = Roads._meta.get_field(column)
    limits = {type(law): law.limit_value for law in known.validators}
    return _Number(
        least=limits[MinValueValidator],
        most=limits[MaxValueValidator],
        label=label,
    )


class RoadsForm(forms.Form):
    """How straight lines become minutes."""

    near_km = _bound("near_km", _("Near: up to so many km of straight line"))
    near_factor = _bound("near_factor", _("Near: the road is so many times as long"))
    near_kmh = _bound("near_kmh", _("Near: driven at, km/h"))
    middle_km = _bound("middle_km", _("Farther: up to so many km of straight line"))
    middle_factor = _bound("middle_factor", _("Farther: the road is so many times as long"))
    middle_kmh = _bound("middle_kmh", _("Farther: driven at, km/h"))
    far_factor = _bound("far_factor", _("Beyond: the road is so many times as long"))
    far_kmh = _bound("far_kmh", _("Beyond: driven at, km/h"))
    leg_minutes = _bound("leg_minutes", _("Minutes for each way beside: out of the van, into the van"))

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        near, middle = said.get("near_km"), said.get("middle_km")
        if near is not None and middle is not None and middle <= near:
            self.add_error("middle_km", _("Farther ends later than near does."))
        return said


class MasterForm(forms.Form):
    """Which weeks a master round is worked out for, how long, and how gladly habits are changed."""

    first = forms.DateField(
        label=_("From this Monday on"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    weeks = forms.TypedChoiceField(
        label=_("Weeks in the cycle"),
        coerce=int,
        choices=((4, _("four weeks")), (8, _("eight weeks")), (12, _("twelve weeks"))),
        initial=4,
    )
    reluctance = forms.TypedChoiceField(
        label=_("Change a habit"),
        coerce=float,
        choices=(
            ("3", _("only where it saves much")),
            ("1", _("where it pays")),
            ("0.25", _("wherever it is better")),
        ),
        initial="1",
        help_text=_(
            "Another weekday pays from 20 minutes at the wheel in these weeks, other weeks from 5, another technician from 30."
        ),
    )
    seconds = forms.TypedChoiceField(
        label=_("Search for"),
        coerce=int,
        choices=((60, _("a minute")), (180, _("three minutes")), (600, _("ten minutes"))),
        initial=60,
        help_text=_("A minute is plenty for up to 200 clients, ten minutes for 2,000."),
    )

    def __init__(self, *args: Any, first: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["first"].initial = first
