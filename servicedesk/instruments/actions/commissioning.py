"""Bringing an instrument into use, step by step; it can be left and taken up again, and ends in a record and a note for the client."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.core import units
from servicedesk.core.metrology.noise import NoNoise, device_alone
from servicedesk.core.metrology.uncertainty import Deviation, Replicate, agrees, deviation, reference_value
from servicedesk.instruments.actions.loads import record_calibration
from servicedesk.instruments.actions.tokens import make_token
from servicedesk.instruments.choices import Stage
from servicedesk.instruments.models import Commissioning, Instrument, Measure, StageDone
from servicedesk.instruments.queries import measured_by
from servicedesk.staff.models import User
from servicedesk.water import actions as water
from servicedesk.water.models import HeldReading, Method
from servicedesk.water.queries import spec_of

NEEDED = (Stage.PLACED, Stage.PASS, Stage.HEARD, Stage.AGREES)
"""Without these nothing is in use; warming up, calibrating and noise belong to some instruments only."""


def needed_for(instrument: Instrument) -> tuple[Stage, ...]:
    """The steps without which this one is not in use: what comes through a relay needs no pass of its own, and a relay that measures nothing agrees
    with nothing."""
    left_out = {Stage.PASS} if instrument.through_id else set[Stage]()
    if instrument.relays and not instrument.measures.exists():
        left_out.add(Stage.AGREES)
    return tuple(stage for stage in NEEDED if stage not in left_out)


class NotCommissioned(Exception):
    """The step cannot be done; the sentence says why."""


@transaction.atomic
def begin(*, instrument: Instrument, by: User, at: datetime) -> Commissioning:
    """Begin, or take up what was left."""
    return Commissioning.objects.get_or_create(
        instrument=instrument, ended_at=None, defaults={"begun_at": at, "begun_by": by}
    )[0]


def _open(row: Commissioning) -> None:
    if row.ended_at is not None:
        raise NotCommissioned(_("It is in use already."))


def _done(row: Commissioning, stage: str, *, by: User, at: datetime, words: str, **data: Any) -> StageDone:
    _open(row)
    return StageDone.objects.create(
        commissioning=row, stage=stage, at=at, by=by, words=words[:300], data=data, origin=uuid.uuid4(), received_at=at
    )  # fmt: skip


@transaction.atomic
def placed(*, row: Commissioning, by: User, at: datetime, where: str) -> StageDone:
    """It stands, its cables drip where they should, its waste and its reagent are safe."""
    if not where.strip():
        raise NotCommissioned(_("Say where it stands."))
    return _done(row, Stage.PLACED, by=by, at=at, words=where.strip())


@transaction.atomic
def warm(*, row: Commissioning, by: User, at: datetime, placed_at: datetime) -> StageDone:
    """It had its time to warm up."""
    ready = placed_at + timedelta(minutes=row.instrument.warm_up_minutes)
    if at < ready:
        left = max(1, round((ready - at).total_seconds() / 60))
        words = ngettext("It needs one more minute.", "It needs %(n)s more minutes.", left)
        raise NotCommissioned(words % {"n": left})
    minutes = round((at - placed_at).total_seconds() / 60)
    words = ngettext("It ran for one minute.", "It ran for %(n)s minutes.", minutes) % {"n": minutes}
    return _done(row, Stage.WARM, by=by, at=at, words=words)


@transaction.atomic
def give_pass(*, row: Commissioning, by: User, at: datetime) -> str:
    """A pass for it; the text, to be shown once."""
    _open(row)
    token, text = make_token(instrument=row.instrument, at=at, label=_("commissioning"))
    _done(row, Stage.PASS, by=by, at=at, words=f"{token.start}…")
    return text


@transaction.atomic
def heard(*, row: Commissioning, by: User, at: datetime) -> StageDone:
    """Its first values came since it was begun."""
    last = Instrument.objects.values_list("last_contact_at", flat=True).get(pk=row.instrument_id)
    if last is None or last < row.begun_at:
        if row.instrument.through_id:
            raise NotCommissioned(
                _("Nothing was heard of it yet: look at its line and its name at the relay.")
            )
        raise NotCommissioned(_("Nothing was heard of it yet: look at its line and its pass."))
    return _done(row, Stage.HEARD, by=by, at=at, words=_("Its values come."))


@transaction.atomic
def calibrated(
    *,
    row: Commissioning,
    measure: Measure,
    reference: float,
    before: float,
    after: float | None,
    by: User,
    at: datetime,
) -> StageDone:
    """It was set against a standard; canonical units. What it shows is to be checked until a test agrees."""
    known = units.parameter(measure.parameter)
    step = _done(
        row,
        Stage.CALIBRATED,
        by=by,
        at=at,
        words=_("%(name)s: %(before)s of %(reference)s before.")
        % {
            "name": known.name,
            "before": f"{before:g}",
            "reference": f"{reference:g} {units.unit_word(known.unit)}".strip(),
        },
        measure=str(measure.pk),
    )
    record_calibration(
        measure=measure, reference=reference, before=before, after=after, at=at, by=by, origin=step.origin, received_at=at
    )  # fmt: skip
    return step


@dataclass(frozen=True)
class Compared:
    """The verdict of the agreement test, and the step where it agreed."""

    found: Deviation
    step: StageDone | None


@transaction.atomic
def agreement(
    *,
    row: Commissioning,
    measure: Measure,
    method: Method,
    results: Sequence[float],
    shown: float,
    by: User,
    at: datetime,
) -> Compared:
    """Tests by hand beside what it shows at the same time (both in the canonical unit): kept as readings, and done where the two agree within the
    uncertainty of the comparison. What is outside is calibrated and tested again."""
    _open(row)
    if not results:
        raise NotCommissioned(_("Test by hand first: one result or more."))
    origin = uuid.uuid4()
    for seq, value in enumerate(results):
        stored = water.record_reading(
            tank=row.instrument.tank, parameter=measure.parameter, method=method, source=water.by_hand(), at=at,
            entered=f"{value:g}", unit=units.parameter(measure.parameter).unit, by=by, origin=origin, part=seq, seq=seq, received_at=at,
        )  # fmt: skip
        if isinstance(stored, HeldReading):
            raise NotCommissioned(stored.reason)
    reference = reference_value([Replicate(value, spec_of(method)) for value in results])
    found = deviation(instrument_value=shown, instrument=measured_by(measure), reference=reference)
    if not agrees(found):
        return Compared(found, None)
    known = units.parameter(measure.parameter)
    words = _("%(name)s: off by %(delta)s, allowed %(allowed)s.") % {
        "name": known.name,
        "delta": f"{found.delta:+.{known.decimals + 1}f}",
        "allowed": f"{found.allowed:.{known.decimals + 1}f} {units.unit_word(known.unit)}".strip(),
    }
    data = {
        "measure": str(measure.pk),
        "delta": found.delta,
        "expanded": found.expanded,
        "verdict": found.verdict,
    }
    return Compared(found, _done(row, Stage.AGREES, by=by, at=at, words=words, **data))


@transaction.atomic
def noise(
    *, row: Commissioning, without: tuple[float, float], running: tuple[float, float], by: User, at: datetime
) -> StageDone:
    """How loud it is where people sit, in dB(A), from what a meter showed without and with it running."""
    try:
        found = device_alone(
            background_low=without[0], background_high=without[1], running_low=running[0], running_high=running[1]
        )  # fmt: skip
    except NoNoise as wrong:
        raise NotCommissioned(str(wrong)) from wrong
    if found.resolved and found.level_db is not None:
        words = _("By itself about %(level)s dB(A).") % {"level": f"{found.level_db:.0f}"}
    else:
        words = _("Not told apart from what is there without it; under %(level)s dB(A).") % {
            "level": f"{found.high_db:.0f}"
        }
    return _done(row, Stage.NOISE, by=by, at=at, words=words, high_db=found.high_db, resolved=found.resolved)


def last_done(row: Commissioning) -> dict[str, StageDone]:
    """The last of each step that was done."""
    return {step.stage: step for step in row.done.select_related("by").order_by("at", "pk")}


@transaction.atomic
def end(*, row: Commissioning, by: User, at: datetime) -> Commissioning:
    """It is in use: a note in the client's words. Raises NotCommissioned naming what is missing."""
    _open(row)
    done = last_done(row)
    missing = [Stage(stage).label for stage in needed_for(row.instrument) if stage not in done]
    if missing:
        raise NotCommissioned(
            _("Not done yet: %(what)s.") % {"what": ", ".join(str(word) for word in missing)}
        )
    names = sorted(
        {units.parameter(measure.parameter).name.lower() for measure in row.instrument.measures.all()}
    )
    note = _(
        "A new instrument now tests %(what)s between our visits. We compared it with our own tests: they agree."
    ) % {"what": _listed(names)}
    if not names:
        note = _("A new device now sends us what the instruments at your site measure.")
    if Stage.NOISE in done:
        note += " " + _("We measured how loud it is where you sit: %(words)s") % {
            "words": done[Stage.NOISE].words
        }
    Commissioning.objects.filter(pk=row.pk, ended_at__isnull=True).update(ended_at=at, note=note[:400])
    row.refresh_from_db()
    return row


def _listed(names: Sequence[str]) -> str:
    if len(names) < 2:
        return "".join(names)
    return _("%(some)s and %(last)s") % {"some": ", ".join(names[:-1]), "last": names[-1]}
