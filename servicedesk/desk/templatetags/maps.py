"""The map of the rounds as pages show it, and weeks as lines of time: drawn, with its key, and in words for those who listen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from django import template
from django.conf import settings
from django.utils.formats import number_format
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from servicedesk.core.drawing.map import Leg, RoundsMap, key_svg, legs_of, map_svg
from servicedesk.core.drawing.territories import Territories, mark_svg, territories_svg
from servicedesk.core.drawing.weeks import Weeks, weeks_svg

register = template.Library()


@register.simple_tag
def weeks(shown: Weeks) -> SafeString:
    """``{% weeks p.weeks %}``: a technician's weeks as lines of time; the words stand beside them."""
    return mark_safe(weeks_svg(shown))


WIDTHS = (340, 600, 840)
"""Widths in px for which a drawing is made, as for all others."""
SAME_PLACE_KM = 0.05
"""What would read 0.0 km."""
TOWARDS = {
    "north": _("north"),
    "north-east": _("north-east"),
    "east": _("east"),
    "south-east": _("south-east"),
    "south": _("south"),
    "south-west": _("south-west"),
    "west": _("west"),
    "north-west": _("north-west"),
}


@dataclass(frozen=True, slots=True)
class Spoken:
    """One technician's way in words."""

    name: str
    key: SafeString
    stops: list[str]


@lru_cache(maxsize=256)
def _map(shown: RoundsMap, width: float, tiles: str) -> SafeString:
    """A map is kept by what it shows, as a day's drawing is. The drawing escapes every word it is given."""
    return mark_safe(map_svg(shown, width=width, tiles=tiles))


@lru_cache(maxsize=32)
def _key(index: int) -> SafeString:
    return mark_safe(key_svg(index))


def said(leg: Leg) -> str:
    """A stop in words: "2 The Anchor, 3.6 km north of the one before"."""
    words = {"n": leg.stop.number, "name": leg.stop.name}
    if leg.km is None:
        return gettext("%(n)s %(name)s") % words
    if leg.km < SAME_PLACE_KM:
        return gettext("%(n)s %(name)s, at the same place") % words
    words |= {"km": number_format(leg.km, 1), "towards": str(TOWARDS[leg.towards])}
    return gettext("%(n)s %(name)s, %(km)s km %(towards)s of the place before, as the crow flies") % words


@register.inclusion_tag("components/rounds_map.html")
def rounds_map(shown: RoundsMap) -> dict[str, object]:
    """``{% rounds_map map %}``: the drawing in three widths, its key, its stops in words, and what nobody placed."""
    spoken = replace(
        shown,
        km=gettext("{} km"),
        store_word=gettext("store"),
        home_word=gettext("home"),
        north_word=gettext("N"),
    )
    ways = [
        Spoken(way.name, _key(index), [said(leg) for leg in legs_of(replace(spoken, ways=(way,)))])
        for index, way in enumerate(spoken.ways)
    ]
    return {
        "drawn": [_map(spoken, width, settings.TILES) for width in WIDTHS] if spoken.placed else [],
        "ways": ways,
        "tiles": bool(settings.TILES),
        "credit": settings.TILES_CREDIT,
        "unplaced": [(name if len(ways) > 1 else "", stop) for name, stop in spoken.unplaced],
    }


@lru_cache(maxsize=64)
def _territories(shown: Territories, width: float) -> SafeString:
    return mark_safe(territories_svg(shown, width=width))


@lru_cache(maxsize=32)
def _mark(index: int) -> SafeString:
    return mark_safe(mark_svg(index))


@register.inclusion_tag("components/territories.html")
def territories(shown: Territories) -> dict[str, object]:
    """``{% territories m.proposed %}``: whose sites lie where, in three widths, with its key and in words."""
    spoken = replace(shown, km=gettext("{} km"), north_word=gettext("N"))
    return {
        "drawn": [_territories(spoken, width) for width in WIDTHS] if spoken.placed else [],
        "rows": [(row, _mark(index)) for index, row in enumerate(spoken.territories)],
    }
