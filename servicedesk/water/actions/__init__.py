"""What changes about the water: readings and their corrections, water changes, what a tank starts with."""

from servicedesk.water.actions.changes import record_water_change
from servicedesk.water.actions.intake import Apart, Incoming, Taken, hold_apart, take_in
from servicedesk.water.actions.readings import (
    NotWater,
    by_hand,
    correct_reading,
    record_reading,
    source_of,
    touch,
)
from servicedesk.water.actions.starting import set_default_bands, set_default_tests

__all__ = [
    "Apart",
    "Incoming",
    "NotWater",
    "Taken",
    "by_hand",
    "correct_reading",
    "hold_apart",
    "record_reading",
    "record_water_change",
    "set_default_bands",
    "set_default_tests",
    "source_of",
    "take_in",
    "touch",
]
