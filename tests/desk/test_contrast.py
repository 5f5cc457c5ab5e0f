"""Contrast, computed from tokens.css as WCAG 2.2 defines it (relative luminance and contrast ratio), in each light."""

import re
from pathlib import Path

import pytest

from servicedesk.core.drawing.pen import GLASS, HAIR, INK, MARK, SOFT, TONES

TOKENS = Path(__file__).resolve().parents[2] / "servicedesk" / "static" / "css" / "tokens.css"
LIGHTS = ("day", "cellar", "sun", "print")
GROUNDS = ("paper", "sheet", "glass", "out-t", "act-t", "ask-t")

WORDS = [("ink", ground) for ground in GROUNDS] + [("soft", ground) for ground in GROUNDS]
VERDICT_WORDS = [
    ("hold", "sheet"),
    ("hold", "paper"),
    ("out", "out-t"),
    ("out", "sheet"),
    ("out", "paper"),
    ("act", "act-t"),
    ("act", "sheet"),
    ("act", "paper"),
    ("on-plate", "plate"),
    ("ask", "ask-t"),
    ("ask", "sheet"),
    ("ask", "paper"),
]
SHAPES = [
    ("edge", "sheet"),
    ("edge", "paper"),
    ("mark", "sheet"),
    ("mark", "glass"),
    ("hold", "glass"),
    ("out", "glass"),
    ("act", "glass"),
    ("ask", "glass"),
]


def tokens() -> dict[str, dict[str, str]]:
    """Each light's colours. Sun and print name all of them again, so that none is left over from day."""
    text = re.sub(r"/\*.*?\*/", "", TOKENS.read_text(), flags=re.S)
    both = re.findall(r"--([\w-]+):\s*light-dark\((#\w{6}),\s*(#\w{6})\)", text)
    sun = text[text.index('[data-light="sun"] {') : text.index("@media (prefers-contrast")]
    more = text[text.index("@media (prefers-contrast") : text.index("@media print")]
    found = {
        "day": {name: day for name, day, _cellar in both},
        "cellar": {name: dark for name, _day, dark in both},
    }
    for light, part in (("sun", sun), ("more", more), ("print", text[text.index("@media print") :])):
        found[light] = dict(re.findall(r"--([\w-]+):\s*(#\w{6})", part))
    return found


def luminance(colour: str) -> float:
    """Relative luminance of sRGB, WCAG 2.2."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.2: 1 to 21."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def ratios(pairs: list[tuple[str, str]], light: str) -> dict[str, float]:
    colours = tokens()[light]
    return {f"{word} on {ground}": contrast(colours[word], colours[ground]) for word, ground in pairs}


def test_contrast_of_black_and_white_is_21_and_of_a_published_grey_is_as_published() -> None:
    """#767676 on white is the lightest grey that passes 4.5:1 (W3C, Understanding SC 1.4.3)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


def test_every_light_names_the_same_colours() -> None:
    names = {light: set(colours) for light, colours in tokens().items()}

    assert len(names["day"]) == 17
    assert names == dict.fromkeys(names, names["day"])


def test_a_device_that_asks_for_more_contrast_gets_sun() -> None:
    assert tokens()["more"] == tokens()["sun"]


@pytest.mark.parametrize("light", LIGHTS)
def test_words_are_read_at_4_5(light: str) -> None:
    assert {pair: ratio for pair, ratio in ratios(WORDS, light).items() if ratio < 4.5} == {}


@pytest.mark.parametrize("light", LIGHTS)
def test_the_verdict_word_is_read_at_7(light: str) -> None:
    assert {pair: ratio for pair, ratio in ratios(VERDICT_WORDS, light).items() if ratio < 7} == {}


@pytest.mark.parametrize("light", LIGHTS)
def test_borders_and_marks_are_seen_at_3(light: str) -> None:
    assert {pair: ratio for pair, ratio in ratios(SHAPES, light).items() if ratio < 3} == {}


@pytest.mark.parametrize("light", LIGHTS)
def test_the_solid_button_is_read_at_7(light: str) -> None:
    assert ratios([("sheet", "ink")], light)["sheet on ink"] >= 7


def test_drawings_on_paper_use_the_colours_of_print() -> None:
    printed = tokens()["print"]

    assert tuple(printed[name] for name in ("ink", "soft", "hair", "glass", "mark")) == (
        INK,
        SOFT,
        HAIR,
        GLASS,
        MARK,
    )
    assert {name: printed[name] for name in TONES} == TONES
