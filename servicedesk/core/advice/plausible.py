"""What such water hardly ever shows: beyond it a single value is more likely a slip than the truth, and is tested again. It is kept
all the same, and what is urgent is said at once. Common practice (no source); canonical units."""

from functools import cache

from servicedesk.core.advice.sheet import MARINE
from servicedesk.core.tables import read_csv


@cache
def _table() -> dict[tuple[str, str], tuple[float, float]]:
    rows = read_csv("plausible.csv")
    return {(row["water"], row["parameter"]): (float(row["low"]), float(row["high"])) for row in rows}


def plausible(*, parameter: str, water_type: str) -> tuple[float, float] | None:
    """The least and the most that water of that type plausibly shows; None where nothing is said of it."""
    water = "marine" if water_type in MARINE else "brackish" if water_type == "brackish" else "fresh"
    return _table().get((water, parameter)) or _table().get(("any", parameter))
