"""The pages of rounds: the technician's round and load, the owner's week."""

from servicedesk.rounds.views.shown import day_strip

__all__ = ["day_strip"]
