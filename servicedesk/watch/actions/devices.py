"""Whether an instrument is right: beside the tests by hand, against its check standard, and by its own habit."""

from datetime import datetime, timedelta
from uuid import uuid5

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients.models import Tank
from clients.queries import name_beside_tank
from servicedesk.core import units
from servicedesk.core.metrology.charts import multirule
from servicedesk.core.metrology.drift import Pair, followed, off_on_average
from servicedesk.core.metrology.uncertainty import Deviation, deviation, tolerance
from servicedesk.core.tracking.habit import alike_at_the_end, stuck
from servicedesk.dispatch.queries import standing
from servicedesk.instruments.actions.trust import move_trust
from servicedesk.instruments.choices import SignKind, Trust
from servicedesk.instruments.models import Calibration, Measure, Sign, TrustMove
from servicedesk.instruments.queries import measured_by, measures_of, trusts
from servicedesk.instruments.queries.pairs import Beside, begun_at, last_pairs
from servicedesk.watch.actions.rows import clear_attention, local, raise_attention
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.queries import name_in_words
from servicedesk.water.models import Reading
from servicedesk.web.prepared import KEY, MOMENT, WORD, Slot, prepared

RECENT = timedelta(days=60)
FRESH = timedelta(days=21)
MOST_PAIRS, MOST_FOLLOWED = 3, 12
A_SLIP = 0.25
"""A quarter of the value off: a unit or a slip is likelier than an instrument that drifted (common practice)."""
LEAST_STUCK = timedelta(hours=20)
LOOKED_BACK, LOOKED_FIRST, WORTH_A_LOOK = 600, 12, 4
SIGN_STANDS = timedelta(days=7)
SOON_OUT_DAYS = 14.0
ENOUGH_CHECKS, MOST_CHECKS = 4, 20
SERIOUS = ("1_3s", "2_2s", "4_1s", "10_x")


def judge_devices(tank: Tank, at: datetime) -> None:
    """Every measure of the tank's instruments."""
    measures = measures_of([tank])
    moves = trusts(measures)
    for measure in measures:
        _beside_tests(measure, moves.get(measure.pk), at)
        _checks(measure, at)
        _stuck(measure, at)
    for instrument in {measure.instrument_id: measure for measure in measures}.values():
        _signs(instrument, at)


# ---- beside tests by hand


def _weigh_trust(
    measure: Measure, found: Deviation, pair: Beside, move: TrustMove | None, at: datetime
) -> None:
    """A test by hand that contradicts a believed instrument puts it to be checked; one that agrees, both taken after the doubt arose, lets it be believed again (they agree where they differ by no more than their expanded
    uncertainty: E_n of at most 1, ISO 13528). What is not to be acted on stays so until a person says otherwise."""
    agrees = found.verdict != "outside" and abs(found.delta) <= max(found.expanded, found.allowed)
    now = move.trust if move else Trust.BELIEVED
    if found.verdict == "outside" and now == Trust.BELIEVED:
        trust, why = Trust.TO_CHECK, _("A test by hand contradicts it.")
    elif agrees and move and now == Trust.TO_CHECK and min(pair.at, pair.shown_at) > move.at:
        trust, why = Trust.BELIEVED, _("A test by hand agrees with it.")
    else:
        return
    origin = uuid5(measure.pk, f"{pair.hand.origin}/{pair.shown_at.isoformat()}/{trust}")
    move_trust(measure=measure, trust=trust, why=why, at=at, origin=origin, received_at=at)


def _beside_tests(measure: Measure, move: TrustMove | None, at: datetime) -> None:
    """An instrument against the tests by hand since it was last calibrated or filled: the newest, and the last three on average."""
    begun = begun_at(measure, at)
    since = max(at - RECENT, begun) if begun else at - RECENT
    pairs = last_pairs(measure, since=since, until=at, most=MOST_FOLLOWED)
    if not pairs or at - pairs[-1].at > FRESH:
        for name in ("disagrees", "drifts"):
            clear_attention(key=f"{name}:{measure.pk}", at=at)
        return
    newest, own = pairs[-1], measured_by(measure)
    found = deviation(instrument_value=newest.shown, instrument=own, reference=newest.reference)
    _weigh_trust(measure, found, newest, move, at)
    level = abs(newest.reference.value)
    slip = level > 0 and abs(found.delta) > A_SLIP * level
    mean = off_on_average(pairs=[Pair(0, p.reference, p.shown) for p in pairs[-MOST_PAIRS:]], instrument=own)
    if found.verdict == "outside":
        _say_disagrees(measure, found, at, slip=slip)
    elif mean is not None and mean.verdict == "outside" and not slip:
        _say_disagrees(measure, mean, at, tests=min(MOST_PAIRS, len(pairs)))
        _doubt(measure, move, at, _("The last tests by hand contradict it on average."), newest)
    else:
        clear_attention(key=f"disagrees:{measure.pk}", at=at)
    _say_drifts(measure, pairs, at)


def _doubt(measure: Measure, move: TrustMove | None, at: datetime, why: str, pair: Beside) -> None:
    """A believed instrument is to be checked."""
    if (move.trust if move else Trust.BELIEVED) != Trust.BELIEVED:
        return
    origin = uuid5(measure.pk, f"{pair.hand.origin}/average")
    move_trust(measure=measure, trust=Trust.TO_CHECK, why=why, at=at, origin=origin, received_at=at)


OVER = {
    "one": lambda: _(
        "%(device)s is %(delta)s over the last test by hand of %(name)s: look at its reagent and calibration."
    ),
    "mean": lambda: _(
        "%(device)s is %(delta)s over the last %(tests)s tests by hand of %(name)s on average: look at its reagent and calibration."
    ),
    "slip": lambda: _(
        "%(device)s is %(delta)s over the last test by hand of %(name)s, so far that a unit or a slip is likelier: test again."
    ),
}
UNDER = {
    "one": lambda: _(
        "%(device)s is %(delta)s under the last test by hand of %(name)s: look at its reagent and calibration."
    ),
    "mean": lambda: _(
        "%(device)s is %(delta)s under the last %(tests)s tests by hand of %(name)s on average: look at its reagent and calibration."
    ),
    "slip": lambda: _(
        "%(device)s is %(delta)s under the last test by hand of %(name)s, so far that a unit or a slip is likelier: test again."
    ),
}


def _say_disagrees(
    measure: Measure, found: Deviation, at: datetime, *, tests: int = 1, slip: bool = False
) -> None:
    unit = units.unit_word(units.parameter(measure.parameter).unit)
    words = "slip" if slip else "one" if tests == 1 else "mean"
    sentence = (OVER if found.delta > 0 else UNDER)[words]()
    raise_attention(
        key=f"disagrees:{measure.pk}",
        at=at,
        kind=AttentionKind.DISAGREES,
        severity=Severity.SOON,
        tank=measure.instrument.tank,
        site=measure.instrument.tank.site,
        instrument=measure.instrument,
        parameter=measure.parameter,
        word="slip" if slip else "check",
        sentence=sentence
        % {
            "device": name_beside_tank(measure.instrument.equipment),
            "delta": f"{abs(found.delta):.2f} {unit}".strip(),
            "name": name_in_words(measure.parameter),
            "tests": tests,
        },
        why=_("Allowed %(allowed)s, uncertainty of the comparison %(expanded)s.")
        % {
            "allowed": f"{found.allowed:.2f} {unit}".strip(),
            "expanded": f"{found.expanded:.2f} {unit}".strip(),
        },
    )


def _say_drifts(measure: Measure, pairs: list[Beside], at: datetime) -> None:
    """Said before it leaves its tolerance, where the drift is told and leads out within two weeks."""
    key = f"drifts:{measure.pk}"
    days = [(pair.at - pairs[0].at).total_seconds() / 86400 for pair in pairs]
    told = followed(
        pairs=[Pair(day, p.reference, p.shown) for day, p in zip(days, pairs, strict=True)],
        instrument=measured_by(measure),
    )
    left = told.leaves_in_days
    if told.drift is None or left is None or not 0 < left <= SOON_OUT_DAYS:
        clear_attention(key=key, at=at)
        return
    whole, unit = max(1, round(left)), units.unit_word(units.parameter(measure.parameter).unit)
    sentence = ngettext(
        "%(device)s drifts: at this pace its %(name)s leaves its tolerance in a day.",
        "%(device)s drifts: at this pace its %(name)s leaves its tolerance in %(days)s days.",
        whole,
    )
    raise_attention(
        key=key,
        at=at,
        kind=AttentionKind.DRIFTS,
        severity=Severity.WATCH,
        tank=measure.instrument.tank,
        site=measure.instrument.tank.site,
        instrument=measure.instrument,
        parameter=measure.parameter,
        word="check",
        sentence=sentence
        % {
            "device": name_beside_tank(measure.instrument.equipment),
            "name": name_in_words(measure.parameter),
            "days": whole,
        },
        why=_("%(size)s a month, over %(n)s tests by hand.")
        % {"size": f"{told.drift.slope * 30:+.2f} {unit}".strip(), "n": len(pairs)},
    )


# ---- against its check standard


def _checks(measure: Measure, at: datetime) -> None:
    """What it showed of a standard at each calibration, as a chart: a rule that fires at the last one puts it to be checked. Its tolerance is
    taken for two standard deviations (common practice)."""
    key = f"checks:{measure.pk}"
    rows = list(
        standing(Calibration.objects.filter(measure=measure, at__lte=at)).order_by("-at")[:MOST_CHECKS]
    )[::-1]
    own = measured_by(measure)
    sigma = tolerance(own, rows[-1].reference) / 2 if rows else 0.0
    if len(rows) < ENOUGH_CHECKS or sigma == 0:
        return
    fired = multirule(runs=[[(row.before - row.reference) / sigma] for row in rows])
    last = [rule for rule in SERIOUS if len(rows) - 1 in fired.get(rule, [])]
    if not last:
        clear_attention(key=key, at=at)
        return
    raise_attention(
        key=key,
        at=rows[-1].at,
        kind=AttentionKind.DRIFTS,
        severity=Severity.SOON,
        tank=measure.instrument.tank,
        site=measure.instrument.tank.site,
        instrument=measure.instrument,
        parameter=measure.parameter,
        word="check",
        sentence=_("%(device)s does not keep its calibration of %(name)s: look for the cause.")
        % {
            "device": name_beside_tank(measure.instrument.equipment),
            "name": name_in_words(measure.parameter),
        },
        why=_("At its last calibrations it stood off the standard by the rules %(rules)s.")
        % {"rules": ", ".join(last)},
    )


# ---- by its own habit


@prepared(equipment=KEY, parameter=WORD, until=MOMENT)
def _few(equipment: Slot, parameter: Slot, until: Slot) -> QuerySet[Reading, tuple[datetime, float]]:
    rows = Reading.objects.filter(
        series__source__equipment=equipment, series__parameter=parameter, at__lte=until
    )
    return rows.order_by("-at", "pk").values_list("at", "value")[:LOOKED_FIRST]


@prepared(equipment=KEY, parameter=WORD, until=MOMENT)
def _many(equipment: Slot, parameter: Slot, until: Slot) -> QuerySet[Reading, tuple[datetime, float]]:
    rows = Reading.objects.filter(
        series__source__equipment=equipment, series__parameter=parameter, at__lte=until
    )
    return rows.order_by("-at", "pk").values_list("at", "value")[:LOOKED_BACK]


def _stuck(measure: Measure, at: datetime) -> None:
    """It shows the same for longer than it ever did. One row for the instrument; a different value clears it."""
    key, step = f"stuck:{measure.pk}", measured_by(measure).resolution
    asked = {"equipment": measure.instrument.equipment_id, "parameter": measure.parameter, "until": at}
    if units.parameter(measure.parameter).signal:
        return  # power that stays on is not stuck
    few = [value for _at, value in reversed(list(_few(**asked)))]
    rows = (
        list(reversed(list(_many(**asked)))) if alike_at_the_end(few, width=2 * step) >= WORTH_A_LOOK else []
    )
    found = stuck(values=[value for _at, value in rows], step=step)
    if found is not None and at - rows[found.since][0] < LEAST_STUCK:
        found = None
    if found is None:
        clear_attention(key=key, at=at)
        return
    since = rows[found.since][0]
    device = name_beside_tank(measure.instrument.equipment)
    raise_attention(
        key=key,
        at=since,
        kind=AttentionKind.STUCK,
        severity=Severity.SOON,
        tank=measure.instrument.tank,
        site=measure.instrument.tank.site,
        instrument=measure.instrument,
        parameter=measure.parameter,
        word="check",
        sentence=_("%(device)s shows the same %(name)s since %(when)s: it does not measure.")
        % {
            "device": device,
            "name": name_in_words(measure.parameter),
            "when": local(measure.instrument.tank, since),
        },
        why=_("%(n)s results alike; before, it never showed more than %(before)s alike.")
        % {"n": found.alike, "before": found.before},
    )
    move = trusts([measure]).get(measure.pk)
    if (move.trust if move else Trust.BELIEVED) == Trust.BELIEVED:
        why = _("It shows the same for longer than it ever did.")
        origin = uuid5(measure.pk, f"stuck/{since.isoformat()}")
        move_trust(measure=measure, trust=Trust.TO_CHECK, why=why, at=at, origin=origin, received_at=at)


@prepared(instrument=KEY, since=MOMENT, until=MOMENT)
def _said(instrument: Slot, since: Slot, until: Slot) -> QuerySet[Sign]:
    return Sign.objects.filter(instrument=instrument, at__gte=since, at__lte=until).order_by("at", "pk")


def _signs(measure: Measure, at: datetime) -> None:
    """What an instrument says of itself: the newest of each kind stands, for a week."""
    instrument, newest = measure.instrument, dict[str, Sign]()
    for sign in _said(instrument=instrument.pk, since=at - SIGN_STANDS, until=at):
        newest[sign.kind] = sign
    for kind in set(SignKind) - {SignKind.ALIVE, SignKind.NOTE}:
        key, said = f"sign:{instrument.pk}:{kind}", newest.get(kind)
        if said is None or not said.on:
            clear_attention(key=key, at=at)
            continue
        raise_attention(
            key=key,
            at=said.at,
            kind=AttentionKind.SIGN,
            severity=Severity.SOON,
            tank=instrument.tank,
            site=instrument.tank.site,
            instrument=instrument,
            word="check",
            sentence=_("%(device)s %(what)s.")
            % {"device": name_beside_tank(instrument.equipment), "what": SignKind(kind).label},
            why=_("It says “%(text)s”, %(when)s.")
            % {"text": said.text or SignKind(kind).label, "when": local(instrument.tank, said.at)},
        )
