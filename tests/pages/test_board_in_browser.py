"""The readiness board narrowed, sorted and read by keyboard, without a server."""

from __future__ import annotations

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]

_SHOWN = """() => [...document.querySelectorAll('table[id^="board-"] tbody tr')]
  .filter((row) => row.getClientRects().length > 0)
  .map((row) => [row.closest("table").id, row.cells[0].textContent.trim(), row.querySelector("td.marked").textContent.trim()])"""


@pytest.fixture
def board(open_page, demo_site):
    opened = open_page(demo_site / "index.html")
    opened.until("document.querySelector('#find').dataset.ready === 'yes'")
    return opened


def test_a_part_of_a_name_leaves_those_who_have_it(board):
    assert len(board.page.evaluate(_SHOWN)) == 48
    board.page.locator("#find-text").fill("qUiNn")
    names = [name for _, name, _ in board.page.evaluate(_SHOWN)]
    assert names
    assert all("Quinn" in name for name in names)
    assert f"{len(names)} of 48 umpires are shown." in board.page.locator("#find").inner_text()


def test_readings_and_levels_are_filtered_and_shown_again(board):
    page = board.page
    for words in ("More looks", "Not yet"):
        page.get_by_label(words, exact=True).uncheck()
    ready = page.evaluate(_SHOWN)
    assert {reading for *_, reading in ready} == {"Ready"}
    page.locator("#find-level").select_option("board-varsity")
    assert {table for table, *_ in page.evaluate(_SHOWN)} == {"board-varsity"}
    page.get_by_role("button", name="Show all").click()
    assert len(page.evaluate(_SHOWN)) == 48


def test_nobody_left_is_said(board):
    board.page.locator("#find-text").fill("no such name")
    assert board.page.evaluate(_SHOWN) == []
    assert "No umpire is left" in board.page.locator("#find").inner_text()


def test_lacking_evidence_alone_can_be_asked_for(board):
    board.page.locator("#find-lacking").check()
    left = board.page.evaluate(_SHOWN)
    assert 0 < len(left) < 48


def test_a_table_is_sorted_by_keyboard_and_keeps_its_filter(board):
    page = board.page
    page.locator("#find-reading-0").uncheck()
    button = page.locator("#board-varsity thead button", has_text="Chance")
    button.focus()
    page.keyboard.press("Enter")
    chances = page.locator("#board-varsity tbody tr:not([hidden]) td:nth-child(3)").evaluate_all(
        "(cells) => cells.map((cell) => Number(cell.dataset.sort))"
    )
    assert len(chances) > 10
    assert chances == sorted(chances)


def test_the_board_fits_beside_its_margin_on_usual_screens(board):
    for width in (1600, 1440, 1280):
        board.page.set_viewport_size({"width": width, "height": 900})
        cut = board.page.evaluate(
            """() => [...document.querySelectorAll('.table-wrap')].filter((one) => one.scrollWidth > one.clientWidth + 1)
              .map((one) => one.querySelector('table').id)"""
        )
        assert cut == [], width


def test_axe_finds_nothing_on_the_narrowed_board(board, axe_faults):
    board.page.locator("#find-text").fill("a")
    for width in (1440, 390):
        board.page.set_viewport_size({"width": width, "height": 900})
        assert axe_faults(board.page) == []
