"""Worksheets: a problem of a tank as a form with its numbers, and what comes out as words, numbers and the arithmetic.

A worksheet says what it asks (with units and limits), what it rests on, and computes a Result from what was typed. Page, printed
sheet and API are drawn from the same description, so that each refuses the same input in the same words."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from servicedesk.core.units import TypedWrong, parse_typed

Kind = Literal["number", "numbers", "choice"]
MOST_NUMBERS = 30


class Refused(ValueError):
    """What was typed cannot be computed with; `fields` says why, by the ask's key ("" for what concerns them together)."""

    def __init__(self, fields: Mapping[str, str]) -> None:
        super().__init__(" ".join(fields.values()))
        self.fields = dict(fields)


@dataclass(frozen=True)
class Ask:
    """One thing that a worksheet asks. Limits are included, `low` too unless `above`. `start` stands there at first; a choice
    starts with its first."""

    key: str
    label: str
    unit: str = ""
    kind: Kind = "number"
    low: float | None = None
    high: float | None = None
    above: bool = False
    optional: bool = False
    start: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    hint: str = ""
    part: str = ""


@dataclass(frozen=True)
class Said:
    """One number of a result as it is read: the number as text, its unit, and what goes with it."""

    label: str
    value: str
    unit: str = ""
    note: str = ""


@dataclass(frozen=True)
class Result:
    """What came out: one word with its shape (a key of drawing.glyphs), a sentence, numbers, the arithmetic with numbers filled in,
    what to mind, hazards by their key, and rows under heads where the answer is a table (`wordy`: of words, not of numbers). `values` are the bare numbers."""

    word: str
    glyph: str
    sentence: str
    said: tuple[Said, ...] = ()
    why: tuple[str, ...] = ()
    mind: tuple[str, ...] = ()
    hazards: tuple[str, ...] = ()
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    values: Mapping[str, float | None] = field(default_factory=dict)
    wordy: bool = False


@dataclass(frozen=True)
class Worksheet:
    """A problem: its key, title, the question as people ask it, what it asks, how it is worked, and where its formulas stand."""

    key: str
    title: str
    question: str
    asks: tuple[Ask, ...]
    work: Callable[[Mapping[str, Any]], Result]
    sources: tuple[str, ...]
    hazards: tuple[str, ...] = ()

    def ask(self, key: str) -> Ask:
        """The ask of that key."""
        return next(ask for ask in self.asks if ask.key == key)


def _number(ask: Ask, text: str) -> float:
    value = parse_typed(text)
    low, high = ask.low, ask.high
    under = low is not None and (value <= low if ask.above else value < low)
    over = high is not None and value > high
    if under or over:
        raise TypedWrong(f"{ask.label} {_limits(ask)}.")
    return value


def _limits(ask: Ask) -> str:
    unit = f" {ask.unit}" if ask.unit else ""
    low, high = (None if edge is None else f"{edge:g}" for edge in (ask.low, ask.high))
    if low is not None and high is not None:
        return f"lies {'above' if ask.above else 'between'} {low} {'and up to' if ask.above else 'and'} {high}{unit}"
    if low is not None:
        return f"lies above {low}{unit}" if ask.above else f"is {low}{unit} or more"
    return f"is at most {high}{unit}"


def _read(ask: Ask, text: str) -> Any:
    if ask.kind == "choice":
        keys = [key for key, _label in ask.choices]
        chosen = text.strip() or keys[0]
        if chosen not in keys:
            raise TypedWrong(f"{ask.label} is one of: {', '.join(keys)}.")
        return chosen
    if not text.strip():
        if ask.optional:
            return () if ask.kind == "numbers" else None
        raise TypedWrong(f"{ask.label} is missing.")
    if ask.kind == "number":
        return _number(ask, text)
    pieces = text.replace(";", " ").split()
    if len(pieces) > MOST_NUMBERS:
        raise TypedWrong(f"{ask.label}: {MOST_NUMBERS} numbers are the most.")
    return tuple(_number(ask, piece) for piece in pieces)


def read(sheet: Worksheet, typed: Mapping[str, str]) -> dict[str, Any]:
    """What was typed as values, by the asks' keys. Raises Refused with every fault at once."""
    found, wrong = {}, {}
    for ask in sheet.asks:
        try:
            found[ask.key] = _read(ask, typed.get(ask.key, ask.start))
        except TypedWrong as fault:
            wrong[ask.key] = str(fault)
    if wrong:
        raise Refused(wrong)
    return found


def answer(sheet: Worksheet, typed: Mapping[str, str]) -> Result:
    """The worked sheet. Raises Refused, with the sentence of a formula that does not hold under no key."""
    given = read(sheet, typed)
    try:
        result = sheet.work(given)
    except ValueError as fault:
        raise Refused({"": str(fault)}) from fault
    except ArithmeticError as fault:
        raise Refused({"": "These numbers ask for more than can be reckoned."}) from fault
    if not all(value is None or math.isfinite(value) for value in result.values.values()):
        raise Refused({"": "These numbers ask for more than can be reckoned."})
    return result


def said(value: float, digits: int = 3) -> str:
    """A number with that many significant digits and no exponent, trailing noughts kept."""
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    return f"{rounded:.{max(0, places)}f}"


def with_u(value: float, u: float, k: float = 2.0) -> str:
    """A value with its expanded uncertainty, both to the digit that the uncertainty's second figure stands on."""
    wide = k * u
    if wide <= 0:
        return said(value)
    places = max(0, 1 - math.floor(math.log10(wide)))
    return f"{value:.{places}f} ± {wide:.{places}f}"
