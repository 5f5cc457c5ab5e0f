"""The content of a report: plain values, finished words, as of one moment. It is what is kept, drawn and compared."""

from dataclasses import asdict, dataclass, field, fields
from typing import Any

LAYOUT = 1


@dataclass(frozen=True)
class Level:
    """One value in the client's words. Numbers are in the unit shown; `kind` is measured, expected or not_tested;
    `state` is a glyph's name. `last` is the value of the visit before."""

    parameter: str
    name: str
    value_text: str
    band_text: str
    kind: str
    state: str
    word: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    alarm_low: float | None = None
    alarm_high: float | None = None
    last: float | None = None


@dataclass(frozen=True)
class Line:
    """Values by one method: moments as ISO text with their value in the unit shown."""

    label: str
    marker: str
    points: list[tuple[str, float]]


@dataclass(frozen=True)
class Trend:
    """Twelve weeks of one parameter."""

    name: str
    says: str
    unit: str
    start: str
    end: str
    lines: list[Line]
    low: float | None = None
    high: float | None = None
    alarm_low: float | None = None
    alarm_high: float | None = None


@dataclass(frozen=True)
class Picture:
    """A photo: its id, and when and where it was taken."""

    photo: str
    when: str
    caption: str


@dataclass(frozen=True)
class Question:
    """Something we recommend, for a yes or a no. `price` is empty where it is part of the plan; `key` is the journal
    entry that asked, empty in reports from before answers were kept."""

    text: str
    price: str
    included: str
    key: str = ""


@dataclass(frozen=True)
class TankBlock:
    """What is told of one tank. `trend` is the value that matters most, `more` are the next ones."""

    tank: str
    name: str
    place: str
    verdict: str
    danger: bool
    sentence: str
    then: str
    changed: list[str]
    levels: list[Level]
    trend: Trend | None
    pictures: list[Picture]
    did: list[str]
    did_not: list[str]
    animals: list[str]
    more: list[Trend] = field(default_factory=list)


@dataclass(frozen=True)
class NextVisit:
    """The next two days on which somebody of ours comes."""

    day: str
    then: str


@dataclass(frozen=True)
class ReportContent:
    """Everything a report says. `reasons` are kinds of HoldReason; they are for the owner and never printed."""

    business: str
    emergency: str
    client: str
    site: str
    address: str
    day: str
    day_iso: str
    since: str
    who: str
    arrived: str
    left: str
    verdict: str
    danger: bool
    title: str
    sentence: str
    tanks: list[TankBlock]
    please_do: list[str]
    please_not: list[str]
    questions: list[Question]
    next_visit: NextVisit
    data_at: str
    reasons: list[str] = field(default_factory=list)
    answered: list[str] = field(default_factory=list)
    layout: int = LAYOUT


def as_json(content: ReportContent) -> dict[str, Any]:
    """The content as it is kept in a row."""
    return asdict(content)


def from_json(kept: dict[str, Any]) -> ReportContent:
    """The content as it was kept."""
    plain = dict(kept)
    plain["tanks"] = [_tank(row) for row in kept["tanks"]]
    plain["questions"] = [Question(**row) for row in kept["questions"]]
    plain["next_visit"] = NextVisit(**kept["next_visit"])
    known = {f.name for f in fields(ReportContent)}
    return ReportContent(**{name: value for name, value in plain.items() if name in known})


def _tank(row: dict[str, Any]) -> TankBlock:
    plain = dict(row)
    plain["levels"] = [Level(**level) for level in row["levels"]]
    plain["pictures"] = [Picture(**picture) for picture in row["pictures"]]
    plain["trend"] = _trend(row["trend"]) if row["trend"] else None
    plain["more"] = [_trend(kept) for kept in row.get("more", [])]
    return TankBlock(**plain)


def _trend(row: dict[str, Any]) -> Trend:
    lines = [
        Line(label=line["label"], marker=line["marker"], points=[(at, v) for at, v in line["points"]])
        for line in row["lines"]
    ]
    return Trend(**{**row, "lines": lines})
