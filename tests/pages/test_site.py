"""The site and the packets of the demo season, as files."""

from __future__ import annotations

import csv
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

SEASON = Path(__file__).parents[2] / "demo_data" / "season"


class Page(HTMLParser):
    """What a page has: tags, anchors, addresses, and its text."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.addresses: list[str] = []
        self.lang = ""
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.tags.append(tag)
        if tag == "html":
            self.lang = given.get("lang", "")
        if given.get("id"):
            self.ids.append(given["id"])
        self.addresses += [given[name] for name in ("href", "src") if given.get(name)]


@pytest.fixture(scope="module")
def pages(outcome):
    out = outcome.config.out
    found = {path: Page(path) for folder in ("site", "packets") for path in sorted((out / folder).rglob("*.html"))}
    assert len(found) > 200
    return found


def names(sheet, key):
    with (SEASON / sheet).open(encoding="utf-8-sig", newline="") as stream:
        return {row[key]: row["name"] for row in csv.DictReader(stream)}


def test_every_page_has_language_title_one_heading_and_a_main_part(pages):
    for path, page in pages.items():
        assert page.lang == "en", path
        assert page.tags.count("title") == page.tags.count("h1") == page.tags.count("main") == 1, path


def test_no_page_names_an_outside_address(pages):
    for path, page in pages.items():
        outside = [address for address in page.addresses if re.match(r"[a-z]+:|//", address)]
        assert outside == [], path


def test_every_address_leads_to_a_file_and_anchor_that_exist(pages):
    for path, page in pages.items():
        for address in set(page.addresses):
            file, _, anchor = address.partition("#")
            target = (path.parent / file).resolve() if file else path
            assert target.is_file(), f"{path}: {address}"
            if anchor.startswith("a=") and target.name == "compare.html":
                # Any two umpires can be named there: the page's script reads who they are.
                chosen = re.fullmatch(r"a=([\w-]+)&b=([\w-]+)", anchor)
                assert all((target.parent / "umpires" / folder).is_dir() for folder in chosen.groups()), address
            elif anchor:
                assert anchor in pages[target].ids, f"{path}: {address}"


def test_no_anchor_stands_twice_on_a_page(pages):
    for path, page in pages.items():
        assert len(page.ids) == len(set(page.ids)), path


def test_no_page_is_larger_than_300_kilobytes(pages):
    """So that each opens at once, from a memory stick and on a telephone too."""
    assert [(str(path), size) for path in pages if (size := path.stat().st_size) > 300_000] == []


def test_every_figure_has_a_table_on_its_page(pages):
    drawn = [(path, page) for path, page in pages.items() if "figure" in page.tags]
    assert drawn
    for path, page in drawn:
        assert page.tags.count("table") >= page.tags.count("figure"), path


def test_a_packet_holds_nothing_of_anybody_else(outcome):
    everybody = names("umpires.csv", "umpire_id") | names("evaluators.csv", "evaluator_id")
    for kind in ("umpires", "evaluators"):
        for folder in sorted((outcome.config.out / "packets" / kind).iterdir()):
            text = " ".join(path.read_text(encoding="utf-8") for path in sorted(folder.rglob("*.html")))
            words = set(re.findall(r"\w+", text))
            own = everybody[folder.name]
            others = {person: name for person, name in everybody.items() if name != own}
            assert sorted(set(others) & words) == [], folder
            assert [name for name in others.values() if name in text] == [], folder


def test_the_manifest_adds_up(outcome):
    manifest = json.loads((outcome.config.out / "manifest.json").read_text(encoding="utf-8"))
    books = manifest["books"]
    assert books["rows_in"] == books["accepted"] + books["quarantined"]
    assert all(
        one["rows_in"] == one["accepted"] + one["quarantined"] for one in manifest["inputs"] if one["table_name"]
    )


def test_two_runs_leave_the_same_bytes(outcome, tmp_path):
    from pipeline.run import run_season

    again = run_season(SEASON, tmp_path / "again").config.out
    first = outcome.config.out
    for folder in ("site", "packets", "tables", "quarantine", "validation"):
        one = {path.relative_to(first): path for path in (first / folder).rglob("*") if path.is_file()}
        two = {path.relative_to(again): path for path in (again / folder).rglob("*") if path.is_file()}
        assert one.keys() == two.keys()
        differing = [str(name) for name in one if one[name].read_bytes() != two[name].read_bytes()]
        assert differing == []
