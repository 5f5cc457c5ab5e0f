"""Whose value it is that a relay sends: by the name the relay gives an instrument, which stands before what that one calls its value."""

from collections.abc import Collection, Sequence

LEVELS = frozenset("/:")
"""What parts a name from what is below it; the other separators may also stand inside a name."""
SEPARATORS = LEVELS | frozenset("._-")
"""What may stand between the two: of the signs that a SenML name is made of (RFC 8428, section 4.5.1) those that are neither letter nor
digit."""


def told_apart(name: str, known: Collection[str]) -> tuple[str, str] | None:
    """The longest of the `known` names that `name` begins with, whole, and what follows after the separator, "" where nothing does; None where it
    begins with none. "probe-2/alk" is of "probe-2" and never of "probe" where both are known."""
    if name in known:
        return name, ""
    for place in range(len(name) - 1, 0, -1):
        if name[place] in SEPARATORS and name[:place] in known:
            return name[:place], name[place + 1 :]
    return None


def one_of(name: str, known: Collection[str]) -> str | None:
    """The known name that is meant: the same, else the only one that differs in large and small letters alone (tables are read in small ones)."""
    if name in known:
        return name
    alike = [other for other in known if other.lower() == name.lower()]
    return alike[0] if len(alike) == 1 else None


TOGETHER = 2
"""So many instruments of one relay that fall silent while nothing at all comes through it are the relay's silence (common practice)."""


def relay_late_after(*, late_min: float, others: Sequence[tuple[float | None, float]]) -> float:
    """Minutes after which a relay of which nothing came is silent: its own, or sooner what the patience of several that hang on it says. `others`: of each
    how long it is silent, minutes (None where it never spoke), and how long it may be."""
    gone = [late for silent, late in others if silent is not None and silent > late]
    return min(late_min, max(gone)) if len(gone) >= TOGETHER else late_min
