"""A visit as people look at it: what was written, what is judged, what is left to do."""

from servicedesk.visits.queries.doubts import doubt_of
from servicedesk.visits.queries.journal import (
    entries_of,
    fields_of,
    journal_of,
    last_closed,
    photo_for,
    photos_of,
    standing_photos,
    tanks_of,
    visit_of,
    visits_for,
)
from servicedesk.visits.queries.sheet import TankToday, Tested, today_of, untested_in
from servicedesk.visits.queries.told import told

__all__ = [
    "TankToday",
    "Tested",
    "doubt_of",
    "entries_of",
    "fields_of",
    "journal_of",
    "last_closed",
    "photo_for",
    "photos_of",
    "standing_photos",
    "tanks_of",
    "today_of",
    "told",
    "untested_in",
    "visit_of",
    "visits_for",
]
