"""`start`: the business's own data on this machine."""

import sys
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

from servicedesk.desk.management import ground, serving
from servicedesk.staff.models import User


class Command(BaseCommand):
    help = "Runs Tankround on the business's own data: web, jobs and beat as one process tree."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *args: Any, **options: Any) -> None:
        port: int = options["port"]
        ground.need_pango()
        ground.hold(settings.VAR, note=f"at {serving.address(port)}")
        ground.need_port(port)
        serving.prepare_database()
        serving.prepare_files()
        empty = not User.objects.exists()

        def ready() -> None:
            self.stdout.write(f"Tankround is at {serving.address(port)}  (Ctrl-C ends it)")
            if empty:
                self.stdout.write(
                    f"Nobody can sign in yet. Open {serving.address(port)}/set-up/ to make the owner's account."
                )
            self.stdout.flush()

        code = serving.serve(port=port, say=self.stderr.write, ready=ready)
        sys.exit(code)
