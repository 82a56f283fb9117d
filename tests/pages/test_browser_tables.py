"""Tables in the browser: sorted, filtered, reached with the keyboard alone."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser

PAGE = "rules.html"
"""A page with long tables of text and figures."""

_COLUMN = """([table, place]) => [...document.querySelectorAll(`#${table} tbody tr`)].filter((row) => !row.hidden)
  .map((row) => row.cells[place].dataset.sort ?? row.cells[place].textContent.trim())"""

_FOCUS = """() => {
  const one = document.activeElement;
  const style = getComputedStyle(one);
  const box = one.getBoundingClientRect();
  return {
    what: one.tagName === "BUTTON" && one.closest("th") ? "sort" : one.matches(".filter input") ? "filter" : one.tagName,
    seen: (style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0) || style.boxShadow !== "none",
    inside: box.width > 0 && box.bottom > 0 && box.top < innerHeight,
  };
}"""


def long_table(page):
    """The id of the first table that has a filter, and the places of a column of text and one of figures."""
    return page.evaluate(
        """() => {
          for (const label of document.querySelectorAll("label.filter")) {
            const table = label.nextElementSibling.querySelector("table");
            const heads = [...table.tHead.rows[0].cells];
            const figures = heads.findIndex((one) => one.classList.contains("num"));
            if (figures > 0) return [table.id, 0, figures];
          }
          return null;
        }"""
    )


def test_a_table_is_sorted_up_and_then_down_by_a_press_on_its_heading(demo_site, open_page):
    page = open_page(demo_site / PAGE).page
    table, _, figures = long_table(page)
    button = page.locator(f"#{table} thead th").nth(figures).locator("button")
    before = page.evaluate(_COLUMN, [table, figures])
    for direction, down in (("ascending", False), ("descending", True)):
        button.click()
        assert page.locator(f"#{table} thead th").nth(figures).get_attribute("aria-sort") == direction
        after = page.evaluate(_COLUMN, [table, figures])
        known = [float(value) for value in after if value.replace(".", "").replace("-", "").isdigit()]
        assert known == sorted(known, reverse=down)
        assert sorted(after) == sorted(before)
    assert len(set(before)) > 1


def test_a_filter_shows_the_rows_with_the_words_and_says_how_many(demo_site, open_page):
    page = open_page(demo_site / PAGE).page
    table, text, _ = long_table(page)
    everything = page.evaluate(_COLUMN, [table, text])
    wanted = everything[len(everything) // 2]
    rows = page.locator(f"#{table} tbody tr").all_text_contents()
    count = sum(wanted.lower() in row.lower() for row in rows)
    field = page.locator("label.filter input").first
    field.fill(wanted.upper())
    shown = page.evaluate(_COLUMN, [table, text])
    assert wanted in shown
    assert len(shown) == count < len(everything)
    assert page.locator("label.filter [role=status]").first.text_content() == f"{count} of {len(everything)} rows"
    field.fill("nothing is called this")
    assert page.evaluate(_COLUMN, [table, text]) == []
    field.fill("")
    assert page.evaluate(_COLUMN, [table, text]) == everything


def test_the_keyboard_alone_reaches_links_filter_and_sorting_and_shows_where_it_is(demo_site, open_page):
    page = open_page(demo_site / PAGE).page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.getAttribute('href')") == "#content"
    reached = {"A"}
    for _ in range(200):
        page.keyboard.press("Tab")
        focus = page.evaluate(_FOCUS)
        assert focus["seen"], focus
        assert focus["inside"], focus
        reached.add(focus["what"])
        if {"A", "filter", "sort"} <= reached:
            break
    assert {"A", "filter", "sort"} <= reached


_NUMBERED = """() => {
  const all = [...document.querySelectorAll("a[href], button, input, select, summary, [tabindex='0']")];
  const open = all.filter((one) => one.checkVisibility({ visibilityProperty: true }) && !one.disabled);
  open.forEach((one, place) => { one.place = place; });
  return open.map((one) => one.outerHTML.slice(0, 90));
}"""


@pytest.mark.parametrize("name", ["index", "standards", "compare", "decisions", "quality", "zone", "dossier", "session", "letter"])
def test_the_keyboard_reaches_everything_that_can_be_pressed_and_shows_where_it_is(demo_results, open_page, name):
    site, packets = demo_results / "site", demo_results / "packets"
    path = {
        "dossier": next(iter(sorted(site.glob("umpires/*/index.html")))),
        "letter": next(iter(sorted(packets.glob("umpires/*/index.html")))),
        "session": site / "clinics" / "session-1-trainer.html",
    }.get(name, site / f"{name}.html")
    page = open_page(path).page
    controls = None
    while controls != (controls := page.evaluate(_NUMBERED)):
        # The page's own tools come to stand.
        page.wait_for_timeout(700)
    reached = set()
    for _ in range(len(controls) + 5):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.place"))
        focus = page.evaluate(_FOCUS)
        assert focus["seen"] or focus["what"] == "BODY", focus
    assert [one for place, one in enumerate(controls) if place not in reached] == []


def test_on_paper_the_words_of_a_heading_stand_outside_any_button(demo_site, open_page):
    # Chromium repeats a table's headings on each sheet, and leaves out what a button's box holds.
    page = open_page(demo_site / PAGE).page
    shown = "[...new Set([...document.querySelectorAll('th button')].map((one) => getComputedStyle(one).display))]"
    assert "contents" not in page.evaluate(shown)
    page.emulate_media(media="print")
    assert page.evaluate(shown) == ["contents"]


def test_a_heading_sorts_when_enter_is_pressed_on_it(demo_site, open_page):
    page = open_page(demo_site / PAGE).page
    table, text, _ = long_table(page)
    page.locator(f"#{table} thead th").nth(text).locator("button").focus()
    page.keyboard.press("Enter")
    names = page.evaluate(_COLUMN, [table, text])
    assert names == sorted(names, key=str.lower)
    assert page.evaluate("document.activeElement.closest('th').ariaSort") == "ascending"


def test_the_skip_link_leads_past_the_masthead(demo_site, open_page):
    page = open_page(demo_site / "index.html").page
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate("location.hash") == "#content"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('main') !== null")


def test_a_link_to_a_call_opens_at_that_call(demo_site, open_page):
    """The address of a call in a parted ledger leads to its entry, which stands in the window."""
    folder = next(path for path in sorted((demo_site / "umpires").iterdir()) if (path / "calls-2.html").exists())
    page = open_page(folder / "calls.html").page
    link = page.locator("main td a[href^='calls-2.html#call-'], main td a[href*='/calls-2.html#call-']").first
    wanted = link.get_attribute("href").split("#")[1]
    link.click()
    page.wait_for_load_state("load")
    place = page.evaluate("(id) => document.getElementById(id).getBoundingClientRect().top", wanted)
    assert page.url.endswith(f"calls-2.html#{wanted}")
    assert -5 <= place < 900
