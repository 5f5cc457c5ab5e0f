"""Which clients of the model the search tries beside which: near ones of the same day, where waiting counts, and near ones of
other days, without which no visit would ever change its day. Nearness within a day follows Vidal et al. 2013 (Computers &
Operations Research 40:475-489): the way, a share of the wait that cannot be avoided, the lateness that cannot."""

from __future__ import annotations

from typing import Any

from servicedesk.core.rounds.later import np, vrp
from servicedesk.core.rounds.model import FORBIDDEN, Model
from servicedesk.core.rounds.problem import DAY_S

WAIT_WEIGHT = 0.2


def nearness(model: Model) -> tuple[Any, Any, Any]:
    """Two square arrays over the clients: within a day, and by the way alone; and each client's day."""
    copies, visits = model.copies, model.problem.visits
    spots = np.array([copy.spot for copy in copies])
    costs = np.min(np.stack(model.data.distance_matrices()), axis=0)[np.ix_(spots, spots)].astype(float)
    seconds = np.min(np.stack(model.data.duration_matrices()), axis=0)[np.ix_(spots, spots)].astype(float)
    day = np.array([copy.day for copy in copies])
    opens = np.array([copy.day * DAY_S + copy.opens for copy in copies], dtype=float)
    closes = np.array([copy.day * DAY_S + copy.closes for copy in copies], dtype=float)
    work = np.array([visits[copy.visit].seconds for copy in copies], dtype=float)
    leaves = seconds + work[:, None]
    wait = np.maximum(opens - (closes[:, None] + leaves), 0)
    late = np.maximum(opens[:, None] + leaves - closes, 0)
    inside = costs + WAIT_WEIGHT * wait + late
    way = np.minimum(costs, costs.T)
    return np.minimum(inside, inside.T), way, day


def neighbour_table(model: Model, *, same_day: int, other_days: int) -> dict[Any, list[Any]]:
    """For each client so many near ones of its own day and, where it may change its day, of
    all others together, the nearest first; never of its own visit."""
    inside, way, day = nearness(model)
    visit = np.array([copy.visit for copy in model.copies])
    never = 2.0 * FORBIDDEN * FORBIDDEN
    other = day[:, None] != day
    own = visit[:, None] == visit
    activities = [vrp.Activity(vrp.ActivityType.CLIENT, n) for n in range(len(visit))]
    near = _nearest(np.where(other | own, never, inside), same_day, never)
    settled = np.array([len({model.copies[c].day for c in model.of_visit[v]}) == 1 for v in visit.tolist()])
    far = _nearest(np.where(~other | own | settled[:, None], never, way), other_days, never)
    return {
        activity: [activities[other] for other in [*first, *second]]
        for activity, first, second in zip(activities, near, far, strict=True)
    }


def _nearest(values: Any, most: int, never: float) -> list[list[int]]:
    order = np.argsort(values, axis=1, kind="stable")[:, :most]
    kept = np.take_along_axis(values, order, axis=1) < never
    return [row[keep].tolist() for row, keep in zip(order, kept, strict=True)]
