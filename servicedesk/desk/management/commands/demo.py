"""`demo`: an invented business, loaded once into its own folder."""

import json
import shutil
import sys
from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.db import connection
from django.utils import timezone

from servicedesk.desk.actions import demo
from servicedesk.desk.management import ground, serving
from servicedesk.dispatch import actions as dispatch
from servicedesk.staff.models import User
from servicedesk.watch import actions as watch

KEPT = "sign_ins.json"
UNDER_WAY = "loading"


class Command(BaseCommand):
    help = "Runs Tankround with an invented business to try it out. Its data stays apart from your own."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--fresh", action="store_true", help="throw the demo's data away and load it anew"
        )
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--no-serve", action="store_true", help="only load the demo, do not run it")

    def handle(self, *args: Any, **options: Any) -> None:
        port: int = options["port"]
        folder = Path(settings.VAR)
        ground.need_pango()
        ground.hold(folder, note="loading" if options["no_serve"] else f"at {serving.address(port)}")
        if not options["no_serve"]:
            ground.need_port(port)
        if options["fresh"] or (folder / UNDER_WAY).exists():
            empty(folder)
        serving.prepare_database()
        serving.prepare_files()
        kept = self.loaded(folder)
        if options["no_serve"]:
            self.show(kept, folder, "")
            return
        code = serving.serve(
            port=port,
            say=self.stderr.write,
            ready=lambda: self.show(kept, folder, serving.address(port)),
        )
        sys.exit(code)

    def loaded(self, folder: Path) -> dict[str, Any]:
        """The demo's sign-ins and token, after loading the business if that was not done before."""
        notes = folder / KEPT
        if notes.exists() and User.objects.exists():
            kept: dict[str, Any] = json.loads(notes.read_text())
            return kept
        if User.objects.exists():
            raise ground.Refused(
                "This database holds a business already. The demo wants an empty database of its own."
            )
        (folder / UNDER_WAY).touch()
        result = demo.load(now=timezone.now(), say=self.stdout.write)
        look(at=timezone.now())
        kept = {"sign_ins": [list(line) for line in result.sign_ins], "token": result.token}
        notes.touch(mode=0o600)
        notes.write_text(json.dumps(kept, indent=1))
        (folder / UNDER_WAY).unlink()
        return kept

    def show(self, kept: dict[str, Any], folder: Path, address: str) -> None:
        if address:
            self.stdout.write(f"\nTankround's demo is at {address}  (Ctrl-C ends it)\n\nSign in as")
        else:
            self.stdout.write("\nThe demo is loaded. Its sign-ins:")
        widths = [max(map(len, column)) for column in zip(*kept["sign_ins"], strict=True)]
        for line in kept["sign_ins"]:
            self.stdout.write(
                "  " + "  ".join(text.ljust(width) for text, width in zip(line, widths, strict=True))
            )
        self.stdout.write(f"\nAn instrument's token for POST /api/v1/deliveries/: {kept['token']}")
        self.stdout.write(f"Data and mail of the demo are in {folder}.")
        self.stdout.flush()


def look(*, at: datetime) -> None:
    """Judge what was loaded, as the worker will every few minutes, so that the first page knows what is planted."""
    asked = dispatch.ask(kind="sweep", key="sweep:loaded", args={}, at=at)
    if job := dispatch.claim(job_id=asked.pk, at=at):
        dispatch.finish(job=job, at=timezone.now(), result=watch.look(at=at))


def empty(folder: Path) -> None:
    """Throw the demo's data away. Only a database that lies in the demo's own folder can go with it."""
    if connection.vendor != "sqlite":
        raise ground.Refused(
            "DATABASE_URL names a database outside the demo's folder; make an empty one and name that."
        )
    for entry in folder.iterdir():
        if entry.name in ("lock", "secret_key", "push_key"):
            continue
        if entry.is_dir() and not entry.is_symlink():
            shutil.rmtree(entry)
        else:
            entry.unlink()
