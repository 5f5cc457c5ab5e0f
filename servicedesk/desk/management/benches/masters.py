"""Invented master rounds of 200 and 2,000 sites by the product's own search, with two processes and with one: seconds until the first whole
plan, hours at the wheel against the habits it starts from, changes, how even the weeks are, the most memory.

    bench rounds --set master [--only master-200-1,master-2000-1] [--seconds S] [--seeds 1]

The habits are driven in their best order before they are compared. The most memory of a process is that since it began."""

import os
import resource
from typing import Any

from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.master.drawn import named_master
from servicedesk.core.rounds.master.search import MasterPlan, plan_master
from servicedesk.desk.management.benches import Options
from servicedesk.rounds.jobs import crew_of

NAMES = ("master-200-1", "master-2000-1")
HANDS = (2, 1)
MB = 1024


def run(options: Options) -> dict[str, Any]:
    """For each round and number of processes what was found."""
    asked = dict(options.more)
    names = [name for name in str(asked.get("only") or "").split(",") if name] or list(NAMES)
    seeds = [int(seed) for seed in str(asked.get("seeds") or "1").split(",")]
    seconds, metrics, failed = float(asked.get("seconds") or 60), dict[str, Any](), list[str]()
    for name in names:
        master = named_master(name)
        for hands in HANDS:
            for seed in seeds:
                with crew_of(hands) as crew:
                    found = plan_master(master, Budget(seconds=seconds, seed=seed, threads=hands), crew=crew)
                line = _measured(found)
                title = f"{name}, seed {seed}, {hands} process{'es' if hands > 1 else ''}"
                metrics[title] = line
                options.say(f"{title}: {line}, load {os.getloadavg()[0]:.1f}")
                if found.after.worth > found.before.worth + 1:
                    failed.append(f"{title} is worth less than keeping everything.")
    return {"baseline": {}, "metrics": metrics, "failed": failed}


def _measured(found: MasterPlan) -> str:
    """One search in words."""
    before, after = found.before, found.after
    saved = 100 * (1 - after.driving / max(1, before.driving))
    spread = [
        max((max(r) - min(r) for r in book.weeks.values()), default=0) / 3600 for book in (before, after)
    ]
    own, theirs = (
        resource.getrusage(who).ru_maxrss / MB for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    return (
        f"first whole {found.first_s:.1f} s, all {found.seconds:.0f} s, wheel {before.driving / 3600:.1f} to"
        f" {after.driving / 3600:.1f} h ({saved:.1f} % less), {len(after.changed)} of {len(after.habits)} habits changed,"
        f" most between two weeks {spread[0]:.1f} to {spread[1]:.1f} h, {len(after.homeless)} without a place,"
        f" memory {own:.0f} MB and {theirs:.0f} MB a process"
    )
