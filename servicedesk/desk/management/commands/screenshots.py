"""`screenshots`: pictures of every page of a running demo, in day, cellar and sun, and of every page of its papers.

From a person's first page it follows every link inside, one of each kind of page (two addresses that differ only in an
id are of one kind), so that a new page needs no line here."""

import json
import re
import subprocess
from argparse import ArgumentParser
from pathlib import Path
from typing import Any
from urllib.parse import urljoin, urlsplit

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

SIZES = {"owner": (1440, 900), "technician": (768, 1024), "client": (390, 844)}
LIGHTS = ("day", "cellar", "sun")
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
AN_ID = re.compile(r"[0-9a-f]{8}-[0-9a-f-]{27}|\d+")
NOT_PAGES = ("/sign-out/", "/static/", "/photos/", "/api/", "/media/")
MOST = 80


def kind_of(address: str) -> str:
    """What two addresses share that lead to the same kind of page: the path without its ids, as a file name."""
    parts = [part for part in urlsplit(address).path.split("/") if part]
    return "_".join("id" if AN_ID.fullmatch(part) else part for part in parts) or "first"


class Command(BaseCommand):
    help = "Takes pictures of all pages of a running demo (needs the test environment and Debian's chromium)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--address", default="http://127.0.0.1:8000")
        parser.add_argument("--into", default="var/pictures")
        parser.add_argument("--notes", default="var/demo/sign_ins.json", help="the demo's sign-ins")
        parser.add_argument("--size", default="", help="such as 390x844, for everybody")
        parser.add_argument("--whole", action="store_true", help="the whole length of each page")

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
        self.folder = Path(settings.ROOT) / options["into"]
        self.folder.mkdir(parents=True, exist_ok=True)
        self.address, self.whole = options["address"], options["whole"]
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=ARGS)
            for role, size in SIZES.items():
                width, height = (int(n) for n in options["size"].split("x")) if options["size"] else size
                self.person(browser, people[role], (width, height))
            browser.close()

    def person(self, browser: Any, row: list[str], size: tuple[int, int]) -> None:
        """One page of each kind that this person can reach, in each light."""
        role, _name, email, password = row
        page = browser.new_context(viewport={"width": size[0], "height": size[1]}).new_page()
        page.goto(f"{self.address}/sign-in/")
        page.fill("[name=username]", email)
        page.fill("[name=password]", password)
        with page.expect_navigation():
            page.click("main button")
        waiting, known = [page.url], {kind_of(page.url)}
        for _number in range(MOST):
            if not waiting:
                break
            address = waiting.pop(0)
            if address.endswith(("/pdf/", ".pdf")):
                self.paper(page, address, role)
                continue
            page.goto(address)
            self.picture(page, f"{role}-{kind_of(address)}")
            for link in page.eval_on_selector_all("a[href]", "links => links.map(link => link.href)"):
                if self.is_page(link) and kind_of(link) not in known:
                    known.add(kind_of(link))
                    waiting.append(link)

    def is_page(self, link: str) -> bool:
        return (
            link.startswith(self.address) and not any(part in link for part in NOT_PAGES) and "#" not in link
        )

    def picture(self, page: Any, name: str) -> None:
        for light in LIGHTS:
            page.evaluate("light => document.documentElement.dataset.light = light", light)
            page.screenshot(path=str(self.folder / f"{name}-{light}.png"), full_page=self.whole)
        self.stdout.write(name)

    def paper(self, page: Any, address: str, role: str) -> None:
        """Every page of a PDF as a picture."""
        answer = page.request.get(urljoin(self.address, address))
        if not answer.ok:
            self.stdout.write(f"{address}: {answer.status}")
            return
        file = self.folder / f"{role}-{kind_of(address)}.pdf"
        file.write_bytes(answer.body())
        subprocess.run(["pdftoppm", "-r", "80", "-png", str(file), str(file.with_suffix(""))], check=True)
        self.stdout.write(file.name)
