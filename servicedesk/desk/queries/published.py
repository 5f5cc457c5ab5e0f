"""The published values that this installation recomputes, by topic, what is not met said first."""

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from django.conf import settings
from django.utils.translation import gettext as _

from servicedesk.core.checks import Checked, check, read_rows
from servicedesk.core.checks.rules import RULES
from servicedesk.core.checks.series import read_series

HELD = Path(settings.ROOT) / "fixtures" / "reference"
FILES = tuple(
    HELD / f"{name}.csv"
    for name in (
        *("units_chemistry", "volume_and_water_change", "dosing", "seawater", "ammonia", "carbonate"),
        *("metrology", "inventory", "treatments"),
    )
) + (HELD / "series.json",)
GLYPHS = {"passed": "in", "failed": "again", "unknown": "none"}


@dataclass(frozen=True)
class Line:
    """One published value as the page shows it."""

    checked: Checked
    glyph: str
    word: str
    expected: str
    got: str


@dataclass
class Topic:
    """Values of one topic, those that are not met first."""

    title: str
    lines: list[Line] = field(default_factory=list)

    @property
    def met(self) -> int:
        return sum(1 for line in self.lines if line.checked.outcome == "passed")


def recomputed(file: Path) -> list[Checked]:
    """Each row of a file (columns, or series in JSON), computed. Raises OSError, UnicodeDecodeError and core.checks.BadRows."""
    read = read_series if file.suffix == ".json" else read_rows
    return [check(row, RULES) for row in read(file.read_text(encoding="utf-8-sig"))]


@cache
def ours() -> tuple[Checked, ...]:
    """All values that come with the project: the files and the rules stay the same while the process runs."""
    return tuple(checked for file in FILES for checked in recomputed(file))


def topics() -> list[Topic]:
    """The same for a page."""
    found: dict[str, Topic] = {}
    words = {"passed": _("Met"), "failed": _("Not met"), "unknown": _("Not computed here")}
    for checked in sorted(ours(), key=lambda c: c.outcome == "passed"):
        row = checked.row
        topic = found.setdefault(row.topic, Topic(row.topic.replace("_", " ").capitalize()))
        got = "" if checked.got is None else f"{checked.got:.7g}"
        expected = f"{row.printed} {row.unit if row.unit != '1' else ''}".strip()
        line = Line(checked, GLYPHS[checked.outcome], str(words[checked.outcome]), expected, got)
        topic.lines.append(line)
    return sorted(found.values(), key=lambda topic: (topic.met == len(topic.lines), topic.title))
