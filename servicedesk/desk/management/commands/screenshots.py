"""`screenshots`: pictures of the main pages of a running demo, in day, cellar and sun."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

SIZES = {"owner": (1440, 900), "technician": (768, 1024), "client": (390, 844)}
PAGES = {
    "owner": ["today", "week", "tanks", "upkeep", "stores", "clients", "reports", "set-up"],
    "technician": ["round", "load", "look-up"],
    "client": ["door"],
}
LIGHTS = ("day", "cellar", "sun")
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]


class Command(BaseCommand):
    help = "Takes pictures of the main pages of a running demo (needs the test environment and Debian's chromium)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--address", default="http://127.0.0.1:8000")
        parser.add_argument("--into", default="fixtures/pictures")
        parser.add_argument("--notes", default="var/demo/sign_ins.json", help="the demo's sign-ins")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            from playwright.sync_api import sync_playwright  # noqa: PLC0415  only in the test environment
        except ImportError:
            raise CommandError(
                "Run `python3 manage.py test` once: it brings what takes the pictures."
            ) from None
        notes = Path(settings.ROOT) / options["notes"]
        if not notes.exists():
            raise CommandError(f"There is no demo at {notes}. Start it first: python3 manage.py demo")
        people = {row[0]: row for row in reversed(json.loads(notes.read_text())["sign_ins"])}
        folder = Path(settings.ROOT) / options["into"]
        folder.mkdir(parents=True, exist_ok=True)
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=ARGS)
            for role, size in SIZES.items():
                self.person(browser, people[role], size, options["address"], folder)
            browser.close()

    def person(self, browser: Any, row: list[str], size: tuple[int, int], address: str, folder: Path) -> None:
        """All pages of one person, in each light."""
        role, _name, email, password = row
        page = browser.new_context(viewport={"width": size[0], "height": size[1]}).new_page()
        page.goto(f"{address}/sign-in/")
        page.fill("[name=username]", email)
        page.fill("[name=password]", password)
        with page.expect_navigation():
            page.click("main button")
        for name in PAGES[role]:
            page.goto(f"{address}/{name}/")
            for light in LIGHTS:
                page.evaluate("light => document.documentElement.dataset.light = light", light)
                page.screenshot(path=str(folder / f"{name}-{light}.png"))
                self.stdout.write(f"{name}-{light}.png")
