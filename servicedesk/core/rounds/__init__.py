"""Planning rounds: which technician visits whom, on which day, in which order; what changes when the day breaks; why a visit
finds no room.

    problem   what goes in (values)          travel    seconds between places where no router is asked
    plan      what comes out (values)        rules     the judge: times, costs, every broken rule
    planner   plan_rounds(problem, budget)   today     offers(problem, before, budget)
    why       why(problem, orders, visit)    odd       what cannot be, in words
    weeks     invented weeks                 formats   published instances

Inside: `compiled` is the search of its own on arrays, with which weeks and master rounds are planned. Model, engine and neighbours put a
problem into the terms of the library that searches briefly, or what the arrays do not know: whole, large ones in sectors, visits whose
days hang together with patterns. The clock takes lunch out of both. Times are seconds since local midnight, days count from 0, prices are in the unit of travel's cost
(seconds of driving, if nothing else is said). Nothing here reads a clock of the day, a disk or a database, but that the compiled
functions are kept on one."""

from servicedesk.core.rounds.keeping import Budget, Progress
from servicedesk.core.rounds.plan import REFILL, Orders, Plan, Round, Stop
from servicedesk.core.rounds.planner import Outcome, plan_rounds
from servicedesk.core.rounds.problem import (
    CLEAN,
    ISOLATED,
    SUSPECT,
    Lunch,
    NotPlanned,
    Pair,
    Problem,
    Refill,
    Shift,
    Tie,
    Travel,
    Visit,
    Window,
    locked,
)
from servicedesk.core.rounds.rules import Fault, judge
from servicedesk.core.rounds.today import Changes, Offer, changes, offers, smallest_change
from servicedesk.core.rounds.travel import Band, Roads, swapped, travel_between
from servicedesk.core.rounds.why import Proof, Way, Why, proofs, why

__all__ = [
    "CLEAN",
    "ISOLATED",
    "REFILL",
    "SUSPECT",
    "Band",
    "Budget",
    "Changes",
    "Fault",
    "Lunch",
    "NotPlanned",
    "Offer",
    "Orders",
    "Outcome",
    "Pair",
    "Plan",
    "Problem",
    "Progress",
    "Proof",
    "Refill",
    "Roads",
    "Round",
    "Shift",
    "Stop",
    "Tie",
    "Travel",
    "Visit",
    "Way",
    "Why",
    "Window",
    "changes",
    "judge",
    "locked",
    "offers",
    "plan_rounds",
    "proofs",
    "smallest_change",
    "swapped",
    "travel_between",
    "why",
]
