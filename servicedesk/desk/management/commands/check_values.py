"""`check_values`: recompute published values on this installation and say how near they come."""

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from servicedesk.core.checks import BadRows, Checked
from servicedesk.desk.queries.published import FILES, recomputed


class Command(BaseCommand):
    help = "Recomputes the published values of these files (those of the project where none is named)."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("files", nargs="*", type=Path, metavar="FILE.csv")

    def handle(self, *args: Any, **options: Any) -> None:
        files: list[Path] = options["files"] or list(FILES)
        found = [checked for file in files for checked in self._of(file)]
        count = {word: sum(1 for c in found if c.outcome == word) for word in ("passed", "failed", "unknown")}
        remembered = sum(1 for c in found if c.row.from_memory)
        if remembered:
            self.stdout.write(f"{remembered} of these values are from memory: nobody has read them anywhere.")
        self.stdout.write(", ".join(f"{number} {word}" for word, number in count.items()))
        if count["failed"]:
            sys.exit(1)

    def _of(self, file: Path) -> list[Checked]:
        try:
            found = recomputed(file)
        except OSError as wrong:
            raise CommandError(f"{file} cannot be read: {wrong.strerror}.") from wrong
        except (BadRows, UnicodeDecodeError) as wrong:
            raise CommandError(f"{file}: {wrong}") from wrong
        self.stdout.write(f"== {file.name}")
        for checked in found:
            self.stdout.write(line_of(checked))
        return found


def line_of(checked: Checked) -> str:
    """A row in words: what was expected, what came out, how far off, and where the value was read."""
    row = checked.row
    parts = [f"{checked.outcome:<8}{row.id}", f"expected {row.expected:g} {row.unit}".strip()]
    if checked.got is not None and checked.difference is not None:
        off = (
            f"{100 * checked.difference:.3g} % of at most {100 * row.tolerance:g} %"
            if row.relative
            else f"{checked.difference:.3g} of at most {row.tolerance:g}"
        )
        parts += [f"got {checked.got:.8g}", f"off by {off}"]
    if checked.why:
        parts.append(checked.why)
    parts.append(row.source or "no source is named")
    return "; ".join(parts) + ("; from memory" if row.from_memory else "")
