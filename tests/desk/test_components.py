"""The page of components: who meets it, and that it keeps the rules of every page."""

import re
from types import SimpleNamespace

import pytest
from django.http import Http404
from django.test import RequestFactory

from servicedesk.core.drawing.glyphs import GLYPHS
from servicedesk.desk.views.components import components


def page(user: object) -> str:
    request = RequestFactory().get("/components/")
    request.user = user  # type: ignore[assignment]
    request.csp_nonce = ""  # type: ignore[attr-defined]
    return components(request).content.decode()


def person(*, is_owner: bool) -> SimpleNamespace:
    return SimpleNamespace(
        is_authenticated=True, is_owner=is_owner, role="owner", name="Ilka", light="", hand=""
    )


def test_the_components_are_nothing_to_a_technician(settings: object) -> None:
    settings.DEBUG = False  # type: ignore[attr-defined]

    with pytest.raises(Http404):
        page(person(is_owner=False))


def test_every_state_is_shown_in_three_lights() -> None:
    text = page(person(is_owner=True))
    shown = {
        name: len(re.findall(rf'class="glyph glyph--show"[^>]*><use href="[^"]*#{name}"', text))
        for name in GLYPHS
    }

    assert shown == dict.fromkeys(GLYPHS, 3)


def test_nothing_on_the_page_needs_inline_style_or_script() -> None:
    text = page(person(is_owner=True))

    assert re.findall(r"\sstyle=|\son[a-z]+=|<style|<script(?![^>]*\ssrc=)", text) == []


def test_no_two_things_on_the_page_share_an_id() -> None:
    ids = re.findall(r'\sid="([^"]+)"', page(person(is_owner=True)))

    assert sorted(ids) == sorted(set(ids))


@pytest.mark.parametrize(
    ("what", "times"),
    [
        ('class="sketch"', 6),
        ('class="d-thick"', 9),
        ("not to be acted on", 3),
        ("Harm is not dated", 4),
        ("Help comes in time", 4),
        ('class="d-harm"', 20),
    ],
)
def test_every_drawing_and_every_trust_is_shown_in_three_lights(what: str, times: int) -> None:
    assert page(person(is_owner=True)).count(what) >= times
