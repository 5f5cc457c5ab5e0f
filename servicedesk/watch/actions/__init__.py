"""The sweep that judges every tank with news, and the list of what wants attention: one open row for each cause."""

from servicedesk.watch.actions.alarms import NotDone, act, hand_on, see, shelve
from servicedesk.watch.actions.away import be_away, be_back
from servicedesk.watch.actions.browsers import (
    NotTurnedOn,
    tell_browser_of,
    tell_of_gone,
    try_browser,
    turn_off,
    turn_on,
)
from servicedesk.watch.actions.rows import clear_attention, raise_attention
from servicedesk.watch.actions.silence import learn_habits, watch_silence
from servicedesk.watch.actions.sweeping import judge_tank, look, sweep, wake
from servicedesk.watch.actions.telling import tell

__all__ = [
    "NotDone",
    "NotTurnedOn",
    "act",
    "be_away",
    "be_back",
    "clear_attention",
    "hand_on",
    "judge_tank",
    "learn_habits",
    "look",
    "raise_attention",
    "see",
    "shelve",
    "sweep",
    "tell",
    "tell_browser_of",
    "tell_of_gone",
    "try_browser",
    "turn_off",
    "turn_on",
    "wake",
    "watch_silence",
]
