"""The pen: the one place that writes SVG elements, escapes words and rounds coordinates."""

from __future__ import annotations

from functools import cache, lru_cache
from typing import Literal
from xml.sax.saxutils import escape, quoteattr

Mode = Literal["page", "paper"]

TEXT_PX = 13.0
"""Height of lettering inside a drawing; drawings are made for the width at which they are shown."""

INK, SOFT, HAIR, EDGE = "#0f1815", "#404a46", "#b8c0bc", "#6a7570"
GLASS, MARK, WHITE, PAST = "#cce7da", "#244b3e", "#ffffff", "#9bb0a8"
TONES = {"hold": "#123f2c", "out": "#713f03", "act": "#89034a", "ask": "#113aa6", "soft": SOFT, "ink": INK}
"""Colours of print, as in the print part of tokens.css; a test holds the two together."""

_FACE = "Atkinson Hyperlegible Next, sans-serif"


def _stroke(colour: str, width: float, dash: str = "", fill: str = "none") -> dict[str, str]:
    drawn = {"stroke": colour, "stroke-width": number(width), "fill": fill}
    return drawn | {"stroke-dasharray": dash} if dash else drawn


def _lettering(colour: str, weight: str = "400") -> dict[str, str]:
    return {"fill": colour, "font-family": _FACE, "font-size": number(TEXT_PX), "font-weight": weight}


@lru_cache(maxsize=16384)
def number(value: float) -> str:
    """A coordinate with at most two decimals and no idle zeros."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


_PAPER: dict[str, dict[str, str]] = {
    "glass": {"fill": GLASS},
    "mark": _stroke(MARK, 2.25),
    "limit": _stroke(SOFT, 1.5, "2 4"),
    "tail": _stroke(SOFT, 2),
    "axis": _stroke(EDGE, 1),
    "danger": _stroke(TONES["act"], 2, "2 4"),
    "curve": _stroke(INK, 2),
    "thin": _stroke(SOFT, 1.25),
    "thick": _stroke(INK, 3),
    "leg": _stroke(MARK, 1.75),
    "square": _stroke(MARK, 2, fill=GLASS),
    "veil": {"fill": INK, "fill-opacity": "0.13"},
    "now": _stroke(TONES["ask"], 2.5),
    "gap": _stroke(TONES["ask"], 2, "2 3"),
    "ink": {"fill": INK},
    "bar": {"fill": SOFT},
    "open": _stroke(INK, 2, fill=WHITE),
    "cross": _stroke(INK, 2.5),
    "fine": _stroke(INK, 1.75),
    "harm": _stroke(TONES["out"], 4),
    "day": _stroke(MARK, 2.25),
    "stop": {"fill": GLASS},
    "past": {"fill": PAST},
    "fence": _stroke(INK, 1.75),
    "shift": _stroke(MARK, 2.5),
    "over": _stroke(TONES["out"], 4),
    "door": _stroke(TONES["out"], 3),
    "hour": _stroke(HAIR, 1),
    "dash": {"stroke-dasharray": "5 4"},
    "dotted": {"stroke-dasharray": "2 2.4"},
    "waiting": {"stroke-dasharray": "2 4"},
    "text": _lettering(INK),
    "text--soft": {"fill": SOFT},
    "text--bold": {"font-weight": "700"},
    "text--out": {"fill": TONES["out"], "font-weight": "700"},
    "text--ask": {"fill": TONES["ask"], "font-weight": "700"},
}


def _toned(style: str, tone: str) -> dict[str, str]:
    colour = TONES.get(tone, INK)
    if style == "solid":
        return {"fill": colour}
    if style == "hollow":
        return _stroke(colour, 2, fill=WHITE)
    return _PAPER[style]


class Pen:
    """Collects elements. ``style`` is one or more names such as ``"hollow dotted"``."""

    END = "</svg>"

    def __init__(self, mode: Mode = "page", tone: str = "ink") -> None:
        self.mode = mode
        self.tone = tone
        self._drawn: list[str] = []

    def _look(self, style: str) -> str:
        if self.mode == "page":
            return _classes(style)
        attributes: dict[str, str] = {}
        for name in style.split():
            attributes |= _toned(name, self.tone)
        return "".join(f" {key}={quoteattr(value)}" for key, value in attributes.items())

    def add(self, tag: str, style: str, **attributes: str | float) -> None:
        """One empty element; underscores in names become hyphens."""
        self._drawn.append(f"<{tag}{self._look(style)}{_spell(attributes)}/>")

    def line(self, style: str, x1: str | float, y1: str | float, x2: str | float, y2: str | float) -> None:
        place = f' x1="{_length(x1)}" y1="{_length(y1)}" x2="{_length(x2)}" y2="{_length(y2)}"'
        self._drawn.append(f"<line{self._look(style)}{place}/>")

    def rect(
        self, style: str, x: str | float, y: str | float, width: str | float, height: str | float
    ) -> None:
        place = f' x="{_length(x)}" y="{_length(y)}" width="{_length(width)}" height="{_length(height)}"'
        self._drawn.append(f"<rect{self._look(style)}{place}/>")

    def circle(self, style: str, cx: float, cy: float, r: float) -> None:
        self.add("circle", style, cx=cx, cy=cy, r=r)

    def path(self, style: str, d: str) -> None:
        self.add("path", style, d=d)

    def text(self, style: str, x: float, y: float, words: str, anchor: str = "start") -> None:
        place = f' x="{number(x)}" y="{number(y)}"' + (
            f' text-anchor="{anchor}"' if anchor != "start" else ""
        )
        self._drawn.append(f"<text{self._look(f'text {style}')}{place}>{escape(words)}</text>")

    def open_at(self, x: str | float, y: str | float) -> None:
        """Begin a nested drawing whose origin stands at x, y (lengths or per cents)."""
        self._drawn.append(f'<svg{_spell({"x": x, "y": y})} overflow="visible">')

    def open_window(self, width: float, height: float) -> None:
        """Begin a nested drawing that shows nothing beyond its edges."""
        self._drawn.append(f"<svg{_spell({'width': width, 'height': height})}>")

    def picture(self, address: str, x: float, y: float, width: float, height: float) -> None:
        """A faint picture from an address, stretched to this size."""
        place = _spell({"x": x, "y": y, "width": width, "height": height})
        look = ' preserveAspectRatio="none" opacity="0.55"'
        self._drawn.append(f"<image href={quoteattr(address)}{place}{look}/>")

    def close(self) -> None:
        self._drawn.append(self.END)

    def svg(
        self,
        *,
        width: str | float,
        height: str | float,
        cls: str,
        box: tuple[float, float] | None = None,
        title: str = "",
        desc: str = "",
    ) -> str:
        """The whole drawing. With a title it is an image with that name; without one it is left to its words."""
        size = _spell({"width": width, "height": height})
        view = f' viewBox="0 0 {number(box[0])} {number(box[1])}"' if box else ""
        tone = f' data-tone="{self.tone}"' if self.mode == "page" and self.tone != "ink" else ""
        if title:
            name = f' role="img" aria-label={quoteattr(title)}'
            told = f"<title>{escape(title)}</title>" + (f"<desc>{escape(desc)}</desc>" if desc else "")
        else:
            name, told = ' aria-hidden="true" focusable="false"', ""
        head = f'<svg xmlns="http://www.w3.org/2000/svg" class="{cls}"{size}{view}{tone}{name}>'
        return head + told + self.drawn + self.END

    @property
    def drawn(self) -> str:
        """What has been drawn so far, without a frame."""
        return "".join(self._drawn)


@cache
def _classes(style: str) -> str:
    classes = " ".join(f"d-{name}" for name in style.split())
    return f' class="{classes}"' if classes else ""


@cache
def _name(key: str) -> str:
    return key.replace("_", "-")


def _length(value: str | float) -> str:
    """A coordinate, or a share of the whole such as "50%", as an attribute's value."""
    return escape(value, {'"': "&quot;"}) if isinstance(value, str) else number(value)


def _spell(attributes: dict[str, str | float]) -> str:
    return "".join(
        f" {_name(key)}={quoteattr(value)}" if isinstance(value, str) else f' {_name(key)}="{number(value)}"'
        for key, value in attributes.items()
    )


def points(places: list[tuple[float, float]]) -> str:
    """A path through places, straight from one to the next."""
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in places) if places else ""
