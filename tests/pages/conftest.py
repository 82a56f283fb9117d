"""The browser that the pages are opened in, and the pages of the demo season.

Chromium is the system's own, found on the PATH. Where there is none, tests that ask for it are skipped; with
`PLATEWORK_BROWSER=required` they fail instead, so that a run that has to look at the pages cannot pass unseen.
"""

from __future__ import annotations

import os
import re
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

    def close(self) -> None:
        """Close the window."""
        self.page.context.close()


@pytest.fixture(scope="session")
def open_window(browser) -> Callable[..., Opened]:
    """A function that opens a file in a fresh window, waits until it is loaded, and leaves the closing to the caller.

    `open_window(path, width=1440, height=900, scheme="light", scripts=True, anchor="", media="screen")`;
    `ignore_policy` leaves the page's content policy out of account, so that only its escaping protects it.
    """

    def open_one(
        path: Path,
        *,
        width: int = 1440,
        height: int = 900,
        scheme: str = "light",
        scripts: bool = True,
        anchor: str = "",
        media: str = "screen",
        ignore_policy: bool = False,
    ) -> Opened:
        context = browser.new_context(
            bypass_csp=ignore_policy,
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            java_script_enabled=scripts,
            reduced_motion="reduce",
        )
        context.set_default_timeout(60_000)
        opened = Opened(context.new_page())
        opened.page.on("request", lambda asked: opened.asked.append(asked.url))
        opened.page.on("console", lambda word: opened.said.append(f"{word.type}: {word.text}"))
        opened.page.on("pageerror", lambda error: opened.errors.append(str(error)))
        opened.page.emulate_media(media=media, color_scheme=scheme)
        opened.page.goto(path.resolve().as_uri() + (f"#{anchor}" if anchor else ""), wait_until="load")
        return opened

    return open_one


@pytest.fixture
def open_page(open_window) -> Iterator[Callable[..., Opened]]:
    """`open_window` for one test: every window is closed after it."""
    windows: list[Opened] = []

    def open_one(path: Path, **words: Any) -> Opened:
        windows.append(open_window(path, **words))
        return windows[-1]

    yield open_one
    for one in windows:
        one.close()


def kind_of(path: Path) -> str:
    """Return what kind of page a file of the results is: its path with the names of people, rules and parts left out."""
    *folders, name = path.parts
    if len(folders) > 2:
        folders[2] = "*"
    elif len(folders) == 2 and folders[1] in ("rules", "topics"):
        name = "*.html"
    return "/".join([*folders, re.sub(r"\d+", "#", name)])


def kinds_of_pages(results: Path) -> dict[str, list[Path]]:
    """Return the pages of a folder of results by kind (`site/umpires/*/index.html`), of each the largest and smallest.

    Found by looking, so that a kind made tomorrow is tested tomorrow.
    """
    found: dict[str, list[Path]] = {}
    for top in ("site", "packets"):
        for path in sorted((results / top).rglob("*.html")):
            found.setdefault(kind_of(path.relative_to(results)), []).append(path)
    chosen = {}
    for kind, paths in sorted(found.items()):
        paths.sort(key=lambda path: (path.stat().st_size, path))
        chosen[kind] = [paths[-1]] if len(paths) == 1 else [paths[-1], paths[0]]
    return chosen


@pytest.fixture(scope="session")
def kinds_in() -> Callable[[Path], dict[str, list[Path]]]:
    """`kinds_of_pages`, for tests that have results of their own."""
    return kinds_of_pages


@pytest.fixture(scope="session")
def page_kinds(demo_results) -> dict[str, list[Path]]:
    """The pages of the demo season by kind; see `kinds_of_pages`."""
    return kinds_of_pages(demo_results)


@pytest.fixture(scope="session")
def axe_faults() -> Callable[..., list[str]]:
    """A function that runs axe-core on an open page and returns what it finds, or only what the rules named find.

    All rules are asked, those of WCAG 2.0 to 2.2 AA and axe's best practices, the size of targets too.
    """
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()

    def run(page: Any, only: list[str] | None = None) -> list[str]:
        options: dict[str, Any] = {"rules": {"target-size": {"enabled": True}}}
        if only:
            options = {"runOnly": {"type": "rule", "values": only}}
        # Style sheets are not to be fetched a second time: the content policy would refuse, on the console.
        options |= {"resultTypes": ["violations"], "preload": False}
        found = axe.run(page, options=options).response["violations"]
        return [f"{one['id']} ({one['impact']}): {one['nodes'][0]['html'][:160]} x{len(one['nodes'])}" for one in found]

    return run
