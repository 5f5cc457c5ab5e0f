"""How much water it is: by sizes, by a known addition, and the two brought together."""

from collections.abc import Mapping
from typing import Any

from servicedesk.core.chemistry import volumes
from servicedesk.core.chemistry.water import NoChange
from servicedesk.core.metrology.propagation import Known
from servicedesk.core.worksheets import Ask, Result, Said, Worksheet, said, with_u

BY_SIZES = "By its sizes"
BY_RISE = "By a known addition"


def _sizes(given: Mapping[str, Any]) -> Known | None:
    if given["length"] is None or given["water"] is None:
        return None
    gross = volumes.gross_l(
        shape=given["shape"],
        length_cm=given["length"],
        width_cm=given["width"] or 0.0,
        water_cm=given["water"],
        bow_cm=given["bow"] or 0.0,
    )
    relative = given["size_u"] / 100
    sump = Known(given["sump"] or 0.0, (given["sump"] or 0.0) * relative)
    return volumes.net_from_sizes(
        gross=Known(gross, gross * relative),
        rock_kg=given["rock"] or 0.0,
        sand_l=given["sand"] or 0.0,
        elsewhere=sump,
    )


def _rise(given: Mapping[str, Any]) -> Known | None:
    names = ("added_ml", "strength", "before", "after")
    if any(given[name] is None for name in names):
        return None
    added = given["added_ml"] * given["strength"]
    u = given["test_u"]
    return volumes.net_from_rise(
        added=Known(added, added * 0.02), before=Known(given["before"], u), after=Known(given["after"], u)
    )


def _how(given: Mapping[str, Any], sizes: Known | None, rise: Known | None) -> tuple[list[Said], list[str]]:
    """What either way gives, and the arithmetic."""
    lines, why = [], []
    if sizes is not None:
        lines.append(Said(BY_SIZES, with_u(sizes.value, sizes.u), "L"))
        why.append(
            f"Sizes less {given['rock'] or 0:g} kg of rock and {given['sand'] or 0:g} L of sand: {said(sizes.value)} L."
        )
    if rise is not None:
        lines.append(Said(BY_RISE, with_u(rise.value, rise.u), "L"))
        why.append(
            f"{given['added_ml']:g} mL × {given['strength']:g} per mL ÷ ({given['after']:g} − {given['before']:g}) = {said(rise.value)} L."
        )
    return lines, why


def _together(ways: list[Known], why: list[str]) -> tuple[Known, bool, str]:
    """The volume that counts, whether the ways agree, and what to mind."""
    if len(ways) == 1:
        return ways[0], True, "One way alone: the other would tell whether it can be believed."
    both = volumes.reconciled(ways)
    why.append(
        f"Both weighed by 1/u², Birge ratio {said(both.birge, 2)}: {said(both.litres)} L, standard uncertainty {said(both.u, 2)} L."
    )
    quarrel = "Sizes and addition differ by more than either allows: measure again before a dose rests on it."
    return Known(both.litres, both.u), both.agree, "" if both.agree else quarrel


def _work(given: Mapping[str, Any]) -> Result:
    sizes, rise = _sizes(given), _rise(given)
    ways = [way for way in (sizes, rise) if way is not None]
    if not ways:
        raise NoChange(
            "Give the vessel's sizes, or what was added with the values before and after, or both."
        )
    lines, why = _how(given, sizes, rise)
    best, agree, mind = _together(ways, why)
    lines.insert(0, Said("Net volume", with_u(best.value, best.u), "L", "95 of 100"))
    if given["believed"]:
        share = 100 * volumes.dose_error(believed_l=given["believed"], true_l=best.value)
        side = "stronger" if share > 0 else "weaker"
        lines.append(Said("Every dose so far", f"{abs(share):.0f}", "%", f"{side} than meant"))
        why.append(f"{given['believed']:g} L ÷ {said(best.value)} L − 1 = {share:.0f} %.")
    return Result(
        word="Net volume" if agree else "They disagree",
        glyph="in" if agree else "again",
        sentence=f"The tank holds {said(best.value)} L, give or take {said(2 * best.u, 2)} L.",
        said=tuple(lines),
        why=tuple(why),
        mind=(mind,) if mind else (),
        hazards=("lifting",) if given["rock"] else (),
        values={"net_l": best.value, "net_l_u": best.u},
    )


SHEET = Worksheet(
    key="volume",
    title="Net volume",
    question="How much water is it really?",
    asks=(
        Ask(
            "shape",
            "Shape",
            kind="choice",
            choices=tuple((shape, shape.capitalize()) for shape in volumes.SHAPES),
            part=BY_SIZES,
        ),
        Ask("length", "Length", "cm", low=0, high=3000, above=True, optional=True, hint="Inside. Diameter of a cylinder, side of a hexagon, radius of a corner.", part=BY_SIZES),
        Ask("width", "Width", "cm", low=0, high=3000, above=True, optional=True, part=BY_SIZES),
        Ask("water", "Height of the water", "cm", low=0, high=1000, above=True, optional=True, part=BY_SIZES),
        Ask("bow", "How far the front bulges", "cm", low=0, high=500, above=True, optional=True, part=BY_SIZES),
        Ask("sump", "Water elsewhere", "L", low=0, high=100_000, optional=True, hint="Sump, refugium, pipes.", part=BY_SIZES),
        Ask("rock", "Rock", "kg", low=0, high=20_000, optional=True, part=BY_SIZES),
        Ask("sand", "Bed of sand", "L", low=0, high=20_000, optional=True, part=BY_SIZES),
        Ask("size_u", "How well the sizes are known", "%", low=0, high=30, above=True, start="2", part=BY_SIZES),
        Ask("added_ml", "What was added", "mL", low=0, high=100_000, above=True, optional=True, part=BY_RISE),
        Ask("strength", "Its strength", "units × L per mL", low=0, high=1e6, above=True, optional=True, part=BY_RISE),
        Ask("before", "Value before", low=0, high=1e5, optional=True, part=BY_RISE),
        Ask("after", "Value after, well mixed", low=0, high=1e5, optional=True, part=BY_RISE),
        Ask("test_u", "Standard uncertainty of one test", low=0, high=1e4, start="0", hint="What one test differs from the next.", part=BY_RISE),
        Ask("believed", "Volume used until now", "L", low=0, high=1e6, above=True, optional=True, part="What it means"),
    ),
    work=_work,
    sources=(
        "Geometry, exact",
        "What rock and sand displace: common practice, no source",
        "Weighted mean with Birge's ratio: Birge 1932, Physical Review 40, 207",
    ),
    hazards=("lifting",),
)  # fmt: skip
