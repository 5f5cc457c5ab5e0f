"""`replay DATA RESULT`: a recorded fleet through the product's own intake and sweep; what the watch says is written to RESULT.

Works in a database of its own that is thrown away. Nothing is known before the time at which it was posted."""

import shutil
import tempfile
from argparse import ArgumentParser
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection, transaction

from servicedesk.desk.management.replaying.feed import apply, by_time, first_units, happened
from servicedesk.desk.management.replaying.said import Said
from servicedesk.desk.management.replaying.world import build
from servicedesk.watch.actions import learn_habits, look

NEEDED = ("systems.csv", "bands.csv", "instruments.csv", "channels.csv", "events.csv", "readings.csv")
DAILY_HOUR = 6


class Command(BaseCommand):
    help = "Plays a recorded fleet through intake and sweep and writes alarms, forecasts and estimates."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("data", type=Path)
        parser.add_argument("result", type=Path)
        parser.add_argument("--every", type=int, default=6, help="hours between two sweeps (1 to 6)")

    def handle(self, *args: Any, **options: Any) -> None:
        data, result, every = options["data"], options["result"], options["every"]
        missing = [name for name in NEEDED if not (data / name).is_file()]
        if missing:
            raise CommandError(f"{data} holds no fleet: {', '.join(missing)} is missing.")
        if not 1 <= every <= DAILY_HOUR or 24 % every:
            raise CommandError("The hours between two sweeps are 1, 2, 3, 4 or 6.")
        if connection.vendor != "sqlite":
            raise CommandError("It plays in an SQLite database of its own: take DATABASE_URL away.")
        scratch = Path(tempfile.mkdtemp(prefix="tankround-replay-"))
        before = connection.settings_dict["NAME"]
        connection.close()
        connection.settings_dict["NAME"] = str(scratch / "replay.sqlite3")
        try:
            call_command("migrate", verbosity=0)
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA synchronous = OFF")  # thrown away at the end
            said = play(data, timedelta(hours=every))
            said.save(result)
        finally:
            connection.close()
            connection.settings_dict["NAME"] = before
            shutil.rmtree(scratch, ignore_errors=True)
        for name, lines in said.lines.items():
            self.stdout.write(f"{len(lines)} {name}")


def play(data: Path, every: timedelta) -> Said:
    """The whole record, sweep by sweep."""
    items = by_time(data)
    with transaction.atomic():
        world = build(data, first_units(data))
    said, place = Said(world), 0
    at = items[0][0].replace(hour=0, minute=0, second=0, microsecond=0)
    over = max(
        happened(row) for _posted, _what, row in items
    )  # what is posted later finds nobody who still sends
    while place < len(items) and at < over:
        at += every
        first = place
        while place < len(items) and items[place][0] <= at:
            place += 1
        with transaction.atomic():
            apply(world, items[first:place], at)
            look(at=at)
            said.alarms(at)
            if at.hour == DAILY_HOUR:
                learn_habits(at=at)
                said.daily(at)
    return said
