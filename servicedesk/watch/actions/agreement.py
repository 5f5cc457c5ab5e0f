"""An instrument beside the tests by hand, and against its check standard; what of it moves trust."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import uuid5

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients.queries import name_beside_tank
from servicedesk.core import units
from servicedesk.core.metrology.charts import multirule
from servicedesk.core.metrology.drift import Pair, followed, off_on_average
from servicedesk.core.metrology.uncertainty import Deviation, agrees, deviation, tolerance
from servicedesk.instruments.actions.trust import move_trust
from servicedesk.instruments.choices import Trust
from servicedesk.instruments.models import Calibration, Measure, TrustMove
from servicedesk.instruments.queries import measured_by
from servicedesk.instruments.queries.mixing import MIXED, Mixing
from servicedesk.instruments.queries.pairs import PAIR, Beside, pairs_among
from servicedesk.watch.actions.rows import clear_attention, raise_attention
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.queries import name_in_words
from servicedesk.water.queries import ReadingValue

RECENT = timedelta(days=60)
FRESH = timedelta(days=21)
MOST_PAIRS, MOST_FOLLOWED = 3, 12
A_SLIP = 0.25
"""A quarter of the value off: a unit or a slip is likelier than an instrument that drifted (common practice)."""
SOON_OUT_DAYS = 14.0
ENOUGH_CHECKS, MOST_CHECKS = 4, 20
SERIOUS = ("1_3s", "2_2s", "4_1s", "10_x")


@dataclass
class Known:
    """What is known around one measure: tests by hand of its parameter in the last sixty days, its calibrations, when it was last filled, its
    last move of trust, and the tank's doses where they matter."""

    measure: Measure
    hand: list[ReadingValue] = field(default_factory=list)
    calibrations: list[Calibration] = field(default_factory=list)
    loaded_at: datetime | None = None
    move: TrustMove | None = None
    mixing: Mixing = MIXED

    @property
    def begun(self) -> datetime | None:
        """When it was last calibrated or filled: what was before tells nothing of it now. What was compared only and left as it was is no
        beginning."""
        set_anew = [row.at for row in self.calibrations if not row.left_as_is]
        times = set_anew[-1:] + ([self.loaded_at] if self.loaded_at else [])
        return max(times, default=None)

    def settled_before(self, since: datetime | None) -> bool:
        """Whether nothing that this judgement hangs on is news: no test by hand near it, no calibration, no bottle, no move of trust."""
        if since is None or not self.hand:
            return False
        times = [self.hand[-1].at + PAIR, self.begun, self.move.at if self.move else None]
        return all(time is None or time < since for time in times)


def judge_agreement(known: Known, at: datetime, since: datetime | None) -> None:
    """One measure; `since` the earliest news of its tank, None to judge it whatever is new."""
    if known.hand and at - known.hand[-1].at <= FRESH:
        if not known.settled_before(since):
            _beside_tests(known, at)
    else:
        for name in ("disagrees", "drifts"):
            clear_attention(key=f"{name}:{known.measure.pk}", at=at)
    if known.calibrations and (since is None or known.calibrations[-1].received_at >= since - PAIR):
        _checks(known, at)


def _weigh_trust(
    measure: Measure, found: Deviation, pair: Beside, move: TrustMove | None, at: datetime
) -> None:
    """A test by hand that contradicts a believed instrument puts it to be checked; one that agrees, both taken after the doubt arose, lets it be believed again (they agree where they differ by no more than their expanded
    uncertainty: E_n of at most 1, ISO 13528). What is not to be acted on stays so until a person says otherwise."""
    now = move.trust if move else Trust.BELIEVED
    if found.verdict == "outside" and now == Trust.BELIEVED:
        trust, why = Trust.TO_CHECK, _("A test by hand contradicts it.")
    elif agrees(found) and move and now == Trust.TO_CHECK and min(pair.at, pair.shown_at) > move.at:
        trust, why = Trust.BELIEVED, _("A test by hand agrees with it.")
    else:
        return
    origin = uuid5(measure.pk, f"{pair.hand.origin}/{pair.shown_at.isoformat()}/{trust}")
    move_trust(measure=measure, trust=trust, why=why, at=at, origin=origin, received_at=at)


def _beside_tests(known: Known, at: datetime) -> None:
    """An instrument against the tests by hand since it was last calibrated or filled: the newest, and the last three on average."""
    measure, move, begun = known.measure, known.move, known.begun
    since = max(at - RECENT, begun) if begun else at - RECENT
    pairs = pairs_among(measure, known.hand, since=since, until=at, most=MOST_FOLLOWED, mixing=known.mixing)
    if not pairs:
        for name in ("disagrees", "drifts"):
            clear_attention(key=f"{name}:{measure.pk}", at=at)
        return
    newest, own = pairs[-1], measured_by(measure)
    found = deviation(instrument_value=newest.shown, instrument=own, reference=newest.reference)
    _weigh_trust(measure, found, newest, move, at)
    level = abs(newest.reference.value)
    slip = level > 0 and abs(found.delta) > A_SLIP * level
    last = [Pair(0, p.reference, p.shown) for p in pairs[-MOST_PAIRS:]]
    mean = off_on_average(pairs=last, instrument=own)
    if found.verdict == "outside":
        _say_disagrees(measure, found, at, slip=slip)
    elif mean is not None and mean.verdict == "outside" and not slip:
        _say_disagrees(measure, mean, at, tests=len(last))
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


def _checks(known: Known, at: datetime) -> None:
    """What it showed of a standard at each calibration, as a chart: a rule that fires at the last one says that it does not keep it. Its
    tolerance is taken for two standard deviations (common practice)."""
    measure, rows = known.measure, known.calibrations[-MOST_CHECKS:]
    key = f"checks:{measure.pk}"
    own = measured_by(measure)
    sigma = tolerance(own, rows[-1].reference) / 2
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
