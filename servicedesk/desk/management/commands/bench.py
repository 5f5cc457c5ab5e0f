"""`bench NAME`: measure something, by the same rules each time.

Each module in `benches` is one bench. It has `run(options: Options) -> dict` and gives "baseline" (what it is
measured against, name to number) and "metrics" (name to number); "failed" may list bars that were not reached, in
sentences, and then the command ends with exit code 1."""

import importlib
import json
import os
import pkgutil
import random
import subprocess
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from servicedesk.desk.management import benches
from servicedesk.desk.management.benches import Options


def names() -> list[str]:
    """All benches there are."""
    return sorted(module.name for module in pkgutil.iter_modules(benches.__path__))


def commit() -> str:
    """The commit measured, with + when files differ from it; empty outside a repository."""
    root = Path(settings.ROOT)
    said = [
        subprocess.run(
            ["git", "-C", str(root), *words], capture_output=True, text=True, check=False
        ).stdout.strip()
        for words in (["rev-parse", "--short=12", "HEAD"], ["status", "--porcelain", "--untracked-files=no"])
    ]
    return said[0] + ("+" if said[1] else "")


class Command(BaseCommand):
    help = "Measures something: " + ", ".join(names())
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name")
        parser.add_argument("--json", action="store_true", help="one JSON object on the last line")
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument(
            "--long", action="store_true", help="as long as is promised, not only a part of it"
        )
        parser.add_argument(
            "--repeat", type=int, default=0, help="how often each thing is measured (0: the bench's own)"
        )
        for name in names():
            asks = getattr(importlib.import_module(f"{benches.__name__}.{name}"), "add_arguments", None)
            if asks is not None:
                asks(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        name: str = options["name"]
        if name not in names():
            raise CommandError(f"There is no bench “{name}”. There are: {', '.join(names()) or 'none'}.")
        random.seed(options["seed"])
        load = os.getloadavg()[0]
        bench = importlib.import_module(f"{benches.__name__}.{name}")
        found = bench.run(
            Options(
                seed=options["seed"],
                repeat=options["repeat"],
                say=self.stderr.write,
                long=options["long"],
                more=options,
            )
        )
        whole = {"name": name, "seed": options["seed"], "commit": commit(), "load_at_start": load, **found}
        if options["json"]:
            self.stdout.write(json.dumps(whole))
        else:
            self.stdout.write(table(whole))
        for sentence in found.get("failed", []):
            self.stderr.write(sentence)
        if found.get("failed"):
            sys.exit(1)


def table(whole: dict[str, Any]) -> str:
    """The findings as lines of name and number."""
    lines = [
        f"{whole['name']}   commit {whole['commit']}   seed {whole['seed']}   load {whole['load_at_start']:.2f}"
    ]
    for part in ("baseline", "metrics"):
        lines.append(part)
        lines += [f"  {key:<48} {value}" for key, value in whole.get(part, {}).items()]
    return "\n".join(lines)
