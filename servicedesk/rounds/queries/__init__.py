"""Rounds and stops as people look at them, next visits, and what must be in the van."""

from servicedesk.rounds.queries.load import Load, carried, load_of
from servicedesk.rounds.queries.stops import (
    next_visits_of,
    opens_its_door,
    round_of,
    stop_for,
    stops_for,
    stops_on,
)

__all__ = [
    "Load",
    "carried",
    "load_of",
    "next_visits_of",
    "opens_its_door",
    "round_of",
    "stop_for",
    "stops_for",
    "stops_on",
]
