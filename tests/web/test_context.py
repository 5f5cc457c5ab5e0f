"""What every page knows about its reader."""

from dataclasses import dataclass

import pytest
from django.http import HttpRequest
from django.test import RequestFactory
from django.urls import path

from servicedesk.web import context

urlpatterns = [
    path("", lambda request: None, name="first"),
    path("tanks/", lambda request: None, name="tanks"),
]
urlpatterns += [path("tanks/old/", lambda request: None, name="old")]


@dataclass
class Reader:
    """Somebody who asks for a page."""

    name: str = "Ilka"
    role: str = "owner"
    light: str = ""
    hand: str = "left"
    is_authenticated: bool = True


@pytest.fixture(autouse=True)
def _pages(settings: object, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.ROOT_URLCONF = __name__  # type: ignore[attr-defined]
    pages = (("First", "first"), ("Tanks", "tanks"), ("Gone", "nowhere:at_all"), ("Old", "old"))
    monkeypatch.setitem(context.NAVIGATION, "owner", pages)  # type: ignore[arg-type]


def request_of(reader: object, address: str = "/") -> HttpRequest:
    request = RequestFactory().get(address)
    request.user = reader  # type: ignore[assignment]
    return request


def test_a_visitor_has_no_pages_and_the_light_of_the_device() -> None:
    known = context.page(request_of(Reader(is_authenticated=False, light="sun")))

    assert (known["nav"], known["light"], known["hand"], known["person_name"]) == ([], "device", "right", "")


def test_a_page_that_is_not_there_is_left_out() -> None:
    assert [item.label for item in context.nav_items("owner", path="/")] == ["First", "Tanks", "Old"]


@pytest.mark.parametrize(
    ("address", "here"),
    [
        ("/", ["First"]),
        ("/tanks/", ["Tanks"]),
        ("/tanks/7/", ["Tanks"]),
        ("/tanks/old/", ["Old"]),
        ("/other/", []),
    ],
)
def test_one_is_on_the_page_whose_address_reaches_furthest(address: str, here: list[str]) -> None:
    assert [item.label for item in context.nav_items("owner", path=address) if item.here] == here


def test_a_role_without_pages_has_none() -> None:
    assert context.nav_items("instrument", path="/") == []


def test_a_person_s_choices_are_marked() -> None:
    known = context.page(request_of(Reader(light="cellar")))

    assert [choice.value for choice in known["light_choices"] if choice.chosen] == ["cellar"]  # type: ignore[attr-defined]
    assert [choice.value for choice in known["hand_choices"] if choice.chosen] == ["left"]  # type: ignore[attr-defined]
    assert (known["light"], known["hand"], known["person_name"]) == ("cellar", "left", "Ilka")


def test_the_office_has_the_owners_pages_but_not_the_set_up() -> None:
    names = [name for _label, name in context.NAVIGATION["office"]]

    assert names == [
        "desk:today",
        "rounds:week",
        "desk:tanks",
        "desk:upkeep",
        "desk:stores",
        "desk:clients",
        "reports:list",
    ]
