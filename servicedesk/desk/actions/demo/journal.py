"""Entries and the facts made from them, collected and written together.

Each line is what the visit's own door would have stored: the entry, and the fact with the entry's id as its origin
(tests take every entry through that door again and find nothing to add). A line of a visit that is still under way is
only written when its moment has come."""

from collections import defaultdict
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Model

from clients.models import Equipment, Livestock, LivestockFact, Tank
from servicedesk.core import units
from servicedesk.desk.actions.demo.calls import Call
from servicedesk.desk.actions.demo.world import World
from servicedesk.dosing.choices import DoseKind
from servicedesk.dosing.models import Channel, Dose, PumpCheck, RateChange, Refill, Solution, Treatment
from servicedesk.instruments.choices import Trust
from servicedesk.instruments.models import Calibration, Measure, ReagentLoad, TrustMove
from servicedesk.upkeep.models import Task, TaskFact
from servicedesk.visits.actions.treating import book_back_on
from servicedesk.visits.actions.wire import digest
from servicedesk.visits.choices import EntryKind
from servicedesk.visits.models import Entry, Photo
from servicedesk.water import actions as water
from servicedesk.water.models import Correction, Method, Reading, Series, Source, WaterChange

BATCH = 400
CLOSING = 9000


def text(value: float, decimals: int = 1) -> str:
    """A number as a person types it."""
    return f"{value:.{decimals}f}".rstrip("0").rstrip(".") if decimals else f"{value:.0f}"


class Journal:
    """All lines of the history. A method returns whether its line was written."""

    def __init__(self, w: World) -> None:
        self.w = w
        self.hand = water.by_hand()
        self.entries: list[Entry] = []
        self.facts: dict[type[Model], list[Model]] = defaultdict(list)
        self.series: dict[tuple[Any, ...], Series] = {}
        self.counts: dict[UUID, int] = defaultdict(int)
        self.trust: dict[UUID, str] = {}
        self.photos: list[Photo] = []
        self.said: dict[UUID, set[str]] = defaultdict(set)

    def line(
        self, call: Call, share: float, kind: str, payload: dict[str, Any], *, seq: int = 0
    ) -> Entry | None:
        """One line of a visit's journal, at that share of its time."""
        visit, at = call.visit, call.moment(share)
        assert visit is not None
        if at > self.w.now:
            return None
        self.counts[visit.pk] += 1
        entry = Entry(
            id=self.w.key(), visit=visit, kind=kind, payload=payload, sha256=digest(kind, visit.pk, payload),
            seq=seq or self.counts[visit.pk], author=call.technician, tablet="demo", tablet_time=at, at=at,
            received_at=at,
        )  # fmt: skip
        self.entries.append(entry)
        return entry

    def fact(self, model: type[Model], entry: Entry | None, **columns: Any) -> bool:
        """The fact made from a line."""
        if entry is None:
            return False
        row = model(origin=entry.pk, at=entry.at, by=entry.author, received_at=entry.at, **columns)
        self.facts[model].append(row)
        return True

    def arrive(self, call: Call) -> None:
        self.line(call, 0, EntryKind.ARRIVE, {})

    def close(self, call: Call) -> None:
        if call.done:
            self.line(call, 1, EntryKind.CLOSE, {}, seq=CLOSING)

    def reading(self, call: Call, share: float, tank: Tank, method: Method, value: float) -> float | None:
        """A test by hand; the value as it was typed."""
        known = units.parameter(method.parameter)
        typed = f"{value:.{known.decimals}f}"
        payload = {"tank": str(tank.pk), "parameter": method.parameter, "method": str(method.pk), "value": typed,
                   "unit": known.unit, "seq": 0}  # fmt: skip
        entry = self.line(call, share, EntryKind.READING, payload)
        if entry is None:
            return None
        self.value(tank, method, self.hand, entry.at, typed, entry.pk, entry.author)
        return float(typed)

    def value(
        self, tank: Tank, method: Method, source: Source, at: datetime, typed: str, origin: UUID, by: Any
    ) -> None:
        """A value in its series."""
        key = (tank.pk, method.parameter, source.pk, method.pk)
        if key not in self.series:
            self.series[key] = Series.objects.get_or_create(
                tank=tank, parameter=method.parameter, source=source, method=method
            )[0]
        self.facts[Reading].append(
            Reading(
                series=self.series[key],
                at=at,
                value=float(typed),
                entered=typed,
                by=by,
                origin=origin,
                entered_unit=units.parameter(method.parameter).unit,
                received_at=at,
            )  # fmt: skip
        )

    def correction(self, call: Call, share: float, why: str, typed: str) -> bool:
        """The last reading was mistyped: what it should have said."""
        wrong = self.facts[Reading][-1]
        assert isinstance(wrong, Reading)
        payload = {"entry": str(wrong.origin), "value": typed, "unit": wrong.entered_unit, "why": why}
        entry = self.line(call, share, EntryKind.CORRECTION, payload)
        columns = {"reading": wrong, "number": 1, "old": wrong.value, "new": float(typed), "why": why}
        return self.fact(Correction, entry, **columns)

    def field(self, call: Call, name: str, words: str) -> None:
        """A sentence for the report, as the client would say it."""
        self.line(call, 0.92, EntryKind.FIELD, {"name": name, "value": words})

    def change(
        self, call: Call, share: float, tank: Tank, litres: int, salinity: float | None, warm: float
    ) -> bool:
        payload = {"tank": str(tank.pk), "litres": str(litres), "temperature_c": text(warm)}
        if salinity is not None:
            payload["salinity"] = text(salinity)
        entry = self.line(call, share, EntryKind.WATER_CHANGE, payload)
        salt = None if salinity is None else float(text(salinity))
        return self.fact(
            WaterChange,
            entry,
            tank=tank,
            litres=float(litres),
            salinity=salt,
            temperature_c=float(text(warm)),
        )

    def dose(self, call: Call, share: float, tank: Tank, solution: Solution, ml: int) -> bool:
        payload = {"tank": str(tank.pk), "solution": str(solution.pk), "ml": str(ml)}
        entry = self.line(call, share, EntryKind.DOSE, payload)
        return self.fact(Dose, entry, tank=tank, solution=solution, kind=DoseKind.BY_HAND, ml=float(ml))

    def rate(self, call: Call, share: float, channel: Channel, ml_per_day: float, why: str) -> bool:
        payload = {"channel": str(channel.pk), "ml_per_day": text(ml_per_day), "why": why}
        entry = self.line(call, share, EntryKind.RATE, payload)
        return self.fact(RateChange, entry, channel=channel, ml_per_day=float(text(ml_per_day)), why=why)

    def refill(self, call: Call, share: float, channel: Channel, before: float, now: float) -> bool:
        lot = self.w.lots[channel.solution.item.name]
        payload = {
            "channel": str(channel.pk),
            "ml_before": text(before, 0),
            "ml_now": text(now, 0),
            "lot": str(lot.pk),
        }
        entry = self.line(call, share, EntryKind.REFILL, payload)
        return self.fact(
            Refill,
            entry,
            channel=channel,
            ml_before=float(text(before, 0)),
            ml_now=float(text(now, 0)),
            lot=lot,
        )

    def pump_check(self, call: Call, share: float, channel: Channel, before: float, after: float) -> bool:
        """The channel was told to give 10 mL, measured, and set."""
        payload = {
            "channel": str(channel.pk),
            "asked_ml": "10",
            "before_ml": text(before),
            "after_ml": text(after),
        }
        entry = self.line(call, share, EntryKind.PUMP_CHECK, payload)
        return self.fact(
            PumpCheck,
            entry,
            channel=channel,
            asked_ml=10.0,
            before_ml=float(text(before)),
            after_ml=float(text(after)),
        )

    def load(self, call: Call, share: float, measure: Measure, ml: float) -> bool:
        lot = self.w.lots["Titrator reagent"]
        payload = {"measure": str(measure.pk), "ml": text(ml, 0), "lot": str(lot.pk)}
        entry = self.line(call, share, EntryKind.REAGENT_LOAD, payload)
        self.doubt(measure, entry, "New reagent was loaded.")
        return self.fact(ReagentLoad, entry, measure=measure, ml=float(text(ml, 0)), lot=lot)

    def calibration(
        self, call: Call, share: float, measure: Measure, reference: float, before: float
    ) -> bool:
        after = reference + self.w.rng.choice((-0.05, 0.0, 0.05))
        values = {"reference": text(reference, 2), "before": text(before, 2), "after": text(after, 2)}
        entry = self.line(call, share, EntryKind.CALIBRATION, {"measure": str(measure.pk), **values})
        self.doubt(measure, entry, "It was calibrated and waits for a test that agrees.")
        return self.fact(Calibration, entry, measure=measure, **{k: float(v) for k, v in values.items()})

    def doubt(self, measure: Measure, entry: Entry | None, why: str) -> None:
        """New reagent and a calibration leave an instrument to be checked."""
        if entry is not None:
            self._move(measure, Trust.TO_CHECK, why, entry.at, entry.pk, part=100)

    def believe(self, measure: Measure, at: datetime) -> None:
        self._move(measure, Trust.BELIEVED, "A test by hand agreed.", at, self.w.key(), part=0)

    def _move(self, measure: Measure, trust: str, why: str, at: datetime, origin: UUID, *, part: int) -> None:
        if self.trust.get(measure.pk, Trust.BELIEVED) == trust:
            return
        self.trust[measure.pk] = trust
        self.facts[TrustMove].append(
            TrustMove(measure=measure, at=at, trust=trust, why=why, origin=origin, part=part, received_at=at)
        )

    def task_done(self, call: Call, share: float, task: Task) -> bool:
        entry = self.line(call, share, EntryKind.TASK_DONE, {"task": str(task.pk)})
        return self.fact(TaskFact, entry, task=task, outcome="done", reason="")

    def task_left(self, call: Call, share: float, task: Task, reason: str) -> bool:
        entry = self.line(call, share, EntryKind.TASK_LEFT, {"task": str(task.pk), "reason": reason})
        return self.fact(TaskFact, entry, task=task, outcome="left", reason=reason)

    def death(self, call: Call, share: float, animal: Livestock, cause: str) -> bool:
        payload = {"livestock": str(animal.pk), "change": "died", "number": 1, "cause": cause}
        entry = self.line(call, share, EntryKind.LIVESTOCK, payload)
        return self.fact(LivestockFact, entry, livestock=animal, change="died", number=1, cause=cause)

    def treatment(self, call: Call, share: float, tank: Tank, told: dict[str, str], until: date) -> bool:
        """A medicine as it was ordered; with the task that brings carbon back on."""
        payload = {"tank": str(tank.pk), **told, "until": until.isoformat(), "carbon": True}
        entry = self.line(call, share, EntryKind.TREATMENT, payload)
        if entry is not None:
            book_back_on(tank=tank, off=["carbon"], until=until, cause=entry.pk, at=entry.at)
        return self.fact(Treatment, entry, tank=tank, until_on=until, **told)

    def photo(
        self, call: Call, share: float, tank: Tank, file: str, size: tuple[int, int], caption: str
    ) -> None:
        key = self.w.key()
        payload = {"photo": str(key), "tank": str(tank.pk), "caption": caption}
        entry = self.line(call, share, EntryKind.PHOTO, payload)
        if entry is not None:
            self.photos.append(
                Photo(
                    id=key,
                    visit=entry.visit,
                    tank=tank,
                    file=file,
                    width=size[0],
                    height=size[1],
                    caption=caption,
                    taken_at=entry.at,
                    author=entry.author,
                )  # fmt: skip
            )

    def finding(self, call: Call, share: float, tank: Tank, words: str, *, internal: bool = False) -> None:
        self.said[call.due.pk].add(words)
        payload = {
            "tank": str(tank.pk),
            "text": words,
            "alarm": False,
            "dispute": False,
            "internal": internal,
        }
        self.line(call, share, EntryKind.FINDING, payload)

    def recommendation(self, call: Call, share: float, tank: Tank, words: str, price: str) -> Entry | None:
        """What is recommended: the question that the client answers."""
        payload = {"tank": str(tank.pk), "text": words, "price": price}
        return self.line(call, share, EntryKind.RECOMMENDATION, payload)

    def back_on(self, call: Call, tank: Tank, things: list[Equipment]) -> None:
        payload = {"tank": str(tank.pk), "on": [str(t.pk) for t in things if t.back_on_check], "left": []}
        self.line(call, 0.95, EntryKind.BACK_ON, payload)

    def write(self) -> None:
        """Store everything, in one order: corrections after what they correct."""
        Entry.objects.bulk_create(self.entries, batch_size=BATCH)
        Photo.objects.bulk_create(self.photos, batch_size=BATCH)
        for model, rows in sorted(
            self.facts.items(), key=lambda kind: (kind[0] is Correction, kind[0].__name__)
        ):
            model._default_manager.bulk_create(rows, batch_size=BATCH)
