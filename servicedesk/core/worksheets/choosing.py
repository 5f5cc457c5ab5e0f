"""Choosing how to test a tank before anything is bought: made anew from the ways that an owner wrote down."""

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from servicedesk.core import units
from servicedesk.core.inventory import ways
from servicedesk.core.inventory.reorder import NotCounted
from servicedesk.core.inventory.ways import Choice, Need, Place, Way
from servicedesk.core.worksheets import Ask, Result, Said, Worksheet

KEY = "choose"
THERE = ("mains", "network", "drain", "shelf")
"""What a way may need where the tank stands."""
YES_NO = (("yes", "yes"), ("no", "no"))
WANTED, PLACE, MONEY = "What must be known", "Where the tank stands", "Time and money"
LINE = re.compile(r"(?P<name>.+?)[\s:±]+(?P<number>[0-9.,]+)\s*")
SHOWN = 5


def read_measures(text: str) -> dict[str, float]:
    """What a way measures, a line each: the parameter by its name or key, and how good the result is (its tolerance, canonical
    unit), as "Alkalinity 0.4". Raises NotCounted with the line that cannot be read."""
    names = {p.name.lower(): key for key, p in units.PARAMETERS.items()} | {
        key: key for key in units.PARAMETERS
    }
    found: dict[str, float] = {}
    for line in filter(None, (line.strip() for line in text.replace(";", "\n").splitlines())):
        match = LINE.fullmatch(line)
        key = names.get(match["name"].strip().lower()) if match else None
        if match is None or key is None:
            raise NotCounted(f"“{line[:40]}” is not a parameter and how good it is, as: Alkalinity 0.4.")
        good = units.parse_typed(match["number"])
        if good <= 0:
            raise NotCounted(f"“{line[:40]}”: how good it is lies above nought.")
        found[key] = good
    if not found:
        raise NotCounted("Say what it measures, a line each, as: Alkalinity 0.4.")
    return found


def _name(parameter: str) -> str:
    return units.parameter(parameter).name


def _needs(given: Mapping[str, Any], parameters: Sequence[str]) -> list[Need]:
    return [
        Need(p, given[f"week_{p}"], given[f"within_{p}"])
        for p in parameters
        if given[f"week_{p}"] is not None
    ]


def _place(given: Mapping[str, Any]) -> Place:
    return Place(
        has=frozenset(what for what in THERE if given[what] == "yes"),
        quiet_db=given["quiet"],
        visits_per_month=given["visits"],
        minute_cost=Decimal(str(given["minute_cost"])),
    )


def money(amount: Decimal) -> str:
    """An amount in whole units of the business's currency where it is large, with cents where it is small."""
    return f"{amount:.0f}" if abs(amount) >= 100 else f"{amount:.2f}"


def _named(choice: Choice) -> str:
    return " and ".join(way.name for way in choice.ways)


def _because(suit: ways.Suit) -> tuple[str, str, str]:
    covers = ", ".join(_name(p) for p in suit.covers) or "nothing"
    words = [_readable(reason) for reason in (*suit.against, *suit.mind)]
    return (
        suit.way.name,
        "suits" if suit.suits else "does not suit",
        f"measures {covers}; {'; '.join(words)}".rstrip("; "),
    )


def _readable(reason: str) -> str:
    """A reason with the parameter's name instead of its key."""
    key, colon, rest = reason.partition(":")
    return f"{_name(key)}{colon}{rest}" if key in units.PARAMETERS else reason


def _break_even(found: Sequence[Choice]) -> str:
    """When the choice that is cheapest by the month has paid for itself beside the one that is cheapest at once."""
    at_once, monthly = min(found, key=lambda c: c.at_once), min(found, key=lambda c: c.a_month)
    months = ways.break_even_months(dearer_at_once=monthly, dearer_a_month=at_once)
    if at_once is monthly or months is None:
        return ""
    return f"{_named(monthly)}: dearer at once, paid for after {months:.0f} months beside {_named(at_once)}."


def _result(given: Mapping[str, Any], offered: Sequence[Way], parameters: Sequence[str]) -> Result:
    needs, place, months = _needs(given, parameters), _place(given), int(given["months"])
    if not offered:
        raise NotCounted(
            "No way to choose from is written down yet: write down those that come into question."
        )
    found = ways.choices(ways=offered, needs=needs, place=place, months=months)
    rows = tuple(_because(ways.suit(way=way, needs=needs, place=place)) for way in offered)
    heads = ("Way", "Verdict", "Because")
    if not found:
        left = ways.uncovered(ways=offered, needs=needs, place=place)
        names = ", ".join(_name(p) for p in left) or "everything at once"
        mind = tuple(
            f"{_name(p)}: {'; '.join(map(_readable, why)) or 'no way measures it'}."
            for p, why in left.items()
        )
        return Result("Not covered", "none", f"These ways together do not cover {names}.", mind=mind, heads=heads, rows=rows, wordy=True, values={"choices": 0.0})  # fmt: skip
    best = found[0]
    lines = tuple(
        Said(_named(c), money(c.over_horizon), "", f"{money(c.at_once)} at once, {money(c.a_month)} a month")
        for c in found[:SHOWN]
    )
    even = _break_even(found)
    mind = tuple(dict.fromkeys(
        f"{way.name}: {_readable(words)}." for way in best.ways for words in ways.suit(way=way, needs=needs, place=place).mind
    ))  # fmt: skip
    return Result(
        word="Covered",
        glyph="in",
        sentence=f"{_named(best)}: everything is measured, at the least cost over {months} months, {money(best.over_horizon)}.",
        said=lines,
        why=("At once + months × (a month's fixed cost + upkeep + tests × (reagent + minutes)), the minutes at what they cost.",),
        mind=((even,) if even else ()) + mind,
        heads=heads,
        rows=rows,
        wordy=True,
        values={"choices": float(len(found)), "at_once": float(best.at_once), "a_month": float(best.a_month), "over_horizon": float(best.over_horizon)},
    )  # fmt: skip


def sheet(offered: Sequence[Way], parameters: Sequence[str]) -> Worksheet:
    """The worksheet that chooses among these ways for these parameters."""
    wanted = [
        ask
        for p in parameters
        for ask in (
            Ask(f"week_{p}", f"{_name(p)}: tests a week", low=0, high=10_000, above=True, optional=True, hint="Leave it out if it need not be known.", part=WANTED),
            Ask(f"within_{p}", f"{_name(p)}: good to ±", units.unit_word(units.parameter(p).unit), low=0, high=1e5, above=True, optional=True, part=WANTED),
        )
    ]  # fmt: skip
    there = [Ask(what, f"There is {'a ' if what in ('network', 'drain', 'shelf') else ''}{what}", kind="choice", choices=YES_NO, part=PLACE) for what in THERE]  # fmt: skip
    return Worksheet(
        key=KEY,
        title="Choose how to test",
        question="Which ways of testing suit this tank, and what do they cost?",
        asks=(
            *wanted,
            *there,
            Ask("quiet", "The loudest that is borne", "dB(A)", low=0, high=140, optional=True, part=PLACE),
            Ask("visits", "Visits a month", low=0, high=62, above=True, start="4", part=PLACE),
            Ask("months", "Horizon", "months", low=1, high=240, start="24", part=MONEY),
            Ask("minute_cost", "A minute of work costs", low=0, high=1000, start="1", part=MONEY),
        ),
        work=lambda given: _result(given, offered, parameters),
        sources=(
            "Attributes as the owner wrote them down; nothing is built in",
            "A month is 365.2425 ÷ 12 days",
        ),
    )
