"""Two umpires side by side: the chances that the page counts are those that are published."""

from __future__ import annotations

import importlib.util
from base64 import b64encode
from itertools import pairwise
from pathlib import Path

import pytest

from pipeline.config import AREAS, RunConfig
from pipeline.store import Store
from reports.build import build_site
from reports.naming import folder_names

pytestmark = [pytest.mark.browser, pytest.mark.slow]

_SPEC = importlib.util.spec_from_file_location("sample_season", Path(__file__).with_name("sample_season.py"))
sample_season = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(sample_season)


def shown(opened):
    told = opened.page.locator("#compare-told")
    return told.get_attribute("data-chance"), told.inner_text()


def choose(opened, one, other):
    opened.page.evaluate("(hash) => { location.hash = hash; }", f"a={one}&b={other}")
    opened.until(
        f"document.getElementById('compare-first')?.value === '{one}' && document.getElementById('compare-second')?.value === '{other}'"
    )
    opened.page.wait_for_timeout(30)


@pytest.fixture
def compare(open_page, demo_site):
    opened = open_page(demo_site / "compare.html")
    opened.until("document.querySelector('#compare').dataset.ready === 'yes'")
    return opened


def test_the_chance_of_all_neighbours_is_the_one_that_is_published(compare, demo_results):
    with Store(demo_results / "season.duckdb", read_only=True) as store:
        ranked = store.records(
            "SELECT * FROM published.pub_ranking WHERE area_or_overall = 'overall' ORDER BY level, linked_group, rank"
        )
    pairs = [
        (one, other)
        for one, other in pairwise(ranked)
        if (one["level"], one["linked_group"]) == (other["level"], other["linked_group"])
    ]
    assert len(pairs) > 40
    for one, other in pairs:
        choose(compare, one["umpire_id"], other["umpire_id"])
        chance, words = shown(compare)
        # Published chances are rounded to six decimals; the draws are the same.
        assert float(chance) == pytest.approx(one["p_ahead_of_next"], abs=5.1e-7), (one["umpire_id"], other["umpire_id"])
        assert one["name"] in words
        assert other["name"] in words
    assert compare.errors == []


def test_swapped_the_chances_add_up_to_one(compare):
    choose(compare, "U001", "U004")
    first, _ = shown(compare)
    compare.page.get_by_role("button", name="Swap").click()
    compare.until("document.getElementById('compare-first').value === 'U004'")
    compare.page.wait_for_timeout(50)
    second, _ = shown(compare)
    # No two of 4,000 draws in single precision are equal here.
    assert float(first) + float(second) == pytest.approx(1.0, abs=1e-9)
    assert compare.page.evaluate("location.hash") == "#a=U004&b=U001"


def test_chances_by_area_are_those_of_the_draws_themselves(compare, demo_results):
    import numpy as np

    areas = ("pitches", "hit_batter", "quiz")
    with Store(demo_results / "season.duckdb", read_only=True) as store:
        drawn = {
            (area, umpire): np.frombuffer(rates, dtype="<f4")
            for area, umpire, rates in store.rows(
                "SELECT area, umpire_id, rates FROM scores.posterior_draw WHERE umpire_id IN ('U003', 'U005')"
            )
        }
    choose(compare, "U003", "U005")
    for area in areas:
        found = float(compare.page.locator(f"#compare-rates tr[data-area={area}]").get_attribute("data-chance"))
        assert found == float(np.mean(drawn[area, "U003"] > drawn[area, "U005"])), area


def test_a_chance_in_the_rankings_leads_to_the_two_side_by_side(open_page, demo_site):
    opened = open_page(demo_site / "rankings.html")
    link = opened.page.locator('a[href^="compare.html#a="]').first
    percent = link.inner_text()
    link.click()
    opened.until("document.querySelector('#compare')?.dataset.ready === 'yes'")
    chance, _ = shown(opened)
    assert percent.split("\u202f")[0] == f"{100 * float(chance):.0f}"


def test_evaluators_of_both_are_named_with_their_looks(compare, demo_results):
    with Store(demo_results / "season.duckdb", read_only=True) as store:
        one, other, evaluator, calls = store.rows(
            """SELECT a.umpire_id, b.umpire_id, a.evaluator_id, a.calls FROM published.pub_umpire_evaluator AS a
            JOIN published.pub_umpire_evaluator AS b ON a.evaluator_id = b.evaluator_id AND a.umpire_id < b.umpire_id
            JOIN published.pub_readiness AS r ON r.umpire_id = a.umpire_id
            JOIN published.pub_readiness AS s ON s.umpire_id = b.umpire_id AND s.level = r.level
            ORDER BY ALL LIMIT 1"""
        )[0]
        name = store.value("SELECT name FROM published.pub_evaluator WHERE evaluator_id = ?", [evaluator])
    choose(compare, one, other)
    row = compare.page.locator("#compare-evaluators tbody tr", has_text=name).inner_text()
    assert f"{calls} in " in row


def test_axe_finds_nothing_and_nothing_sticks_out(compare, axe_faults):
    choose(compare, "U001", "U004")
    for width, scheme in ((1440, "light"), (768, "dark"), (390, "light")):
        compare.page.set_viewport_size({"width": width, "height": 900})
        compare.page.emulate_media(color_scheme=scheme)
        assert axe_faults(compare.page) == [], (width, scheme)
        assert compare.page.evaluate("document.documentElement.scrollWidth <= innerWidth"), width


@pytest.fixture(scope="module")
def hostile_site(tmp_path_factory):
    """The sample season with draws: four draws, in which everybody stands in turn; two linked groups."""
    folder = tmp_path_factory.mktemp("hostile")

    def fill(store):
        sample_season.fill(store)
        people = [umpire for umpire in sample_season.NAMES if umpire != "thin"]
        for place, umpire in enumerate(people):
            given = bytes((place + k) % len(people) + 1 for k in range(4))
            sample_season.add(store, "pub_order_draw", level="low", area="overall", umpire_id=umpire,
                              linked_group=1 + place % 2, draws=4, bytes_each=1, places=b64encode(given).decode())  # fmt: skip
            sample_season.add(store, "pub_umpire_evaluator", umpire_id=umpire, evaluator_id="</script><b>", calls=4, games=2)
            sample_season.add(store, "pub_trial_draw", target_level="high", area="pitches", umpire_id=umpire, calls=4,
                              draws=4, reached=b64encode(bytes([1, 2, 2, 2])).decode())  # fmt: skip
        for area in AREAS:
            own = sample_season.POLICY.levels[1].standards.get(area)
            for place, cut in enumerate(sorted({0.5, own or 0.5}), 1):
                sample_season.add(store, "pub_trial_stop", target_level="high", area=area, place=place, cut=cut, is_policy=cut == own)

    config = RunConfig(season=folder, out=folder / "out", policy=sample_season.POLICY)
    with Store() as store:
        fill(store)
        build_site(config, store)
    return config.out / "site"


def test_umpires_whom_nobody_links_are_not_compared(open_page, hostile_site):
    folders = folder_names(sample_season.NAMES)
    # Places 0 and 1 of the sample are of different groups, places 0 and 2 of one.
    first, second, third = (folders[name] for name in list(sample_season.NAMES)[:3])
    opened = open_page(hostile_site / "compare.html", anchor=f"a={first}&b={second}")
    opened.until("document.querySelector('#compare').dataset.ready === 'yes'")
    chance, words = shown(opened)
    assert chance == ""
    assert "they are not compared" in words
    assert opened.page.locator("#compare-rates").count() == 0
    assert opened.page.locator("#compare-first optgroup").count() == 2
    choose(opened, first, third)
    # In the first, second, third and fourth draw the places are 1 3, 2 4, 3 5, 4 6: always ahead.
    assert shown(opened)[0] == "1"


def test_hostile_names_are_text_in_the_tools_too(open_page, hostile_site):
    folders = folder_names(sample_season.NAMES)
    bad = "../../etc/passwd"
    opened = open_page(hostile_site / "compare.html", anchor=f"a={folders[bad]}&b={folders['U1']}")
    opened.until("document.querySelector('#compare').dataset.ready === 'yes'")
    assert sample_season.NAMES[bad] in opened.page.locator("#compare").inner_text()
    tried = open_page(hostile_site / "standards.html")
    tried.until("document.querySelector('[data-tool=trial]').dataset.ready === 'yes'")
    tried.page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    tried.page.wait_for_timeout(100)
    # The sample keeps 4 draws of the policy's 4,000.
    assert "only the first 4 of 4000 draws" in tried.page.locator("main").inner_text()
    for one in (opened, tried):
        assert one.page.locator("main script, main img, main b, main iframe, main [onmouseover]").count() == 0
        assert one.page.evaluate("[...document.querySelectorAll('a')].every((one) => one.protocol === 'file:')")
        assert one.errors == []


def test_a_level_too_large_for_a_page_is_refused_in_words(open_page, tmp_path):
    config = RunConfig(season=tmp_path, out=tmp_path / "out", policy=sample_season.POLICY)
    with Store() as store:
        sample_season.fill(store)
        build_site(config, store)
    opened = open_page(config.out / "site" / "compare.html")
    opened.until("document.querySelector('#compare').dataset.ready === 'yes'")
    assert "too many umpires for a page" in opened.page.locator("#compare").inner_text()
    assert "--what-if" in open_page(config.out / "site" / "standards.html").page.locator("main").inner_text()
