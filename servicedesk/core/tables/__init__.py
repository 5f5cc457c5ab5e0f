"""The tables the core computes with: its only disk access. Each is read once and not altered."""

import csv
import json
from functools import cache
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent


@cache
def read_csv(name: str) -> tuple[dict[str, str], ...]:
    """Rows of a CSV table by its file name, each a dict of column to text."""
    with (HERE / name).open(encoding="utf-8", newline="") as lines:
        return tuple(csv.DictReader(lines))


@cache
def read_json(name: str) -> Any:
    """The value of a JSON table by its file name. Shared: do not alter it."""
    return json.loads((HERE / name).read_text(encoding="utf-8"))
