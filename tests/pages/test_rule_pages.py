"""The pages of the rules: index with the order of decision, a page for each topic, a page for each rule."""

from __future__ import annotations

import importlib.util
import itertools
import re
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from pipeline.config import RunConfig
from pipeline.store import Store
from reports.build import build_site
from reports.figures.order_of_decision import lanes_of, layers_of, order_drawing, wrapped
from reports.naming import folder_names

# Loaded from beside this file: a dependency installs a package called `tests`, which would be found by that name.
_SPEC = importlib.util.spec_from_file_location("sample_season", Path(__file__).with_name("sample_season.py"))
sample_season = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(sample_season)

VOID = {"meta", "link", "input", "br", "wbr", "hr", "img"}


class Page(HTMLParser):
    """Tags with attributes, all text, and the text within each element that has an id."""

    def __init__(self, path):
        super().__init__()
        self.path = path
        self.tags = []
        self.by_id = {}
        self.text = ""
        self._open = []
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag, attrs):
        given_attrs = dict(attrs)
        self.tags.append((tag, given_attrs))
        if tag in ("td", "th"):
            self.handle_data(" ")
        if tag not in VOID:
            self._open.append((tag, given_attrs.get("id")))

    def handle_endtag(self, tag):
        while self._open and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data):
        self.text += data
        for _, name in self._open:
            if name:
                self.by_id[name] = self.by_id.get(name, "") + data

    def named(self, tag):
        return [attributes for name, attributes in self.tags if name == tag]

    def of_class(self, name):
        return [attributes for _, attributes in self.tags if name in (attributes.get("class") or "").split()]


def squeezed(text):
    return " ".join((text or "").split())


@pytest.fixture(scope="module")
def site(outcome):
    root = outcome.config.out / "site"
    paths = [root / "rules.html", *sorted((root / "rules").glob("*.html")), *sorted((root / "topics").glob("*.html"))]
    return root, {path.relative_to(root).as_posix(): Page(path) for path in paths}


@pytest.fixture(scope="module")
def tables(outcome):
    with Store(outcome.store_path, read_only=True) as store:
        return {
            name: store.records(f"SELECT * FROM published.{name} ORDER BY ALL")
            for name in (
                "pub_rule",
                "pub_rule_code",
                "pub_rule_case",
                "pub_rule_condition",
                "pub_rule_misruling",
                "pub_rule_option",
                "pub_dimension",
                "pub_pattern",
            )
        }


def test_every_rule_has_a_page_with_its_words_and_exact_condition(site, tables):
    _, pages = site
    assert len(tables["pub_rule"]) == sum(path.startswith("rules/") for path in pages)
    for rule in tables["pub_rule"]:
        page = pages[f"rules/{rule['rule_id']}.html"]
        text = squeezed(page.text)
        assert squeezed(rule["title"]) in text
        assert squeezed(rule["condition"]) in squeezed(page.by_id["condition"])
        for line in tables["pub_rule_condition"]:
            if line["rule_id"] == rule["rule_id"]:
                assert squeezed(line["words"]) in squeezed(page.by_id["condition"])


def test_every_page_of_a_rule_shows_its_number_days_and_note_in_each_code(site, tables):
    _, pages = site
    for row in tables["pub_rule_code"]:
        told = squeezed(pages[f"rules/{row['rule_id']}.html"].by_id["codes-table"])
        for value in (row["reference"], row["valid_from"], row["valid_until"], row["note"], row["instead_outcome"]):
            assert squeezed(str(value or "")) in told, row
        for other in (row["instead_rule_ids"] or "").split(";"):
            assert other in told, row
        assert ("No such rule" in told) >= (row["confidence"] is None), row


def test_every_worked_case_stands_on_the_page_of_its_rule(site, tables):
    _, pages = site
    assert tables["pub_rule_case"]
    for case in tables["pub_rule_case"]:
        page = pages[f"rules/{case['rule_id']}.html"]
        told = squeezed(page.by_id[f"case-{case['case_no']}"]).casefold()
        for part in ("name", "given", "ruling", "source"):
            assert squeezed(case[part]).casefold() in told, (case, part)


def test_exceptions_are_told_on_both_pages(site, tables):
    _, pages = site
    pairs = [(rule["rule_id"], first) for rule in tables["pub_rule"] for first in (rule["yields_to"] or "").split(";") if first]
    assert pairs
    for later, first in pairs:
        gives = squeezed(pages[f"rules/{later}.html"].by_id["exceptions"]).partition("Comes before")[0]
        assert "Gives way to" in gives
        assert f"{first}:" in gives
        assert f"{later}:" in squeezed(pages[f"rules/{first}.html"].by_id["exceptions"]).partition("Comes before")[2]


def test_misrulings_of_a_rule_are_counted_with_at_most_ten_calls_to_look_at(site, tables):
    _, pages = site
    seen = {}
    for row in tables["pub_rule_misruling"]:
        seen.setdefault(row["rule_id"], []).append(row)
    assert seen
    for rule_id, rows in seen.items():
        page = pages[f"rules/{rule_id}.html"]
        told = squeezed(page.by_id["season"])
        for row in rows:
            assert f"{squeezed(row['title'])} {row['times']}" in re.sub(r"(?<=\d),(?=\d{3})", "", told), row
        calls = [link["href"] for link in page.named("a") if "#call-" in link.get("href", "")]
        total = sum(len(row["example_call_ids"].split(";")) for row in rows)
        assert len(calls) == min(10, total)


def test_every_topic_has_a_page_that_links_its_rules_and_the_order_of_decision(site, tables):
    _, pages = site
    topics = {rule["topic"] for rule in tables["pub_rule"]} | {row["topic"] for row in tables["pub_dimension"]}
    assert topics == {Path(path).stem for path in pages if path.startswith("topics/")}
    for topic in topics:
        links = {link.get("href") for link in pages[f"topics/{topic}.html"].named("a")}
        assert "../rules.html#order" in links
        own = {f"../rules/{rule['rule_id']}.html" for rule in tables["pub_rule"] if rule["topic"] == topic}
        assert own <= links


def test_measures_options_and_patterns_stand_on_their_topics(site, tables):
    _, pages = site
    for row in tables["pub_dimension"]:
        assert squeezed(row["title"]) in squeezed(pages[f"topics/{row['topic']}.html"].by_id["measures-table"])
    for row in tables["pub_rule_option"]:
        assert squeezed(row["in_force"] or "not settled") in squeezed(pages["rules.html"].by_id["options"])
        for topic in (row["topics"] or "").split(";"):
            assert not topic or squeezed(row["title"]) in squeezed(pages[f"topics/{topic}.html"].by_id["options"])
    topics = {rule["topic"] for rule in tables["pub_rule"]}
    for row in tables["pub_pattern"]:
        if row["topic"] in topics:
            told = squeezed(pages[f"topics/{row['topic']}.html"].by_id["patterns-table"]).casefold()
            assert squeezed(row["title"]).casefold().rstrip(".") in told


def test_every_link_of_these_pages_resolves_and_none_leads_outside(site):
    root, pages = site
    ids = {}
    for page in pages.values():
        for link in page.named("a"):
            file, _, anchor = link["href"].partition("#")
            target = (page.path.parent / file).resolve() if file else page.path
            assert target.is_file(), (page.path, link)
            assert target.is_relative_to(root.resolve()), (page.path, link)
            if anchor:
                if target not in ids:
                    ids[target] = set(re.findall(r'\bid="([^"]*)"', target.read_text(encoding="utf-8")))
                assert anchor in ids[target], (page.path, link)


def test_no_page_is_large(site):
    _, pages = site
    assert max(page.path.stat().st_size for page in pages.values()) < 300_000


def test_a_rule_named_with_a_call_leads_to_its_page(site):
    root, _ = site
    found = 0
    for path in sorted((root / "umpires").glob("*/calls.html"))[:5]:
        for href in re.findall(r'<a href="([^"]*)">[A-Z]\d{3}</a>', path.read_text(encoding="utf-8")):
            assert re.fullmatch(r"\.\./\.\./rules/[A-Z]\d{3}\.html", href), href
            found += 1
    assert found > 0


# The order of decision, read a second time from the files, with names found as words of the conditions' texts.


def declared():
    catalogue = files("pipeline.rules").joinpath("catalogue")
    rules = [yaml.safe_load(path.read_text(encoding="utf-8")) for path in Path(str(catalogue)).rglob("*.yaml")]
    text = files("pipeline.rules").joinpath("decisions.yaml").read_text(encoding="utf-8")
    return yaml.safe_load(text)["decisions"], rules


def dependencies(decisions, rules):
    found = set()
    for target in decisions:
        texts = [target.get("asked", ""), *(rule["when"] for rule in rules if rule["decision"] == target["name"])]
        words = set(re.findall(r"[a-z_]+", re.sub(r"'[^']*'", "", " ".join(texts))))
        found |= {(source["name"], target["name"]) for source in decisions if source["name"] in words}
    return found


def numbers(text):
    return [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", text)]


class Drawing:
    """One drawing of the order: its size, its boxes by decision, and its lines with the paths of run and head."""

    def __init__(self, attributes):
        self.attributes = attributes
        self.width, self.height = numbers(attributes["viewbox"])[2:]
        self.boxes = {}
        self.lines = []


@pytest.fixture(scope="module", params=["order", "order order-paper"], ids=["on the screen", "on paper"])
def drawing(site, request):
    _, pages = site
    found, box = None, None
    for tag, attributes in pages["rules.html"].tags:
        kind = attributes.get("class")
        if tag == "svg":
            if found:
                break
            found = Drawing(attributes) if kind == request.param else None
        elif found is None:
            continue
        elif kind == "order-line":
            found.lines.append([attributes["data-from"], attributes["data-to"]])
        elif kind in ("order-run", "order-head"):
            found.lines[-1].append(numbers(attributes["d"]))
        elif kind == "order-box":
            box = attributes["data-decision"]
        elif tag == "rect":
            found.boxes[box] = tuple(float(attributes[key]) for key in ("x", "y", "width", "height"))
    return found


def test_the_drawing_has_a_box_for_each_decision_and_a_line_for_each_dependency(drawing):
    decisions, rules = declared()
    assert sorted(drawing.boxes) == sorted(one["name"] for one in decisions)
    lines = sorted((source, target) for source, target, *_ in drawing.lines)
    assert lines == sorted(dependencies(decisions, rules))
    assert len(lines) > len(decisions)


def test_each_line_runs_from_the_left_side_of_its_box_down_to_that_of_the_other(drawing):
    for source, target, run, head in drawing.lines:
        x, y, _, height = drawing.boxes[source]
        assert run[0] == x
        assert y < run[1] < y + height
        into_x, into_y, _, into_height = drawing.boxes[target]
        assert head[0] == into_x
        assert into_y < head[1] < into_y + into_height
        assert y + height < into_y, "a question stands below those it depends on"


def test_boxes_and_lines_stay_apart_and_within_the_drawing(drawing):
    boxes = sorted(drawing.boxes.values(), key=lambda box: box[1])
    for upper, lower in itertools.pairwise(boxes):
        assert upper[1] + upper[3] < lower[1]
    assert all(box[0] >= 0 and box[0] + box[2] <= drawing.width for box in boxes)
    assert all(box[1] >= 0 and box[1] + box[3] <= drawing.height for box in boxes)
    assert all(min(run[0::2]) >= 0 for _, _, run, _ in drawing.lines)
    ends = [tuple(head[:2]) for *_, head in drawing.lines]
    assert len(ends) == len(set(ends)), "no two lines end in one place"


def test_the_drawing_is_a_picture_that_the_list_tells_in_words(drawing):
    attributes = drawing.attributes
    assert (attributes["role"], attributes["aria-describedby"]) == ("img", "order-figure-list")
    assert attributes["aria-labelledby"] == "order-figure-title"


def test_the_list_beside_the_drawing_tells_question_answers_and_rules_of_each_code(site):
    _, pages = site
    decisions, rules = declared()
    page = pages["rules.html"]
    for one in decisions:
        told = squeezed(page.by_id[f"decision-{one['name']}"])
        counts = [sum(code in rule["codes"] for rule in rules if rule["decision"] == one["name"]) for code in ("nfhs", "obr", "ncaa")]
        assert one["question"] in told
        assert ", ".join(outcome.replace("_", " ") for outcome in one["outcomes"]) in told
        assert "High school {}, Official Baseball Rules {}, College {}".format(*counts) in told


def decision(name, place, question="Is it so?", outcomes="yes; no"):
    return {"decision": name, "place": place, "question": question, "outcomes": outcomes}


def feed(source, target):
    return {"decision": source, "feeds": target}


def test_a_question_stands_one_layer_below_the_last_that_it_depends_on():
    # a feeds b and d, b feeds c, c feeds d; e depends on nothing.
    rows = [decision(name, place) for place, name in enumerate("abcde", 1)]
    feeds = [feed("a", "b"), feed("b", "c"), feed("a", "d"), feed("c", "d")]
    assert layers_of(rows, feeds) == {"a": 0, "b": 1, "c": 2, "d": 3, "e": 0}


def test_a_drawing_of_nothing_or_of_questions_alone_can_be_made():
    assert order_drawing([], [], {}).boxes == []
    alone = order_drawing([decision("a", 1)], [], {})
    assert ([box.decision for box in alone.boxes], alone.lines) == (["a"], [])


SPANS = st.dictionaries(
    st.text("abcdefgh", min_size=1, max_size=2),
    st.tuples(st.integers(0, 12), st.integers(1, 6)).map(lambda pair: (pair[0], pair[0] + pair[1])),
    max_size=10,
)


@given(SPANS)
def test_spans_that_overlap_never_share_a_lane(spans):
    lanes = lanes_of(spans)
    assert lanes.keys() == spans.keys()
    for one in spans:
        for other in spans:
            if one < other and lanes[one] == lanes[other]:
                assert spans[one][1] <= spans[other][0] or spans[other][1] <= spans[one][0]


@given(st.text(), st.integers(1, 40))
def test_wrapping_loses_no_letter_and_keeps_to_the_width(text, letters):
    lines = wrapped(text, letters)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert max(map(len, lines)) <= letters


# Text that tries to be more than text.

BITES = '<img src=x onerror="alert(1)">'


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    out = tmp_path_factory.mktemp("hostile")

    def fill(store):
        add = sample_season.add
        sample_season.fill(store)
        for rule_id in ("../x", "a<b", "CON", "con"):
            add(store, "pub_rule", rule_id=rule_id, topic=f"t/{BITES}", title=f"{BITES} {rule_id}", says=BITES,
                codes="nfhs", reference_nfhs=BITES, confidence="memory", decision=BITES, outcome=BITES, brings=BITES,
                condition=f"x = '{BITES}'", yields_to="a<b;nowhere", comes_before="CON", sets_aside=BITES,
                times_used=1, times_wrong=1)  # fmt: skip
            for code in ("nfhs", "obr", "ncaa"):
                has = {"reference": BITES, "confidence": "memory", "note": BITES}
                not_there = {"instead_rule_ids": "a<b;nowhere", "instead_outcome": BITES}
                add(store, "pub_rule_code", rule_id=rule_id, code=code, **(has if code == "nfhs" else not_there))
            for number, depth in enumerate((0, 1, 3, 1, -2), 1):
                add(store, "pub_rule_condition", rule_id=rule_id, line_no=number, depth=depth, words=BITES)
            add(store, "pub_rule_case", rule_id=rule_id, case_no=1, name=BITES, code="nfhs", options=BITES, given=BITES,
                state=BITES, ruling=BITES, rule_state="met", source=BITES)  # fmt: skip
            add(store, "pub_rule_misruling", rule_id=rule_id, misruling_code="pitch.<called>", title=BITES, times=1,
                example_call_ids="U1/<1>;nowhere")  # fmt: skip
        for place, name in enumerate((BITES, "z"), 1):
            add(store, "pub_decision", decision=name, place=place, question=BITES * 3, outcomes=f"{BITES}; b", asked=BITES,
                asked_words=BITES, otherwise=BITES, rules_nfhs=1, rules_obr=0, rules_ncaa=0)  # fmt: skip
        add(store, "pub_decision_feed", decision=BITES, feeds="z", in_asked=True, rules=0)
        add(store, "pub_dimension", dimension=BITES, place=1, topic=BITES, title=BITES, unit=BITES, value_nfhs=1.5,
            confidence_nfhs="memory", reference=BITES)  # fmt: skip
        add(store, "pub_rule_option", option_id=BITES, title=BITES, codes="nfhs", choices=BITES, in_force=BITES,
            settled_by="policy", reference=BITES, confidence="memory", note=BITES, rule_ids="a<b", topics=f"t/{BITES}")  # fmt: skip

    config = RunConfig(season=out, out=out / "out", policy=sample_season.POLICY)
    with Store() as store:
        fill(store)
        build_site(config, store)
    root = config.out / "site"
    paths = [root / "rules.html", *sorted((root / "rules").iterdir()), *sorted((root / "topics").iterdir())]
    return [Page(path) for path in paths]


def test_nothing_in_the_words_of_a_rule_becomes_markup(hostile):
    for page in hostile:
        assert not page.named("img"), page.path
        assert [key for _, attributes in page.tags for key in attributes if key.startswith("on")] == [], page.path
        assert BITES in page.text or page.path.stem in ("P502", "pitches"), page.path


def test_pages_of_rules_lie_in_their_folder_whatever_their_ids(hostile):
    names = folder_names(["../x", "a<b", "CON", "con", "P502"])
    found = {page.path.stem for page in hostile if page.path.parent.name == "rules"}
    assert found == set(names.values())
    assert len({name.casefold() for name in found}) == 5


def test_a_rule_that_is_named_but_not_published_is_no_link(hostile):
    for page in hostile:
        for link in page.named("a"):
            file = link["href"].partition("#")[0]
            assert not file or (page.path.parent / file).resolve().is_file(), (page.path, link)


def test_lines_of_a_condition_are_nested_soundly_whatever_their_depths(hostile):
    for page in hostile:
        text = page.path.read_text(encoding="utf-8")
        for part in re.findall(r'<div class="outline">(.*?)</div>', text, flags=re.DOTALL):
            tags = re.findall(r"</?(?:ul|li)\b", part)
            open_tags = []
            for tag in tags:
                if tag.startswith("</"):
                    assert open_tags.pop() == tag[2:]
                else:
                    assert tag != "<li" or open_tags[-1] == "ul"
                    open_tags.append(tag[1:])
            assert open_tags == []
