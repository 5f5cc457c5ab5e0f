"""Four months of one tank: its water simulated day by day, and what visits and instruments saw and did.

The planted faults of the water stand here and in devices.py; each is noted when it has really happened."""

from collections import defaultdict
from datetime import date, timedelta
from uuid import UUID

from clients.models import Tank
from servicedesk.desk.actions.demo import pictures
from servicedesk.desk.actions.demo.calls import Call
from servicedesk.desk.actions.demo.chores import CALIBRATE, Chore
from servicedesk.desk.actions.demo.devices import SILENT_FOR, WRONG_SHARE, Device
from servicedesk.desk.actions.demo.journal import Journal
from servicedesk.desk.actions.demo.pumps import SLOWED, Pump
from servicedesk.desk.actions.demo.simulate import Water, at_hour, measured, pond_warmth
from servicedesk.desk.actions.demo.stories import Stories
from servicedesk.desk.actions.demo.world import DAYS, MARINE, World
from servicedesk.water.models import Band

CHANGED, CHANGED_POND = 0.12, 0.05
"""Share of the water that a regular service replaces (common practice)."""
SHORT_TESTS = ("temperature", "salinity", "ph", "alkalinity", "ammonia_total")
SLOWED_FOR, TOP_UP_OUT, QUIET_FOR = 13, 5, 20
EMPTY_SINCE = 3
MISTYPED = 1.0
"""A slip of the finger by one whole pH, corrected a minute later (common practice: kept, with its correction)."""
STEP_BY_HAND = {"alkalinity": 0.5, "magnesium": 40.0}
"""The most that is added by hand on one visit, dKH and mg/L (common practice: within the safe daily change)."""


def bands_of(w: World) -> dict[UUID, dict[str, Band]]:
    """All bands, by tank and parameter."""
    found: dict[UUID, dict[str, Band]] = defaultdict(dict)
    for band in Band.objects.filter(tank__in=[t.pk for t in w.tanks.values()]).order_by("pk"):
        found[band.tank_id][band.parameter] = band
    return found


class TankHistory:
    """One tank while its history runs."""

    def __init__(
        self, w: World, tank: Tank, bands: dict[str, Band], calls: list[Call], chores: dict[UUID, list[Chore]],
        journal: Journal,
    ) -> None:  # fmt: skip
        self.w, self.tank, self.bands, self.chores, self.journal = w, tank, bands, chores, journal
        self.plan = w.planted[tank.name]
        self.calls = [c for c in calls if c.visit is not None and c.day >= w.start.date()]
        self.behind = [c for c in self.calls if c.done and c.day < w.today]
        self.water = self._water()
        self.bias = {test.parameter: w.rng.uniform(-0.5, 0.5) for test in w.tests[tank.name]}
        self.pumps = [
            Pump(w, journal, channel, bands[channel.solution.parameter])
            for channel in w.channels.get(tank.name, [])
        ]
        for pump in self.pumps:
            pump.begin(self.water)
        self.devices = [
            Device(w, journal, row, bottle_ml=row.bottle_ml) for row in w.measures.get(tank.name, [])
        ]
        self.stories = Stories(w, tank, self.behind, journal)
        self.moments = self._moments()

    def _water(self) -> Water:
        values = {"temperature": 25.0}
        for name, band in self.bands.items():
            middle = ((band.low or 0) + (band.high or band.low or 0)) / 2
            values[name] = middle if band.target is None else band.target
        state = Water(self.tank.water_type, self.tank.net_l, values, tops_up=self.tank.water_type in MARINE)
        weeks = self.w.weeks[self.tank.site.name]
        share = (CHANGED_POND if self.tank.water_type == "pond" else CHANGED) / (7 * weeks)
        state.feed_no3 = values.get("nitrate", 0.0) * share * self.w.rng.uniform(0.8, 1.2)
        state.feed_po4 = values.get("phosphate", 0.0) * share * self.w.rng.uniform(0.8, 1.2)
        return state

    def _moments(self) -> dict[str, Call]:
        """On which visits the planted faults turn: the latest of all, the last regular one before today, one at least eight days ago, and one at
        least twenty."""
        regular = [c for c in self.behind if c.regular]
        return {
            "latest": [c for c in self.calls if c.done][-1],
            "last": regular[-1],
            "week": [c for c in self.behind if c.day <= self.w.today - timedelta(days=8)][-1],
            "weeks": [c for c in regular if c.day <= self.w.today - timedelta(days=20)][-1],
        }

    def run(self) -> None:
        """From the first day to today."""
        on_day: dict[date, list[Call]] = defaultdict(list)
        for call in self.calls:
            on_day[call.day].append(call)
        for day in range(DAYS + 1):
            midnight = self.w.midnight(day)
            self._season(midnight.timetuple().tm_yday)
            self._faults(day)
            for call in on_day[midnight.date()]:
                self._measure(call)
                self._visit(call, day)
            for device in self.devices:
                device.until(self.w.midnight(day + 1), self.water)
                device.day()
            for pump in self.pumps:
                pump.day(self.water)
            self._ran_dry(day)
            self.water.day(self.w.rng)
        self._told()

    def _measure(self, call: Call) -> None:
        for device in self.devices:
            device.until(call.moment(0), self.water)

    def _season(self, day_of_year: int) -> None:
        if self.tank.water_type == "pond":
            self.water.home["temperature"] = pond_warmth(day_of_year)

    def _faults(self, day: int) -> None:
        """The planted faults of the water itself."""
        left = DAYS - day
        if self.plan == "slow" and left == SLOWED_FOR:
            self.pumps[0].gives = SLOWED
            since = self.w.midnight(day).date()
            self.w.plant(
                "slow",
                self.tank.name,
                since,
                f"the alkalinity channel gives less than it is set to since {since:%d %B}.",
            )
        if self.plan == "top_up" and self.w.midnight(day).date() == self.moments["weeks"].day - timedelta(
            days=TOP_UP_OUT
        ):
            self.water.tops_up = False

    def _ran_dry(self, day: int) -> None:
        if self.plan == "empty" and self.pumps[1].dry and not any(p.kind == "empty" for p in self.w.told):
            since = self.w.midnight(day).date()
            self.w.plant(
                "empty", self.tank.name, since, f"the calcium container is empty since {since:%d %B}."
            )

    def _told(self) -> None:
        if self.plan == "silent":
            last = max(d.last_at for d in self.devices if d.last_at).astimezone(self.w.now.tzinfo)
            days = SILENT_FOR.days
            self.w.plant(
                "silent",
                self.tank.name,
                last.date(),
                f"the probes are silent since {last:%d %B, %H:%M}, {days} days.",
            )

    def _visit(self, call: Call, day: int) -> None:
        """Look, test, act, tidy up, leave: one share of the visit's time for each tank."""
        if self.plan == "death" and call is self.moments["latest"]:
            self._death(call)
        else:
            self.stories.look(call)
        tested = self._tests(call)
        if call.regular:
            self._act(call, tested, day)
        if self.plan == "isolation" and call is self.moments["latest"]:
            self._treat(call)
        self._instruments(call, tested)
        self._tasks(call, tested)
        self.stories.leave(call)
        if call.regular:
            self.journal.back_on(call, self.tank, self.w.equipment[self.tank.name])

    def _tests(self, call: Call) -> dict[str, float]:
        found = {}
        for number, test in enumerate(self.w.tests[self.tank.name]):
            if not call.regular and test.parameter not in SHORT_TESTS:
                continue
            share, method = 0.1 + 0.035 * number + 0.01 * self.tank.order, test.method
            value = measured(
                at_hour(self.water, test.parameter, call.moment(share).hour), abs_tol=method.tolerance_abs,
                rel_tol=method.tolerance_rel, step=method.resolution, bias=self.bias[test.parameter], rng=self.w.rng,
            )  # fmt: skip
            slip = (
                MISTYPED
                if self.plan == "typo" and test.parameter == "ph" and call is self.moments["weeks"]
                else 0.0
            )
            typed = self.journal.reading(call, share, self.tank, method, value + slip)
            if typed is not None and slip:
                right = round(typed - slip, 2)
                self.journal.correction(
                    call, share + 0.02, f"Mistyped: {typed:g} for {right:g}.", f"{right:.2f}"
                )
                typed = right
            if typed is not None:
                found[test.parameter] = typed
        return found

    def _act(self, call: Call, tested: dict[str, float], day: int) -> None:
        """Pumps, steps by hand, top-up, water change."""
        quiet = self.plan in ("slow", "empty") and DAYS - day < QUIET_FOR
        for pump in self.pumps:
            if self.plan == "empty" and pump.parameter == "calcium" and call is self.moments["last"]:
                days_left = (self.w.today - call.day).days - EMPTY_SINCE
                pump.fill_short(call, days_left)
            elif not (quiet and self.plan == "empty"):
                pump.visit(call, tested.get(pump.parameter), timedelta(days=day), quiet=quiet)
        for name, most in STEP_BY_HAND.items():
            if self.pumps and name in tested:
                self._by_hand(call, name, tested[name], most)
        if call.moment(0.6) <= self.w.now:
            if self.plan == "top_up" and call is self.moments["weeks"]:
                self._top_up_found(call, tested)
            if not self.water.tops_up:
                self.water.to_fill(1.0)
        self._change(call)

    def _top_up_found(self, call: Call, tested: dict[str, float]) -> None:
        self.water.tops_up = True
        salinity = tested["salinity"]
        self.stories.top_up(call, salinity)
        self.w.plant(
            "top_up",
            self.tank.name,
            call.day,
            f"the top-up had failed until {call.day:%d %B}: salinity {salinity:g} on that visit.",
        )

    def _by_hand(self, call: Call, name: str, tested: float, most: float) -> None:
        """A step of solution by hand where a level stands under its band, or magnesium well under its target."""
        band, solution = self.bands[name], self.w.solutions[name]
        if band.target is None or band.low is None:
            return
        floor = band.low if name == "alkalinity" else band.target - most
        if tested >= floor:
            return
        raised = min(most, band.target - tested)
        ml = int(raised * self.tank.net_l / solution.per_ml / 10) * 10
        if ml and self.journal.dose(call, 0.5, self.tank, solution, ml):
            self.water.dose(name, ml * solution.per_ml)

    def _change(self, call: Call) -> None:
        share = CHANGED_POND if self.tank.water_type == "pond" else CHANGED
        litres = round(self.tank.net_l * share)
        salt = self.water.fresh("salinity") if "salinity" in self.water.values else None
        warm = self.water.values["temperature"] + self.w.rng.uniform(-0.6, 0.4)
        if self.journal.change(call, 0.65, self.tank, litres, salt, warm):
            self.water.change(litres / self.tank.net_l)

    def _instruments(self, call: Call, tested: dict[str, float]) -> None:
        for device in self.devices:
            hand = tested.get(device.measure.parameter)
            wrong = self.plan == "wrong_reagent" and call is self.moments["week"]
            if hand is not None and device.bottle_ml:
                device.compare(call, 0.45, hand, self.water)
            device.load(call, 0.7, wrong=wrong)
            if wrong:
                low = f"{(1 - WRONG_SHARE) * 100:.0f} %"
                self.w.plant(
                    "wrong_reagent",
                    self.tank.name,
                    call.day,
                    f"the titrator's reagent was mixed wrongly on {call.day:%d %B}; it shows {low} too little.",
                )

    def _tasks(self, call: Call, tested: dict[str, float]) -> None:
        for number, chore in enumerate(self.chores.get(call.due.pk, [])):
            share = 0.72 + 0.03 * number
            if chore.reason:
                self.journal.task_left(call, share, chore.task, chore.reason)
                continue
            self.journal.task_done(call, share, chore.task)
            if chore.task.title == CALIBRATE and "alkalinity" in tested:
                self.devices[0].calibrate(call, share, tested["alkalinity"], self.water)

    def _death(self, call: Call) -> None:
        animal = self.w.animals[self.tank.name][0]
        self.journal.death(call, 0.08, animal, "old age, likely")
        for name, words in self.w.raw["words"]["after_a_death"].items():
            self.journal.field(call, name, words)
        self.w.tell.add(call.due.pk)
        self.w.plant(
            "death",
            self.tank.name,
            call.day,
            f"one of the {animal.name} died, found on {call.day:%d %B}; the report waits for the owner's word.",
        )

    def _treat(self, call: Call) -> None:
        """The new fish are treated by order of a veterinarian; carbon is off and comes back on as a task."""
        until = self.w.today + timedelta(days=19)
        self.journal.treatment(call, 0.68, self.tank, self.w.raw["words"]["treatment"], until)
        self.w.plant(
            "treatment", self.tank.name, call.day, f"treated by order of a veterinarian until {until:%d %B}."
        )

    def photos(self) -> None:
        """Two pictures of the same place, then and now: what grew between them is drawn."""
        caption = "from the bank" if self.tank.water_type == "pond" else "from the front"
        done = [c for c in self.calls if c.done]
        then = [c for c in self.behind if c.day <= self.w.today - timedelta(days=56)]
        for number, (call, grown) in enumerate(((then[-1], 0.7), (done[-1], 1.0))):
            key = self.w.key()
            body = pictures.draw(self.tank.water_type, self.tank.pk, grown=grown, moment=number)
            name = pictures.keep(body, folder="photos", key=key)
            self.journal.photo(call, 0.9, self.tank, name, pictures.SIZE, caption)
