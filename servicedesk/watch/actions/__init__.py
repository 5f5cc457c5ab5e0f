"""The sweep that judges every tank with news, and the list of what wants attention: one open row for each cause."""

from servicedesk.watch.actions.rows import clear_attention, raise_attention
from servicedesk.watch.actions.silence import learn_habits, watch_silence
from servicedesk.watch.actions.sweeping import judge_tank, look, sweep

__all__ = [
    "clear_attention",
    "judge_tank",
    "learn_habits",
    "look",
    "raise_attention",
    "sweep",
    "watch_silence",
]
