"""Which procedure of calibration suits what is measured, as data: tables/procedures.csv by parameter and kind of method, the first row
that fits; its steps in tables/procedures.json. `*` stands for any."""

from dataclasses import dataclass
from functools import cache

from servicedesk.core.tables import read_csv, read_json


@dataclass(frozen=True)
class Suits:
    """A procedure: its kind; whether a correction is a factor (else an offset); the largest correction that is usual (a fraction for a
    factor, the canonical unit for an offset); how much a settled value moves in a minute at most (canonical unit, or a fraction of
    the value); where that is from."""

    kind: str
    by_factor: bool
    expected: float
    settle: float
    settle_share: float
    source: str

    def moves(self, value: float) -> float:
        """How much a settled value moves in a minute at most, canonical unit; nought where nothing is asked."""
        return max(self.settle, self.settle_share * abs(value))


@dataclass(frozen=True)
class Step:
    """One screen: what to do, in lines; the hazards of it; how many minutes it usually takes to settle."""

    key: str
    title: str
    lines: tuple[str, ...]
    hazards: tuple[str, ...]
    minutes: int


def _fits(row: dict[str, str], parameter: str, method: str, *, analogue: bool) -> bool:
    return (
        row["parameter"] in ("*", parameter)
        and row["method"] in ("*", method)
        and (row["analogue"] == "1") == analogue
    )


def _suits(row: dict[str, str]) -> Suits:
    return Suits(
        kind=row["kind"],
        by_factor=row["by"] == "factor",
        expected=float(row["expected"]),
        settle=float(row["settle"] or 0),
        settle_share=float(row["settle_share"] or 0),
        source=row["source"],
    )


@cache
def procedure_for(*, parameter: str, method: str, analogue: bool = False) -> Suits | None:
    """What suits a parameter by a kind of method; `analogue` for a line that sends volts. None where nothing can be set on the spot."""
    rows = (row for row in read_csv("procedures.csv") if _fits(row, parameter, method, analogue=analogue))
    return next((_suits(row) for row in rows), None)


@cache
def of_kind(*, kind: str, parameter: str) -> Suits | None:
    """What a procedure of that kind, once begun, goes by for a parameter; None for a kind that knows none such."""
    rows = (row for row in read_csv("procedures.csv") if row["kind"] == kind)
    return next((_suits(row) for row in rows if row["parameter"] in ("*", parameter)), None)


PUMP = Suits(
    kind="pump", by_factor=True, expected=0.10, settle=0.0, settle_share=0.0, source="common practice"
)
"""A dosing channel by volume: off by more than a tenth is tubing or air (common practice)."""
PUMP_ALLOWED = 0.05
"""A fraction: a channel that gives what it is told within this is right (common practice: 5 to 10 %)."""


@cache
def steps_of(kind: str) -> tuple[Step, ...]:
    """The steps of a kind, in their order."""
    return tuple(
        Step(
            key=row["key"],
            title=row["title"],
            lines=tuple(row["lines"]),
            hazards=tuple(row.get("hazards", ())),
            minutes=int(row.get("minutes", 0)),
        )
        for row in read_json("procedures.json")[kind]["steps"]
    )


def title_of(kind: str) -> str:
    """What a kind is called."""
    return str(read_json("procedures.json")[kind]["title"])
