"""All instruments at once, led by a sentence: who is silent, who is not believed, whose work falls due."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db.models import Max
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.core.units import parameter
from servicedesk.dispatch.queries import standing
from servicedesk.instruments.choices import Trust
from servicedesk.instruments.models import Calibration, Instrument, Measure, TrustMove
from servicedesk.instruments.queries import bottles_left, instruments_in_use, silent_since, trusts
from servicedesk.watch.models import Attention

SOON = timedelta(days=7)
WORST = (Trust.BELIEVED, Trust.TO_CHECK, Trust.NOT_TO_ACT_ON)


@dataclass
class Device:
    """One instrument: its worst trust with why, what stands open of it, when it is due for calibration, how many tests its emptiest bottle holds."""

    instrument: Instrument
    measures: str
    trust: Trust = Trust.BELIEVED
    why: str = ""
    silent: bool = False
    rows: list[Attention] = field(default_factory=list)
    due: date | None = None
    due_soon: bool = False
    tests_left: int | None = None

    @property
    def word(self) -> str:
        """What leads its line."""
        if self.silent:
            return "silent"
        return "believed" if self.trust == Trust.BELIEVED else str(self.trust)


def devices(*, at: datetime) -> list[Device]:
    """Every instrument in use: silent ones first, then by trust, then by what is due."""
    rows = instruments_in_use()
    by_tank = {row.tank_id for row in rows}
    measures = list(
        Measure.objects.filter(instrument__in=rows)
        .select_related("instrument__equipment", "reagent")
        .order_by("parameter")
    )
    mine: dict[UUID, list[Measure]] = defaultdict(list)
    for measure in measures:
        mine[measure.instrument_id].append(measure)
    moves = trusts(measures)
    calibrated = dict(
        standing(Calibration.objects.filter(measure__in=measures))
        .order_by()
        .values_list("measure")
        .annotate(last=Max("at"))
    )
    left = {measure.pk: tests for measure, tests in bottles_left(measures, at)}
    opened: dict[UUID | None, list[Attention]] = defaultdict(list)
    for wants in Attention.objects.filter(
        cleared_at__isnull=True, instrument__isnull=False, tank__in=by_tank
    ):
        opened[wants.instrument_id].append(wants)
    found = []
    for row in rows:
        device = Device(row, ", ".join(parameter(m.parameter).name for m in mine[row.pk]))
        device.silent = silent_since(row, at) is not None
        device.rows = opened[row.pk]
        for measure in mine[row.pk]:
            _add(device, measure, moves.get(measure.pk), calibrated.get(measure.pk), left.get(measure.pk))
        device.due_soon = device.due is not None and device.due <= (at + SOON).date()
        found.append(device)
    return sorted(found, key=lambda d: (not d.silent, -WORST.index(d.trust), not d.rows, d.due or date.max))


def _add(
    device: Device, measure: Measure, move: TrustMove | None, last: datetime | None, tests: float | None
) -> None:
    """What one measure says of its instrument: the worst of each."""
    if move and WORST.index(Trust(move.trust)) > WORST.index(device.trust):
        device.trust, device.why = Trust(move.trust), move.why
    if last is not None:
        due = (last + timedelta(days=measure.calibrate_every_days)).date()
        device.due = due if device.due is None else min(device.due, due)
    if tests is not None:
        device.tests_left = int(tests) if device.tests_left is None else min(device.tests_left, int(tests))


def sentence(found: list[Device]) -> str:
    """What leads the page."""
    if not found:
        return _("No instrument is fitted yet.")
    silent = sum(1 for d in found if d.silent)
    doubted = sum(1 for d in found if d.trust != Trust.BELIEVED)
    due = sum(1 for d in found if d.due_soon)
    parts = []
    if silent:
        parts.append(ngettext("%(n)s silent", "%(n)s silent", silent) % {"n": silent})
    if doubted:
        parts.append(ngettext("%(n)s not believed now", "%(n)s not believed now", doubted) % {"n": doubted})
    if due:
        parts.append(ngettext("%(n)s due this week", "%(n)s due this week", due) % {"n": due})
    whole = ngettext("%(n)s instrument", "%(n)s instruments", len(found)) % {"n": len(found)}
    if not parts:
        return _("%(all)s: every one is heard, believed and not due.") % {"all": whole}
    return _("%(all)s: %(parts)s.") % {"all": whole, "parts": ", ".join(parts)}
