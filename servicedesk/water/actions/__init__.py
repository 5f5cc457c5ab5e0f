"""What changes about the water: readings and their corrections, water changes, what a tank starts with."""

from servicedesk.water.actions.changes import record_water_change
from servicedesk.water.actions.held import Released, Whose, discard_held, release_held
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
    "Released",
    "Taken",
    "Whose",
    "by_hand",
    "correct_reading",
    "discard_held",
    "hold_apart",
    "record_reading",
    "record_water_change",
    "release_held",
    "set_default_bands",
    "set_default_tests",
    "source_of",
    "take_in",
    "touch",
]
