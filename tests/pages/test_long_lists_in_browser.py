"""Lists longer than a page in the browser: everybody is found, sorted and paged through, and a link leads to his pages."""

from __future__ import annotations

import importlib.util
from base64 import b64encode
from pathlib import Path

import pytest

from pipeline.config import RunConfig
from pipeline.store import Store
from reports.build import build_site

pytestmark = [pytest.mark.browser, pytest.mark.slow]

PEOPLE = 500
"""Umpires: 250 in each of two levels, of whom the board begins with 60."""

LISTED = "[...document.querySelectorAll('#{table} tbody tr')].filter((row) => !row.hidden).map((row) => row.cells[0].textContent)"

# A table's rows as they are drawn; figures of `data-sort` may be written otherwise, as 1.0 and 1.
ROWS = """(table) => [...document.querySelectorAll(`#${table} tbody tr`)].map((row) => {
  for (const cell of row.cells) if (cell.dataset.sort && cell.dataset.sort !== "") cell.dataset.sort = String(Number(cell.dataset.sort));
  return row.outerHTML;
})"""


SHORTEN = """() => {
  for (const list of document.querySelectorAll("tbody, ol, ul, dl, svg svg")) [...list.children].slice(10).forEach((one) => one.remove());
}"""


def module(name):
    spec = importlib.util.spec_from_file_location(f"browser_{name}", Path(__file__).with_name(f"{name}.py"))
    found = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(found)
    return found


sample_season, large_association = module("sample_season"), module("large_association")


@pytest.fixture(scope="module")
def large_site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("large")
    config = RunConfig(season=folder, out=folder / "out", policy=sample_season.POLICY)
    with Store() as store:
        large_association.fill(store, sample_season, PEOPLE)
        build_site(config, store)
    return config.out / "site"


def names(page, table):
    return page.evaluate(LISTED.format(table=table))


@pytest.fixture
def opened_list(open_page, large_site):
    """Open a page and wait until its long lists near the screen, or the one named, can be searched."""

    def run(path, tool="", **words):
        opened = open_page(large_site / path, **words)
        place = f"#{tool}" if tool else "[data-tool=rows]"
        opened.page.evaluate("(place) => document.querySelector(place).scrollIntoView()", place)
        opened.until(f"document.querySelector('{place}').dataset.ready === 'yes'")
        return opened

    return run


def test_the_boards_search_finds_somebody_of_another_part_and_leads_to_his_dossier(open_page, large_site):
    opened = open_page(large_site / "index.html")
    opened.until("document.querySelector('#find').dataset.ready === 'yes'")
    page = opened.page
    assert "Person N Number 377" not in page.locator("main").text_content()
    page.locator("#find-text").fill("nUmBeR 377")
    opened.until("document.querySelector('#find [role=status]').textContent.includes('of 500')")
    assert names(page, "board-low") == ["Person N Number 377"]
    assert page.locator("#level-high").is_hidden()
    # A figure of the first sixty beside a table of one would mislead.
    assert page.locator("#level-low figure").is_hidden()
    page.locator("#board-low tbody a").first.click()
    page.wait_for_load_state("load")
    assert page.url.endswith("umpires/U377/index.html")
    assert page.locator("h1").text_content() == "Person N Number 377"
    assert opened.errors == []


def test_the_boards_filters_reach_all_rows_and_are_taken_back(open_page, large_site):
    opened = open_page(large_site / "index.html")
    opened.until("document.querySelector('#find').dataset.ready === 'yes'")
    page = opened.page
    first = names(page, "board-high")
    for words in ("Ready", "More looks"):
        page.get_by_label(words, exact=True).uncheck()
    page.locator("#find-level").select_option("board-high")
    # Of 0 to 499 those read "not yet" whose number is at least 0.7 times 501: 351 to 499, of whom the even ones are 74.
    opened.until("document.querySelector('#find [role=status]').textContent === '74 of 500 umpires fit.'")
    assert names(page, "board-high")[0] == "Person O Number 352"
    page.locator("#find-lacking").check()
    # Evidence is lacking of every fifth: of 352 to 498 by twos those that end in 0, 360 to 490.
    assert page.locator("#find [role=status]").text_content() == "14 of 500 umpires fit."
    page.get_by_role("button", name="Show all").click()
    assert names(page, "board-high") == first
    assert page.locator("#level-low").is_visible()


def test_a_sorted_list_is_in_order_over_all_its_rows_and_paged_by_keyboard(opened_list):
    opened = opened_list("zone.html")
    page = opened.page
    page.locator("#zone-umpires thead button", has_text="Umpire").focus()
    page.keyboard.press("Enter")
    told = page.locator("#rows-0-zone-umpires [role=status]")
    everybody = []
    for first in (1, 151, 301, 451):
        assert told.text_content() == f"Rows {first} to {min(first + 149, PEOPLE)} of 500."
        everybody += names(page, "zone-umpires")
        page.get_by_role("button", name="Rows after").focus()
        page.keyboard.press("Enter")
    # The last press did nothing, and the button keeps the focus.
    assert told.text_content() == "Rows 451 to 500 of 500."
    assert page.evaluate("document.activeElement.textContent") == "Rows after"
    assert page.get_by_role("button", name="Rows after").get_attribute("aria-disabled") == "true"
    assert len(set(everybody)) == PEOPLE
    assert everybody[1:] == sorted(everybody[1:])
    assert everybody[0] == large_association.LAST
    assert page.locator("#zone-umpires thead th").first.get_attribute("aria-sort") == "ascending"


@pytest.mark.parametrize(
    ("path", "table"),
    [("lists/board-low-1.html", "board-low"), ("lists/places-high-overall-1-table-1.html", "places-high-overall-1-table"),
     ("lists/results-0-1.html", "results-0"), ("lists/zone-umpires-1.html", "zone-umpires"), ("lists/forms-by-name-3.html", "forms-by-name")],
)  # fmt: skip
def test_the_script_draws_the_rows_as_the_page_has_them(opened_list, path, table):
    opened = opened_list(path)
    page = opened.page
    before = page.evaluate(ROWS, table)
    assert len(before) >= 50
    field = page.locator("label.filter input")
    field.fill("no such words")
    assert names(page, table) == []
    field.fill("")
    assert page.evaluate(ROWS, table) == before


def test_a_search_on_a_part_reaches_the_other_parts_and_goes_back_to_its_own(opened_list):
    opened = opened_list("lists/results-1-2.html")
    page = opened.page
    own = names(page, "results-1")
    assert own[0] == "Person S Number 200"
    assert page.locator("table caption").text_content() == "Results of quiz Q2, 201 to 400 of 500"
    page.locator("label.filter input").fill("number 7")
    # 7 and 70 to 79.
    assert len(names(page, "results-1")) == 11
    assert page.locator("table caption").text_content() == "Results of quiz Q2"
    assert page.locator("#results-1 tbody a").first.get_attribute("href") == "../umpires/U7/index.html"
    page.locator("label.filter input").fill("")
    assert names(page, "results-1") == own


def test_names_that_look_like_elements_are_text(opened_list):
    opened = opened_list("decisions.html")
    opened.page.locator("#rows-0-forms-by-name label.filter input").fill("zenobia")
    assert names(opened.page, "forms-by-name") == [large_association.LAST]
    assert opened.page.evaluate("window.ran === undefined")
    assert opened.page.locator("main script, main b").count() == 0
    opened.page.locator("#forms-by-name tbody a", has_text="entry").click()
    opened.page.wait_for_load_state("load")
    assert opened.page.evaluate("document.querySelector(location.hash).textContent.includes('Zenobia')")


def test_without_scripts_and_without_data_the_parts_can_be_read(open_page, large_site, tmp_path):
    page = open_page(large_site / "quiz.html", scripts=False).page
    page.locator("#results a", has_text="401 to 500").first.click()
    page.wait_for_load_state("load")
    assert page.locator("#results-0 tbody tr").count() == 100
    assert page.locator("#results-0").get_by_text("Zenobia").count() == 1
    # The data left behind: it is said, and the page's own rows are sorted and filtered as ever.
    lone = tmp_path / "site"
    (lone / "assets").mkdir(parents=True)
    (lone / "index.html").write_bytes((large_site / "index.html").read_bytes())
    for asset in ("site.css", "site.js", "tools.css", "draws.js", "rows.js", "find.js"):
        (lone / "assets" / asset).write_bytes((large_site / "assets" / asset).read_bytes())
    opened = open_page(lone / "index.html")
    opened.until("document.querySelector('#find').dataset.ready === 'yes'")
    opened.page.locator("#find-text").fill("number 377")
    opened.until("document.querySelector('#find [role=status]').textContent.includes('could not be read')")
    assert len(names(opened.page, "board-low")) == 60


def test_axe_finds_nothing_and_nothing_sticks_out(opened_list, axe_faults):
    for path, tool in (
        ("index.html", "rows-0-board-high"),
        ("lists/board-low-2.html", ""),
        ("evaluators.html", ""),
        ("rankings.html", ""),
    ):
        opened = opened_list(path, tool)
        # Rows are alike: axe looks at the first of each list, which takes seconds rather than a minute.
        opened.page.evaluate(SHORTEN)
        for width, scheme in ((1440, "light"), (390, "dark")):
            opened.page.set_viewport_size({"width": width, "height": 900})
            opened.page.emulate_media(color_scheme=scheme)
            opened.page.wait_for_timeout(300)
            assert axe_faults(opened.page) == [], (path, width)
            assert opened.page.evaluate("document.documentElement.scrollWidth <= innerWidth"), (path, width)
        assert opened.errors == []
        opened.close()


def test_of_many_umpires_the_two_to_compare_are_found_by_name(open_page, tmp_path):
    """Eighty umpires of one level, who stand in the order of their numbers in each of four draws."""
    config = RunConfig(season=tmp_path, out=tmp_path / "out", policy=sample_season.POLICY)
    with Store() as store:
        large_association.fill(store, sample_season, 80)
        store.run("UPDATE published.pub_ranking SET level = 'low'")
        for place in range(80):
            sample_season.add(store, "pub_order_draw", level="low", area="overall", umpire_id=f"U{place}", linked_group=1, draws=4,
                              bytes_each=1, places=b64encode(bytes([place + 1] * 4)).decode())  # fmt: skip
        build_site(config, store)
    opened = open_page(config.out / "site" / "compare.html")
    opened.until("document.querySelector('#compare').dataset.ready === 'yes'")
    page = opened.page
    told = page.locator("#compare-told")
    assert page.locator("#compare-first option").count() == 80
    page.get_by_label("Name of the first has").fill("nUmBer 41")
    assert (
        page.locator("#compare-first").evaluate("(one) => one.selectedOptions[0].textContent") == "Person P Number 41"
    )
    assert page.locator("#compare-first option").count() == 1
    # 7 and 70 to 78, for 79 is called otherwise; the first of them is taken.
    page.get_by_label("Name of the second has").fill("number 7")
    assert told.text_content() == "Person H Number 7 is ahead of Person P Number 41: the chance is 100.0\u202f%."
    assert page.locator("#compare-second option").count() == 10
    page.locator("#compare-second").select_option("U70")
    assert told.text_content() == "Person P Number 41 is ahead of Person S Number 70: the chance is 100.0\u202f%."
    assert page.evaluate("location.hash") == "#a=U41&b=U70"
    page.get_by_label("Name of the second has").fill("no such name")
    assert "Nobody else of this level" in page.locator("#compare").inner_text()
    assert "Person S Number 70" in told.text_content()
    page.get_by_role("button", name="Swap").click()
    assert page.locator("#compare-first").input_value() == "U70"
    assert opened.errors == []


def test_what_was_typed_before_the_data_came_is_sought_in_all_of_them(open_page, large_site):
    """The list stands far below: its data are fetched when it comes near, and the page's own search makes room."""
    opened = open_page(large_site / "evaluators.html", height=400)
    page = opened.page
    assert page.evaluate("document.querySelector('[data-tool=rows]').dataset.ready === undefined")
    page.evaluate(
        """() => {
      const field = document.querySelector("#everybody label.filter input");
      field.value = "number 69";
      field.dispatchEvent(new Event("input"));
      field.focus();
    }"""
    )
    opened.until("document.querySelector('[data-tool=rows]').dataset.ready === 'yes'")
    # Of the twenty that the page shows none has these words; the last of the seventy has them.
    assert names(page, "every-evaluator") == ["Evaluator Number 69"]
    assert page.evaluate("document.activeElement.value") == "number 69"
    assert page.locator("#everybody label.filter").count() == 1
