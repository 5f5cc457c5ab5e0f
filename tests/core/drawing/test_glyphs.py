"""Glyphs: each a symbol with its word, and the served sheet made from them."""

from pathlib import Path
from xml.etree import ElementTree

import pytest

from servicedesk.core.drawing.glyphs import BY_VERDICT, GLYPHS, TONE_OF, glyph_of, glyph_svg, sprite
from servicedesk.core.drawing.pen import TONES

SHEET = Path(__file__).resolve().parents[3] / "servicedesk" / "static" / "icons" / "glyphs.svg"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("state", ["", "red", "Low", "in band"])
def test_a_state_that_is_none_has_no_glyph(state: str) -> None:
    with pytest.raises(KeyError):
        glyph_of(state)


def test_the_sheet_that_is_served_is_the_sheet_that_is_drawn() -> None:
    assert SHEET.read_text() == sprite()


def test_the_sheet_has_a_named_symbol_for_each_state() -> None:
    symbols = ElementTree.fromstring(sprite()).findall(f"{SVG}symbol")

    assert {symbol.get("id"): symbol.findtext(f"{SVG}title") for symbol in symbols} == {
        name: word for name, (word, _drawing) in GLYPHS.items()
    }


def test_no_two_states_share_a_drawing_or_a_word() -> None:
    assert len({drawing for _word, drawing in GLYPHS.values()}) == len(GLYPHS) == 21
    assert len({word for word, _drawing in GLYPHS.values()}) == len(GLYPHS)


def test_every_state_has_a_tone_that_exists() -> None:
    assert TONE_OF.keys() == GLYPHS.keys()
    assert set(TONE_OF.values()) <= TONES.keys()


def test_every_verdict_has_its_glyph() -> None:
    assert [glyph_of(verdict) for verdict in BY_VERDICT] == [
        "in",
        "low",
        "high",
        "under",
        "over",
        "again",
        "none",
    ]


@pytest.mark.parametrize("name", list(GLYPHS))
def test_a_glyph_on_paper_carries_its_colour_and_its_word(name: str) -> None:
    text = glyph_svg(name, size_px=20, colour="#713f03")
    root = ElementTree.fromstring(text)

    assert (root.get("width"), root.get("stroke"), root.get("aria-label")) == (
        "20",
        "#713f03",
        GLYPHS[name][0],
    )
    assert "currentColor" not in text
