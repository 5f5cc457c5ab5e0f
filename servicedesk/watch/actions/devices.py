"""Whether an instrument is right: beside the tests by hand, and by its own habit."""

from datetime import datetime, timedelta
from uuid import uuid5

from django.utils.translation import gettext as _

from clients.models import Tank
from clients.queries import name_beside_tank
from servicedesk.core import units
from servicedesk.core.metrology.uncertainty import Deviation, Replicate, deviation, reference_value
from servicedesk.instruments.actions.trust import move_trust
from servicedesk.instruments.choices import Trust
from servicedesk.instruments.models import Measure
from servicedesk.instruments.queries import measured_by, measures_of, trusts
from servicedesk.watch.actions.rows import clear_attention, raise_attention
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.queries import name_in_words
from servicedesk.water.models import Method
from servicedesk.water.queries import ReadingValue, readings_of, spec_of

RECENT = timedelta(days=21)
# How near in time a test by hand and an instrument are comparable: what swings by day and night only within like hours
# (common practice).
PAIR, PAIR_OF_SWINGING = timedelta(days=2), timedelta(hours=1)
SWINGS = {"ph", "temperature", "dissolved_oxygen", "carbon_dioxide"}


def _pair(tank: Tank, measure: Measure, at: datetime) -> tuple[ReadingValue, ReadingValue] | None:
    """The last test by hand of a measure's parameter, and the instrument's value nearest to it in time."""
    rows = readings_of(tank, parameter=measure.parameter, since=at - RECENT)
    hand = [r for r in rows if r.source_kind == "hand"]
    mine = [r for r in rows if r.equipment_id == measure.instrument.equipment_id]
    apart = PAIR_OF_SWINGING if measure.parameter in SWINGS else PAIR
    near = [r for r in mine if hand and abs(r.at - hand[-1].at) <= apart]
    return (hand[-1], min(near, key=lambda r: abs(r.at - hand[-1].at))) if near else None


def _compare(measure: Measure, hand: ReadingValue, shown: ReadingValue) -> Deviation:
    by_hand = spec_of(Method.objects.get(pk=hand.method_id))
    reference = reference_value([Replicate(hand.value, by_hand)])
    own = measured_by(measure)
    return deviation(instrument_value=shown.value, instrument=own, reference=reference)


def _weigh_trust(
    measure: Measure, found: Deviation, pair: tuple[ReadingValue, ReadingValue], at: datetime
) -> None:
    """A test by hand that contradicts a believed instrument puts it to be checked; one that agrees, both taken after the doubt arose, lets it be believed again (they agree where they differ by no more than their expanded
    uncertainty: E_n of at most 1, ISO 13528). What is not to be acted on stays so until a person says otherwise."""
    agrees = found.verdict != "outside" and abs(found.delta) <= max(found.expanded, found.allowed)
    move = trusts([measure]).get(measure.pk)
    now = move.trust if move else Trust.BELIEVED
    if found.verdict == "outside" and now == Trust.BELIEVED:
        trust, why = Trust.TO_CHECK, _("A test by hand contradicts it.")
    elif agrees and move and now == Trust.TO_CHECK and min(r.at for r in pair) > move.at:
        trust, why = Trust.BELIEVED, _("A test by hand agrees with it.")
    else:
        return
    origin = uuid5(measure.pk, f"{pair[0].origin}/{pair[1].origin}/{trust}")
    move_trust(measure=measure, trust=trust, why=why, at=at, origin=origin, received_at=at)


def _disagreement(tank: Tank, at: datetime) -> None:
    """An instrument against the last value tested by hand, when both are close in time."""
    for measure in measures_of([tank]):
        key, pair = f"disagrees:{measure.pk}", _pair(tank, measure, at)
        found = _compare(measure, *pair) if pair else None
        if pair and found:
            _weigh_trust(measure, found, pair, at)
        if found is None or found.verdict != "outside":
            clear_attention(key=key, at=at)
            continue
        over = _(
            "%(device)s is %(delta)s over the last test by hand of %(name)s: look at its reagent and calibration."
        )
        under = _(
            "%(device)s is %(delta)s under the last test by hand of %(name)s: look at its reagent and calibration."
        )
        unit = units.unit_word(units.parameter(measure.parameter).unit)
        raise_attention(
            key=key,
            at=at,
            kind=AttentionKind.DISAGREES,
            severity=Severity.SOON,
            tank=tank,
            site=tank.site,
            parameter=measure.parameter,
            word="check",
            sentence=(over if found.delta > 0 else under)
            % {
                "device": name_beside_tank(measure.instrument.equipment),
                "delta": f"{abs(found.delta):.2f} {unit}".strip(),
                "name": name_in_words(measure.parameter),
            },
            why=_("Allowed %(allowed)s, uncertainty of the comparison %(expanded)s.")
            % {
                "allowed": f"{found.allowed:.2f} {unit}".strip(),
                "expanded": f"{found.expanded:.2f} {unit}".strip(),
            },
        )
