"""What people type about themselves and their business."""

from datetime import date
from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.password_validation import validate_password
from django.utils.translation import gettext_lazy as _

from servicedesk.staff.choices import Role
from servicedesk.web.feasts import NoSuchPlace, public_holidays


class SignInForm(AuthenticationForm):
    """Mail address and password. The same sentence for an unknown address and a wrong password."""

    error_messages = {
        "invalid_login": _("This address and password do not belong together. Try again, or ask the owner."),
        "inactive": _("This address and password do not belong together. Try again, or ask the owner."),
    }

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["username"].label = _("Mail address")
        self.fields["username"].widget.attrs.update(
            {"autocomplete": "username", "inputmode": "email", "autocapitalize": "none"}
        )
        self.fields["password"].widget.attrs["autocomplete"] = "current-password"

    def clean_username(self) -> str:
        return str(self.cleaned_data["username"]).strip().lower()


def _zone(value: str) -> None:
    if value not in available_timezones():
        raise forms.ValidationError(_("This is not a time zone. Write it like Europe/London."))


class BusinessForm(forms.Form):
    name = forms.CharField(label=_("Name of the business"), max_length=120)
    address = forms.CharField(label=_("Address"), max_length=200, required=False)
    phone = forms.CharField(label=_("Phone"), max_length=40, required=False)
    emergency_phone = forms.CharField(
        label=_("Emergency number"), max_length=40, required=False, help_text=_("Stands on every report.")
    )
    email = forms.EmailField(label=_("Mail address"), required=False)
    zone = forms.CharField(label=_("Time zone"), max_length=60, initial="Europe/London", validators=[_zone])
    currency = forms.RegexField(
        r"^[A-Z]{3}$", label=_("Currency"), initial="EUR", help_text=_("Three letters.")
    )
    country = forms.RegexField(
        r"^[A-Z]{2}$",
        label=_("Country whose public holidays you keep"),
        required=False,
        help_text=_("Two letters of ISO 3166, such as GB; empty: none are kept."),
    )
    region = forms.RegexField(
        r"^[A-Z0-9]{1,6}$",
        label=_("Region of that country"),
        required=False,
        help_text=_(
            "What follows the country in ISO 3166-2, such as SCT; empty: those of the whole country."
        ),
    )

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("region") and not said.get("country"):
            self.add_error("country", _("Say of which country."))
        elif said.get("country") and not self.errors:
            day = date(2026, 1, 1)
            try:
                public_holidays(said["country"], said.get("region", ""), day, day)
            except NoSuchPlace as wrong:
                self.add_error("region" if said.get("region") else "country", str(wrong))
        return said


class PasswordsMixin(forms.Form):
    password = forms.CharField(
        label=_("Password"),
        max_length=128,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=_("15 signs or more. A few words in a row are good."),
    )

    def clean_password(self) -> str:
        password = str(self.cleaned_data["password"])
        validate_password(password)
        return password


class PasswordOrLinkForm(PasswordsMixin):
    """A password, or none: then a link by which one is chosen goes out by mail."""

    def __init__(self, *args: Any, **given: Any) -> None:
        super().__init__(*args, **given)
        self.fields["password"].required = False
        self.fields["password"].help_text = _(
            "15 signs or more. Left empty, a link to choose one goes by mail."
        )

    def clean_password(self) -> str:
        return super().clean_password() if self.cleaned_data["password"] else ""


class ForgottenForm(forms.Form):
    email = forms.EmailField(
        label=_("Your mail address"), widget=forms.EmailInput(attrs={"autocomplete": "username"})
    )


class NewPasswordForm(PasswordsMixin):
    """A new password by a link; `user` is whom the link was for."""

    def __init__(self, user: object, *args: Any, **given: Any) -> None:
        super().__init__(*args, **given)
        self.fields["password"].label = _("Your new password")


class OwnPasswordForm(PasswordsMixin):
    current = forms.CharField(
        label=_("Your password now"),
        max_length=128,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    field_order = ["current", "password"]

    def __init__(self, *args: Any, **given: Any) -> None:
        super().__init__(*args, **given)
        self.fields["password"].label = _("Your new password")


class OwnerForm(PasswordsMixin):
    owner_name = forms.CharField(label=_("Your name"), max_length=80)
    owner_email = forms.EmailField(label=_("Your mail address"))
    field_order = ["owner_name", "owner_email", "password"]


class PersonForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=80)
    email = forms.EmailField(label=_("Mail address"))
    phone = forms.CharField(label=_("Phone"), max_length=40, required=False)
    role = forms.ChoiceField(
        label=_("Role"),
        choices=[(r.value, r.label) for r in (Role.TECHNICIAN, Role.OFFICE, Role.OWNER)],
    )


class NewPersonForm(PersonForm, PasswordOrLinkForm):
    field_order = ["name", "email", "phone", "role", "password"]
