"""What changes about visits owed, rounds and stops."""

from servicedesk.rounds.actions.mastering import (
    adopt,
    ask_master,
    keep_as_it_is,
    keep_master,
    take_back,
)
from servicedesk.rounds.actions.mending import (
    choose,
    drop_trouble,
    end_search,
    keep_offer,
    say_again,
    say_call_out,
    say_trouble,
)
from servicedesk.rounds.actions.moving import Moved, move_in_proposal
from servicedesk.rounds.actions.news import arrive, call_off, leave
from servicedesk.rounds.actions.nightly import place_new
from servicedesk.rounds.actions.notes import NotNoted, write_note
from servicedesk.rounds.actions.pins import pin, unpin
from servicedesk.rounds.actions.placing import accept, place, take_off
from servicedesk.rounds.actions.planning import (
    NotPlanned,
    owe_call_out,
    owe_visits,
    plan_simply,
    put_on_round,
)
from servicedesk.rounds.actions.proposing import (
    ask_proposal,
    keep_proposal,
    put_in_force,
)
from servicedesk.rounds.actions.rhythm import AHEAD, follow_plan
from servicedesk.rounds.actions.roads import Asked, ask_ways, save_roads
from servicedesk.rounds.actions.searching import drop_search, fail_search, stop_search
from servicedesk.rounds.actions.telling import have_rung, post_letters

__all__ = [
    "AHEAD",
    "Asked",
    "ask_ways",
    "save_roads",
    "follow_plan",
    "adopt",
    "ask_master",
    "keep_as_it_is",
    "keep_master",
    "take_back",
    "choose",
    "drop_trouble",
    "end_search",
    "keep_offer",
    "say_again",
    "say_call_out",
    "say_trouble",
    "ask_proposal",
    "keep_proposal",
    "put_in_force",
    "drop_search",
    "fail_search",
    "stop_search",
    "Moved",
    "NotNoted",
    "NotPlanned",
    "accept",
    "arrive",
    "call_off",
    "leave",
    "move_in_proposal",
    "pin",
    "owe_call_out",
    "owe_visits",
    "place",
    "place_new",
    "plan_simply",
    "put_on_round",
    "take_off",
    "have_rung",
    "post_letters",
    "unpin",
    "write_note",
]
