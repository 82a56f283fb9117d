"""The browser that the pages are opened in, and the pages of the demo season.

Chromium is the system's own, found on the PATH. Where there is none, tests that ask for it are skipped; with
`PLATEWORK_BROWSER=required` they fail instead, so that a run that has to look at the pages cannot pass unseen.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = ("chromium", "chromium-browser", "google-chrome")
REMEDY = "no Chromium on the PATH: install it (Debian: apt-get install chromium), or leave out with -m 'not browser'"


def _absent(remedy: str) -> None:
    """Skip the test, or fail it where the browser is required."""
    if os.environ.get("PLATEWORK_BROWSER") == "required":
        pytest.fail(remedy, pytrace=False)
    pytest.skip(remedy)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """One headless Chromium for the whole session (`playwright.sync_api.Browser`)."""
    found = next((path for name in CHROMIUM if (path := shutil.which(name))), None)
    if found is None:
        _absent(REMEDY)
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _absent("the package playwright is not installed: pip install -r requirements-dev.lock")
    # Chromium refuses its sandbox to root, and a container's shared memory is often too small for it.
    words = ["--disable-dev-shm-usage", *(["--no-sandbox"] if os.geteuid() == 0 else [])]
    with sync_playwright() as play:
        one = play.chromium.launch(executable_path=found, args=words)
        yield one
        one.close()


@pytest.fixture(scope="session")
def demo_results(request) -> Path:
    """The folder that a run of the demo season leaves, run once for all tests.

    For work on the pages, `PLATEWORK_RESULTS` may name a folder of results that is there already.
    """
    given = os.environ.get("PLATEWORK_RESULTS")
    if given:
        return Path(given).resolve()
    return Path(request.getfixturevalue("outcome").config.out)


@pytest.fixture(scope="session")
def demo_site(demo_results) -> Path:
    """The committee's pages of the demo season; `demo_site.parent / "packets"` are its packets."""
    return demo_results / "site"


@dataclass
class Opened:
    """A page that is open, and what it did meanwhile: addresses asked for, words on the console, scripts' errors."""

    page: Any
    asked: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def until(self, expression: str, seconds: float = 30.0) -> None:
        """Wait until a JavaScript expression holds (the pages' content policy forbids playwright's own waiting)."""
        for _ in range(int(seconds / 0.05)):
            if self.page.evaluate(expression):
                return
            self.page.wait_for_timeout(50)
        pytest.fail(f"{self.page.url}: {expression} does not hold after {seconds} s", pytrace=False)


@pytest.fixture
def open_page(browser) -> Iterator[Callable[..., Opened]]:
    """A function that opens a file in a fresh window and waits until it is loaded.

    `open_page(path, width=1440, height=900, scheme="light", scripts=True, anchor="", media="screen")`; for packets and
    narrow pages give `width=390`. Every window is closed after the test.
    """
    contexts = []

    def open_one(
        path: Path,
        *,
        width: int = 1440,
        height: int = 900,
        scheme: str = "light",
        scripts: bool = True,
        anchor: str = "",
        media: str = "screen",
    ) -> Opened:
        context = browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            java_script_enabled=scripts,
            reduced_motion="reduce",
        )
        contexts.append(context)
        context.set_default_timeout(60_000)
        page = context.new_page()
        opened = Opened(page)
        page.on("request", lambda asked: opened.asked.append(asked.url))
        page.on("console", lambda word: opened.said.append(f"{word.type}: {word.text}"))
        page.on("pageerror", lambda error: opened.errors.append(str(error)))
        page.emulate_media(media=media, color_scheme=scheme)
        page.goto(path.resolve().as_uri() + (f"#{anchor}" if anchor else ""), wait_until="load")
        return opened

    yield open_one
    for context in contexts:
        context.close()
