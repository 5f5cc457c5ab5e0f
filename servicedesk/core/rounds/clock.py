"""The virtual clock: lunch is taken out of the day, so that a solver without breaks plans around it.

With a lunch of b that begins from B0 to B1, whatever begins at or after B0 is b earlier on the virtual clock. A round that holds
there can be driven with lunch on the real one, if no single piece of work covers the whole of B0 to B1: such work gets two
windows, one ended by B1 and one begun after lunch."""

from __future__ import annotations

from servicedesk.core.rounds.problem import Lunch


def virtual_windows(
    earliest: int, latest: int, seconds: int, lunch: Lunch | None
) -> list[tuple[int, int, int]]:
    """Windows of starts on the virtual clock for work of this length, each with seconds that the work has to be longer there;
    none where it cannot go with lunch at all. What can only begin inside lunch's own time comes before lunch: on the virtual clock
    it begins just before it and lasts longer by as much."""
    if lunch is None:
        return [(earliest, latest, 0)]
    begin, found = lunch.earliest, []
    opens = earliest if earliest <= begin else max(begin, earliest - lunch.seconds)
    closes = latest if latest < begin else max(begin - 1, latest - lunch.seconds)
    if seconds <= lunch.latest - begin:
        found = [(opens, closes)]
    else:
        found = [(opens, min(closes, lunch.latest - seconds, begin - 1)), (max(opens, begin), closes)]
    whole = [(a, b, 0) for a, b in found if a <= b]
    if not whole and earliest >= begin and earliest + seconds <= lunch.latest:
        return [(begin - 1, begin - 1, earliest - begin + 1)]
    return whole


def virtual_end(end: int, lunch: Lunch | None) -> int:
    """When a shift ends on the virtual clock."""
    if lunch is None or end < lunch.earliest:
        return end
    return max(lunch.earliest, end - lunch.seconds)


def virtual_time(at: int, lunch: Lunch | None) -> int:
    """A moment of the real clock on the virtual one; all of lunch falls on its beginning."""
    if lunch is None or at < lunch.earliest:
        return at
    return max(lunch.earliest, at - lunch.seconds)
