"""A season whose names, notes and titles try to be scripts, links and formulas, opened in a real browser.

Pages are opened with their content policy left out of account: what holds here holds by escaping alone.
"""

from __future__ import annotations

import csv
import itertools
from pathlib import Path

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]

DEMO = Path(__file__).parents[2] / "demo_data" / "season"
SHEETS = ("plate_calls_E01.csv", "plate_calls_E02.csv")
GAMES, CALLS_A_GAME = 6, 30

HOSTILE = (
    "<script>window.ran = 1</script>",
    '"><img src="x" onerror="window.ran = 2">',
    "</script><script>window.ran = 3</script>",
    "<svg onload='window.ran = 4'>",
    "javascript:window.ran=5",
    '<a href="https://outside.example/">look</a>',
    '=HYPERLINK("https://outside.example/";"look")',
    "=cmd|' /C calc'!A0",
    "\u202egnp.exe \u05d0\u05d1\u05d2",
    "W" * 240,
    "{{ 7 * 7 }} {% include '/etc/passwd' %}",
    "</title></style></textarea>--><iframe src='https://outside.example/'></iframe>",
    "' autofocus onfocus='window.ran = 6",
)
TEXTS = {
    "umpires.csv": ("name", "home_area"),
    "evaluators.csv": ("name",),
    "games.csv": ("site", "home_team", "away_team"),
    "quiz_items.csv": ("stem", "option_a", "option_b"),
    "decisions.csv": ("reasons", "decided_by"),
    **dict.fromkeys(SHEETS, ("note",)),
}

_RAN = """() => {
  const found = [];
  if (window.ran !== undefined) found.push(`script ${window.ran} ran`);
  const bad = "iframe, img, object, embed, base, main script, h1 *, [onerror], [onload], [onfocus], [onclick], [onmouseover]";
  for (const one of document.querySelectorAll(bad)) found.push(`element ${one.outerHTML.slice(0, 80)}`);
  for (const one of document.querySelectorAll("a")) {
    const to = one.getAttribute("href") ?? one.getAttribute("xlink:href") ?? "";
    if (/^\\s*([a-z]+:|\\/\\/)/i.test(to)) found.push(`link ${to}`);
  }
  if (document.documentElement.scrollWidth > innerWidth) found.push(`${document.documentElement.scrollWidth} px wide`);
  return found;
}"""


def read(name):
    with (DEMO / name).open(encoding="utf-8-sig", newline="") as stream:
        table = csv.DictReader(stream)
        return list(table.fieldnames or ()), list(table)


def write_hostile_season(folder):
    """Cut a few games from the made-up season, and put hostile texts in the place of all that people write freely."""
    folder.mkdir()
    text = itertools.cycle(HOSTILE)
    sheets = {name: read(name) for name in (*TEXTS, "positioning.csv", "quiz_responses.csv")}
    wanted = dict.fromkeys(
        list(dict.fromkeys(row["game_id"] for s in SHEETS for row in sheets[s][1][::200]))[:GAMES], 0
    )
    for name in SHEETS:
        kept = []
        for row in sheets[name][1]:
            if row["game_id"] in wanted and wanted[row["game_id"]] < CALLS_A_GAME:
                wanted[row["game_id"]] += 1
                kept.append(row)
        sheets[name][1][:] = kept
    games = [row for row in sheets["games.csv"][1] if row["game_id"] in wanted]
    people = {row["plate_umpire_id"] for row in games}
    sheets["games.csv"][1][:] = games
    for name in ("umpires.csv", "quiz_responses.csv", "decisions.csv"):
        sheets[name][1][:] = [row for row in sheets[name][1] if row["umpire_id"] in people]
    positions = [
        row
        for row in sheets["positioning.csv"][1]
        if row["game_id"] in wanted and row["evaluator_id"] in ("E01", "E02")
    ]
    sheets["positioning.csv"][1][:] = positions
    sheets["evaluators.csv"][1][:] = [{**row, "umpire_id": ""} for row in sheets["evaluators.csv"][1][:2]]
    for name, (columns, rows) in sheets.items():
        for row in rows:
            row.update({column: next(text) for column in TEXTS.get(name, ()) if column in columns})
        with (folder / name).open("w", encoding="utf-8", newline="") as stream:
            table = csv.DictWriter(stream, columns)
            table.writeheader()
            table.writerows(rows)
    policy = (DEMO / "policy.toml").read_text(encoding="utf-8")
    for title in ("Quillmere Basin 2026", "Quillmere Basin Plate Umpires", "Sub-varsity", "Varsity", "Tournament"):
        assert f'"{title}"' in policy
        policy = policy.replace(f'"{title}"', f"'''{next(text).replace(chr(39), '´')}'''")
    (folder / "policy.toml").write_text(policy, encoding="utf-8")
    return {row["umpire_id"]: row["name"] for row in sheets["umpires.csv"][1]}


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    """The results of the hostile season, and the names of its umpires."""
    from pipeline.run import run_season

    place = tmp_path_factory.mktemp("hostile")
    names = write_hostile_season(place / "season")
    return run_season(place / "season", place / "out").config.out, names


def test_no_script_runs_no_outside_link_is_made_and_no_page_breaks(hostile, kinds_in, open_window):
    out, _ = hostile
    kinds = kinds_in(out)
    assert len(kinds) > 20
    faults = []
    for kind, paths in kinds.items():
        for path, width in itertools.product(paths[:1], (1440, 390)):
            opened = open_window(path, width=width, ignore_policy=True)
            dialogs = []
            opened.page.on("dialog", lambda one, dialogs=dialogs: (dialogs.append(one.message), one.dismiss()))
            try:
                if width == 1440 and opened.page.locator("script[data-plotly]").count():
                    opened.until("document.querySelector('.js-plotly-plot') !== null")
                found = opened.page.evaluate(_RAN)
                outside = [one for one in opened.asked if not one.startswith("file:")]
                faults += [(kind, width, one) for one in (*found, *outside, *dialogs, *opened.errors)]
            finally:
                opened.close()
    assert faults == []


def test_every_name_is_shown_as_it_was_written(hostile, open_page):
    from reports.naming import folder_names

    out, names = hostile
    folders = folder_names(names)
    for person, name in names.items():
        page = open_page(out / "site" / "umpires" / folders[person] / "index.html").page
        # A browser shows a run of blanks as one.
        assert page.locator("h1").text_content().split() == name.split()
        page.close()
    board = open_page(out / "site" / "index.html").page.locator("main").text_content()
    assert [name for name in names.values() if name not in board] == []


def test_the_content_policy_refuses_a_script_that_got_in_all_the_same(hostile, open_page):
    """Were the escaping to fail somewhere, the policy would still stand in the way."""
    out, _ = hostile
    opened = open_page(out / "site" / "index.html")
    opened.page.evaluate(
        "() => { const one = document.createElement('div'); document.body.append(one);"
        ' one.innerHTML = \'<img src="x" onerror="window.ran = 9">\'; }'
    )
    opened.page.wait_for_timeout(500)
    assert opened.page.evaluate("window.ran === undefined")
    assert any("Content Security Policy" in word for word in opened.said)
