"""Public holidays, by the library `holidays` (its tables of the countries' own laws). Loaded when first asked for."""

import importlib
from datetime import date
from typing import Any


class NoSuchPlace(ValueError):
    """A country or a region of which no public holidays are known; the sentence says which."""


def public_holidays(country: str, region: str, first: date, last: date) -> dict[date, str]:
    """The public holidays from first to last day, with their names. `country` is a code of ISO 3166-1 (two letters), empty for none; `region` the end of
    its code of ISO 3166-2, empty for those of the whole country. Raises NoSuchPlace."""
    if not country:
        return {}
    library: Any = importlib.import_module("holidays")
    try:
        found = library.country_holidays(
            country, subdiv=region or None, years=range(first.year, last.year + 1)
        )
    except NotImplementedError as wrong:
        where = f"{country}-{region}" if region else country
        raise NoSuchPlace(f"No public holidays are known of “{where}”.") from wrong
    return {day: str(name) for day, name in sorted(found.items()) if first <= day <= last}
