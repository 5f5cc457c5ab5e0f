"""Published values recomputed by this installation: a file of rows, each with its source and its own tolerance.

A row is found by its topic and quantity, and computed from its inputs, never looked up by its id; so rows with other inputs
are computed too. What no rule knows is said to be unknown. Columns: id, topic, quantity, inputs (JSON), expected,
tolerance, tol_kind (abs or rel), unit, source, how."""

import csv
import io
import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from re import Match, Pattern
from typing import Any, Literal

Compute = Callable[[dict[str, Any], Match[str]], float]
Rule = tuple[str, Pattern[str], Compute]
"""Topic, what its quantity says (where the unit tells two apart, followed by it in square brackets), and what computes it
from the inputs and the words found."""
Outcome = Literal["passed", "failed", "unknown"]
ROUNDED = "It agrees with every digit that is printed; the tolerance is finer than the print."
COLUMNS = ("id", "topic", "quantity", "inputs", "expected", "tolerance", "tol_kind")


class BadRows(ValueError):
    """A file that holds no check values; the sentence says why."""


@dataclass(frozen=True)
class Row:
    """One published value: what is expected, how near it must come, and where it was read."""

    id: str
    topic: str
    quantity: str
    inputs: dict[str, Any]
    expected: float
    tolerance: float
    relative: bool
    printed: str
    unit: str = ""
    source: str = ""
    how: str = ""

    @property
    def rounding(self) -> float:
        """Half a unit of the last digit that is printed."""
        digits = Decimal(self.printed).as_tuple().exponent
        return 0.5 * 10 ** float(digits)

    @property
    def from_memory(self) -> bool:
        """Whether nobody has read the value anywhere: a claim to confirm."""
        return self.how.lstrip().startswith("memory")


@dataclass(frozen=True)
class Checked:
    """A row computed: what came out, how far off (relative where the tolerance is), and what to say where nothing did."""

    row: Row
    outcome: Outcome
    got: float | None = None
    difference: float | None = None
    why: str = ""


def _number(text: str, what: str, at: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise BadRows(f"Row {at}: {what} is no number.")
    return number


def read_rows(text: str) -> list[Row]:
    """The rows of a file. Raises BadRows where a column is missing, or a row cannot be read."""
    reader = csv.DictReader(io.StringIO(text))
    missing = [name for name in COLUMNS if name not in (reader.fieldnames or ())]
    if missing:
        raise BadRows(f"It holds no check values: the column {missing[0]} is missing.")
    return [_row(found, at) for at, found in enumerate(reader, start=2)]


def _row(found: dict[str, str | None], line: int) -> Row:
    said = {name: (text or "").strip() for name, text in found.items() if isinstance(name, str)}
    at = said["id"] or f"on line {line}"
    try:
        inputs = json.loads(said["inputs"] or "{}")
    except ValueError:
        inputs = None
    if not isinstance(inputs, dict):
        raise BadRows(f"Row {at}: its inputs are no JSON object.")
    if said["tol_kind"] not in ("abs", "rel"):
        raise BadRows(f"Row {at}: its tolerance is neither abs nor rel.")
    tolerance = _number(said["tolerance"], "its tolerance", at)
    if tolerance < 0:
        raise BadRows(f"Row {at}: its tolerance is below nought.")
    return Row(
        id=at,
        topic=said["topic"],
        quantity=said["quantity"],
        inputs=inputs,
        expected=_number(said["expected"], "what is expected", at),
        tolerance=tolerance,
        relative=said["tol_kind"] == "rel",
        printed=said["expected"],
        unit=said.get("unit", ""),
        source=said.get("source", ""),
        how=said.get("how", ""),
    )


def _rule_for(row: Row, rules: list[Rule]) -> tuple[Compute, Match[str]] | None:
    """The first rule that knows the row, with the words it found."""
    for topic, pattern, compute in rules:
        if topic != row.topic:
            continue
        found = pattern.fullmatch(row.quantity) or pattern.fullmatch(f"{row.quantity} [{row.unit}]")
        if found is not None:
            return compute, found
    return None


def check(row: Row, rules: list[Rule]) -> Checked:
    """Compute a row by the first rule that knows it. What a formula refuses fails, with its sentence; an input that is
    missing, or is of another kind than the rule reads, makes it unknown."""
    rule = _rule_for(row, rules)
    if rule is None:
        return Checked(row, "unknown", why="Nothing here computes this.")
    compute, found = rule
    try:
        got = float(compute(row.inputs, found))
    except KeyError as missing:
        return Checked(row, "unknown", why=f"The input {missing} is missing.")
    except ValueError as refused:
        return Checked(row, "failed", why=str(refused))
    except ArithmeticError:
        return Checked(
            row, "failed", why="Its inputs ask for a division by nought, or for more than a number holds."
        )
    except (TypeError, AttributeError):
        return Checked(row, "unknown", why="An input is of another kind than is read here.")
    if row.relative and row.expected == 0:
        return Checked(row, "unknown", got, why="A relative tolerance about nought says nothing.")
    off = abs(got / row.expected - 1) if row.relative else abs(got - row.expected)
    if off <= row.tolerance:
        return Checked(row, "passed", got, off)
    finer = abs(got - row.expected) <= row.rounding
    return Checked(row, "failed", got, off, ROUNDED if finer else "")
