"""What every page needs to know about its reader: the light, the hand, the way about, and the name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

Entry = tuple[str | Promise, str]

NAVIGATION: dict[str, Sequence[Entry]] = {
    "owner": (
        (_("Today"), "desk:today"),
        (_("Week"), "rounds:week"),
        (_("Tanks"), "desk:tanks"),
        (_("Upkeep"), "desk:upkeep"),
        (_("Stores"), "desk:stores"),
        (_("Clients"), "desk:clients"),
        (_("Reports"), "reports:list"),
        (_("Set-up"), "desk:setup"),
    ),
    "technician": (
        (_("Round"), "rounds:today"),
        (_("Load"), "rounds:load"),
        (_("Van"), "stock:van"),
        (_("Look up"), "rounds:look_up"),
        (_("Hand over"), "desk:hand_over"),
    ),
    "client": (
        (_("My tanks"), "desk:door"),
        (_("Reports"), "reports:list"),
    ),
}
NAVIGATION["office"] = [entry for entry in NAVIGATION["owner"] if entry[1] != "desk:setup"]
"""Role: its pages in order. A page that is not there yet is left out."""

LIGHTS: Sequence[Entry] = (
    (_("As the device"), "device"),
    (_("Day"), "day"),
    (_("Cellar"), "cellar"),
    (_("Sun"), "sun"),
)
HANDS: Sequence[Entry] = ((_("Right"), "right"), (_("Left"), "left"))


@dataclass(frozen=True, slots=True)
class NavItem:
    """One word of the top line."""

    label: str
    url: str
    here: bool


@dataclass(frozen=True, slots=True)
class Choice:
    """One of the choices in a person's menu."""

    label: str
    value: str
    chosen: bool


def page(request: HttpRequest) -> dict[str, object]:
    """Context processor: light, hand, navigation and name. A visitor who is not signed in gets the device's light."""
    person = getattr(request, "user", None)
    signed_in = bool(person and person.is_authenticated)
    light = (getattr(person, "light", "") if signed_in else "") or "device"
    hand = (getattr(person, "hand", "") if signed_in else "") or "right"
    role = str(getattr(person, "role", "")) if signed_in else ""
    return {
        "light": light,
        "hand": hand,
        "person_name": person_name(person) if signed_in else "",
        "signed_in": signed_in,
        "nav": nav_items(role, path=request.path),
        "light_choices": _choices(LIGHTS, light),
        "hand_choices": _choices(HANDS, hand),
    }


def person_name(person: object) -> str:
    """The name a person goes by; the sign-in name when none is known."""
    full = getattr(person, "get_full_name", None)
    return getattr(person, "name", "") or (full() if full else "") or str(person)


def nav_items(role: str, *, path: str) -> list[NavItem]:
    """The pages of a role. The one whose address is the longest beginning of ``path`` is the one you are on."""
    known = [(str(label), url) for label, name in NAVIGATION.get(role, ()) if (url := _address(name))]
    begun = [url for _label, url in known if path.startswith(url) and (url != "/" or path == "/")]
    here = max(begun, key=len, default="")
    return [NavItem(label=label, url=url, here=url == here) for label, url in known]


def _address(name: str) -> str:
    try:
        return reverse(name)
    except NoReverseMatch:
        return ""


def _choices(entries: Sequence[Entry], chosen: str) -> list[Choice]:
    return [Choice(label=str(label), value=value, chosen=value == chosen) for label, value in entries]
