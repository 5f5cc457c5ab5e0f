"""How loud a device is where people sit."""

from collections.abc import Mapping
from typing import Any

from servicedesk.core.metrology import noise
from servicedesk.core.worksheets import Ask, Result, Said, Worksheet


def _lines(given: Mapping[str, Any], found: noise.Loudness) -> tuple[list[Said], float | None]:
    """What was found in numbers, and the level where people sit if that was asked."""
    lines = [Said("Louder with it by", f"{found.difference_db:.1f}", "dB")]
    at = found.high_db
    if found.level_db is not None and found.low_db is not None:
        at = found.level_db
        lines.append(
            Said("The device alone", f"{at:.1f}", "dB(A)", f"{found.low_db:.1f} to {found.high_db:.1f}")
        )
    lines.append(Said("It lies under", f"{found.high_db:.1f}", "dB(A)"))
    measured, listening = given["measured_m"], given["listening_m"]
    if measured is None or listening is None:
        return lines, None
    there = noise.at_distance(level_db=at, measured_m=measured, listening_m=listening)
    note = "as in the open" if found.resolved else "at most, as in the open"
    lines.append(Said("Where people sit", f"{there:.1f}", "dB(A)", note))
    return lines, there


def _noise(given: Mapping[str, Any]) -> Result:
    background, running = given["background"], given["running"]
    found = noise.device_alone(
        background_low=min(background),
        background_high=max(background),
        running_low=min(running),
        running_high=max(running),
    )
    lines, there = _lines(given, found)
    middle = [(min(levels) + max(levels)) / 2 for levels in (running, background)]
    mind = [
        "In a room sound falls off less than in the open: near walls and far from the device believe the meter, not the sum."
    ]
    sentence = f"The device alone makes about {found.level_db or 0:.0f} dB(A) where it was measured."
    if not found.resolved:
        mind.insert(
            0, "Measure closer to it, or when the room is quiet: 3 dB above the background are needed."
        )
        sentence = f"The room is as loud as the device: it cannot be told well, only that it lies under {found.high_db:.0f} dB(A)."
    return Result(
        word="Told" if found.resolved else "Cannot be told",
        glyph="in" if found.resolved else "again",
        sentence=sentence,
        said=tuple(lines),
        why=(f"10 lg(10^({middle[0]:g}/10) − 10^({middle[1]:g}/10)), for the middle of what was shown.",)
        if found.resolved
        else (),
        mind=tuple(mind),
        values={"level_db": found.level_db, "high_db": found.high_db, "listening_db": there},
    )


NOISE = Worksheet(
    key="noise",
    title="How loud is it?",
    question="How loud is a device where people sit, without the room's own noise?",
    asks=(
        Ask("background", "The meter without it", "dB(A)", kind="numbers", low=0, high=140, hint="Lowest and highest, as 52 54."),
        Ask("running", "The meter with it running", "dB(A)", kind="numbers", low=0, high=140, hint="Lowest and highest, at the same place."),
        Ask("measured_m", "Measured at a distance of", "m", low=0, high=100, above=True, optional=True),
        Ask("listening_m", "People sit at a distance of", "m", low=0, high=100, above=True, optional=True),
    ),
    work=_noise,
    sources=("ISO 3746:2010, correction for background (from memory)", "Distance as from a point in the open; common practice"),
)  # fmt: skip
