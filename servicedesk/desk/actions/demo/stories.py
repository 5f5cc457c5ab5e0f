"""What the demo's technicians found and recommended, in words from fixtures/demo/world.json."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from clients.models import Tank
from servicedesk.desk.actions.demo.calls import Call
from servicedesk.desk.actions.demo.journal import Journal
from servicedesk.desk.actions.demo.world import World
from servicedesk.visits.models import Entry

OFTEN = 0.3
"""Share of regular visits on which something is worth a line (common practice)."""


@dataclass(frozen=True)
class Reply:
    """A client's yes or no to what was recommended on a visit, so many days after it."""

    call: Call
    question: Entry
    yes: bool
    after_days: int


class Stories:
    """The findings and recommendations of one tank. What a client answered to a recommendation is kept, and told on
    the next visit, as a technician would note it."""

    def __init__(self, w: World, tank: Tank, behind: list[Call], journal: Journal) -> None:
        self.w, self.tank, self.journal = w, tank, journal
        group = "fresh" if tank.water_type in w.raw["words"]["fresh_types"] else "salt"
        self.lines: list[str] = w.raw["words"]["findings"][group]
        self.told: dict[str, Any] = w.raw["words"]["recommendations"].get(tank.name, {})
        regular = [c for c in behind if c.regular]
        asked = [c for c in regular if c.day <= w.today - timedelta(days=self.told.get("days_ago", 0))]
        self.asks = asked[-1] if self.told and asked else None
        later = [c for c in regular if self.asks is not None and c.day > self.asks.day]
        self.hears = later[0] if later else None
        self.reply: Reply | None = None

    def look(self, call: Call) -> None:
        """Findings at the beginning of a visit."""
        if call is self.hears and self.told.get("answer"):
            self.journal.finding(call, 0.03, self.tank, self.told["answer"])
        elif call.regular and self.w.rng.random() < OFTEN:
            fresh = [line for line in self.lines if line not in self.journal.said[call.due.pk]]
            self.journal.finding(call, 0.05, self.tank, self.w.rng.choice(fresh))

    def leave(self, call: Call) -> None:
        """What is recommended, and a word for the house alone."""
        if call is self.asks:
            asked = self.journal.recommendation(
                call, 0.88, self.tank, self.told["text"], self.told.get("price", "")
            )
            if asked is not None and "yes" in self.told:
                self.reply = Reply(call, asked, self.told["yes"], self.told["answered_after_days"])
            if self.told.get("internal"):
                self.journal.finding(call, 0.89, self.tank, self.told["internal"], internal=True)

    def top_up(self, call: Call, salinity: float) -> None:
        """The stuck float, found and freed."""
        words = self.w.raw["words"]["top_up"].format(salinity=f"{salinity:g}")
        self.journal.finding(call, 0.4, self.tank, words)
