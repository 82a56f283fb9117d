"""The pages made from a season by hand, whose names and ids try to be more than text."""

from __future__ import annotations

import importlib.util
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from pipeline.config import RunConfig
from pipeline.store import Store
from reports.build import build_site
from reports.figures.palette import LIGHT
from reports.naming import folder_names

# Loaded from beside this file: a dependency installs a package called `tests`, which would be found by that name.
_SPEC = importlib.util.spec_from_file_location("sample_season", Path(__file__).with_name("sample_season.py"))
sample_season = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(sample_season)
EVALUATORS, NAMES, POLICY = sample_season.EVALUATORS, sample_season.NAMES, sample_season.POLICY


class Page(HTMLParser):
    """Tags with their attributes, the text outside scripts, and that of each h1 and figure data."""

    def __init__(self, text):
        super().__init__()
        self.tags = []
        self.text = ""
        self.heading = ""
        self.figures = None
        self._inside = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag in ("h1", "script"):
            self._inside.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if self._inside and self._inside[-1][0] == tag:
            self._inside.pop()

    def handle_data(self, data):
        tag, attributes = self._inside[-1] if self._inside else ("", {})
        if tag == "script":
            if attributes.get("id") == "figure-data":
                self.figures = data
            return
        self.text += data
        if tag == "h1":
            self.heading += data

    def named(self, tag):
        return [attributes for name, attributes in self.tags if name == tag]


def build(tmp_path, fill):
    config = RunConfig(season=tmp_path, out=tmp_path / "out", policy=POLICY)
    with Store() as store:
        fill(store)
        build_site(config, store)
    return config.out


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    return build(tmp_path_factory.mktemp("sample"), sample_season.fill)


@pytest.fixture(scope="module")
def pages(out):
    return {path: Page(path.read_text(encoding="utf-8")) for path in sorted(out.rglob("*.html"))}


def test_every_name_stands_in_its_heading_as_plain_text(out, pages):
    folders = folder_names(NAMES)
    for umpire, name in NAMES.items():
        for path in (f"site/umpires/{folders[umpire]}/index.html", f"packets/umpires/{folders[umpire]}/figures.html"):
            assert pages[out / path].heading == name


def test_nothing_in_the_data_becomes_a_script_a_handler_or_a_picture(pages):
    for path, page in pages.items():
        scripts = page.named("script")
        own = [one for one in scripts if one.get("src", "").endswith("assets/site.js")]
        data = [one for one in scripts if one.get("type") == "application/json"]
        tools = [one for one in scripts if re.fullmatch(r"(\.\./)*assets/(draws|rows|find|trial|compare)\.js", one.get("src", ""))]
        assert len(own) == 1, path
        assert len(scripts) == len(own) + len(data) + len(tools), path
        assert not page.named("img") + page.named("b") + page.named("iframe"), path
        handlers = [key for _, attributes in page.tags for key in attributes if key.startswith("on")]
        assert handlers == [], path


def test_no_link_leads_outside_though_a_name_tries_to(pages):
    for path, page in pages.items():
        targets = [attributes.get("href") or attributes.get("src") or "" for _, attributes in page.tags]
        assert [target for target in targets if re.match(r"\s*[a-z]+:|//", target)] == [], path
    assert any("https://outside.example/" in page.text for page in pages.values())


def test_the_content_policy_allows_nothing_from_outside(pages):
    for page in pages.values():
        (policy,) = [one["content"] for one in page.named("meta") if "http-equiv" in one]
        assert policy.startswith("default-src 'none'")
        sources = set(re.findall(r"[\w-]+-(?:src|uri|action) ([^;]+)", policy))
        allowed = {"'none'", "'self'", "file:", "data:", "'unsafe-inline'"}
        assert {word for source in sources for word in source.split()} <= allowed
        assert "'unsafe-inline'" not in policy.partition("script-src")[2].partition(";")[0]


def test_a_template_expression_in_a_name_is_not_worked_out(pages):
    assert any("{{ 7 * 7 }}" in page.text for page in pages.values())
    assert not any(re.search(r"break\s+49", page.text) for page in pages.values())


def test_folders_stay_in_their_place_and_apart_even_where_case_is_one(out):
    for kind, people in (("umpires", NAMES), ("evaluators", EVALUATORS)):
        found = sorted(path.name for path in (out / "packets" / kind).iterdir())
        assert found == sorted(folder_names(people).values())
        assert len({name.casefold() for name in found}) == len(people)
        assert all(re.fullmatch(r"[A-Za-z0-9_-]+", name) for name in found)
    assert sorted(path.name for path in out.iterdir()) == ["packets", "site"]


def test_the_data_of_figures_cannot_end_its_script_and_makes_no_link(out, pages):
    drawn = [page for page in pages.values() if page.figures]
    assert drawn
    for path, page in pages.items():
        if page.figures is None:
            continue
        raw = path.read_text(encoding="utf-8").split('id="figure-data">')[1].split("</script>")[0]
        assert not set(raw) & set("<>&\u2028\u2029")
        for text in re.findall(r'"(?:ticktext|hovertext)":\[(.*?)\]', page.figures):
            # plotly reads <a href> in any text; none may be left that is not escaped.
            assert "<a" not in json.loads(f"[{text}]")


def test_every_figure_is_one_that_plotly_accepts(pages):
    import plotly.graph_objects as go

    def resolved(value):
        if isinstance(value, str) and value.startswith("@"):
            return LIGHT[value[1:]]
        if isinstance(value, list):
            return [resolved(item) for item in value]
        return {key: resolved(item) for key, item in value.items()} if isinstance(value, dict) else value

    kinds = set()
    for page in pages.values():
        for name, figure in json.loads(page.figures or "{}").items():
            go.Figure(resolved(figure))
            kinds.add(re.sub(r"-?[\w]*\d.*$", "", name))
    assert {"clinic", "bridge", "standards-met", "boundary-strip", "spread", "own-points"} <= kinds


def test_every_figure_is_drawn_without_scripts_too_and_has_a_table(pages):
    for path, page in pages.items():
        figures = page.named("figure")
        charts = [one for one in page.named("div") if one.get("class") == "chart"]
        assert len(charts) == len(figures), path
        assert len(page.named("table")) >= len(figures), path


def test_a_note_that_names_somebody_else_is_withheld_from_a_packet_but_not_from_the_site(out):
    name = folder_names(NAMES)["u1"]
    packet = (out / "packets/umpires" / name / "calls.html").read_text(encoding="utf-8")
    assert "Plain Person" not in packet
    assert "withheld: it names somebody else" in packet
    assert "better than Plain Person" in (out / "site/umpires" / name / "calls.html").read_text(encoding="utf-8")
    own = (out / "packets/umpires" / folder_names(NAMES)["U1"] / "calls.html").read_text(encoding="utf-8")
    assert "better than Plain Person" in own


def test_packets_hold_no_other_name_and_no_sheet_that_is_called_after_somebody(out):
    import html

    everybody = {**NAMES, **EVALUATORS}
    for kind, people in (("umpires", NAMES), ("evaluators", EVALUATORS)):
        folders = folder_names(people)
        for person, name in people.items():
            text = "".join(
                path.read_text(encoding="utf-8") for path in (out / "packets" / kind / folders[person]).glob("*.html")
            )
            others = [other for other in everybody.values() if other != name]
            assert [other for other in others if html.escape(other) in text or other in text] == []
            assert "plate_calls_" not in text


def test_packets_need_nothing_outside_their_folder(out, pages):
    for path, page in pages.items():
        if "packets" in path.parts:
            for _, attributes in page.tags:
                target = (attributes.get("href") or attributes.get("src") or "#").partition("#")[0]
                assert not target.startswith(".."), path


def test_a_season_with_nothing_in_it_makes_pages_that_say_so(tmp_path):
    def fill(store):
        sample_season.make_tables(store)
        sample_season.season_row(store)

    out = build(tmp_path, fill)
    texts = {path.name: Page(path.read_text(encoding="utf-8")).text for path in (out / "site").glob("*.html")}
    assert "nobody is judged" in texts["index.html"]
    assert "Nobody has a graded call" in texts["rankings.html"]
    assert "No misruling was found" in texts["misrulings.html"]
    assert "Nobody sat a quiz" in texts["quiz.html"]
    assert "No row was set aside" in texts["quality.html"]
    assert "No pitch was looked at" in texts["zone.html"]
    assert "there is nothing to try" in texts["standards.html"]
    assert "there is nobody to compare" in texts["compare.html"]


def test_two_builds_give_the_same_bytes(out, tmp_path):
    again = build(tmp_path, sample_season.fill)
    first = {path.relative_to(out): path.read_bytes() for path in out.rglob("*") if path.is_file()}
    second = {path.relative_to(again): path.read_bytes() for path in again.rglob("*") if path.is_file()}
    assert first.keys() == second.keys()
    assert [str(name) for name in first if first[name] != second[name]] == []


def test_a_build_that_fails_leaves_the_former_pages_standing(tmp_path, monkeypatch):
    out = build(tmp_path, sample_season.fill)
    before = (out / "site/index.html").read_bytes()

    def fail(*_):
        raise RuntimeError("half way")

    monkeypatch.setattr("reports.build.method_page", fail)
    with pytest.raises(RuntimeError, match="half way"):
        build(tmp_path, sample_season.fill)
    assert (out / "site/index.html").read_bytes() == before
    assert sorted(path.name for path in out.iterdir()) == ["packets", "site"]


def test_pages_are_not_made_before_the_season_is_published(tmp_path):
    from pipeline.errors import StoreError

    config = RunConfig(season=tmp_path, out=tmp_path / "out", policy=POLICY)
    with Store() as store, pytest.raises(StoreError, match="pub_season"):
        build_site(config, store)
