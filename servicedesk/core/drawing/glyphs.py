"""The twenty-one glyphs: two lines and a mark on a grid of 24. Solid is measured, hollow is not.

Left is low or early, right is high or late. Round and three-cornered marks are water; square marks are time.
Everything is drawn in ``currentColor``; the plates of an alarm have their lines cut out, so that any ground shows
through. ``static/icons/glyphs.svg`` is written from here, and a test holds the two together.
"""

from __future__ import annotations

from xml.sax.saxutils import escape

_LINES = '<path stroke-width="2.25" d="M4 20V4M20 20V4"/>'
_PLATE = "M2.5 0H21.5A2.5 2.5 0 0 1 24 2.5V21.5A2.5 2.5 0 0 1 21.5 24H2.5A2.5 2.5 0 0 1 0 21.5V2.5A2.5 2.5 0 0 1 2.5 0Z"
_FULL = 'stroke="none" fill="currentColor"'


def _heavy(d: str) -> str:
    return f'<path stroke-width="2.25" d="{d}"/>'


def _fine(d: str) -> str:
    return f'<path stroke-width="2" d="{d}"/>'


def _solid(d: str) -> str:
    return f'<path {_FULL} d="{d}"/>'


def _disc(x: float, y: float, r: float) -> str:
    return f'<circle {_FULL} cx="{x}" cy="{y}" r="{r}"/>'


def _cut(d: str) -> str:
    return f'<path stroke="none" fill="currentColor" fill-rule="evenodd" d="{_PLATE}{d}"/>'


GLYPHS: dict[str, tuple[str, str]] = {
    "in": ("In band", _LINES + _disc(12, 12, 4.25)),
    "low": ("Below band", _heavy("M13 20V4M22 20V4") + _solid("M.5 8H9.9L5.2 16Z")),
    "high": ("Above band", _heavy("M2 20V4M11 20V4") + _solid("M14.1 16H23.5L18.8 8Z")),
    "under": (
        "Below the limit",
        _cut("M13.4 4H15.6V20H13.4ZM19.9 4H22.1V20H19.9ZM2.6 4.26H11.4L7 11.74ZM2.6 12.46H11.4L7 19.94Z"),
    ),
    "over": (
        "Above the limit",
        _cut("M1.9 4H4.1V20H1.9ZM8.4 4H10.6V20H8.4ZM12.6 11.74H21.4L17 4.26ZM12.6 19.94H21.4L17 12.46Z"),
    ),
    "again": (
        "Test again",
        _heavy("M2 20V4M22 20V4") + _fine("M16.7 9.2A5.5 5.5 0 1 0 17.4 13") + _solid("M18.9 5.2V11.4H12.9Z"),
    ),
    "check": (
        "To be checked",
        '<path stroke-width="2.25" stroke-dasharray="3.4 2.9" d="M4 4V20M20 4V20"/>' + _disc(12, 12, 4.25),
    ),
    "doubt": (
        "Not to be acted on",
        _heavy("M2 20L7.5 4M16.5 20L22 4") + '<circle stroke-width="2" cx="12" cy="12" r="3.6"/>',
    ),
    "expect": (
        "Expected, not measured",
        _LINES + '<circle stroke-width="2" stroke-dasharray="2 2.4" cx="12" cy="12" r="4.6"/>',
    ),
    "infer": ("Worked out from another", _LINES + _fine("M12 6.8L17 12 12 17.2 7 12ZM0 12H7")),
    "none": ("Not tested", _LINES + _heavy("M8.5 12H15.5")),
    "silent": (
        "Silent",
        _LINES + _fine("M0 12H4") + _disc(8.7, 12, 1.3) + _disc(12.3, 12, 1.3) + _disc(15.9, 12, 1.3),
    ),
    "empty": ("Empty", _heavy("M4 4V20H20V4") + _fine("M8.5 15.5H15.5")),
    "alone": (
        "In isolation",
        _heavy("M4 4H20V20H4Z")
        + '<path stroke-width="2" stroke-dasharray="4.2 3.2" d="M.9 1H23.1V23H.9Z"/>'
        + _disc(12, 12, 3.6),
    ),
    "wait": (
        "Waiting to be sent",
        _heavy("M4 8V20.8H20V8") + _fine("M8.5 5L12 1.7 15.5 5") + _disc(12, 13, 4),
    ),
    "sent": ("Sent", _heavy("M3.5 12.5L9.5 18.5 21 6")),
    "fail": ("Not sent", _heavy("M4 8V20.8H20V8") + _fine("M8.4 8.9L15.6 16.1M15.6 8.9L8.4 16.1")),
    "due": ("Due", _fine("M0 12H24") + _LINES + _solid("M8 8H16V16H8Z")),
    "late": ("Overdue", _fine("M0 12H16") + _heavy("M3 20V4M10.5 20V4") + _solid("M15 8H23V16H15Z")),
    "held": ("Held for your word", _solid("M4 4H9.5V20H4ZM14.5 4H20V20H14.5Z")),
    "moved": (
        "Moved",
        _fine("M1.2 8.5H8V15.5H1.2ZM8 12H16") + _heavy("M12 20V4") + _solid("M16 8H23.5V16H16Z"),
    ),
}
"""Name of the state: its word in English, and its drawing."""

TONE_OF: dict[str, str] = {
    "in": "hold",
    "low": "out",
    "high": "out",
    "under": "act",
    "over": "act",
    "again": "ask",
    "check": "ask",
    "doubt": "soft",
    "expect": "soft",
    "infer": "soft",
    "none": "soft",
    "silent": "ask",
    "empty": "out",
    "alone": "ink",
    "wait": "ask",
    "sent": "soft",
    "fail": "act",
    "due": "ink",
    "late": "out",
    "held": "ink",
    "moved": "ask",
}
"""Name of the state: its tone, which is the only way by which a meaning gets its colour."""


def sprite() -> str:
    """The sheet of all glyphs, one symbol each, to be served by our own address."""
    symbols = "\n".join(
        f'<symbol id="{name}" viewBox="0 0 24 24" fill="none" stroke="currentColor"><title>{escape(word)}</title>{drawing}</symbol>'
        for name, (word, drawing) in GLYPHS.items()
    )
    return f'<svg xmlns="http://www.w3.org/2000/svg">\n{symbols}\n</svg>\n'


def glyph_svg(name: str, *, size_px: float, colour: str) -> str:
    """One glyph alone, in a fixed colour, for paper. Raises KeyError for a name that is no state."""
    word, drawing = GLYPHS[name]
    painted = drawing.replace("currentColor", colour)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="glyph" width="{size_px:g}" height="{size_px:g}" '
        f'viewBox="0 0 24 24" fill="none" stroke="{colour}" role="img" aria-label="{escape(word)}">{painted}</svg>'
    )


BY_VERDICT = {
    "in_band": "in",
    "below": "low",
    "above": "high",
    "below_limit": "under",
    "above_limit": "over",
    "test_again": "again",
    "not_tested": "none",
}
"""The judgement's words for a value, and the glyph of each."""


def glyph_of(state: str) -> str:
    """The glyph's name for a verdict or for a glyph's own name. Raises KeyError for anything else."""
    name = BY_VERDICT.get(state, state)
    if name not in GLYPHS:
        raise KeyError(f"No glyph is called {state!r}.")
    return name
