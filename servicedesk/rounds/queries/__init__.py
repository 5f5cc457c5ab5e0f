"""Rounds and stops as people look at them, next visits, and what must be in the van."""

from servicedesk.rounds.queries.load import Load, carried, load_of
from servicedesk.rounds.queries.mapped import map_of, map_of_days
from servicedesk.rounds.queries.moves import Told, notice_for, owed_visit_for, told
from servicedesk.rounds.queries.notes import notes_for_office, standing_notes
from servicedesk.rounds.queries.stops import (
    coming_days,
    next_visits_of,
    opens_its_door,
    round_of,
    stop_for,
    stops_on,
)
from servicedesk.rounds.queries.week import Day, Unplaced, days_of, unplaced, waiting_moves

__all__ = [
    "Day",
    "Load",
    "Told",
    "Unplaced",
    "carried",
    "coming_days",
    "days_of",
    "load_of",
    "map_of",
    "map_of_days",
    "next_visits_of",
    "notice_for",
    "notes_for_office",
    "opens_its_door",
    "owed_visit_for",
    "round_of",
    "standing_notes",
    "stop_for",
    "stops_on",
    "told",
    "unplaced",
    "waiting_moves",
]
