"""Checking and evaluating a rule program. Its twin is static/js/sheet/program.js: change both, the shared vectors
in fixtures/program tell when they differ."""

import math
from collections.abc import Callable, Mapping
from typing import Any

VERSION = 1
DEEPEST = 40
MOST_DIGITS = 9
LARGEST_TEXT = 1e15
EXACT = 2**53
ARITY: dict[str, tuple[int, int | None]] = {
    "+": (2, None),
    "*": (2, None),
    "-": (1, 2),
    "/": (2, 2),
    "min": (1, None),
    "max": (1, None),
    "abs": (1, 1),
    "ceil": (1, 1),
    "sqrt": (1, 1),
    "<": (2, 2),
    "<=": (2, 2),
    ">": (2, 2),
    ">=": (2, 2),
    "=": (2, 2),
    "and": (1, None),
    "or": (1, None),
    "not": (1, 1),
    "missing": (1, 1),
    "if": (3, 3),
    "clamp": (3, 3),
    "round": (2, 2),
    "fixed": (2, 2),
    "word": (1, 1),
    "table": (3, 3),
    "list": (0, None),
    "say": (2, 3),
}


class ProgramWrong(ValueError):
    """The program is not one this evaluator understands; the sentence says where."""


class Checked(dict[str, Any]):
    """A program that `check` has passed and that nobody alters afterwards: it is not checked a second time."""


def _names_in(expression: Any, known: set[str], depth: int = 0) -> None:
    if depth > DEEPEST:
        raise ProgramWrong("An expression is nested too deeply.")
    if expression is None or isinstance(expression, bool):
        return
    if isinstance(expression, int | float):
        if not _is_number(expression):
            raise ProgramWrong("A number is not finite, or too large.")
        return
    if isinstance(expression, str):
        if expression not in known:
            raise ProgramWrong(f"“{expression}” is used before it is known.")
        return
    if not isinstance(expression, list) or not expression or not isinstance(expression[0], str):
        raise ProgramWrong("An expression is a number, a name or a list that starts with an operation.")
    _operation(expression, known, depth)


def _operation(expression: list[Any], known: set[str], depth: int) -> None:
    op, rest = expression[0], expression[1:]
    if op not in ARITY:
        raise ProgramWrong(f"“{op}” is not an operation.")
    least, most = ARITY[op]
    if len(rest) < least or (most is not None and len(rest) > most):
        raise ProgramWrong(f"“{op}” has the wrong number of parts.")
    if op == "word":
        if not isinstance(rest[0], str):
            raise ProgramWrong("A word is a text.")
    elif op == "say":
        _saying(rest, known, depth)
    elif op == "table":
        _names_in(rest[0], known, depth + 1)
        _table(rest[1], rest[2])
    elif op in ("round", "fixed"):
        _names_in(rest[0], known, depth + 1)
        if type(rest[1]) is not int or not 0 <= rest[1] <= MOST_DIGITS:
            raise ProgramWrong(f"“{op}” names its digits, 0 to {MOST_DIGITS}.")
    else:
        for part in rest:
            _names_in(part, known, depth + 1)


def _saying(rest: list[Any], known: set[str], depth: int) -> None:
    if not isinstance(rest[0], str) or not all(isinstance(parts, dict) for parts in rest[1:]):
        raise ProgramWrong("A sentence has an id and its parts.")
    for parts in rest[1:]:
        for part in parts.values():
            _names_in(part, known, depth + 1)


def _is_number(value: Any) -> bool:
    """A number that both evaluators hold alike: finite, and a whole one not beyond 2 to the 53rd."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return abs(value) <= EXACT if isinstance(value, int) else math.isfinite(value)


def _table(xs: Any, ys: Any) -> None:
    sound = isinstance(xs, list) and isinstance(ys, list) and len(xs) == len(ys) >= 2
    if not sound or not all(_is_number(value) for value in (*xs, *ys)):
        raise ProgramWrong("A table has two or more points, all of them numbers.")
    if any(later <= earlier for earlier, later in zip(xs, xs[1:], strict=False)):
        raise ProgramWrong("A table's points stand in rising order.")


def _frame(program: Mapping[str, Any]) -> None:
    """The outer form: names, pairs and outputs are where they belong."""
    inputs, steps, outputs = (program.get(name) for name in ("inputs", "steps", "outputs"))
    if not isinstance(inputs, list) or not all(isinstance(name, str) for name in inputs):
        raise ProgramWrong("A program lists the names of its inputs.")
    if len(set(inputs)) != len(inputs):
        raise ProgramWrong("An input is named twice.")
    if not isinstance(steps, list) or not all(
        isinstance(step, list | tuple) and len(step) == 2 and isinstance(step[0], str) for step in steps
    ):
        raise ProgramWrong("A step is a name and an expression.")
    if not isinstance(outputs, dict):
        raise ProgramWrong("A program names its outputs.")


def check(program: Mapping[str, Any]) -> None:
    """Raise ProgramWrong unless every part of the program is understood and used in order (so there is no cycle)."""
    if program.get("version") != VERSION:
        raise ProgramWrong(f"The program's version is not {VERSION}.")
    _frame(program)
    known = set(program["inputs"])
    for name, expression in program["steps"]:
        _names_in(expression, known)
        if name in known:
            raise ProgramWrong(f"“{name}” is said twice.")
        known.add(name)
    for expression in program["outputs"].values():
        _names_in(expression, known)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _round(value: float, digits: float) -> float | None:
    power = 10.0 ** int(digits)
    scaled = _finite(abs(value) * power)
    if scaled is None:
        return None
    whole = math.floor(scaled + 0.5) / power
    return -whole if value < 0 and whole != 0 else whole


def _fixed(value: float, digits: float) -> str | None:
    rounded = _round(value, digits)
    return None if rounded is None or abs(rounded) > LARGEST_TEXT else f"{rounded:.{int(digits)}f}"


def _divide(top: float, bottom: float) -> float | None:
    return None if bottom == 0 else top / bottom


def _interpolate(x: float, xs: list[float], ys: list[float]) -> float:
    if x <= xs[0]:
        return ys[0]
    for number in range(1, len(xs)):
        if x <= xs[number]:
            part = (x - xs[number - 1]) / (xs[number] - xs[number - 1])
            return ys[number - 1] + part * (ys[number] - ys[number - 1])
    return ys[-1]


def _sum(*parts: float) -> float:
    total = 0.0
    for part in parts:
        total += part
    return total


def _product(*parts: float) -> float:
    total = 1.0
    for part in parts:
        total *= part
    return total


ARITHMETIC: dict[str, Callable[..., Any]] = {
    "+": _sum,
    "*": _product,
    "-": lambda a, b=None: -a if b is None else a - b,
    "/": _divide,
    "min": min,
    "max": max,
    "abs": abs,
    "ceil": math.ceil,
    "sqrt": lambda a: math.sqrt(a) if a >= 0 else None,
    "clamp": lambda a, low, high: max(low, min(high, a)),
    "round": _round,
    "fixed": _fixed,
}
COMPARE: dict[str, Callable[[Any, Any], bool]] = {
    "<": lambda a, b: a < b,
    "<=": lambda a, b: a <= b,
    ">": lambda a, b: a > b,
    ">=": lambda a, b: a >= b,
    "=": lambda a, b: a == b,
}


def _kind(value: Any) -> str | None:
    """What may be reckoned with or compared: a truth, a number, a word; anything else is None."""
    if isinstance(value, bool):
        return "truth"
    if isinstance(value, int | float):
        return "number"
    return "word" if isinstance(value, str) else None


def _compare(op: str, left: Any, right: Any) -> bool:
    kind = _kind(left)
    if kind is None or kind != _kind(right) or (op != "=" and kind != "number"):
        return False
    return COMPARE[op](left, right)


class _Run:
    def __init__(self, names: dict[str, Any]) -> None:
        self.names = names

    def value(self, expression: Any) -> Any:
        if isinstance(expression, str):
            return self.names[expression]
        if not isinstance(expression, list):
            return expression
        op, rest = expression[0], expression[1:]
        if op in ARITHMETIC:
            return self._arithmetic(op, rest)
        if op in COMPARE:
            return _compare(op, self.value(rest[0]), self.value(rest[1]))
        special: Callable[..., Any] = getattr(self, f"_do_{op}")
        return special(*rest)

    def _arithmetic(self, op: str, rest: list[Any]) -> Any:
        parts = [self.value(part) for part in rest]
        if any(_kind(part) != "number" for part in parts):
            return None
        result = ARITHMETIC[op](*parts)
        return _finite(float(result)) if _kind(result) == "number" else result

    def _do_and(self, *rest: Any) -> bool:
        return all(self.value(part) is True for part in rest)

    def _do_or(self, *rest: Any) -> bool:
        return any(self.value(part) is True for part in rest)

    def _do_not(self, part: Any) -> bool:
        return self.value(part) is not True

    def _do_missing(self, part: Any) -> bool:
        return self.value(part) is None

    def _do_if(self, condition: Any, then: Any, other: Any) -> Any:
        return self.value(then if self.value(condition) is True else other)

    def _do_word(self, text: str) -> str:
        return text

    def _do_table(self, x: Any, xs: list[float], ys: list[float]) -> float | None:
        at = self.value(x)
        return _finite(_interpolate(at, xs, ys)) if _kind(at) == "number" else None

    def _do_list(self, *rest: Any) -> list[Any]:
        return [v for v in (self.value(part) for part in rest) if v is not None]

    def _do_say(
        self, name: str, parts: dict[str, Any], extra: dict[str, Any] | None = None
    ) -> dict[str, Any]:
        said: dict[str, Any] = {"say": name, "parts": {key: self.value(part) for key, part in parts.items()}}
        if extra is not None:
            said["with"] = {key: self.value(part) for key, part in extra.items()}
        return said


def evaluate(program: Mapping[str, Any], inputs: Mapping[str, float | None]) -> dict[str, Any]:
    """The outputs of a program for these inputs; an input that is not given is missing.

    Raises ProgramWrong for a program that is not understood or an input that is not finite."""
    if not isinstance(program, Checked):
        check(program)
    names: dict[str, Any] = {}
    for name in program["inputs"]:
        given = inputs.get(name)
        if given is not None and not _is_number(given):
            raise ProgramWrong(f"The input “{name}” is not a finite number.")
        names[name] = None if given is None else float(given)
    run = _Run(names)
    for name, expression in program["steps"]:
        names[name] = run.value(expression)
    return {name: run.value(expression) for name, expression in program["outputs"].items()}
