"""A real Chromium for browser tests: touch, no outside network, console errors collected."""

import os
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

ARGS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--no-first-run",
]  # fmt: skip


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=ARGS)
        yield browser
        browser.close()


class Eyes:
    """A page with its errors written down."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.errors: list[str] = []
        page.on(
            "console", lambda m: self.errors.append(f"{page.url}: {m.text}") if m.type == "error" else None
        )
        page.on("pageerror", lambda e: self.errors.append(f"{page.url}: {e}"))


@pytest.fixture
def open_page(chromium):
    made = []

    def make(*, width=768, height=1024, scheme="light", scripts=True) -> Eyes:
        context = chromium.new_context(
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            has_touch=True,
            java_script_enabled=scripts,
        )
        made.append(context)
        return Eyes(context.new_page())

    yield make
    for context in made:
        context.close()
