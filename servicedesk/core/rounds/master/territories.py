"""Whose site is whose: territories that lie together and hold about as much work for everyone.

Each technician has a seed, the site in the middle of those visited today or, for want of any, one far from all other seeds and near
home. Sites without a technician go where they lie best, those first that would lose most elsewhere, as long as there are hours left.
Then sites at the borders go over to the neighbour, alone or in exchange, while that is cheaper: how near it lies to its three nearest
in the territory, how far the territory's middle and the technician's home are, how far hours are from everybody's share, and what a change of person costs.
A way of our own; found from the travel matrix alone."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from servicedesk.core.rounds.later import np
from servicedesk.core.rounds.master.values import Master, kept, visits_of

NEAREST, AROUND, BORDER = 3, 40, 10
TO_MIDDLE = 0.15
"""Share of the way to the territory's middle that a visit there costs beside the way to its neighbours."""
TO_HOME, AT_HOME = 0.3, 2
"""Share of the way from home, since each day goes there and back for about so many visits; and how many who live near a site are asked."""
SHARE, BEYOND = 2.0, 20.0
"""What a part of a technician's hours above the common share costs, squared; and above what is paid at all."""
FILLED = (1.0, 1.1, 1.3, 99.0)
SWEEPS = 12


@dataclass
class _State:
    """Who has which site, and what hangs on it."""

    whose: Any
    hours: Any
    middle: list[int]


class Territories:
    """Draws the territories of a master round."""

    def __init__(self, master: Master, seed: int) -> None:
        self.master, self.drawn = master, random.Random(f"territories {seed}")
        seconds = master.travel.arrays[0]
        self.at = np.array([site.place for site in master.sites], dtype=np.int64)
        one_way = seconds[np.ix_(self.at, self.at)]
        self.way = ((one_way + one_way.T) / 2).astype(np.float32)
        self.able = np.array([[master.able(s, p) for p in master.people] for s in master.sites], dtype=bool)
        self.home = np.array([seconds[p.start, self.at] for p in master.people], dtype=np.float32)
        self.visits = np.array([visits_of(master, site) for site in master.sites], dtype=np.float32)
        self.around = np.argsort(self.way, axis=1, kind="stable")[:, 1 : AROUND + 1]
        self.close = np.argsort(self.home, axis=0, kind="stable")[:AT_HOME].T
        legs = np.take_along_axis(self.way, self.around[:, :NEAREST], axis=1)
        between = legs.mean(axis=1) if legs.size else np.zeros(len(self.at), dtype=np.float32)
        self.load = self.visits * (
            np.array([s.seconds for s in master.sites], dtype=np.float32) + 1.3 * between
        )
        self.room = np.array([max(1, master.capacity[p.id]) for p in master.people], dtype=np.float32)
        people = {person.id: number for number, person in enumerate(master.people)}
        habits = [kept(master, site) for site in master.sites]
        self.today = np.array([-1 if h is None else people[h.technician] for h in habits], dtype=np.int64)

    def draw(self) -> dict[str, str]:
        """The technician of each site that somebody can visit."""
        if not self.master.people or not self.master.sites:
            return {}
        state = self._begun()
        for _sweep in range(SWEEPS):
            if not self._swept(state):
                break
            state.middle = self._middles(state)
        people = self.master.people
        return {
            site.id: people[int(t)].id
            for site, t in zip(self.master.sites, state.whose, strict=True)
            if t >= 0
        }

    def _begun(self) -> _State:
        """Today's territories, with seeds for those who have none, and the rest given out."""
        whose = self.today.copy()
        hours = np.array([self.load[whose == t].sum() for t in range(len(self.room))])
        state = _State(whose, hours, [])
        state.middle = self._middles(state)
        for t in range(len(self.room)):
            if state.middle[t] < 0:
                state.middle[t] = self._seed(state, t)
        self._given_out(state)
        state.middle = self._middles(state, state.middle)
        return state

    def _middles(self, state: _State, before: Sequence[int] = ()) -> list[int]:
        """The site in the middle of each territory; the one before, or -1, where it is empty."""
        found = []
        for t in range(len(self.room)):
            mine = np.flatnonzero(state.whose == t)
            if not len(mine):
                found.append(before[t] if before else -1)
                continue
            sums = self.way[np.ix_(mine, mine)] @ self.visits[mine]
            found.append(int(mine[int(np.argmin(sums))]))
        return found

    def _seed(self, state: _State, t: int) -> int:
        """For who visits nobody yet: a site far from all seeds and near home, by lot among the best."""
        seeds = [m for m in state.middle if m >= 0]
        far = self.way[:, seeds].min(axis=1) if seeds else np.full(len(self.at), float(self.way.max()))
        worth = np.where(self.able[:, t], far * np.sqrt(self.load) - self.home[t], -np.inf)
        best = np.argsort(-worth, kind="stable")[:3]
        return int(best[int(self.drawn.random() * len(best))])

    def _given_out(self, state: _State) -> None:
        """Sites that nobody visits yet, those first that would lose most with the second best."""
        left = [i for i in np.flatnonzero(state.whose < 0).tolist() if self.able[i].any()]
        share = float(self.load.sum() / self.room.sum())
        ways = self.way[:, state.middle] + TO_HOME * self.home.T + np.where(self.able, 0, np.inf)
        for filled in FILLED:
            regrets = []
            for i in left:
                two = np.sort(ways[i])[:2]
                regrets.append((float(two[0] - two[-1]) if np.isfinite(two[-1]) else -np.inf, i))
            left = []
            for _regret, i in sorted(regrets):
                room = state.hours + self.load[i] <= filled * share * self.room
                t = int(np.argmin(np.where(room, ways[i], np.inf)))
                if not room[t] or not np.isfinite(ways[i, t]):
                    left.append(i)
                    continue
                self._give(state, i, t)

    def _give(self, state: _State, i: int, t: int) -> None:
        before = int(state.whose[i])
        if before >= 0:
            state.hours[before] -= self.load[i]
        state.whose[i] = t
        state.hours[t] += self.load[i]

    def _lies(self, state: _State, i: int, t: int) -> float:
        """What the site costs in a territory: by its neighbours there, the middle, and whether it was there before."""
        around = self.around[i]
        near = around[state.whose[around] == t][:NEAREST]
        middle = float(self.way[i, state.middle[t]]) if state.middle[t] >= 0 else float(self.home[t, i])
        legs = float(self.way[i, near].sum()) + (NEAREST - len(near)) * middle
        ways = legs / NEAREST + TO_MIDDLE * middle + TO_HOME * float(self.home[t, i])
        cost = float(self.visits[i]) * ways
        return cost + (self.master.prices.technician if self.today[i] not in (-1, t) else 0)

    def _weight(self, hours: float, t: int) -> float:
        """What it costs that a technician's hours are so many."""
        room = float(self.room[t])
        share = float(self.load.sum() / self.room.sum())
        return room * (SHARE * (hours / room - share) ** 2 + BEYOND * max(0.0, hours / room - 1) ** 2)

    def _shifted(self, state: _State, a: int, b: int, seconds: float) -> float:
        """What it costs that so many seconds go from one to the other."""
        after = self._weight(state.hours[a] - seconds, a) + self._weight(state.hours[b] + seconds, b)
        return after - self._weight(state.hours[a], a) - self._weight(state.hours[b], b)

    def _swept(self, state: _State) -> bool:
        """One look at every border; whether anything went over."""
        changed = False
        for i in range(len(self.at)):
            a = int(state.whose[i])
            if a < 0:
                continue
            beside = [int(state.whose[j]) for j in self.around[i][:BORDER]]
            others = list(dict.fromkeys([*beside, *self.close[i].tolist()]))
            for b in [b for b in others if b not in (a, -1) and self.able[i, b]]:
                gain = self._lies(state, i, b) - self._lies(state, i, a)
                if gain + self._shifted(state, a, b, float(self.load[i])) < -1:
                    self._give(state, i, b)
                    changed = True
                    break
                if gain < 0 and self._exchanged(state, i, a, b, gain):
                    changed = True
                    break
        return changed

    def _exchanged(self, state: _State, i: int, a: int, b: int, gain: float) -> bool:
        """Whether one of the other's sites went the other way for this one."""
        for j in [int(j) for j in self.around[i][:BORDER] if state.whose[j] == b and self.able[j, a]]:
            other = self._lies(state, j, a) - self._lies(state, j, b)
            if gain + other + self._shifted(state, a, b, float(self.load[i] - self.load[j])) < -1:
                self._give(state, i, b)
                self._give(state, j, a)
                return True
        return False


def territories(master: Master, seed: int) -> dict[str, str]:
    """The technician of each site that somebody can visit, by id. The same seed gives the same territories."""
    return Territories(master, seed).draw()


def spread_km(master: Master, whose: Mapping[str, str]) -> dict[str, float]:
    """How far a technician's sites lie from the one in their middle, in km on average; empty where no metres are known."""
    if master.travel.metres is None:
        return {}
    metres, found = np.asarray(master.travel.metres), dict[str, float]()
    for person in master.people:
        at = [site.place for site in master.sites if whose.get(site.id) == person.id]
        if at:
            found[person.id] = float(metres[np.ix_(at, at)].mean(axis=1).min()) / 1000
    return found
