"""The problem in the solver's terms: one vehicle type for each kind of shift, one client for each visit, day and window, all
clients of a visit in one group of which one is served.

Skills, holds to a technician and levels of isolation are arcs that cost too much: places are doubled where rules differ, and
there is one pair of matrices for each kind of technician. Lunch is taken out of the clock (see clock)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from servicedesk.core.rounds.clock import virtual_end, virtual_time, virtual_windows
from servicedesk.core.rounds.later import np, vrp
from servicedesk.core.rounds.plan import REFILL, Orders, Plan
from servicedesk.core.rounds.problem import DAY_S, NO_WAY_S, Key, Lunch, Problem, Shift, Visit
from servicedesk.core.rounds.rules import fits
from servicedesk.core.rounds.timing import lunch_of

FORBIDDEN = 1_000_000
"""Seconds and price of an arc that no plan may use: many times a shift, yet far from the solver's limits."""
HELD = 10
"""How much dearer it is to leave out a visit that a person has locked."""
CLIENT, DEPOT, STORE = 0, 1, 2


@dataclass(frozen=True)
class Spot:
    """A location of the model: a place, with the rules of those who are served there."""

    kind: int
    place: int
    level: int = 0
    disinfects: bool = False
    skills: frozenset[str] = frozenset()
    technicians: frozenset[str] | None = None
    usual: str | None = None
    change_price: int = 0
    rest: Lunch | None = None
    seconds: int = 0


@dataclass(frozen=True)
class Kind:
    """What a technician's matrices hang on."""

    skills: frozenset[str]
    technician: str
    rest: Lunch | None


@dataclass(frozen=True)
class Copy:
    """A client of the model: a visit in one window of one day, on the virtual clock of one lunch."""

    visit: int
    day: int
    opens: int
    closes: int
    rest: Lunch | None
    price: int
    spot: int


@dataclass
class Model:
    """The solver's data and the way back. `fleets[t]` are the shifts of vehicle type t, `copies[c]` what client c is."""

    problem: Problem
    data: Any = None
    copies: list[Copy] = field(default_factory=list)
    of_visit: dict[int, list[int]] = field(default_factory=dict)
    fleets: list[list[Shift]] = field(default_factory=list)
    spots: dict[Spot, int] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()
    store_of: dict[int, int] = field(default_factory=dict)
    skippable: int = 0
    constant: int = 0
    """What the solver's cost lacks or has too much: it counts the prizes of all clients it does not serve."""

    def spot(self, spot: Spot) -> int:
        return self.spots.setdefault(spot, len(self.spots))


class _Builder:
    def __init__(
        self, problem: Problem, days: Mapping[str, int], skippable: int | None, without: Collection[str]
    ) -> None:
        self.problem, self.days, self.skippable, self.without = problem, days, skippable, without
        self.model = Model(problem)
        self.rests = {lunch_of(shift) for shift in problem.shifts}
        self.named = {t for v in problem.visits for t in (v.technicians or ())}
        self.named |= {v.usual for v in problem.visits if v.usual is not None and v.change_price}
        self.needed = frozenset(skill for visit in problem.visits for skill in visit.skills)
        self.counted = any(shift.most_stops is not None for shift in problem.shifts)
        self.by_day: dict[int, list[Shift]] = defaultdict(list)
        for shift in problem.shifts:
            self.by_day[shift.day].append(shift)

    def kind(self, shift: Shift) -> Kind:
        technician = shift.technician if shift.technician in self.named else ""
        return Kind(shift.skills & self.needed, technician, lunch_of(shift))

    def rest_of(self, shift: Shift) -> Lunch | None:
        """The lunch that a client's place is told apart by; None where all shifts rest alike."""
        return lunch_of(shift) if len(self.rests) > 1 else None

    def windows(self, visit: Visit) -> list[tuple[Any, ...]]:
        """Day, opening, closing, seconds more, lunch, telling lunch and price of each client of this visit."""
        found = []
        for window in visit.windows:
            if self.days.get(visit.id, window.day) != window.day:
                continue
            able = [shift for shift in self.by_day[window.day] if fits(visit, shift) is None]
            for rest, told in dict.fromkeys((lunch_of(s), self.rest_of(s)) for s in able):
                for part in virtual_windows(window.earliest, window.latest, visit.seconds, rest):
                    found.append((window.day, *part, rest, told, window.price))
        return found

    def clients(self) -> tuple[list[Any], list[Any]]:
        clients: list[Any] = []
        groups: list[Any] = []
        left_out = []
        for number, visit in enumerate(self.problem.visits):
            windows = self.windows(visit) if visit.id not in self.without else []
            if not windows:
                left_out.append(visit.id)
                continue
            skip = visit.skip_price
            if skip is None and self.skippable is not None:
                skip = self.skippable * (HELD if visit.held else 1)
            base = skip if skip is not None else max(w[-1] for w in windows)
            group = len(groups) if len(windows) > 1 else None
            self.model.of_visit[number] = list(range(len(clients), len(clients) + len(windows)))
            for window in windows:
                clients.append(
                    self._client(number, visit, window, base, skip is None and group is None, group)
                )
            prizes = sum(clients[c].prize for c in self.model.of_visit[number])
            self.model.constant += (base if skip is not None or group is not None else prizes) - prizes
            if group is not None:
                groups.append(vrp.ClientGroup(self.model.of_visit[number], required=skip is None))
        self.model.left_out = tuple(left_out)
        self.model.constant += sum(self.problem.visit[name].skip_price or 0 for name in left_out)
        return clients, groups

    def _client(
        self, number: int, visit: Visit, window: tuple[Any, ...], base: int, required: bool, group: int | None
    ) -> Any:
        day, opens, closes, more, rest, told, price = window
        usual = visit.usual if visit.change_price else None
        spot = self.model.spot(
            Spot(
                CLIENT, visit.place, visit.level, visit.disinfects, visit.skills, visit.technicians, usual,
                visit.change_price if usual is not None else 0, told,
            )
        )  # fmt: skip
        self.model.copies.append(Copy(number, day, opens, closes, rest, price, spot))
        wide = len(self.problem.shifts[0].van)
        amounts = [*visit.loads, *[0] * (wide - len(visit.loads)), *([1] if self.counted else [])]
        start = day * DAY_S
        return vrp.Client(
            location=spot, delivery=amounts, service_duration=visit.seconds + more, tw_early=max(0, start + opens),
            tw_late=start + closes, prize=max(0, base - price), required=required, group=group,
        )  # fmt: skip

    def vehicles(self) -> tuple[list[Any], list[Any], list[Kind]]:
        """Depots, vehicle types and kinds; shifts that are alike in everything but the name are one type."""
        depots: dict[tuple[int, int], int] = {}
        made: list[Any] = []

        def depot(kind: int, place: int, seconds: int = 0) -> int:
            spot = self.model.spot(Spot(kind, place, seconds=seconds))
            if (spot, seconds) not in depots:
                depots[spot, seconds] = len(made)
                made.append(vrp.Depot(spot, service_duration=seconds))
            return depots[spot, seconds]

        alike: dict[tuple[Shift, Kind], list[Shift]] = defaultdict(list)
        for shift in self.problem.shifts:
            alike[replace(shift, technician=""), self.kind(shift)].append(shift)
        kinds = list(dict.fromkeys(kind for _shift, kind in alike))
        types: list[Any] = []
        for (shift, kind), fleet in alike.items():
            ends = depot(DEPOT, shift.start), depot(DEPOT, shift.end)
            store = depot(STORE, shift.refill.place, shift.refill.seconds) if shift.refill else None
            if store is not None:
                self.model.store_of[len(types)] = store
            types.append(self._type(shift, len(fleet), ends, store, kinds.index(kind)))
            self.model.fleets.append(fleet)
        return made, types, kinds

    def _type(self, shift: Shift, many: int, ends: tuple[int, int], store: int | None, profile: int) -> Any:
        most = shift.most_stops if shift.most_stops is not None else len(self.problem.visits)
        start, rest = shift.day * DAY_S, lunch_of(shift)
        begin = shift.earliest
        more: dict[str, Any] = {} if shift.paid is None else {"shift_duration": shift.paid}
        if shift.paid is not None and shift.overtime:
            more |= {"max_overtime": shift.overtime, "unit_overtime_cost": shift.overtime_price}
        if store is not None and shift.refill is not None:
            more |= {"reload_depots": [store], "max_reloads": shift.refill.most}
        return vrp.VehicleType(
            num_available=many, capacity=[*shift.van, *([most] if self.counted else [])], start_depot=ends[0], end_depot=ends[1],
            tw_early=start + begin, tw_late=max(start + begin, start + virtual_end(shift.latest, rest)), profile=profile,
            fixed_cost=shift.fixed_price, **more,
        )  # fmt: skip

    def matrices(self, kinds: list[Kind]) -> tuple[list[Any], list[Any]]:
        """Cost and seconds for each kind of technician."""
        spots = list(self.model.spots)
        places = np.array([spot.place for spot in spots])
        between = np.ix_(places, places)
        seconds, costs = (square[between] for square in self.problem.travel.arrays)
        never = (seconds >= NO_WAY_S) | _backwards(spots)
        all_costs, all_seconds = [], []
        for kind in kinds:
            surcharge = np.array([_surcharge(spot, kind) for spot in spots])
            barred = never | (surcharge < 0)
            np.fill_diagonal(barred, False)
            cost = np.where(barred, FORBIDDEN, costs + np.maximum(surcharge, 0))
            np.fill_diagonal(cost, 0)
            all_costs.append(cost.astype(np.int64))
            all_seconds.append(np.where(barred, FORBIDDEN, seconds).astype(np.int64))
        return all_costs, all_seconds


def _backwards(spots: list[Spot]) -> Any:
    """Arcs from a higher level of isolation to a lower one; the way home stays, the store does not."""
    level = np.array([spot.level for spot in spots])
    cleaned = np.array([spot.disinfects for spot in spots])
    home = np.array([spot.kind == DEPOT for spot in spots])
    return (np.where(cleaned, 0, level)[:, None] > level) & ~home


def _surcharge(spot: Spot, kind: Kind) -> int:
    """What coming here costs a technician of this kind beyond the way; -1 where they may not."""
    if spot.kind != CLIENT:
        return 0
    barred = spot.technicians is not None and kind.technician not in spot.technicians
    if barred or not spot.skills <= kind.skills or (spot.rest is not None and spot.rest != kind.rest):
        return -1
    return spot.change_price if spot.usual is not None and spot.usual != kind.technician else 0


def build(
    problem: Problem,
    *,
    days: Mapping[str, int] | None = None,
    skippable: int | None = None,
    without: Collection[str] = (),
) -> Model:
    """The model of a problem. `days` holds visits to days (patterns chosen), `skippable` is the price at which visits that must
    be planned may be left out all the same, `without` names visits that are not in it."""
    builder = _Builder(problem, days or {}, skippable, without)
    clients, groups = builder.clients()
    depots, types, kinds = builder.vehicles()
    costs, seconds = builder.matrices(kinds)
    model = builder.model
    model.skippable = skippable or 0
    locations = [vrp.Location(0, 0) for _spot in model.spots]
    model.data = vrp.ProblemData(locations, clients, depots, types, costs, seconds, groups)
    return model


def cost_of(model: Model, solution: Any) -> int:
    """What a solution costs in the unit of prices; visits left out that must be planned cost nothing here."""
    solver = solution.distance_cost() + solution.duration_cost() + solution.fixed_vehicle_cost()
    whole = int(solver + solution.uncollected_prizes()) + model.constant
    return whole - model.skippable * missing_of(model, solution, in_model=True) if model.skippable else whole


def missing_of(model: Model, solution: Any, *, in_model: bool = False) -> int:
    """How many visits that must be planned a solution leaves out; with `in_model` only those that the model knows."""
    visits, copies = model.problem.visits, model.copies
    served = {copies[a.idx].visit for route in solution.routes() for a in route if a.is_client()}
    able = model.of_visit if in_model else range(len(visits))
    return sum(visits[n].skip_price is None for n in able if n not in served)


def orders_of(model: Model, solution: Any) -> dict[Key, tuple[str, ...]]:
    """Who drives what in a solution of the model."""
    free = [list(fleet) for fleet in model.fleets]
    found = {}
    visits, copies = model.problem.visits, model.copies
    for route in solution.routes():
        order = [
            visits[copies[activity.idx].visit].id if activity.is_client() else REFILL
            for activity in list(route)[1:-1]
        ]
        found[free[route.vehicle_type()].pop(0).key] = tuple(order)
    return found


def solution_of(model: Model, orders: Orders, plan: Plan | None = None) -> Any:
    """A solution of the model with these orders (visits unknown to it left out); `plan` says which of several windows is meant."""
    number = {visit.id: n for n, visit in enumerate(model.problem.visits)}
    where = plan.where if plan else {}
    routes = []
    for kind, fleet in enumerate(model.fleets):
        for shift in fleet:
            activities = []
            for name in orders.get(shift.key, ()):
                if name == REFILL and kind in model.store_of:
                    activities.append(vrp.Activity(vrp.ActivityType.DEPOT, model.store_of[kind]))
                elif name in number:
                    start = where[name][1].start if name in where else None
                    copy = _copy_for(model, number[name], shift, start)
                    activities += [] if copy is None else [vrp.Activity(vrp.ActivityType.CLIENT, copy)]
            if any(activity.is_client() for activity in activities):
                routes.append(vrp.Route(model.data, activities, kind))
    return vrp.Solution(model.data, routes)


def _copy_for(model: Model, visit: int, shift: Shift, start: int | None) -> int | None:
    """The client that serves a visit on this shift, nearest to that start."""
    rest = lunch_of(shift)
    able = [
        c
        for c in model.of_visit.get(visit, ())
        if model.copies[c].day == shift.day and model.copies[c].rest == rest
    ]
    if not able:
        return None
    if start is None:
        return able[0]
    at = virtual_time(start, rest)
    return min(able, key=lambda c: max(model.copies[c].opens - at, at - model.copies[c].closes, 0))
