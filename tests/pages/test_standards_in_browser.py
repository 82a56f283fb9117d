"""The standards tried in the page are held against the engine's own answer to the same policy."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pipeline.config import RunConfig, read_policy
from pipeline.what_if import try_policy

pytestmark = [pytest.mark.browser, pytest.mark.slow]

SEASON = Path(__file__).parents[2] / "demo_data" / "season"
LEVELS = ("varsity", "tournament")

# Each setting tried: by area a cut (None: no standard), and risks, least evidence, limits on misrulings.
TRIED = {
    "every cut two points lower": {"steps": -4},
    "every cut a point higher": {"steps": 2},
    "one cut far up": {"cuts": {"pitches": 0.96}},
    "two cuts down and a third up": {"cuts": {"pitches": 0.905, "hit_batter": 0.45, "quiz": 0.585}},
    "a standard dropped": {"cuts": {"pitches": None}},
    "every standard dropped": {"cuts": dict.fromkeys(("pitches", "batters_box", "hit_batter", "other_rulings", "positioning", "quiz"))},
    "risks": {"risks": {"ready": 0.35, "not_yet": 0.3}},
    "no risk at all": {"risks": {"ready": 0.0, "not_yet": 0.0}},
    "more evidence asked for": {"evidence": {"games": 3, "calls": 250, "evaluators": 4}},
    "no evidence asked for, and little risk": {"evidence": {"games": 0, "calls": 0, "evaluators": 0}, "risks": {"ready": 0.05}},
    "limits on misrulings": {"limits": {"base": 2, "count": 20}},
    "everything at once": {
        "cuts": {"pitches": 0.9, "positioning": 0.7, "quiz": None},
        "risks": {"ready": 0.25, "not_yet": 0.15},
        "evidence": {"calls": 140},
        "limits": {"out": 3},
    },
}  # fmt: skip


@pytest.fixture(scope="module")
def config(demo_results):
    return RunConfig(season=SEASON, out=demo_results, policy=read_policy(SEASON / "policy.toml"), policy_path=SEASON / "policy.toml")


@pytest.fixture
def trial(open_page, demo_site):
    """A function that opens the page at a level and returns it with its tool filled."""

    def open_at(level):
        opened = open_page(demo_site / "standards.html", anchor=f"level-{level}")
        opened.until(f"document.getElementById('trial-{level}').dataset.ready === 'yes'")
        opened.page.evaluate(f"for (const one of document.querySelectorAll('#trial-{level} details')) one.open = true")
        return opened

    return open_at


def slide(opened, name, value):
    """Move the slider `name` to the stop that shows `value` (a share)."""
    # As the pointer does: the place is set, then the page is told.
    opened.page.evaluate(
        """([id, wanted]) => {
          const field = document.getElementById(id);
          for (let place = Number(field.min); place <= Number(field.max); place++) {
            field.value = place;
            field.dispatchEvent(new Event("input", { bubbles: true }));
            if (Math.abs(Number.parseFloat(field.getAttribute("aria-valuetext")) - 100 * wanted) < 0.01) return;
          }
          throw new Error(`${id} has no stop ${wanted}`);
        }""",
        [name, value],
    )


def try_in_page(opened, level, settings):
    page, tool = opened.page, f"trial-{level}"
    steps = settings.get("steps", 0)
    for _ in range(abs(steps)):
        page.locator(f"#{tool} button", has_text=f"Every cut a step {'lower' if steps < 0 else 'higher'}").click()
    for area, cut in settings.get("cuts", {}).items():
        if cut is None:
            page.locator(f"#{tool}-on-{area}").uncheck()
        else:
            slide(opened, f"{tool}-cut-{area}", cut)
    for name, risk in settings.get("risks", {}).items():
        slide(opened, f"{tool}-risk-{name}", risk)
    for group in ("evidence", "limits"):
        for name, value in settings.get(group, {}).items():
            page.locator(f"#{tool}-{group}-{name}").fill(str(value))
    page.wait_for_timeout(120)


def read_page(opened, level):
    """Return what the page says: counts by reading, before and after, and everybody's reading and chance."""
    return opened.page.evaluate(
        """(tool) => {
          const counts = {};
          for (const row of document.querySelectorAll(`#${tool}-counts tbody tr`)) {
            counts[row.dataset.verdict] = [Number(row.cells[1].textContent), Number(row.cells[2].textContent)];
          }
          const said = {};
          for (const row of document.querySelectorAll(`#${tool}-everybody tbody tr`)) {
            const chance = row.dataset.chance === "null" ? null : Number(row.dataset.chance);
            said[row.dataset.umpire] = [row.dataset.before, row.dataset.after, chance];
          }
          const movers = [...document.querySelectorAll(`#${tool}-movers tbody tr`)].map((row) => row.dataset.umpire);
          return { counts, said, movers, lines: document.querySelector(`#${tool} .tool-lines`).textContent };
        }""",
        f"trial-{level}",
    )


def engine_says(config, lines, level, folder):
    """Return the engine's readings of a level under the season's policy with the page's own lines for that level."""
    text = (SEASON / "policy.toml").read_text(encoding="utf-8")
    parts = re.split(r"(?m)^(?=\[\[levels\]\])", text)
    swapped = [lines + "\n\n" if f'id = "{level}"' in part else part for part in parts]
    assert swapped != parts
    path = folder / "tried.toml"
    path.write_text("".join(swapped), encoding="utf-8")
    title = config.policy.level(level).title
    return {one.umpire_id: one for one in try_policy(config, path).changes if one.target_after == title}


@pytest.mark.parametrize("level", LEVELS)
def test_without_a_move_the_page_says_what_the_season_says(trial, config, level):
    from pipeline.store import Store

    opened = trial(level)
    page = read_page(opened, level)
    with Store(config.store_path, read_only=True) as store:
        published = store.rows("SELECT umpire_id, verdict, probability FROM published.pub_readiness WHERE target_level = ?", [level])
    assert {umpire: (verdict, chance) for umpire, verdict, chance in published} == {
        umpire: (after, pytest.approx(chance, abs=1e-6)) for umpire, (_, after, chance) in page["said"].items()
    }
    assert page["movers"] == []
    assert opened.errors == []


@pytest.mark.parametrize("settings", TRIED.values(), ids=TRIED.keys())
@pytest.mark.parametrize("level", LEVELS)
def test_sliders_change_readings_as_the_engine_does(trial, config, tmp_path, level, settings):
    opened = trial(level)
    try_in_page(opened, level, settings)
    page = read_page(opened, level)
    engine = engine_says(config, page["lines"], level, tmp_path)
    assert {umpire: (one.before.verdict, one.after.verdict, one.after.probability) for umpire, one in engine.items()} == {
        umpire: tuple(said) for umpire, said in page["said"].items()
    }
    for verdict, (before, after) in page["counts"].items():
        assert before == sum(one.before.verdict == verdict for one in engine.values())
        assert after == sum(one.after.verdict == verdict for one in engine.values())
    assert sorted(page["movers"]) == sorted(umpire for umpire, one in engine.items() if one.moves)
    assert opened.errors == []


def test_sliders_move_people(trial):
    opened = trial("varsity")
    try_in_page(opened, "varsity", TRIED["every cut two points lower"])
    page = read_page(opened, "varsity")
    assert len(page["movers"]) >= 2
    assert page["counts"]["ready"][1] > page["counts"]["ready"][0]


def test_the_keyboard_alone_moves_a_cut_and_the_way_back_restores_the_policy(trial):
    opened = trial("varsity")
    page = opened.page
    before = read_page(opened, "varsity")
    page.locator("#trial-varsity-cut-pitches").focus()
    for _ in range(8):
        page.keyboard.press("ArrowUp")
    page.wait_for_timeout(120)
    # 91.5 % and eight half points more.
    assert page.locator("#trial-varsity-cut-pitches").get_attribute("aria-valuetext").startswith("95.5")
    moved = read_page(opened, "varsity")
    assert moved["said"] != before["said"]
    assert "umpires read otherwise" in page.locator("#trial-varsity [role=status]").inner_text()
    page.locator("#trial-varsity .tool-reset").focus()
    page.keyboard.press("Enter")
    page.wait_for_timeout(120)
    assert read_page(opened, "varsity") == before


def test_every_part_of_the_tool_has_a_name_and_axe_finds_nothing(trial, axe_faults):
    for width, scheme in ((1440, "light"), (390, "dark")):
        opened = trial("tournament")
        opened.page.set_viewport_size({"width": width, "height": 900})
        opened.page.emulate_media(color_scheme=scheme)
        try_in_page(opened, "tournament", TRIED["risks"])
        assert axe_faults(opened.page) == []
        assert opened.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_without_scripts_the_page_has_the_table_of_a_point_or_two(open_page, demo_site):
    opened = open_page(demo_site / "standards.html", scripts=False)
    page = opened.page
    assert page.locator("#shifts-varsity tbody tr").count() >= 4
    assert "Where scripts run" in page.locator("#trial-varsity").inner_text()


def test_data_that_are_not_there_are_missed_in_words(open_page, demo_site, tmp_path):
    import shutil

    shutil.copytree(demo_site / "assets", tmp_path / "assets", ignore=shutil.ignore_patterns("data"))
    shutil.copy(demo_site / "standards.html", tmp_path)
    opened = open_page(tmp_path / "standards.html")
    opened.until("document.querySelector('#trial-varsity .caution') !== null")
    assert "could not be read" in opened.page.locator("#trial-varsity").inner_text()
