"""The client's words: what we call a parameter when we speak to somebody who keeps no tank."""

from datetime import date, datetime

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from servicedesk.core import units
from servicedesk.water.models import Band

NAMES = {
    "temperature": gettext_lazy("Temperature"),
    "salinity": gettext_lazy("Salt"),
    "conductivity": gettext_lazy("Salt"),
    "ph": gettext_lazy("Acidity (pH)"),
    "alkalinity": gettext_lazy("Carbonate"),
    "carbonate_hardness": gettext_lazy("Carbonate"),
    "general_hardness": gettext_lazy("Hardness"),
    "calcium": gettext_lazy("Calcium"),
    "magnesium": gettext_lazy("Magnesium"),
    "potassium": gettext_lazy("Potassium"),
    "ammonia_total": gettext_lazy("Ammonia"),
    "nitrite": gettext_lazy("Nitrite"),
    "nitrate": gettext_lazy("Nitrate"),
    "phosphate": gettext_lazy("Phosphate"),
    "dissolved_oxygen": gettext_lazy("Oxygen"),
    "carbon_dioxide": gettext_lazy("Carbon dioxide"),
    "chlorine_total": gettext_lazy("Chlorine"),
    "copper": gettext_lazy("Copper"),
}
ORDER = (
    "temperature",
    "salinity",
    "alkalinity",
    "carbonate_hardness",
    "calcium",
    "nitrate",
    "ammonia_total",
    "dissolved_oxygen",
    "ph",
    "phosphate",
    "magnesium",
    "nitrite",
    "general_hardness",
)
"""Which values a client is told first, when there are more than fit."""

FOLLOWS = {
    ("alkalinity", "low"): gettext_lazy("corals grow slower"),
    ("calcium", "low"): gettext_lazy("corals grow slower"),
    ("nitrate", "high"): gettext_lazy("algae grow faster"),
    ("phosphate", "high"): gettext_lazy("algae grow faster"),
    ("nitrate", "low"): gettext_lazy("corals lose colour"),
    ("temperature", "high"): gettext_lazy("less oxygen in the water"),
}
"""What follows when a value is a little off (common practice)."""


def name_of(parameter: str) -> str:
    """The client's word for a parameter."""
    return str(NAMES.get(parameter) or units.parameter(parameter).name)


def unit_of(unit: str) -> str:
    """A unit as it stands beside a value: the scale's name is left out, and what a result is expressed as."""
    return unit.partition(" ")[0] if unit.startswith("mg/L ") else units.unit_word(unit)


def with_unit(parameter: str, value: float, unit: str) -> str:
    """A canonical value as text with its unit."""
    return f"{units.show(parameter, value, unit)} {unit_of(unit)}".strip()


def band_text(band: Band | None) -> str:
    """The band in words."""
    if band is None:
        return ""
    low, high = (
        None if edge is None else units.show(band.parameter, edge, band.unit)
        for edge in (band.low, band.high)
    )
    if low is not None and high is not None:
        return _("%(low)s to %(high)s") % {"low": low, "high": high}
    if high is not None:
        return _("up to %(high)s") % {"high": high}
    return _("%(low)s or more") % {"low": low} if low is not None else ""


def plain_word(state: str) -> str:
    """What a glyph means to the client."""
    return {
        "in": _("as it should be"),
        "low": _("a little low"),
        "high": _("a little high"),
        "under": _("much too low"),
        "over": _("much too high"),
        "again": _("unlike the last visits; we test it again"),
        "none": _("not tested today"),
    }[state]


def apart_word() -> str:
    """What is told in place of a value when the results of a visit differ."""
    return _("our tests do not agree; we test again")


def worked_out(word: str, measured: str, *, dosed: bool) -> str:
    """What a value means that was worked out from the one that was measured."""
    said = {"value": measured, "word": word}
    if dosed:
        return _("worked out: %(word)s; %(value)s before the dose and the water change") % said
    return _("worked out: %(word)s; %(value)s before the water change") % said


def measured_before(word: str, *, dosed: bool) -> str:
    """What a value means that the new water has moved nobody knows how far."""
    if dosed:
        return _("measured before the dose and the water change: %(word)s") % {"word": word}
    return _("measured before the water change: %(word)s") % {"word": word}


def level_word(parameter: str, state: str) -> str:
    """What a value's state means to the client. `state` is a glyph's name."""
    follows = FOLLOWS.get((parameter, state))
    return f"{plain_word(state)}; {follows}" if follows else plain_word(state)


def day_text(day: date | datetime) -> str:
    """A day with its weekday."""
    return date_format(day, "l j F Y")


def short_day(day: date | datetime) -> str:
    return date_format(day, "j F")


def times_text(number: int) -> str:
    """How often something was done."""
    if number == 2:
        return _("twice")
    return ngettext("%(n)s time", "%(n)s times", number) % {"n": number}


def outside(levels: list[tuple[str, str]]) -> list[str]:
    """Sentences on the values that are not as they should be, from names with their states; the worst first."""
    far = [name for name, state in levels if state in ("under", "over")]
    off = [name for name, state in levels if state in ("low", "high")]
    odd = [name for name, state in levels if state == "again"]
    was_far = [name for name, state in levels if state in ("was_under", "was_over")]
    was_off = [name for name, state in levels if state in ("was_low", "was_high")]
    apart = [name for name, state in levels if state == "apart"]
    told = (
        (far, _far(len(far))),
        (was_far, _was_far(len(was_far))),
        (off, ngettext("%(names)s is a little off.", "%(names)s are a little off.", len(off))),
        (was_off, _was_off(len(was_off))),
        (apart, _("%(names)s: our tests do not agree; we test again.")),
        (odd, _odd(len(odd))),
    )
    return [line % {"names": in_sentence(names)} for names, line in told if names]


def _far(number: int) -> str:
    return ngettext(
        "%(names)s is far from where it should be.",
        "%(names)s are far from where they should be.",
        number,
    )


def _was_far(number: int) -> str:
    return ngettext(
        "%(names)s was far from where it should be before the water change.",
        "%(names)s were far from where they should be before the water change.",
        number,
    )


def _was_off(number: int) -> str:
    return ngettext(
        "%(names)s was a little off before the water change.",
        "%(names)s were a little off before the water change.",
        number,
    )


def _odd(number: int) -> str:
    return ngettext(
        "%(names)s read unlike the last visits; we test it again.",
        "%(names)s read unlike the last visits; we test them again.",
        number,
    )


def as_sentence(text: str) -> str:
    """What somebody typed, with a capital in front and a full stop behind."""
    text = text.strip()
    return f"{text[:1].upper()}{text[1:]}{'' if text[-1:] in '.!?' else '.'}"


def in_sentence(names: list[str]) -> str:
    """Parameters' names at the beginning of a sentence: only the first keeps its capital."""
    lowered = [name[:1].lower() + name[1:] for name in names]
    said = listed(lowered)
    return said[:1].upper() + said[1:]


def listed(names: list[str]) -> str:
    """Names as a list in a sentence."""
    if len(names) < 2:
        return "".join(names)
    return _("%(some)s and %(last)s") % {"some": ", ".join(names[:-1]), "last": names[-1]}


def number_text(value: float) -> str:
    """A number without idle decimals."""
    return f"{value:.1f}".rstrip("0").rstrip(".")


def joined(*sentences: str) -> str:
    return " ".join(s for s in sentences if s)
