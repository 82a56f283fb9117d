"""The pages in a real browser: they open, and what they ask for lies in their own folder."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser


def test_the_first_page_opens_and_its_tables_can_be_sorted(demo_site, open_page):
    opened = open_page(demo_site / "index.html")
    page = opened.page
    assert page.title()
    assert opened.errors == []
    assert [word for word in opened.said if word.startswith(("error", "warning"))] == []
    assert page.locator("h1").count() == 1
    assert page.locator("table th button").count() > 0


def test_a_page_asks_for_nothing_outside_its_folder(demo_site, open_page):
    opened = open_page(demo_site / "index.html")
    opened.until("window.Plotly !== undefined")
    home = demo_site.resolve().as_uri()
    assert len(opened.asked) > 1
    assert [address for address in opened.asked if not address.startswith(home)] == []
