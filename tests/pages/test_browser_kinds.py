"""Every kind of page in a real browser: opens soon, fits screen and paper, is accessible, keeps to its own folder."""

from __future__ import annotations

import json
from dataclasses import dataclass, field

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]

WIDTHS = (1440, 768, 390)
PAPER = 688
"""Width in pixels of an A4 sheet within the style's margins: 182 mm."""

# Elements that stick out to the right, outside everything that scrolls by itself.
_STICKING_OUT = """() => {
  if (document.documentElement.scrollWidth <= innerWidth) return [];
  const held = (element) => {
    for (let one = element.parentElement; one; one = one.parentElement) {
      if (getComputedStyle(one).overflowX !== "visible") return true;
    }
    return false;
  };
  const found = [...document.body.querySelectorAll("*")]
    .filter((one) => one.getBoundingClientRect().right > innerWidth + 1 && !held(one))
    .slice(0, 4)
    .map((one) => `${one.tagName} ${one.id || one.className.baseVal || one.className}`.trim());
  return [`${document.documentElement.scrollWidth} px wide: ${found.join(", ")}`];
}"""

_TIMES = """() => {
  const one = performance.getEntriesByType("navigation")[0];
  return [one.domInteractive / 1000, one.loadEventEnd / 1000];
}"""

# Rows and entries of long lists are alike: axe looks at the first of each, which takes seconds rather than minutes.
_SHORTEN = """() => {
  for (const list of document.querySelectorAll("tbody, ol, ul, dl, svg svg")) {
    [...list.children].slice(10).forEach((one) => one.remove());
  }
}"""


SHEET = 930
"""Height in pixels of what a sheet holds within its margins: letter size, the shorter one."""

_TALLER = """(most) => [...document.querySelectorAll("figure, .ledger:not(.form) > li, tr")]
  .filter((one) => one.getBoundingClientRect().height > most).map((one) => `taller than a sheet: ${one.outerHTML.slice(0, 80)}`)"""


@dataclass
class Look:
    """What was seen of one page."""

    kind: str
    errors: list[str] = field(default_factory=list)
    outside: list[str] = field(default_factory=list)
    too_wide: list[str] = field(default_factory=list)
    cut_on_paper: list[str] = field(default_factory=list)
    violations: list[str] = field(default_factory=list)
    loaded_s: float = 0.0
    sheets: int = 0
    hidden_tables: int = 0
    letters: int = 0


def sticking_out(page):
    """What sticks out to the right; drawn figures are given a few seconds to follow a change of width."""
    for _ in range(60):
        page.wait_for_timeout(100)
        if not (found := page.evaluate(_STICKING_OUT)):
            break
    return found


def look_with_scripts(look, path, home, opener, axe):
    opened = opener(path)
    try:
        page = opened.page
        look.loaded_s = page.evaluate(_TIMES)[1]
        if page.locator("script[data-plotly]").count():
            opened.until("window.Plotly !== undefined")
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            look.too_wide += [f"at {width}: {one}" for one in sticking_out(page)]
        page.set_viewport_size({"width": 1440, "height": 900})
        page.emulate_media(media="print")
        look.sheets = page.pdf(prefer_css_page_size=True).count(b"/Type /Page\n")
        page.emulate_media(media="screen")
        page.evaluate(_SHORTEN)
        look.violations += axe(page)
        page.emulate_media(color_scheme="dark")
        look.violations += [f"dark: {one}" for one in axe(page, ["color-contrast"])]
        look.outside = [address for address in opened.asked if not address.startswith(home.resolve().as_uri() + "/")]
        # plotly writes its own style sheet, which the policy lets stand; everything else on the console is a fault.
        look.errors = [*opened.errors, *(word for word in opened.said if word.startswith(("error", "warning")))]
    finally:
        opened.close()


def look_without_scripts(look, path, opener):
    opened = opener(path, width=PAPER, media="print", scripts=False)
    try:
        look.cut_on_paper = opened.page.evaluate(_STICKING_OUT) + opened.page.evaluate(_TALLER, SHEET)
        opened.page.emulate_media(media="screen")
        look.letters = len(opened.page.locator("main").inner_text())
        look.hidden_tables = opened.page.locator("main table").evaluate_all(
            "(all) => all.filter((one) => !one.closest('details') && one.getBoundingClientRect().height < 10).length"
        )
    finally:
        opened.close()


@pytest.fixture(scope="module")
def looks(page_kinds, demo_results, open_window, axe_faults):
    """Every page that stands for its kind, looked at once for all tests of this file."""
    found = []
    for kind, paths in page_kinds.items():
        for path in paths:
            place = path.relative_to(demo_results).parts
            home = demo_results.joinpath(*place[: 3 if place[0] == "packets" else 1])
            found.append(Look(kind))
            look_with_scripts(found[-1], path, home, open_window, axe_faults)
            look_without_scripts(found[-1], path, open_window)
    return found


def test_there_are_pages_of_many_kinds(page_kinds):
    kinds = {"site/index.html", "site/umpires/*/index.html", "site/rules/*.html", "packets/umpires/*/index.html"}
    assert kinds <= set(page_kinds)
    assert len(page_kinds) > 20


def test_no_page_has_an_error_or_a_warning_on_its_console(looks):
    assert [(look.kind, one) for look in looks for one in look.errors] == []


def test_no_page_asks_for_anything_outside_its_folder(looks):
    assert [(look.kind, one) for look in looks for one in look.outside] == []


def test_no_page_is_wider_than_its_screen(looks):
    assert [(look.kind, one) for look in looks for one in look.too_wide] == []


def test_nothing_is_cut_on_paper(looks):
    assert [(look.kind, one) for look in looks for one in look.cut_on_paper] == []


def test_every_page_prints(looks):
    assert [look.kind for look in looks if look.sheets < 1] == []


def test_a_part_of_a_ledger_prints_on_a_score_of_sheets_at_most(looks):
    """200 calls in two columns of A4: more than nine on each sheet, and the heading."""
    ledgers = [look for look in looks if look.kind.endswith("umpires/*/calls-#.html")]
    assert ledgers
    assert [(look.kind, look.sheets) for look in ledgers if look.sheets > 24] == []


def test_axe_finds_nothing_against_wcag_on_any_page_light_or_dark(looks):
    assert [(look.kind, one) for look in looks for one in look.violations] == []


def test_every_page_can_be_read_without_scripts(looks):
    assert [
        (look.kind, look.hidden_tables, look.letters) for look in looks if look.hidden_tables or look.letters < 100
    ] == []


def test_every_page_is_loaded_soon(looks, capsys):
    """1.5 s is what is asked for; the bound is loose, for the machine may be busy. The times are printed."""
    slowest = sorted(looks, key=lambda look: -look.loaded_s)
    with capsys.disabled():
        print(f"\n{json.dumps({look.kind: round(look.loaded_s, 2) for look in slowest[:6]})}")  # noqa: T201
    assert [(look.kind, look.loaded_s) for look in looks if look.loaded_s > 6.0] == []
